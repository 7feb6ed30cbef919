"""A mirror measured, from nothing but what its page shows: places, stars and a year.

What is worked out is kept by these alone. It holds nothing that the viewer was not given, so that it is the same for
all who meet the same pairs, whatever the council decides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from ...access.showing import MirrorPair
from ...sky import (
    FEWEST_FOR_A_CLAIM,
    Chance,
    Field,
    Laid,
    Years,
    chance_of_pairing,
    chance_of_places,
    chance_of_stars,
    field_of,
    lay_mirror,
    through_years,
)

Pairs = tuple[tuple[float, float, int], ...]
"""Latitude and longitude in degrees of each place, and the Hipparcos number of its star."""

SELDOM = 0.05


@dataclass(frozen=True)
class Measured:
    """The shares of chance are None where no claim is made, `by_stars` also where the field holds too few."""

    laid: Laid
    years: Years
    field: Field
    by_pairing: Chance | None = None
    by_places: Chance | None = None
    by_stars: Chance | None = None

    @property
    def is_seldom(self) -> bool:
        """Whether chance does as well in fewer than one of twenty, by every question asked."""
        asked = [one for one in (self.by_pairing, self.by_places, self.by_stars) if one is not None]
        return bool(asked) and all(one.share <= SELDOM for one in asked)


def pairs_of(pairs: Sequence[MirrorPair]) -> Pairs:
    return tuple((*pair.place.at, pair.hip) for pair in pairs if pair.place.at is not None)


@lru_cache(maxsize=256)
def measure(pairs: Pairs, year: float) -> Measured:
    """Raises SkyError, in words, where there is nothing to measure."""
    latitudes, longitudes, hips = ([one[column] for one in pairs] for column in range(3))
    laid = lay_mirror(latitudes, longitudes, [int(hip) for hip in hips], year)
    chances = _chances(pairs) if len(pairs) >= FEWEST_FOR_A_CLAIM else {}
    years = _years(pairs, laid.best.reflected)
    return Measured(laid, years, _field(pairs), **chances)


@lru_cache(maxsize=256)
def _years(pairs: Pairs, reflected: bool) -> Years:
    latitudes, longitudes, hips = zip(*pairs, strict=True)
    return through_years(latitudes, longitudes, hips, reflected)


@lru_cache(maxsize=256)
def _field(pairs: Pairs) -> Field:
    return field_of([hip for *_, hip in pairs])


@lru_cache(maxsize=256)
def _chances(pairs: Pairs) -> dict[str, Chance | None]:
    """By the sky of the year 2000: the stars move too little for another year to change a share that matters."""
    latitudes, longitudes, hips = zip(*pairs, strict=True)
    laid = lay_mirror(latitudes, longitudes, hips)
    patterns = (laid.stars_deg, laid.places_km)
    return {
        "by_pairing": chance_of_pairing(*patterns),
        "by_places": chance_of_places(*patterns),
        "by_stars": chance_of_stars(*patterns, _field(pairs)),
    }
