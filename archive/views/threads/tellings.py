"""A story's tellings side by side: who told it, what only one of them is tied to, and two of them line by line."""

from __future__ import annotations

from collections.abc import Sequence

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from ...access import met, showing, tellings
from ...access.gate import Gate
from ...access.tellings import Telling
from ...models import Figure, Item, Level, Place, Segment, Topic
from ...timecode.alike import compare
from ..loading import GatedRequest, fetch
from ..pages import parts
from ..pages.parts import Shown

MODELS: dict[str, type[Item]] = {model.KIND: model for model in (Figure, Topic, Place)}


@require_safe
def page(request: GatedRequest, kind: str, ref: str) -> HttpResponse:
    if kind not in MODELS:
        raise Http404
    row = fetch(request, MODELS[kind], ref)
    gate = request.gate
    label = showing.labels(gate, [row.pk])[row.pk]
    found = tellings.of(gate, row.pk)
    met.note(gate, row, "tellings")
    chosen = [_chosen(found, request.GET.get(name, "")) for name in ("one", "other")]
    return render(
        request,
        "threads/tellings.html",
        {
            "nav": "",
            "label": label,
            "crumbs": [
                {"label": _("First page"), "url": "/"},
                {"label": label.text, "url": parts.address(label)},
                {"label": _("Tellings")},
            ],
            "tellings": [_telling(one) for one in found],
            "choices": [
                {"ref": one.card.label.ref, "words": _named(one), "left": one is chosen[0], "right": one is chosen[1]}
                for one in found if one.card.is_open
            ],
        }
        | _beside(gate, chosen),
    )


def _chosen(found: Sequence[Telling], ref: str) -> Telling | None:
    return next((one for one in found if one.card.is_open and one.card.label.ref == ref), None)


def _named(one: Telling) -> str:
    speakers = ", ".join(each.text for each in one.card.speakers)
    return f"{one.card.label.text} ({speakers})" if speakers else one.card.label.text


def _telling(one: Telling) -> Shown:
    return {
        "item": parts.segment_item(one.card),
        "had_from": [parts.chip(each) for each in one.card.had_from],
        "alone": [parts.chip(each) for each in one.alone],
    }


# --- two of them, line by line ---


def _beside(gate: Gate, chosen: Sequence[Telling | None]) -> Shown:
    left, right = chosen
    if left is None or right is None or left is right:
        return {}
    words = [tellings.words(gate, gate.fetch(Segment, one.card.label.ref, Level.OPEN)) for one in (left, right)]
    language = next((tag for tag in words[0] if tag in words[1]), "")
    if not language:
        return {"no_words": True}
    lines = compare(words[0][language], words[1][language])
    return {
        "heads": [{"title": _named(one), "url": parts.address(one.card.label)} for one in (left, right)],
        "lines": [{"left": one.left_pieces, "right": one.right_pieces, "alike": one.is_alike} for one in lines],
        "language": language,
        "alike": sum(one.is_alike for one in lines),
    }


urlpatterns: list[URLPattern] = [path("tellings/<str:kind>/<str:ref>/", page, name="tellings")]
