"""Places: the list, and the page of one: its spot or the cell it lies in, what is told there, its mirrors."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from ...access import details, showing
from ...access.showing import PlaceShown
from ...models import Kind, Place
from ...templatetags.undersky import cell_words, spot_words
from ..loading import GatedRequest, fetch, item_page
from . import listing, parts, stars
from .parts import Shown


@require_safe
def index(request: GatedRequest) -> HttpResponse:
    return listing.render_list(request, Kind.PLACE, "places", "pages/places.html")


@item_page
@require_safe
def page(request: GatedRequest, ref: str) -> HttpResponse:
    row = fetch(request, Place, ref)
    gate = request.gate
    shown = showing.place(gate, row)
    ties = showing.ties(gate, row.pk)
    cards, here = details.segments_page(gate, details.segments_tied(gate, row.pk), parts.page_number(request))
    map_url = parts.optional("map")
    return render(
        request,
        "pages/place.html",
        parts.item_context(request, row, shown.label, "places", _("Places"))
        | {
            "about": shown.about,
            "caution": shown.caution,
            "is_exact": shown.at is not None,
            "rows": _facts(shown) + parts.names_rows(showing.spellings(gate, row.pk), showing.house().language),
            "map_url": f"{map_url}?about={row.ref}" if map_url else "",
            "segments": parts.segment_items(cards, without=row.ref),
            "segments_total": here.total,
            "page": parts.page_links(here),
            "groups": parts.tie_groups(ties, stars.notes(ties)),
        },
    )


def _facts(shown: PlaceShown) -> list[Shown]:
    rows: list[Shown] = [{"term": _("Kind of place"), "value": shown.nature}] if shown.nature else []
    if shown.at is not None:
        rows.append({"term": _("Where"), "value": spot_words(shown.at)})
    elif shown.cell is not None:
        rows.append({"term": _("Where"), "value": cell_words(shown.cell)})
    return rows


urlpatterns: list[URLPattern] = [
    path("places/", index, name="places"),
    path("places/<str:ref>/", page, name="place"),
]
