"""Topics: all of them as a tree, and the page of one with its segments."""

from __future__ import annotations

from collections.abc import Iterable

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from ...access import details, showing
from ...access.details import TopicNode
from ...models import Kind, Topic
from ..loading import GatedRequest, fetch, item_page
from . import parts
from .parts import Shown


@require_safe
def index(request: GatedRequest) -> HttpResponse:
    tree = details.topic_tree(request.gate)
    total = request.gate.count(Kind.TOPIC)
    return render(request, "pages/topics.html", {"nav": "topics", "nodes": _nodes(tree), "total": total})


def _nodes(nodes: Iterable[TopicNode]) -> list[Shown]:
    return [
        {
            "topic": parts.value(one.label),
            "also": one.label.also,
            "also_lang": one.label.also_language,
            "level": parts.level_word(one.label),
            "segments": one.segments,
            "nodes": _nodes(one.narrower),
        }
        for one in nodes
    ]


@item_page
@require_safe
def page(request: GatedRequest, ref: str) -> HttpResponse:
    row = fetch(request, Topic, ref)
    gate = request.gate
    shown = showing.topic(gate, row)
    cards, here = details.segments_page(gate, details.segments_tied(gate, row.pk), parts.page_number(request))
    return render(
        request,
        "pages/topic.html",
        parts.item_context(request, row, shown.label, "topics", _("Topics"))
        | {
            "about": shown.about,
            "caution": shown.caution,
            "rows": parts.names_rows(showing.spellings(gate, row.pk), showing.house().language),
            "segments": parts.segment_items(cards, without=row.ref),
            "segments_total": here.total,
            "page": parts.page_links(here),
            "groups": parts.tie_groups(showing.ties(gate, row.pk)),
        },
    )


urlpatterns: list[URLPattern] = [
    path("topics/", index, name="topics"),
    path("topics/<str:ref>/", page, name="topic"),
]
