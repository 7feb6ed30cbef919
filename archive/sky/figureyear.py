"""A whole year of many figures at once: first and last nights, nights and hours up, and the best evening months.

A figure is up when at least half of its stars stand above 10 degrees (true altitude) in the dark (the sun 12 degrees
down or more): the rule of ``yearband``.  Its first and last nights are those of its brightest star (``phases``, good
to 3 days).  Hours are the mean of a month's nights; they are sampled, and good to a tenth of the night's dark.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .altaz import Place
from .bearings import day_of_longitude, days_of_longitudes
from .catalogue import Catalogue, load_catalogue
from .horizon import NEVER, sun_table
from .phases import PhaseTable, phase_table
from .times import calendar_date, check_year, julian_day, year_start
from .vectors import DEGREE, Flags, Floats, Ints, runs
from .yearband import Members, Moments, YearBand, members_of, night_moments, noons_of, year_bands

PHASES = ("morning_rising", "evening_rising", "morning_setting", "evening_setting")
GOOD_SHARE = 0.75
"""A month is among the best for the evening with at least this share of the best month's evening hours."""
LEAST_EVENING_H = 0.5
_NIGHT_STEPS, _FINE_STEPS = 12, 72
_EVERY = 3
"""The hours of every third night are taken for a month's."""


@dataclass(frozen=True)
class SunTurn:
    """A solstice or equinox of the year; ``what`` as in ``turns``."""

    what: str
    jd_ut: float


@dataclass(frozen=True)
class FigureYear:
    """One figure's year at a place.

    ``phases`` maps each of PHASES to the midnights (Julian dates, UT) that begin its days; empty where ``never``
    says that the leading star never "rises" or "sets".  ``dark_hours`` and ``evening_hours`` (dusk to midnight) are
    means for each of the 12 months; ``best_months`` counts from 1.  ``middle_nights`` holds, for the night that
    begins on the 15th of each month, the stretches (instants, UT) in which the figure is up in the dark.
    """

    key: str
    leading_hip: int
    band: YearBand
    phases: Mapping[str, tuple[float, ...]]
    never: str
    dark_hours: tuple[float, ...]
    evening_hours: tuple[float, ...]
    best_months: tuple[int, ...]
    middle_nights: tuple[tuple[tuple[float, float], ...], ...]


@dataclass(frozen=True)
class YearOfFigures:
    """``month_starts`` are the Julian dates (0h) of the 12 months and of the next year's first day."""

    year: int
    calendar: str
    month_starts: tuple[float, ...]
    sun_turns: tuple[SunTurn, ...]
    figures: tuple[FigureYear, ...]


# --- the sun's marks ---


def sun_turns(year: int) -> tuple[SunTurn, ...]:
    """The solstices and equinoxes of a calendar year, in order, and the December solstice before it."""
    start = year_start(year)
    names = ("march equinox", "june solstice", "september equinox", "december solstice")
    days = days_of_longitudes(start, np.arange(0.0, 360.0, 90.0) * DEGREE).tolist()
    before = day_of_longitude(start - 366, 270 * DEGREE)
    found = [SunTurn(what, jd) for what, jd in zip((*names, names[-1]), (*days, before), strict=True)]
    return tuple(sorted(found, key=lambda one: one.jd_ut))


def days_since_solstice(turns: Sequence[SunTurn], jd_ut: float) -> tuple[str, int] | None:
    """The last solstice before an instant and the whole days since; None before the first of the turns."""
    past = [one for one in turns if "solstice" in one.what and one.jd_ut <= jd_ut]
    return (past[-1].what, int(np.floor(jd_ut - past[-1].jd_ut))) if past else None


# --- who is up ---


def _spread(start: Floats, stop: Floats, steps: int) -> Floats:
    """Middles of equal parts of each night's dark: (nights, steps)."""
    return start[:, None] + (np.arange(steps) + 0.5) / steps * (stop - start)[:, None]


def _monthly(values: Floats, month: Ints) -> Floats:
    """Means over each month's nights: (figures, 12)."""
    return np.stack([values[:, month == one].mean(axis=1) for one in range(12)], axis=1)


