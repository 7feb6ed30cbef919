"""Looking places over before they are taken in: what is odd about where they lie, and what is known already."""

from __future__ import annotations

from collections.abc import Iterator

from django.utils.translation import gettext as _

from ..access.desk import Known
from ..access.table_rows import Problem
from ..maps import outline
from ..maps.globe import distance_km
from ..models import House
from .places_in import PlaceRow, ReadPlaces

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
    words = far_off(row.latitude_deg, row.longitude_deg, house)
    if words:
        yield "latitude", words


def far_off(latitude_deg: float, longitude_deg: float, house: House) -> str:
    """Words on a spot that lies far from the home place, and on how far it were with north and east swapped."""
    away_km = _from_home_km(latitude_deg, longitude_deg, house)
    if away_km <= FAR_KM:
        return ""
    sea = "" if outline.is_land(house.is_invented, latitude_deg, longitude_deg) else _("Is this in the sea? ")
    there_km = _from_home_km(longitude_deg, latitude_deg, house) if abs(longitude_deg) <= 90 else away_km
    if there_km * MUCH_NEARER < away_km:
        words = _("It lies %(away)s km from the home place; with north and east swapped it would be %(there)s km.")
        return sea + words % {"away": f"{away_km:,.0f}", "there": f"{there_km:,.0f}"}
    return sea + _("It lies %(away)s km from the home place.") % {"away": f"{away_km:,.0f}"}


def _known(row: PlaceRow, known: Known, seen: dict[str, int]) -> Iterator[str]:
    before = seen.setdefault(row.name.casefold(), row.number)
    if before != row.number:
        yield _("Row %(row)d has the same name.") % {"row": before}
    if known.find(row.name):
        yield _("A place of this name is known already. Taken in, there are two.")


def _from_home_km(latitude_deg: float, longitude_deg: float, house: House) -> float:
    return float(distance_km(latitude_deg, house.latitude_deg, longitude_deg - house.longitude_deg))
