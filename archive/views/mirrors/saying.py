"""What a measured mirror says in words: how it lies, how far off it is, and how much of that to believe."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from ...sky import FEWEST_FOR_A_CLAIM, Chance
from ...sky.mirror import WIDE_DEG
from ..sky.words import year as year_words
from .measured import SELDOM, Measured

Shown = dict[str, Any]
WIDE_KM = 2000.0  # from here on a flat map is off by more than a thousandth


def km(value: float) -> str:
    if value < 0.01:
        return _("under 10 m")
    digits = 2 if value < 1 else 1 if value < 100 else 0
    return _("%(length)s km") % {"length": f"{value:.{digits}f}"}


def degrees(value: float) -> str:
    return f"{value:.2f}°" if value < 10 else f"{value:.0f}°"


def miss(length_km: float, angle_deg: float) -> str:
    return f"{km(length_km)} · {degrees(angle_deg)}"


# --- how it lies ---


def facts(found: Measured) -> list[Shown]:
    laid = found.laid
    rows = [
        (_("How it lies"), _handed(found)),
        (_("Scale"), _("%(length)s to a degree of sky") % {"length": km(laid.best.scale)}),
        (_("The sky's north lies along"), _north(found)),
        (_("Off by, on the whole"), miss(laid.best.mean_square**0.5, laid.best.mean_square**0.5 / laid.best.scale)),
        (_("Likeness"), _("%(share)s (1 is the same form; the other way round: %(other)s)") % {
            "share": f"{laid.best.r_squared:.3f}", "other": f"{laid.other.r_squared:.3f}"}),
    ]
    return [{"term": term, "value": value} for term, value in rows]


def _handed(found: Measured) -> str:
    if found.laid.collinear:
        return _("What lies along a line cannot tell whether it is turned over.")
    if found.laid.best.reflected:
        return _("Turned over against the sky as it is seen looking up, like a sky in still water.")
    return _("Not turned over: on a map the places run round the same way as the stars do, looking up.")


def _north(found: Measured) -> str:
    bearing = _("%(degrees)d° from north through east") % {"degrees": round(found.laid.north_bearing_deg) % 360}
    if found.laid.round_pole:
        return _("%(bearing)s (the pole stands within the figure, and north is another way at each star)") % {
            "bearing": bearing}
    return bearing


def cautions(found: Measured) -> list[str]:
    """Where the flat drawing itself is at fault."""
    said = []
    if found.laid.sky_radius_deg > WIDE_DEG:
        said.append(_("The figure is so wide that a flat chart of it is stretched at its edge: expect a worse fit."))
    if abs(found.laid.places_km).max() > WIDE_KM:
        said.append(_("The places lie so far apart that a flat map of them is stretched at its edge."))
    return said


# --- how much to believe ---


def belief(found: Measured) -> list[str]:
    count = found.laid.points
    if count == 2:
        return [_("Two places always fit two stars, exactly and both ways. The drawing can show nothing by itself.")]
    if count < FEWEST_FOR_A_CLAIM:
        return [
            ngettext(
                "With %(count)d pair chance fits well too often, and no share is given: three points reach a likeness"
                " of 0.97 by chance once in twenty times, four reach 0.84. It needs five.",
                "With %(count)d pairs chance fits well too often, and no share is given: three points reach a likeness"
                " of 0.97 by chance once in twenty times, four reach 0.84. It needs five.", count,
            ) % {"count": count}
        ]
    return [*_shares(found), _verdict(found.is_seldom), _chosen()]


def belief_in_search(chance: Chance, stars: int) -> list[str]:
    """Of pairs that were looked for, or chosen among `stars`."""
    said = _("Throw as many places anywhere into the same circle of ground and look for the best pairing of those with"
             " these %(stars)d stars: %(share)s fits as well.") % {"stars": stars, "share": share_words(chance)}
    seldom = _verdict(chance.share <= SELDOM)
    return [said, seldom, _("Every draw chose its stars and its pairing anew, as you did. Had you chosen among other"
                            " figures or other places too, chance would do as well more often still.")]


def _shares(found: Measured) -> list[str]:
    said = []
    if found.by_pairing:
        said.append(_("Pair these places with these stars in another way: %(share)s fits as well.") % {
            "share": share_words(found.by_pairing)})
    if found.by_places:
        said.append(_("Throw as many places anywhere into the same circle of ground: %(share)s fits as well.") % {
            "share": share_words(found.by_places)})
    others = len(found.field.hips)
    field = {"faintest": f"{found.field.faintest:.1f}", "across": round(2 * found.field.radius_deg), "stars": others}
    if found.by_stars:
        said.append(_(
            "Draw other stars down to magnitude %(faintest)s from the same circle of sky, %(across)d° across, which"
            " holds %(stars)d: %(share)s fits as well.") % (field | {"share": share_words(found.by_stars)}))
    else:
        said.append(_("The circle of sky, %(across)d° across, holds only %(stars)d stars down to magnitude"
                      " %(faintest)s: there are hardly others to draw from.") % field)
    return said


def share_words(chance: Chance) -> str:
    """“1 in 120 (all were tried)”, “3 in 10 (of 2000 drawn, give or take 0.01)”."""
    if chance.is_exact:
        return _("%(hits)s in %(tried)s (all were tried)") % {
            "hits": f"{round(chance.share * chance.tried):,}", "tried": f"{chance.tried:,}"}
    if chance.share * (chance.tried + 1) < 1.5:
        return _("fewer than 1 in %(tried)s (none of so many drawn)") % {"tried": f"{chance.tried:,}"}
    few = _("1 in %(many)d") % {"many": round(1 / chance.share)} if chance.share < 0.1 else _("%(some)d in 10") % {
        "some": round(chance.share * 10)}
    return _("about %(few)s (of %(tried)s drawn, give or take %(error).3f)") % {
        "few": few, "tried": f"{chance.tried:,}", "error": chance.error}


def _verdict(is_seldom: bool) -> str:
    if is_seldom:
        return _("Chance seldom does as well. That tells of the form alone, not of what anybody meant.")
    return _("Chance does as well often enough: the drawing adds nothing to the telling, and takes nothing from it.")


def _chosen() -> str:
    return _(
        "This holds for pairs that were told before anybody measured. Where places, stars or their pairing were chosen"
        " because they fit, chance does as well far more often.")


# --- the years ---


def years(found: Measured) -> list[str]:
    held = found.years
    here = found.laid.best.mean_square**0.5
    said = _("In the year %(year)s it is off by %(here)s on the whole; least, by %(least)s, in %(best)s.") % {
        "year": year_words(int(found.laid.year)), "here": km(here), "least": km(held.least_km),
        "best": year_words(held.least_year)}
    return [said, _flatness(found), _("Precession changes no form; only the stars' own slow motion does.")]


def _flatness(found: Measured) -> str:
    held = found.years
    words = _("Every year from %(first)s to %(last)s fits as well within the scatter of the pairs.") % {
        "first": year_words(held.flat_from), "last": year_words(held.flat_to)}
    if held.tells_nothing:
        return f"{words} {_('It tells no year.')}"
    if held.is_at_edge:
        words += " " + _("The least lies at the end of the years for which the stars are known, and is none.")
    return f"{words} {_('That is no date.')}"
