"""Trying a mirror that nobody has told: choose places and stars, pair them or let pairings be proposed, see the fit.

Only what the viewer meets in full can be chosen. What is tried is in the address and is kept nowhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from urllib.parse import urlencode

from django.http import HttpResponse, QueryDict
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from ...access import ground
from ...access.gate import Gate
from ...access.showing import FigureShown, MirrorPair, PlaceShown
from ...sky import (
    FEWEST_FOR_A_CLAIM,
    Chance,
    Pairing,
    SkyError,
    chance_of_search,
    load_catalogue,
    places_on_map,
    propose_pairings,
    stars_on_chart,
)
from ..loading import GatedRequest
from ..pages import stars
from ..pages.parts import Shown
from . import measured, pages, saying
from .pages import YearForm

MOST_PLACES, MOST_STARS = 9, 20
MOST_LISTED = 400
PROPOSED = 5


@dataclass(frozen=True)
class Tried:
    """What was chosen, as far as it is met. `paired` holds the star of each place, 0 where none was chosen yet."""

    places: tuple[PlaceShown, ...]
    figure: FigureShown | None
    hips: tuple[int, ...]
    paired: tuple[int, ...]
    trouble: str = ""

    @property
    def is_paired(self) -> bool:
        return len(self.places) > 1 and all(self.paired)

    @property
    def query(self) -> list[tuple[str, str]]:
        chosen = [("place", one.label.ref) for one in self.places]
        if self.figure:
            chosen.append(("figure", self.figure.label.ref))
        return chosen if self.figure else [*chosen, ("stars", " ".join(map(str, self.hips)))]


@require_safe
def page(request: GatedRequest) -> HttpResponse:
    gate = request.gate
    places = ground.exact_places(gate)
    figures = ground.figures_to_draw(gate)
    tried = _tried(request.GET, places, figures)
    form = YearForm(request.GET)
    chosen = {one.label.ref for one in tried.places}
    listed = sorted(places, key=lambda one: one.label.ref not in chosen)[: max(MOST_LISTED, len(chosen))]
    return render(
        request,
        "mirrors/try.html",
        {
            "nav": "figures",
            "places": [{"label": one.label, "chosen": one.label.ref in chosen} for one in listed],
            "places_total": len(places),
            "figures": [
                {"label": one.label, "chosen": tried.figure is not None and one.label.ref == tried.figure.label.ref}
                for one in figures
            ],
            "stars_typed": "" if tried.figure else request.GET.get("stars", "")[:200],
            "chosen_trouble": tried.trouble,
            "form": form,
        }
        | _by_hand(tried)
        | _proposed(tried, form)
        | _fitted(tried, form, gate),
    )


# --- what was chosen ---


def _tried(asked: QueryDict, places: Sequence[PlaceShown], figures: Sequence[FigureShown]) -> Tried:
    refs = list(dict.fromkeys(asked.getlist("place")))
    known = {one.label.ref: one for one in places}
    chosen = tuple(known[ref] for ref in refs if ref in known)
    figure = next((one for one in figures if one.label.ref == asked.get("figure")), None)
    listed = load_catalogue().listed
    typed = figure.stars if figure else _numbers(asked.get("stars", ""))
    hips = tuple(dict.fromkeys(hip for hip in typed if hip in listed))
    paired = tuple(_one_of(asked.get(f"star-{one.label.ref}", ""), hips) for one in chosen)
    return Tried(chosen, figure, hips, paired, _trouble(chosen, hips, asked))


def _numbers(text: str) -> list[int]:
    words = text.upper().replace("HIP", " ").replace(",", " ").split()
    return [int(word) for word in words[:MOST_STARS] if word.isascii() and word.isdigit() and len(word) < 7]


def _one_of(text: str, hips: Sequence[int]) -> int:
    return next((hip for hip in hips if str(hip) == text), 0)


def _trouble(places: Sequence[PlaceShown], hips: Sequence[int], asked: QueryDict) -> str:
    if not (asked.get("place") or asked.get("figure") or asked.get("stars")):
        return ""
    if len(places) < 2:
        return _("Choose at least two places.")
    if len(places) > MOST_PLACES:
        return _("Choose no more than %(most)d places: you chose %(many)d.") % {
            "most": MOST_PLACES, "many": len(places)}
    if len(hips) < len(places):
        return _("Too few stars are known: %(stars)d for %(places)d places. Choose a figure with as many stars, or type"
                 " Hipparcos numbers of stars down to magnitude 6.5.") % {"places": len(places), "stars": len(hips)}
    return ""


# --- pairing ---


def _by_hand(tried: Tried) -> Shown:
    """A star to choose for each place."""
    if tried.trouble or not tried.places:
        return {}
    rows = [
        {
            "label": place.label,
            "choices": [{"hip": hip, "name": stars.name(hip), "chosen": hip == own} for hip in tried.hips],
        }
        for place, own in zip(tried.places, tried.paired, strict=True)
    ]
    return {"by_hand": rows, "kept": tried.query}


def _proposed(tried: Tried, form: YearForm) -> Shown:
    if tried.trouble or len(tried.places) < 3:
        return {}
    try:
        found = _propose(_spots(tried.places), tried.hips)
    except SkyError as error:
        return {"proposal_trouble": str(error)}
    year = form.data.get("year", "")
    return {"proposals": [_proposal(tried, one, year) for one in found]}


def _proposal(tried: Tried, one: Pairing, year: str) -> Shown:
    hips = [tried.hips[at] for at in one.stars]
    pairs = list(zip(tried.places, hips, strict=True))
    query = [*tried.query, *((f"star-{place.label.ref}", str(hip)) for place, hip in pairs), ("year", year)]
    return {
        "url": f"{reverse('try_mirror')}?{urlencode(query)}",
        "pairs": [{"label": place.label, "star": stars.name(hip)} for place, hip in pairs],
        "likeness": f"{one.r_squared:.3f}",
        "turned": one.reflected,
        "chosen": tuple(hips) == tried.paired,
    }


def _spots(places: Sequence[PlaceShown]) -> tuple[tuple[float, float], ...]:
    return tuple(one.at for one in places if one.at)


@lru_cache(maxsize=64)
def _propose(spots: tuple[tuple[float, float], ...], hips: tuple[int, ...]) -> list[Pairing]:
    return propose_pairings(stars_on_chart(hips), places_on_map(*zip(*spots, strict=True)), PROPOSED)


@lru_cache(maxsize=64)
def _searched(spots: tuple[tuple[float, float], ...], hips: tuple[int, ...], likeness: float) -> Chance:
    return chance_of_search(stars_on_chart(hips), places_on_map(*zip(*spots, strict=True)), likeness)


# --- the fit ---


def _fitted(tried: Tried, form: YearForm, gate: Gate) -> Shown:
    if tried.trouble or not tried.is_paired:
        return {}
    pairs = [MirrorPair(place, hip) for place, hip in zip(tried.places, tried.paired, strict=True)]
    year = pages.year_of(form, gate)
    chosen = [(f"star-{pair.place.label.ref}", str(pair.hip)) for pair in pairs]
    shown = pages.fitted(pairs, tried.figure, year) | {"kept_for_year": [*tried.query, *chosen]}
    if "ground" in shown:
        shown["belief"] = _belief(tried, measured.measure(measured.pairs_of(pairs), float(year)))
    return shown


def _belief(tried: Tried, found: measured.Measured) -> list[str]:
    """Whoever tries pairs has looked for a good one: so does every draw."""
    if len(tried.places) < FEWEST_FOR_A_CLAIM:
        return saying.belief(found)
    likeness = round(found.laid.best.r_squared, 9)
    try:
        chance = _searched(_spots(tried.places), tried.hips, likeness)
    except SkyError as error:
        return [str(error)]
    return saying.belief_in_search(chance, len(tried.hips))


urlpatterns: list[URLPattern] = [path("mirrors/try/", page, name="try_mirror")]
