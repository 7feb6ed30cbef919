"""The first and last nights of a star: when it comes back to the morning sky, and when it leaves the evening.

  morning rising   (heliacal rising)   first morning the star can be seen rising before the sun
  evening rising   (acronychal rising) last evening it can be seen rising after sunset
  morning setting  (cosmical setting)  first morning it can be seen setting before sunrise
  evening setting  (heliacal setting)  last evening it can be seen setting after the sun

These are the VISIBLE phases.  Rule: with the star on the horizon (true altitude 0, or the skyline given) the
sun's centre must stand at least an arc below it: 11 + 0.5 m degrees where star and sun are on the same side
(morning rising, evening setting), 6.5 + 0.5 m where they face each other, m being the star's V magnitude.
The two arcs were chosen to fit the dates computed by Boll (1910, for latitude 30.37 degrees) and Schiaparelli
(1926): 27 of 29 and 22 of 25 within 3 days.  Sensitivity: a day for one degree of latitude, of skyline or of
arc; hazy air costs several days.  Show the uncertainty of 3 days with every date.

A star that never sets or never rises has no phases.  A calendar year may hold none or two of a kind, so
every answer is a list.  A northern star may rise in the morning before it has set in the evening: no gap.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .altaz import Place, greenwich_sidereal
from .catalogue import load_catalogue
from .frames import precession, star_vectors
from .horizon import CROSSES, NEVER, SIDEREAL_RATE, Codes, SunTable, semi_arc, sun_table
from .times import calendar_date, format_date, julian_day, year_start
from .vectors import DEGREE, TAU, Flags, Floats, as_floats, ra_dec, rotate

UNCERTAINTY_DAYS = 3
SAME_SIDE_ARC_DEG, FACING_ARC_DEG, ARC_PER_MAGNITUDE = 11.0, 6.5, 0.5


@dataclass(frozen=True)
class Phases:
    """Dates (ISO, in ``calendar``: "julian" before 1582-10-15, else "gregorian") by the place's own midnight.

    ``never`` is "rises" or "sets" where the star has no phases because it never does that.
    """

    hip: int
    year: int
    calendar: str
    morning_rising: list[str]
    evening_rising: list[str]
    morning_setting: list[str]
    evening_setting: list[str]
    never: str = ""
    uncertainty_days: int = UNCERTAINTY_DAYS


@dataclass(frozen=True)
class PhaseTable:
    """For many stars at one place: flags (days, stars) of each phase; ``midnights`` (days,) Julian dates."""

    midnights: Floats
    morning_rising: Flags
    evening_rising: Flags
    morning_setting: Flags
    evening_setting: Flags
    never: Codes


def _depression(table: SunTable, place: Place, jd: Floats) -> tuple[Floats, Flags]:
    """How far the sun stands below the horizon in degrees, and whether it is on the eastern side."""
    altitude, hour = table.altitude(jd, place.lat_deg * DEGREE, place.lon_deg * DEGREE)
    return -altitude / DEGREE, hour < 0


def _dark_sides(table: SunTable, place: Place, jd: Floats, morning_arc: Floats,
                evening_arc: Floats) -> tuple[Flags, Flags]:
    depression, eastern = _depression(table, place, jd)
    return eastern & (depression >= morning_arc), ~eastern & (depression >= evening_arc)


def _starts(dark: Flags) -> Flags:
    """Days that are dark enough while the day before was not."""
    out = dark.copy()
    out[1:] &= ~dark[:-1]
    out[0] = False
    return out


def _ends(dark: Flags) -> Flags:
    """Days that are dark enough while the day after is not."""
    out = dark.copy()
    out[:-1] &= ~dark[1:]
    out[-1] = False
    return out


def phase_table(hips: Sequence[int], place: Place, year: int, skyline_deg: float = 0.0,
                table: SunTable | None = None, arcs_deg: tuple[float, float] | None = None) -> PhaseTable:
    """The four phases of many stars at one place over one calendar year (two days more at both ends).

    ``arcs_deg`` replaces the two magnitude-dependent arcs (same side, facing) by fixed ones.
    """
    first, days = year_start(year) - 2, _days_in(year) + 4
    midnights = as_floats(first + np.arange(days) - place.lon_deg / 360)
    stars = load_catalogue()
    rows = stars.indices(list(hips))
    ra, dec = ra_dec(rotate(precession(float(year)), star_vectors(stars, rows, float(year))))
    arc, never = semi_arc(dec, place.lat_deg * DEGREE, skyline_deg * DEGREE)
    local = (greenwich_sidereal(midnights) + place.lon_deg * DEGREE)[:, None]
    sun = table or sun_table(first - 1, first + days + 1)
    same, facing = _arcs(stars.v_mag[rows], arcs_deg)
    rising = midnights[:, None] + ((ra - arc - local) % TAU) / SIDEREAL_RATE
    setting = midnights[:, None] + ((ra + arc - local) % TAU) / SIDEREAL_RATE
    rise_morning, rise_evening = _dark_sides(sun, place, rising, same, facing)
    set_morning, set_evening = _dark_sides(sun, place, setting, facing, same)
    ok = (never == CROSSES)[None, :]
    return PhaseTable(midnights, _starts(rise_morning) & ok, _ends(rise_evening) & ok,
                      _starts(set_morning) & ok, _ends(set_evening) & ok, never)


def _arcs(v_mag: Floats, fixed: tuple[float, float] | None) -> tuple[Floats, Floats]:
    if fixed is not None:
        return np.full_like(v_mag, fixed[0]), np.full_like(v_mag, fixed[1])
    return SAME_SIDE_ARC_DEG + ARC_PER_MAGNITUDE * v_mag, FACING_ARC_DEG + ARC_PER_MAGNITUDE * v_mag


def _days_in(year: int) -> int:
    return round(julian_day(year + 1, 1, 1) - julian_day(year, 1, 1))


def star_phases(hip: int, place: Place, year: int, skyline_deg: float = 0.0,
                arcs_deg: tuple[float, float] | None = None) -> Phases:
    """The four phases of one star in one astronomical year, as lists of dates."""
    found = phase_table([hip], place, year, skyline_deg, arcs_deg=arcs_deg)

    def dates(flags: Flags) -> list[str]:
        days = found.midnights[flags[:, 0]] + place.lon_deg / 360
        return [format_date(float(jd)) for jd in days if calendar_date(float(jd))[0].year == year]

    calendar = calendar_date(year_start(year))[0].calendar
    return Phases(hip, year, calendar, dates(found.morning_rising), dates(found.evening_rising),
                  dates(found.morning_setting), dates(found.evening_setting), NEVER[int(found.never[0])])
