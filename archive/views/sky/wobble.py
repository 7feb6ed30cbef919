"""How a figure stands to the turning of the pole, in sentences for its page."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.translation import gettext as _

from ...sky import FigureWobble, figure_wobble, load_catalogue
from ...sky.times import FIRST_YEAR, LAST_YEAR
from . import words

NEAR_DEG = 15.0
"""A star that never comes so near to a pole is not told of."""


def sentences(stars: Sequence[int], year: int) -> list[str]:
    """Empty for a figure that has nothing to do with a pole between 10,001 BCE and 10,000 CE."""
    found = figure_wobble(stars, year)
    return [one for one in (_now(found, year), _spans(found, "north"), _spans(found, "south"), _ecliptic(found),
                            _nearest(found)) if one]


def _now(found: FigureWobble, year: int) -> str:
    side = found.holds_pole(year)
    if side == "north":
        return _("Today the north pole of the sky stands inside it.")
    return _("Today the south pole of the sky stands inside it.") if side else ""


def _spans(found: FigureWobble, side: str) -> str:
    if not found.spans[side]:
        return ""
    told = "; ".join(_span(first, last) for first, last in found.spans[side])
    return (_("The north pole's path crosses it: the pole stands inside it %(spans)s.") if side == "north" else
            _("The south pole's path crosses it: the pole stands inside it %(spans)s.")) % {"spans": told}


def _span(first: int, last: int) -> str:
    given = {"first": words.year(first), "last": words.year(last)}
    if first <= FIRST_YEAR:
        return _("until about %(last)s") % given
    return _("from about %(first)s on") % given if last >= LAST_YEAR else _("from about %(first)s to %(last)s") % given


def _ecliptic(found: FigureWobble) -> str:
    if found.ecliptic_pole == "north":
        return _("The middle of the pole's great circle, the northern pole of the sun's path, lies inside it.")
    if found.ecliptic_pole == "south":
        return _("The middle of the pole's great circle, the southern pole of the sun's path, lies inside it.")
    return ""


def _nearest(found: FigureWobble) -> str:
    near = found.nearest
    if near.separation_deg > NEAR_DEG:
        return ""
    given = {
        "star": load_catalogue().label(near.hip), "year": words.year(near.year),
        "degrees": words.number(near.separation_deg, 1),
    }
    if near.year in (FIRST_YEAR, LAST_YEAR):
        return _("Of 20,000 years its star %(star)s is nearest to the pole in %(year)s, %(degrees)s° away.") % given
    return _("Its star %(star)s comes nearest to the pole in about %(year)s, %(degrees)s° away.") % given
