"""People: the list, and the page of one: names, from whom they had it, what they tell, what is told of them."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from ...access import details, showing
from ...access.details import Handing
from ...models import Kind, Person, TieKind
from ..loading import GatedRequest, fetch, item_page
from . import listing, parts
from .parts import Shown

TOLD_OF_SHOWN = 60


@require_safe
def index(request: GatedRequest) -> HttpResponse:
    return listing.render_list(request, Kind.PERSON, "people", "pages/people.html")


@item_page
@require_safe
def page(request: GatedRequest, ref: str) -> HttpResponse:
    row = fetch(request, Person, ref)
    gate = request.gate
    shown = showing.person(gate, row)
    told = details.segments_tied(gate, row.pk, TieKind.TOLD_BY)
    told_of = details.segments_tied(gate, row.pk, TieKind.TELLS_OF)
    cards, here = details.segments_page(gate, told, parts.page_number(request))
    of_cards, of_here = details.segments_page(gate, told_of, 1, TOLD_OF_SHOWN)
    ties = [tie for tie in showing.ties(gate, row.pk) if tie.kind != TieKind.LEARNED_FROM]
    family = [{"term": _("Family"), "value": shown.family}] if shown.family else []
    return render(
        request,
        "pages/person.html",
        parts.item_context(request, row, shown.label, "people", _("People"))
        | {
            "about": shown.about,
            "rows": family + parts.names_rows(showing.spellings(gate, row.pk), showing.house().language),
            "learned_from": [_handing(one) for one in details.learned_from(gate, row.pk)],
            "taught": [_handing(one) for one in details.taught(gate, row.pk)],
            "told": parts.segment_items(cards),
            "told_total": here.total,
            "page": parts.page_links(here),
            "told_of": parts.segment_items(of_cards, without=row.ref),
            "told_of_total": of_here.total,
            "told_of_rest": of_here.total - len(of_cards),
            "groups": parts.tie_groups(ties),
        },
    )


def _handing(one: Handing) -> Shown:
    count = ngettext("%(count)d segment", "%(count)d segments", one.segments) % {"count": one.segments}
    return {
        "person": parts.chip(one.person, one.person.also),
        "count": count if one.segments else "",
        "subjects": [parts.value(subject) for subject in one.subjects],
    }


urlpatterns: list[URLPattern] = [
    path("people/", index, name="people"),
    path("people/<str:ref>/", page, name="person"),
]
