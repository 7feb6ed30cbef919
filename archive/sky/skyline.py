"""The skyline of a place: a table of azimuth and altitude, read from text, and what air leaves of a star low down.

A profile is measured on the ground, so its altitudes are APPARENT (as a theodolite shows them); the refraction
(Bennett) is taken off on reading, and a ``Skyline`` holds TRUE altitudes.  Between two azimuths the skyline runs
straight, and from the last on round north to the first.  Measure only with the permission of the people of the
place, and never sight at the sun without a proper filter.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from .altaz import refraction_of_apparent
from .errors import SkyError
from .vectors import Floats, Number, as_floats

MOST_POINTS = 7200
WIDE_GAP_DEG = 30.0
"""A gap between two azimuths from which on the reader should be told that the skyline is guessed there."""
ZENITH_LIMIT_MAG = 6.0
"""Faintest star seen overhead by the naked eye on a dark night (common practice, no source)."""
CLEAR_AIR_MAG, HAZY_AIR_MAG = 0.25, 0.4
"""Loss of light straight up, magnitudes: clear air near the sea, and hazy air (common practice, no source)."""


@dataclass(frozen=True)
class Skyline:
    """True altitudes (degrees) at azimuths 0 <= a < 360 in rising order; at least one point."""

    azimuth_deg: tuple[float, ...]
    altitude_deg: tuple[float, ...]

    def floor(self, azimuth_deg: Number) -> Floats:
        """True altitude of the skyline at azimuths (degrees), of the same shape."""
        return np.interp(as_floats(azimuth_deg), self.azimuth_deg, self.altitude_deg, period=360)

    @property
    def widest_gap_deg(self) -> float:
        """The widest stretch between two neighbouring azimuths; 360 for a single point."""
        around = [*self.azimuth_deg, self.azimuth_deg[0] + 360]
        return float(np.diff(around).max())


@dataclass(frozen=True)
class LineProblem:
    """What is wrong in one line of a profile (counted from 1) and how to mend it; line 0 is the whole."""

    line: int
    words: str


class SkylineError(SkyError):
    """A profile that cannot be read; ``problems`` says why, line by line."""

    def __init__(self, problems: tuple[LineProblem, ...]) -> None:
        self.problems = problems
        shown = " ".join(f"Line {one.line}: {one.words}" if one.line else one.words for one in problems[:5])
        more = f" And {len(problems) - 5} more lines." if len(problems) > 5 else ""
        super().__init__(shown + more)


def level(true_altitude_deg: float) -> Skyline:
    """The same true altitude all round."""
    return Skyline((0.0,), (true_altitude_deg,))


# --- reading ---

_NUMBER = re.compile(r"[+\-\u2212]?(?:\d+(?:[.,]\d*)?|[.,]\d+)")


def read_skyline(text: str, refraction: bool = True) -> Skyline:
    """A profile from lines of azimuth and altitude in degrees, set apart by comma, semicolon, tab or blanks.

    A first line of headings, empty lines and lines after ``#`` are passed over; with semicolons, tabs or blanks
    between them the numbers may have decimal commas.  Azimuths may come in any order and 360 counts as 0.
    ``refraction`` off takes the altitudes as true.  Raises SkylineError.
    """
    points: dict[float, tuple[float, int]] = {}
    problems: list[LineProblem] = []
    for line, row in _rows(text):
        found = _point(row)
        if isinstance(found, str):
            problems.append(LineProblem(line, found))
            continue
        azimuth, altitude = found
        earlier = points.setdefault(azimuth, (altitude, line))
        if earlier[0] != altitude:
            problems.append(LineProblem(line, f"azimuth {azimuth:g} already has the altitude {earlier[0]:g}, in line "
                                              f"{earlier[1]}. Keep one of the two."))
    problems += _as_a_whole(len(points), bool(problems))
    if problems:
        raise SkylineError(tuple(problems))
    azimuths = sorted(points)
    altitudes = np.array([points[azimuth][0] for azimuth in azimuths])
    true = altitudes - refraction_of_apparent(altitudes) if refraction else altitudes
    return Skyline(tuple(azimuths), tuple(true.tolist()))


def _rows(text: str) -> Iterator[tuple[int, str]]:
    """Numbered lines that should hold a point; a first one without any digit is taken for headings."""
    is_first = True
    for number, raw in enumerate(text.removeprefix("\ufeff").splitlines(), 1):
        row = raw.split("#", 1)[0].strip().rstrip(",;")
        if not row:
            continue
        if not (is_first and not re.search(r"\d", row)):
            yield number, row
        is_first = False


def _point(row: str) -> tuple[float, float] | str:
    """Azimuth (0 <= a < 360) and apparent altitude of a line, or what is wrong with it."""
    is_by_comma = "," in row and bool(re.search(r",\s|\.", row))
    apart = next((mark for mark in (";", "\t") if mark in row), "," if is_by_comma else None)
    cells = [cell.strip() for cell in (row.split(apart) if apart else _plain_cells(row))]
    if len(cells) != 2:
        return f"{row[:40]!r} holds {len(cells)} values. Write azimuth and altitude, like 90.0, 3.5."
    strange = next((cell for cell in cells if not _NUMBER.fullmatch(cell)), None)
    if strange is not None:
        return f"{strange[:40]!r} is not a number of degrees. Write it like 3.5."
    azimuth, altitude = (float(cell.replace(",", ".").replace("\u2212", "-")) for cell in cells)
    if not -360 <= azimuth <= 360:
        return f"the azimuth {azimuth:g} is not between 0 and 360 degrees."
    if not -10 <= altitude < 90:
        return f"the altitude {altitude:g} is not between -10 and 90 degrees."
    return azimuth % 360, altitude


def _plain_cells(row: str) -> list[str]:
    """Whole numbers by comma, or numbers (with decimal commas, perhaps) by blanks."""
    return row.split() if len(row.split()) > 1 else row.split(",")


def _as_a_whole(points: int, is_spoilt: bool) -> list[LineProblem]:
    if not points and not is_spoilt:
        return [LineProblem(0, "The profile holds no point. Give at least one line of azimuth and altitude, like "
                               "90.0, 3.5.")]
    if points > MOST_POINTS:
        return [LineProblem(0, f"The profile holds {points} points; {MOST_POINTS} are the most. Keep every second "
                               "one, or fewer.")]
    return []


# --- air ---


def airmass(apparent_altitude_deg: Number) -> Floats:
    """How many times the air overhead a light passes: F. Kasten and A. T. Young, Applied Optics 28, 4735 (1989)."""
    h = np.clip(as_floats(apparent_altitude_deg), -1.0, 90.0)
    return as_floats(1 / (np.sin(np.radians(h)) + 0.50572 * (h + 6.07995) ** -1.6364))


def seen_above_deg(v_mag: Number, loss_mag: float, limit_mag: float = ZENITH_LIMIT_MAG) -> Floats:
    """Lowest TRUE altitude at which a light of a magnitude is seen through air that takes ``loss_mag`` overhead.

    Seen while v_mag + loss_mag * (airmass - 1) stays within ``limit_mag``.  -90 for whatever air never hides, 90
    for a light too faint to be seen even overhead.
    """
    apparent = np.arange(0.0, 90.01, 0.05)
    true = apparent - refraction_of_apparent(apparent)
    room = limit_mag - as_floats(v_mag)
    if loss_mag <= 0:
        return np.where(room < 0, 90.0, -90.0)
    most = 1 + room / loss_mag
    thick = airmass(apparent)
    found = np.interp(-most, -thick, true)
    return as_floats(np.where(most >= thick[0], -90.0, np.where(room < 0, 90.0, found)))
