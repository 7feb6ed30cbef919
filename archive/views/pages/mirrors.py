"""Mirrors: the list, and the page of one: which places are which stars, and who says so."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from ...access import details, showing
from ...access.showing import MirrorPair, MirrorShown
from ...models import Kind, Mirror, TieKind
from ..loading import GatedRequest, fetch, item_page
from . import parts, stars
from .listing import PAGE_SIZE
from .parts import Shown


@require_safe
def index(request: GatedRequest) -> HttpResponse:
    gate = request.gate
    page = details.page_of(details.in_order(gate, Kind.MIRROR), parts.page_number(request), PAGE_SIZE)
    items = [_item(one) for one in details.mirrors(gate, page.numbers)]
    return render(
        request,
        "pages/mirrors.html",
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


@item_page
@require_safe
def page(request: GatedRequest, ref: str) -> HttpResponse:
    row = fetch(request, Mirror, ref)
    gate = request.gate
    shown = showing.mirror(gate, row)
    ties = showing.ties(gate, row.pk)
    paired = {pair.place.label.ref for pair in shown.pairs}
    unpaired = [one for one in showing.others(ties, TieKind.STANDS_AT, True) if one.ref not in paired]
    figure = [{"term": _("Figure"), **parts.value(shown.figure)}] if shown.figure else []
    return render(
        request,
        "pages/mirror.html",
        parts.item_context(request, row, shown.label, "mirrors", _("Mirrors"))
        | {
            "nav": "figures",
            "about": shown.about,
            "rows": figure + parts.names_rows(showing.spellings(gate, row.pk), showing.house().language),
            "pair_headings": [{"label": _("Place")}, *stars.headings()],
            "pair_rows": [_row(pair) for pair in shown.pairs],
            "unpaired": [parts.chip(one) for one in unpaired],
        },
    )


def _row(pair: MirrorPair) -> list[Shown]:
    return [parts.value(pair.place.label), *stars.rows([pair.hip])[0]]


urlpatterns: list[URLPattern] = [
    path("mirrors/", index, name="mirrors"),
    path("mirrors/<str:ref>/", page, name="mirror"),
]
