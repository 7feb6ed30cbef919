"""A figure's year at one place: the nights on which it is up in the evening, at midnight and before dawn.

A figure is up when at least half of its stars stand above 10 degrees (true altitude).  The evening is read at
the end of nautical dusk, the morning at the beginning of nautical dawn (sun at -12 degrees); nights that never
get that dark count as having neither, and midnight counts only where the sun is below -12.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .altaz import Place, greenwich_sidereal
from .catalogue import load_catalogue
from .frames import precession, star_vectors
from .horizon import SunTable, sun_reaches, sun_table
from .times import format_date, julian_day, year_start
from .tonight import UP_ALTITUDE_DEG, UP_SHARE
from .vectors import DEGREE, Flags, Floats, as_floats, rotate, runs, unit

SUN_ALTITUDE_DEG = -12.0


@dataclass(frozen=True)
class YearBand:
    """Flags for each night of the year, in order (the night that begins on that day), and evening spans.

    ``evening_spans`` are first and last nights (ISO dates, in the calendar of the year) of each run of nights
    with the figure up in the evening; a run that meets the year's end stops there.
    """

    key: str
    evening: Flags
    midnight: Flags
    morning: Flags
    evening_spans: tuple[tuple[str, str], ...]


def _spans(flags: Flags, first_jd: float) -> tuple[tuple[str, str], ...]:
    return tuple((format_date(first_jd + a), format_date(first_jd + b - 1)) for a, b in runs(flags))


Moments = tuple[tuple[Floats, Flags], ...]


def night_moments(place: Place, noon: Floats, table: SunTable | None = None) -> Moments:
    """Dusk, midnight and dawn of each night after a local mean noon (Julian dates, UT), and whether each is dark."""
    table = table or sun_table(float(noon[0]) - 1, float(noon[-1]) + 2)
    lat, lon = place.lat_deg * DEGREE, place.lon_deg * DEGREE
    dusk = sun_reaches(table, lat, lon, noon, SUN_ALTITUDE_DEG)
    dawn = sun_reaches(table, lat, lon, noon, SUN_ALTITUDE_DEG, morning=True)
    midnight = noon + 0.5
    dark = table.altitude(midnight, lat, lon)[0] / DEGREE <= SUN_ALTITUDE_DEG
    all_dark = np.isneginf(dusk) | np.isneginf(dawn)
    dusk, dawn = np.where(all_dark, noon + 0.25, dusk), np.where(all_dark, noon + 0.75, dawn)
    return tuple((np.where(ok, jd, midnight), ok) for jd, ok in (
        (dusk, np.isfinite(dusk)), (midnight, dark), (dawn, np.isfinite(dawn))))


def noons_of(place: Place, year: int) -> Floats:
    """Local mean noon (Julian dates, UT) of each day of an astronomical year."""
    first = year_start(year)
    return as_floats(np.arange(first, julian_day(year + 1, 1, 1)) + 0.5 - place.lon_deg / 360)


@dataclass(frozen=True)
class Members:
    """Which stars make which figure: directions of date (k, 3) and shares (figures, k) that add up to 1."""

    of_date: Floats
    shares: Floats

    def up(self, jd: Floats, place: Place) -> Flags:
        """Which figures are up at instants, light or dark: (figures, instants)."""
        zenith = unit(greenwich_sidereal(jd) + place.lon_deg * DEGREE, place.lat_deg * DEGREE)
        high = (zenith @ self.of_date.T >= np.sin(UP_ALTITUDE_DEG * DEGREE)).astype(np.float32)
        return self.shares.astype(np.float32) @ high.T >= UP_SHARE - 1e-6


def members_of(figures: Mapping[str, Sequence[int]], year: int) -> Members:
    """The stars of figures (each with at least one) in the middle of a year."""
    hips = np.unique(np.concatenate([np.asarray(one, dtype=np.int64) for one in figures.values()]))
    stars = load_catalogue()
    of_date = rotate(precession(year + 0.5), star_vectors(stars, stars.indices(hips), year + 0.5))
    shares = np.zeros((len(figures), len(hips)))
    for row, one in zip(shares, figures.values(), strict=True):
        row[np.searchsorted(hips, one)] = 1.0
    return Members(of_date, shares / shares.sum(axis=1, keepdims=True))


def year_bands(figures: Mapping[str, Sequence[int]], place: Place, year: int,
               moments: Moments | None = None) -> list[YearBand]:
    """The year of many figures (key -> Hipparcos numbers) at one place in an astronomical year.

    ``moments`` are those of ``night_moments`` for ``noons_of`` that place and year, if they are known already.
    """
    keys = [key for key, hips in figures.items() if len(hips)]
    if not keys:
        return []
    members = members_of({key: figures[key] for key in keys}, year)
    up = [members.up(jd, place) & dark for jd, dark in moments or night_moments(place, noons_of(place, year))]
    evening, midnight, morning = up
    return [YearBand(key, evening[i], midnight[i], morning[i], _spans(evening[i], year_start(year)))
            for i, key in enumerate(keys)]
