"""Sky figures: the list, and the page of one: names, stars, mirrors on the ground, what is told of it."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from ...access import details, showing
from ...models import Figure, Kind, Shape
from ..loading import GatedRequest, fetch, item_page
from ..sky import figure as in_the_sky
from . import listing, parts, sketch, stars


@require_safe
def index(request: GatedRequest) -> HttpResponse:
    return listing.render_list(request, Kind.FIGURE, "figures", "pages/figures.html")


@item_page
@require_safe
def page(request: GatedRequest, ref: str) -> HttpResponse:
    row = fetch(request, Figure, ref)
    gate = request.gate
    shown = showing.figure(gate, row)
    cards, here = details.segments_page(gate, details.segments_tied(gate, row.pk), parts.page_number(request))
    shape = [{"term": _("Shape"), "value": str(Shape(shown.shape).label)}]
    return render(
        request,
        "pages/figure.html",
        parts.item_context(request, row, shown.label, "figures", _("Figures"))
        | {
            "about": shown.about,
            "rows": parts.names_rows(showing.spellings(gate, row.pk), showing.house().language) + shape,
            "redraw_url": reverse("redraw_figure", args=[row.ref]) if shown.stars else "",
            "sketch": sketch.of(shown),
            "star_headings": stars.headings(),
            "star_rows": stars.rows(shown.stars),
            "seasons": in_the_sky.of(shown.stars, gate.moment),
            "segments": parts.segment_items(cards, without=row.ref),
            "segments_total": here.total,
            "page": parts.page_links(here),
            "groups": parts.tie_groups(showing.ties(gate, row.pk)),
        },
    )


urlpatterns: list[URLPattern] = [
    path("figures/", index, name="figures"),
    path("figures/<str:ref>/", page, name="figure"),
]
