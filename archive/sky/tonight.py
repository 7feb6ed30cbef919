"""What stands in the sky on one night at one place, in plain data and codes a page can put into words.

A night runs from local mean noon to the next noon.  Twilights are the sun's true altitudes -6 (civil), -12
(nautical) and -18 (astronomical).  A figure counts as up when a share of its stars clears an altitude.
Never look at the sun without a proper filter.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .altaz import Place, body_altaz, star_altaz
from .bodies import PLANETS, are_known, moon_phase
from .catalogue import load_catalogue
from .horizon import DISC_HORIZON_DEG, body_crossing, star_crossing, sun_reaches, sun_table
from .times import tt_of_ut
from .vectors import DEGREE, TAU

UP_ALTITUDE_DEG, UP_SHARE = 10.0, 0.5
TWILIGHTS = {"sunset": DISC_HORIZON_DEG, "civil": -6.0, "nautical": -12.0, "astronomical": -18.0}
DIRECTIONS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
PHASES = ("new", "waxing crescent", "first quarter", "waxing gibbous", "full", "waning gibbous", "last quarter",
          "waning crescent")


@dataclass(frozen=True)
class Twilight:
    """When the sun passes one altitude in the evening and the morning (Julian dates, UT), or why it doesn't.

    ``state``: "" normal; "stays above" (never that dark this night); "stays below" (dark at noon already).
    """

    dusk_jd: float | None
    dawn_jd: float | None
    state: str = ""


@dataclass(frozen=True)
class MoonTonight:
    """``phase`` is one of PHASES; ``lit`` the lit share of the disc (0..1) at the night's middle."""

    phase: str
    lit: float
    rise_jd: float | None
    set_jd: float | None
    up_at_dusk: bool


@dataclass(frozen=True)
class BodyTonight:
    """A planet or star at dusk: true altitude and azimuth in degrees, rising and setting in this night."""

    name: str
    hip: int | None
    v_mag: float | None
    altitude_deg: float
    azimuth_deg: float
    direction: str
    rise_jd: float | None
    set_jd: float | None


@dataclass(frozen=True)
class FigureTonight:
    """Shares (0..1) of a figure's stars above 10 degrees at dusk, middle and dawn of the night.

    ``state``: "up at dusk", "up later" (the middle or the end), "not up".
    ``best_jd`` is the sampled moment when its stars stand highest while it is dark, None if not up.
    """

    key: str
    at_dusk: float
    at_middle: float
    at_dawn: float
    state: str
    best_jd: float | None
    best_altitude_deg: float | None
    direction: str


@dataclass(frozen=True)
class Night:
    """One night.  ``dark`` gives the dark stretch used for the figures (dusk to dawn), None if it never is."""

    noon_jd: float
    twilights: dict[str, Twilight]
    dark: tuple[float, float] | None
    dark_by: str
    moon: MoonTonight | None
    planets: tuple[BodyTonight, ...]
    stars: tuple[BodyTonight, ...]
    figures: tuple[FigureTonight, ...]


def direction_code(azimuth_deg: float) -> str:
    """One of eight directions."""
    return DIRECTIONS[round(azimuth_deg / 45) % 8]


