"""Looking places over before they are taken in: what is odd about where they lie, and what is known already."""

from __future__ import annotations

from collections.abc import Iterator
from math import asin, cos, radians, sin, sqrt

from django.utils.translation import gettext as _

from ..access.desk import Known
from ..access.manifests import Problem
from ..maps import outline
from ..models import House
from .places_in import PlaceRow, ReadPlaces, turned

EARTH_KM = 6371.0088  # mean radius (IUGG 1980; Moritz, "Geodetic Reference System 1980", 1980)
FAR_KM = 300.0  # from the home place: farther than most communities' own ground; our own rule
MUCH_NEARER = 4.0  # times


def look_over(found: ReadPlaces, house: House, known: Known) -> list[Problem]:
    """The problems of reading and these, by row."""
    seen: dict[str, int] = {}
    problems = list(found.problems)
    for row in found.rows:
        problems += [Problem(row.number, column, "warning", text) for column, text in _odd(row, house)]
        problems += [Problem(row.number, "name", "warning", text) for text in _known(row, known, seen)]
    return sorted(problems, key=lambda one: one.row)


def _odd(row: PlaceRow, house: House) -> Iterator[tuple[str, str]]:
    if (row.latitude_deg, row.longitude_deg) == (0.0, 0.0):
        yield "latitude", _("It lies at 0, 0: programs write that where a place has no coordinates.")
        return
    home = (house.latitude_deg, house.longitude_deg)
    away_km = distance_km((row.latitude_deg, row.longitude_deg), home)
    other = turned(row)
    if away_km > FAR_KM and other is not None:
        there_km = distance_km((other.latitude_deg, other.longitude_deg), home)
        if there_km * MUCH_NEARER < away_km:
            words = _("It lies %(away)s km from the home place; with north and east swapped it would be %(there)s km.")
            yield "latitude", _sea(row, house) + words % {"away": f"{away_km:,.0f}", "there": f"{there_km:,.0f}"}
            return
    if away_km > FAR_KM:
        yield "latitude", _sea(row, house) + _("It lies %(away)s km from the home place.") % {"away": f"{away_km:,.0f}"}


def _sea(row: PlaceRow, house: House) -> str:
    on_land = outline.is_land(house.is_invented, row.latitude_deg, row.longitude_deg)
    return "" if on_land else _("Is this in the sea? ")


def _known(row: PlaceRow, known: Known, seen: dict[str, int]) -> Iterator[str]:
    before = seen.setdefault(row.name.casefold(), row.number)
    if before != row.number:
        yield _("Row %(row)d has the same name.") % {"row": before}
    if known.find(row.name):
        yield _("A place of this name is known already. Taken in, there are two.")


def distance_km(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Along a great circle of a sphere (haversine; Sinnott, Sky and Telescope 68, 1984), to half a percent."""
    (north_a, east_a), (north_b, east_b) = (tuple(map(radians, spot)) for spot in (one, other))
    half = sin((north_a - north_b) / 2) ** 2 + cos(north_a) * cos(north_b) * sin((east_a - east_b) / 2) ** 2
    return 2 * EARTH_KM * asin(min(1.0, sqrt(half)))
