"""The page of one segment: exactly its stretch to hear, what is said in it, and what it is tied to."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from ...access import details, showing
from ...access.showing import Label, SegmentCard
from ...models import Segment
from ...templatetags.undersky import clock, event_date
from ...timecode.times import Span, format_fragment
from ..loading import GatedRequest, fetch, item_page
from . import parts, players
from .parts import Shown


@item_page
@require_safe
def page(request: GatedRequest, ref: str) -> HttpResponse:
    row = fetch(request, Segment, ref)
    card = showing.segment_cards(request.gate, [row.pk])[0]
    ties = showing.ties(request.gate, row.pk)
    near = details.neighbours(request.gate, row)
    is_in_place = card.recording is not None and details.is_heard_in_place(request.gate, row)
    context = parts.item_context(request, row, card.label, "recordings", _("Recordings"))
    context["crumbs"] = _crumbs(card)
    return render(
        request,
        "pages/segment.html",
        context
        | {
            "summary": card.summary,
            "rows": _facts(card, is_in_place),
            "cautions": card.cautions,
            "sound": players.of_segment(request.gate, row),
            "groups": parts.tie_groups(ties),
            "before": _near(near.before),
            "after": _near(near.after),
        },
    )


def _crumbs(card: SegmentCard) -> list[Shown]:
    crumbs: list[Shown] = [{"label": _("Recordings"), "url": reverse("recordings")}]
    if card.recording is not None:
        crumbs.append({"label": card.recording.text, "url": parts.address(card.recording)})
    return [*crumbs, {"label": card.label.text}]


def _near(label: Label | None) -> Shown | None:
    return {"title": label.text, "url": parts.address(label)} if label is not None else None


def _facts(card: SegmentCard, is_in_place: bool) -> list[Shown]:
    """Its second in the recording is told only to whoever may hear the recording around it."""
    rows: list[Any] = [{"term": _("Length"), "value": clock(card.duration_ms)}]
    if card.recording is not None:
        rows.append({"term": _("Recording"), **parts.value(card.recording)})
        rows.append({"term": _("Recorded"), "value": event_date(card.recorded_on)})
        if is_in_place:
            rows.append(_in_recording(card, card.recording))
    return rows


def _in_recording(card: SegmentCard, recording: Label) -> Shown:
    words = _("from %(start)s to %(end)s") % {"start": clock(card.start_ms), "end": clock(card.end_ms)}
    url = parts.address(recording) + format_fragment(Span(card.start_ms, card.end_ms))
    return {"term": _("In the recording"), "value": words, "url": url}


urlpatterns: list[URLPattern] = [path("segments/<str:ref>/", page, name="segment")]