def phase_code(elongation_rad: float) -> str:
    """One of PHASES from the moon's elongation; the four named moments last a day or so each way."""
    turn = (elongation_rad % TAU) / TAU * 8
    nearest = round(turn) % 8
    if nearest % 2 == 0:
        return PHASES[nearest] if abs(turn - round(turn)) < 0.28 else PHASES[int(turn // 2) * 2 + 1]
    return PHASES[nearest]


def noon_of(day_jd: float, place: Place) -> float:
    """Local mean noon (Julian date, UT) of the day whose 0h is ``day_jd``."""
    return day_jd + 0.5 - place.lon_deg / 360


def twilights(place: Place, noon_jd: float) -> dict[str, Twilight]:
    """Sunset and the three twilights of the night after a local noon."""
    table = sun_table(noon_jd, noon_jd + 1)
    out = {}
    for name, altitude in TWILIGHTS.items():
        dusk, dawn = (float(sun_reaches(table, place.lat_deg * DEGREE, place.lon_deg * DEGREE, noon_jd, altitude,
                                        morning)) for morning in (False, True))
        if np.isfinite(dusk) and np.isfinite(dawn):
            out[name] = Twilight(dusk, dawn)
        else:
            out[name] = Twilight(None, None, "stays below" if -np.inf in (dusk, dawn) else "stays above")
    return out


def _dark(found: dict[str, Twilight], noon_jd: float) -> tuple[tuple[float, float] | None, str]:
    """The stretch from the end of nautical dusk to dawn; failing that civil; failing that none."""
    for name in ("nautical", "civil"):
        twilight = found[name]
        if twilight.dusk_jd is not None and twilight.dawn_jd is not None:
            return (twilight.dusk_jd, twilight.dawn_jd), name
        if twilight.state == "stays below":
            return (noon_jd, noon_jd + 1), name
    return None, ""


def _moon(place: Place, noon_jd: float, dusk_jd: float) -> MoonTonight:
    lit, elongation = moon_phase(tt_of_ut(noon_jd + 0.5))
    crossing = body_crossing("moon", place, noon_jd)
    up = float(body_altaz("moon", place, dusk_jd)[0]) > DISC_HORIZON_DEG
    return MoonTonight(phase_code(float(elongation)), float(lit), crossing.rise_jd, crossing.set_jd, up)


def _planet(body: str, place: Place, noon_jd: float, dusk_jd: float) -> BodyTonight:
    altitude, azimuth = (float(x) for x in body_altaz(body, place, dusk_jd))
    crossing = body_crossing(body, place, noon_jd)
    return BodyTonight(body, None, None, altitude, azimuth, direction_code(azimuth), crossing.rise_jd,
                       crossing.set_jd)


def _stars_up(place: Place, jd_ut: float, noon_jd: float, v_limit: float) -> tuple[BodyTonight, ...]:
    """Stars brighter than a limit that stand above the horizon, brightest first; they cross it in the day from noon."""
    known = load_catalogue()
    hips = known.hip[known.brighter(v_limit)].tolist()
    altitude, azimuth = star_altaz(hips, place, jd_ut)
    out = []
    for i in np.flatnonzero(altitude > 0):
        crossing = star_crossing(hips[i], place, noon_jd)
        magnitude = float(known.v_mag[known.indices([hips[i]])[0]])
        out.append(BodyTonight(known.label(hips[i]), hips[i], magnitude, float(altitude[i]), float(azimuth[i]),
                               direction_code(float(azimuth[i])), crossing.rise_jd, crossing.set_jd))
    return tuple(out)


def figure_tonight(key: str, hips: Sequence[int], place: Place, dark: tuple[float, float]) -> FigureTonight:
    """How a figure stands through the dark stretch (sampled at 13 moments)."""
    moments = np.linspace(dark[0], dark[1], 13)
    seen = [star_altaz(hips, place, float(jd)) for jd in moments]
    share = [float(np.mean(altitude > UP_ALTITUDE_DEG)) for altitude, _ in seen]
    height = [float(np.mean(altitude)) for altitude, _ in seen]
    best = int(np.argmax(height))
    up = max(share) >= UP_SHARE
    state = "up at dusk" if share[0] >= UP_SHARE else ("up later" if up else "not up")
    azimuth = seen[best][1] * DEGREE
    middle = float(np.arctan2(np.sin(azimuth).mean(), np.cos(azimuth).mean()) / DEGREE) % 360
    return FigureTonight(key, share[0], share[6], share[12], state, float(moments[best]) if up else None,
                         height[best] if up else None, direction_code(middle))


def tonight(place: Place, day_jd: float, figures: dict[str, Sequence[int]] | None = None,
            v_limit: float = 1.5) -> Night:
    """Everything about the night that starts on a day (``day_jd``: its 0h, from ``parse_date``).

    ``figures`` maps a key of the caller's to Hipparcos numbers.  Stars and planets are given for dusk; where it
    never gets dark, for local midnight.  Moon and planets are left out before -3000 and after 3000.
    """
    noon = noon_of(day_jd, place)
    found = twilights(place, noon)
    dark, dark_by = _dark(found, noon)
    dusk = dark[0] if dark else noon + 0.5
    known = are_known(tt_of_ut(noon + np.array([-1.0, 2.0])))
    planets = tuple(_planet(body, place, noon, dusk) for body in PLANETS) if known else ()
    shown = tuple(figure_tonight(key, hips, place, dark) for key, hips in (figures or {}).items()
                  if len(hips)) if dark else ()
    return Night(noon, found, dark, dark_by, _moon(place, noon, dusk) if known else None, planets,
                 _stars_up(place, dusk, noon, v_limit), shown)
