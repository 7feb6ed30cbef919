"""Mirrors: the list, and the page of one: which places are which stars, who says so, and how they fit."""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import urlencode

from django import forms
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_safe

from ...access import details, showing
from ...access.gate import Gate
from ...access.showing import FigureShown, MirrorPair, MirrorShown
from ...models import Kind, Level, Mirror
from ...sky import SkyError
from ..loading import GatedRequest, fetch, item_page
from ..pages import parts, stars
from ..pages.listing import PAGE_SIZE
from ..pages.parts import Shown
from ..sky.chart import FIRST_YEAR, LAST_YEAR, OUT_OF_REACH
from ..sky.words import year as year_words
from . import drawing, graph, measured, saying


@require_safe
def index(request: GatedRequest) -> HttpResponse:
    gate = request.gate
    page = details.page_of(details.in_order(gate, Kind.MIRROR), parts.page_number(request), PAGE_SIZE)
    items = [_item(one) for one in details.mirrors(gate, page.numbers)]
    return render(
        request,
        "mirrors/list.html",
        {"nav": "figures", "items": items, "total": page.total, "page": parts.page_links(page)},
    )


def _item(one: MirrorShown) -> Shown:
    count = len(one.pairs)
    pairs = ngettext("%(count)d place and its star", "%(count)d places and their stars", count) % {"count": count}
    return {
        "kind": "sky",
        "url": parts.address(one.label),
        "title": one.label.text,
        "lang": one.label.language,
        "facts": [fact for fact in (one.figure.text if one.figure else "", pairs if count else "") if fact],
        "summary": one.about,
        "level": parts.level_word(one.label),
    }


class YearForm(forms.Form):
    """Left empty it is this year."""

    year = forms.IntegerField(
        label=gettext_lazy("The sky of the year"), required=False, min_value=FIRST_YEAR, max_value=LAST_YEAR,
        help_text=gettext_lazy("−10000 to 10000; 0 is 1 BCE, −2800 is 2801 BCE."), error_messages=OUT_OF_REACH,
    )


@item_page
@require_safe
def page(request: GatedRequest, ref: str) -> HttpResponse:
    row = fetch(request, Mirror, ref)
    gate = request.gate
    shown = showing.mirror(gate, row)
    form = YearForm(request.GET)
    figure = [{"term": _("Figure"), **parts.value(shown.figure)}] if shown.figure else []
    return render(
        request,
        "mirrors/mirror.html",
        parts.item_context(request, row, shown.label, "mirrors", _("Mirrors"))
        | {
            "nav": "figures",
            "about": shown.about,
            "rows": figure + parts.names_rows(showing.spellings(gate, row.pk), showing.house().language),
            "form": form,
            "star_headings": stars.headings(),
            "star_rows": stars.rows([pair.hip for pair in shown.pairs]),
            "try_url": _try_url(shown),
            "unpaired": [parts.chip(one) for one in shown.unpaired],
            "is_held_back": shown.label.level == Level.OPEN and any(one.level < Level.OPEN for one in shown.unpaired),
        }
        | fitted(shown.pairs, _figure(gate, shown), year_of(form, gate)),
    )


def _try_url(shown: MirrorShown) -> str:
    """The same places and figure, to be paired otherwise."""
    if not shown.pairs or shown.figure is None:
        return ""
    chosen = [("place", pair.place.label.ref) for pair in shown.pairs] + [("figure", shown.figure.ref)]
    return f"{reverse('try_mirror')}?{urlencode(chosen)}"


def year_of(form: YearForm, gate: Gate) -> int:
    asked: int | None = form.cleaned_data.get("year") if form.is_valid() else None
    return gate.moment.year if asked is None else asked


def _figure(gate: Gate, shown: MirrorShown) -> FigureShown | None:
    """The figure, where its stars are met."""
    if shown.figure is None or shown.figure.level < Level.OPEN:
        return None
    return showing.figures(gate, [shown.figure.number])[0]


def fitted(pairs: Sequence[MirrorPair], figure: FigureShown | None, year: int) -> Shown:
    """What parts/fit.html draws and says; without a fit, the pairs alone and the words on what is wrong with them."""
    if not pairs:
        return {}
    try:
        found = measured.measure(measured.pairs_of(pairs), float(year))
    except SkyError as error:
        return {"pairs": [_pair(at, pair) for at, pair in enumerate(pairs, 1)], "trouble": str(error)}
    runs = figure.lines if figure else ()
    invented = showing.house().is_invented
    misses = zip(found.laid.residuals_km.tolist(), found.laid.residuals_deg.tolist(), strict=True)
    return {
        "pairs": [
            _pair(at, pair, saying.miss(*off)) for at, (pair, off) in enumerate(zip(pairs, misses, strict=True), 1)
        ],
        "year_words": year_words(year),
        "ground": drawing.ground(found, pairs, runs, invented),
        "sky": drawing.sky(found, pairs, figure),
        "over": drawing.over(found, pairs, runs, invented),
        "size": int(drawing.SIZE),
        "fit_rows": saying.facts(found),
        "fit_cautions": saying.cautions(found),
        "belief": saying.belief(found),
        "through_years": saying.years(found),
        "graph": graph.of(found),
    }


def _pair(at: int, pair: MirrorPair, miss: str = "") -> Shown:
    star = {"name": stars.name(pair.hip), "hip": pair.hip, "is_named": stars.is_named(pair.hip)}
    return {"number": at, "place": parts.value(pair.place.label), "star": star, "miss": miss}


urlpatterns: list[URLPattern] = [
    path("mirrors/", index, name="mirrors"),
    path("mirrors/<str:ref>/", page, name="mirror"),
]
