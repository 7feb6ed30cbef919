"""near: a point, or a place by its name, and how many kilometres round it.

Distances are those on a sphere (archive.maps.globe); good to half a percent on the ellipsoid. A place whose spot is not
for the viewer counts by the cell they are shown, at its nearest edge: nothing more of the spot can be worked out than
the map shows.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..access import skyties
from ..maps.globe import distance_km
from ..models import Kind, TieKind
from .aims import ASKED, WITHIN, Aim, Ask, Role, along, named, nothing
from .query import Clause
from .words import words_of

DEFAULT_KM, MOST_KM = 5.0, 20_100.0
DISTANCE = re.compile(
    r"(?P<where>.*?)[\s,;]*(?:\bwithin\s*)?(?<![\d.])(?P<km>\d{1,5}(?:\.\d{1,3})?)\s*km", re.IGNORECASE
)
POINT = re.compile(r"(?P<lat>[-−+]?\d{1,3}(?:\.\d+)?)\s*[,;\s]\s*(?P<lon>[-−+]?\d{1,3}(?:\.\d+)?)", re.ASCII)


@dataclass(frozen=True)
class Area:
    """From south to north and from west to east, in degrees; a point has no width."""

    south: float
    west: float
    north: float
    east: float


def aim(ask: Ask, clause: Clause) -> Aim:
    where, km = read(clause.value)
    if not where or km > MOST_KM:
        return nothing(ask.sight, "near")
    spots = skyties.spots(ask.gate)
    centres, asked = _centres(ask, where, spots)
    if not centres:
        return nothing(ask.sight, "place" if not POINT.fullmatch(where) else "near")
    away = np.min([away_km(centre, spots.south, spots.west, spots.north, spots.east) for centre in centres], axis=0)
    roles = {
        int(number): Role(WITHIN, 1 / (1 + float(distance)), float(distance))
        for number, distance in zip(spots.places, away, strict=True)
        if distance <= km
    }
    roles |= {number: Role(ASKED) for number in asked}
    kinds = (TieKind.BELONGS_TO.value, TieKind.RECORDED_AT.value)
    return Aim(nothing(ask.sight).plain, along(ask.sight, kinds, roles), roles)


def read(value: str) -> tuple[str, float]:
    """Where, as it is written, and how far: `46.1,-38.2 within 3 km`, `46.1,-38.2,3km`, `Kiln Head, 3 km`."""
    match = DISTANCE.fullmatch(value.strip())
    if match is None:
        return value.strip(), DEFAULT_KM
    return match["where"].strip(" ,;"), float(match["km"])


def _centres(ask: Ask, where: str, spots: skyties.Spots) -> tuple[list[Area], list[int]]:
    """The point that is written, or the areas of the places that are called so, with their numbers."""
    point = POINT.fullmatch(where)
    if point:
        latitude, longitude = (float(point[name].replace("−", "-")) for name in ("lat", "lon"))
        fits = abs(latitude) <= 90 and abs(longitude) <= 180
        return ([Area(latitude, longitude, latitude, longitude)] if fits else []), []
    asked = named(ask, Clause("", tuple(words_of(where))), Kind.PLACE) if words_of(where) else []
    at = np.flatnonzero(np.isin(spots.places, asked))
    areas = [Area(*(float(side[one]) for side in (spots.south, spots.west, spots.north, spots.east))) for one in at]
    return areas, asked


Degrees = NDArray[np.float64]


def away_km(one: Area, south: Degrees, west: Degrees, north: Degrees, east: Degrees) -> Degrees:
    """The distance from an area to each of others, at the nearest; 0 where they share a point.

    Exact for points and for areas that are level with each other; for areas that lie slantwise the corners are taken,
    which is nearest to within the width of a cell.
    """
    here = np.clip((south + north) / 2, one.south, one.north)
    here = np.where(north < one.south, one.south, np.where(south > one.north, one.north, here))
    there = np.clip(here, south, north)
    apart = _apart_deg(one, west, east)
    return distance_km(here, there, apart)


def _apart_deg(one: Area, west: Degrees, east: Degrees) -> Degrees:
    """Degrees of longitude between two stretches, the short way round; 0 where they share a meridian."""
    width, other_width = one.east - one.west, east - west
    to_east = np.mod(west - one.west, 360.0)  # from the one's western edge eastward to the other's
    eastward = np.maximum(to_east - width, 0.0)
    westward = np.maximum(360.0 - to_east - other_width, 0.0)
    return np.where(to_east <= width, 0.0, np.minimum(eastward, westward))
