"""Days of the year by the sky: while a figure is up at dusk, or from its first dawn rising to its last dusk setting.

Dusk is the end of nautical twilight (sun 12 degrees under the horizon), or of civil twilight (6) where it gets no
darker; where it gets no darker than that, nothing is up at dusk. A figure is up when half of its stars stand above 10
degrees: the rule of archive.sky.tonight, so that both say the same of a night. Rising and setting go by the figure's
brightest star, and are uncertain by 3 days (archive.sky.phases gives the papers). What cannot be worked out is closed.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ..models import SkyRule
from ..sky import Phases, Place, SkyError, load_catalogue, star_altaz, star_phases
from ..sky.horizon import sun_reaches, sun_table
from ..sky.tonight import UP_ALTITUDE_DEG, UP_SHARE
from ..sky.vectors import DEGREE

# Before the calendar reform dates would need another calendar; after 2900 the clock's own drift grows past a minute.
FIRST_YEAR, LAST_YEAR = 1600, 2900
UNIX_EPOCH_JD = 2440587.5  # 1970-01-01T00:00
UNCERTAINTY_DAYS = 3


@lru_cache(maxsize=512)
def days_of(rule: str, stars: tuple[int, ...], latitude_deg: float, longitude_deg: float, year: int) -> frozenset[date]:
    """The days of a year that belong to the season."""
    if not stars or not FIRST_YEAR < year < LAST_YEAR:
        return frozenset()
    place = Place(latitude_deg, longitude_deg)
    try:
        found = _up_at_dusk(stars, place, year) if rule == SkyRule.DUSK else _seen(stars, place, year)
    except SkyError:
        return frozenset()
    return frozenset(found)


def _up_at_dusk(stars: Sequence[int], place: Place, year: int) -> list[date]:
    days = [date(year, 1, 1) + timedelta(days=at) for at in range((date(year + 1, 1, 1) - date(year, 1, 1)).days)]
    dusks = _dusks(days, place)
    dark = np.flatnonzero(np.isfinite(dusks))
    altitudes_deg, _azimuths = star_altaz(stars, place, dusks[dark])
    is_up = np.mean(altitudes_deg > UP_ALTITUDE_DEG, axis=1) >= UP_SHARE
    return [days[at] for at in dark[is_up]]


def _dusks(days: list[date], place: Place) -> NDArray[np.float64]:
    """The end of dusk on each day as a Julian date (UT); infinite where the sun does not sink so far."""
    first = (days[0] - date(1970, 1, 1)).days + UNIX_EPOCH_JD
    noons = np.float64(first + 0.5 - place.lon_deg / 360) + np.arange(len(days), dtype=np.float64)
    table = sun_table(float(noons[0]), float(noons[-1]) + 1)
    latitude, longitude = place.lat_deg * DEGREE, place.lon_deg * DEGREE
    nautical, civil = (sun_reaches(table, latitude, longitude, noons, altitude) for altitude in (-12.0, -6.0))
    dusks = np.where(np.isfinite(nautical), nautical, civil)
    dark_all_day = np.isneginf(nautical)
    return np.where(dark_all_day, noons, dusks)


def _seen(stars: Sequence[int], place: Place, year: int) -> list[date]:
    """The days from each first dawn rising to the last dusk setting that ends what began with it.

    A star far from the sun's path may rise at dawn before it has set at dusk: that setting ends what began a year
    earlier, so the one that counts is the first after the evening rising in the middle. Such a star is always seen.
    """
    leading = brightest(stars)
    phases = [_phases(leading, place, each) for each in range(year - 2, year + 3)]
    rises, middles, sets = (
        sorted(date.fromisoformat(day) for days in found for day in days)
        for found in (
            [each.morning_rising for each in phases],
            [each.evening_rising for each in phases],
            [each.evening_setting for each in phases],
        )
    )
    found: set[date] = set()
    for first in rises:
        middle = min((day for day in middles if day > first), default=date.max)
        last = min((day for day in sets if day > middle), default=None)
        if last is not None:
            found |= {first + timedelta(days=at) for at in range((last - first).days + 1)}
    return [day for day in found if day.year == year]


@lru_cache(maxsize=512)
def _phases(star: int, place: Place, year: int) -> Phases:
    """Kept, since each year is asked for by the years around it."""
    return star_phases(star, place, year)


def brightest(stars: Sequence[int]) -> int:
    """The star that leads a figure: the brightest, by Hipparcos V magnitude; the lower number of equals."""
    known = load_catalogue()
    magnitudes = known.v_mag[known.indices(list(stars))]
    return int(min(zip(magnitudes, stars, strict=True))[1])


def never(rule: str, stars: Sequence[int], latitude_deg: float, longitude_deg: float, year: int) -> str:
    """Why a rule gives no season there: "rises", "sets" (the leading star never does), "known", or nothing."""
    try:
        phases = _phases(brightest(stars), Place(latitude_deg, longitude_deg), year)
    except (SkyError, ValueError, IndexError):
        return "known"
    return phases.never if rule == SkyRule.YEAR else ""