def _best_months(evening_h: Floats) -> tuple[int, ...]:
    most = float(evening_h.max())
    if most < LEAST_EVENING_H:
        return ()
    return tuple(int(at) + 1 for at in np.flatnonzero(evening_h >= GOOD_SHARE * most))


def _runs(up: Flags, edges: Floats) -> tuple[tuple[float, float], ...]:
    """Stretches of a night in which a figure is up; ``edges`` are the borders of its parts."""
    return tuple((float(edges[a]), float(edges[b])) for a, b in runs(up))


# --- the year ---


def figure_years(figures: Mapping[str, Sequence[int]], place: Place, year: int) -> YearOfFigures:
    """The year of many figures (key -> Hipparcos numbers) at one place in an astronomical year."""
    check_year(year)
    wanted = {key: sorted(set(hips)) for key, hips in figures.items() if len(hips)}
    month_starts = (*(julian_day(year, month, 1) for month in range(1, 13)), julian_day(year + 1, 1, 1))
    calendar, turns = calendar_date(month_starts[0])[0].calendar, sun_turns(year)
    if not wanted:
        return YearOfFigures(year, calendar, month_starts, turns, ())
    stars = load_catalogue()
    sun = sun_table(month_starts[0] - 4, month_starts[-1] + 4)
    moments = night_moments(place, noons_of(place, year), sun)
    bands = year_bands(wanted, place, year, moments)
    leading = [_brightest(stars, hips) for hips in wanted.values()]
    table = phase_table(leading, place, year, table=sun)
    dark_h, evening_h, nights = _hours(members_of(wanted, year), place, month_starts, moments)
    rows = [
        FigureYear(key, leading[i], bands[i], _phase_days(table, i, month_starts, place), NEVER[int(table.never[i])],
                   tuple(dark_h[i].tolist()), tuple(evening_h[i].tolist()), _best_months(evening_h[i]),
                   tuple(_runs(up[i], edges) for up, edges in nights))
        for i, key in enumerate(wanted)
    ]
    return YearOfFigures(year, calendar, month_starts, turns, tuple(rows))


def _brightest(stars: Catalogue, hips: Sequence[int]) -> int:
    """The star that leads a figure: the brightest; the lower number of equals."""
    return min(zip(stars.v_mag[stars.indices(list(hips))].tolist(), hips, strict=True))[1]


def _phase_days(table: PhaseTable, column: int, month_starts: tuple[float, ...],
                place: Place) -> dict[str, tuple[float, ...]]:
    """The midnights of each phase that begin a day of the year."""
    first, last = (at - place.lon_deg / 360 - 1e-6 for at in (month_starts[0], month_starts[-1]))
    inside = (table.midnights >= first) & (table.midnights < last)
    return {name: tuple(table.midnights[inside & getattr(table, name)[:, column]].tolist()) for name in PHASES}


def _hours(members: Members, place: Place, month_starts: tuple[float, ...],
           moments: Moments) -> tuple[Floats, Floats, list[tuple[Flags, Floats]]]:
    """Mean dark and evening hours (figures, 12), and for the 15th of each month who is up in parts of its night."""
    (dusk, has_dusk), (midnight, _), (dawn, has_dawn) = moments
    is_dark = has_dusk & has_dawn
    start, stop = np.where(is_dark, dusk, midnight), np.where(is_dark, dawn, midnight)
    some = slice(1, None, _EVERY)
    month = np.searchsorted(month_starts, np.arange(month_starts[0], month_starts[-1])[some], side="right") - 1
    parts = _spread(start[some], stop[some], _NIGHT_STEPS)
    up = members.up(parts.ravel(), place).reshape(-1, *parts.shape)
    early = up & (parts <= midnight[some, None])
    dark_h, evening_h = (one.mean(axis=2) * (stop - start)[some] * 24 for one in (up, early))
    fifteenth = [int(first - month_starts[0]) + 14 for first in month_starts[:12]]
    edges = np.linspace(start[fifteenth], stop[fifteenth], _FINE_STEPS + 1, axis=1)
    fine = members.up(((edges[:, :-1] + edges[:, 1:]) / 2).ravel(), place).reshape(-1, 12, _FINE_STEPS)
    nights = [(fine[:, at] & is_dark[day], edges[at]) for at, day in enumerate(fifteenth)]
    return _monthly(dark_h, month), _monthly(evening_h, month), nights
