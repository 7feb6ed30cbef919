"""What the cutting page's script asks for: the draft, the waveform, suggestions, and how far the sound is."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.http import HttpResponse, JsonResponse
from django.urls import URLPattern, path
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from ...access import desk, drafts, hints
from ...access.showing import Label
from ...models import Kind, Level, Recording
from ...timecode.times import Span
from ..loading import GatedRequest, fetch, for_role
from .cut import recording_to_cut
from .drawing import read_json
from .fields import read_rate, read_time

FIELD = {Kind.PERSON: "told_of", Kind.PLACE: "places", Kind.FIGURE: "figures", Kind.TOPIC: "topics"}


@for_role("is_archivist")
@require_http_methods(["GET", "HEAD", "PUT"])
def draft(request: GatedRequest, ref: str) -> HttpResponse:
    row = recording_to_cut(request, ref)
    if request.method != "PUT":
        return _kept(drafts.get(request.gate, row))
    try:
        given = read_json(request.body)
        return _kept(drafts.save(request.gate, row, given["content"], int(given["version"])))
    except (ValueError, OverflowError, KeyError, TypeError):
        return JsonResponse({"words": _("This is no draft.")}, status=400)
    except ValidationError as error:
        return JsonResponse({"words": " ".join(error.messages)}, status=400)
    except drafts.Overtaken as error:
        words = _("This draft was saved from another window meanwhile.")
        return _kept(error.kept, 409, words)


def _kept(kept: drafts.Kept, status: int = 200, words: str = "") -> JsonResponse:
    return JsonResponse({"version": kept.version, "content": kept.content, "words": words}, status=status)


@for_role("is_archivist")
@require_safe
def wave(request: GatedRequest, ref: str) -> HttpResponse:
    """The peaks of what this archivist hears: pairs of signed bytes, 50 a second. 503 while they are being made."""
    row = recording_to_cut(request, ref)
    peaks = desk.peaks(request.gate, row)
    if peaks is None:
        desk.have_sound_made(request.gate, row)
        return JsonResponse(_progress(request, row), status=503, headers={"Retry-After": "2"})
    return HttpResponse(peaks, content_type="application/octet-stream")


@for_role("is_archivist")
@require_safe
def sound_state(request: GatedRequest, ref: str) -> HttpResponse:
    row = fetch(request, Recording, ref, Level.OPEN)
    return JsonResponse(_progress(request, row))


def _progress(request: GatedRequest, row: Recording) -> dict[str, Any]:
    state = desk.sound_state(request.gate, row)
    return {"state": state.name, "share": round(state.share, 3), "words": state_words(state)}


def state_words(state: Any) -> str:
    """How far the sound is, for people."""
    said = {
        "ready": _("Sound is ready"),
        "waiting": _("Sound waits to be made ready"),
        "running": _("Sound is being made ready: %(percent)d %%") % {"percent": round(100 * state.share)},
        "failed": _("The sound could not be made: %(why)s") % {"why": state.words},
        "none": _("Sound is made ready when it is first asked for"),
    }
    words = said[state.name]
    return f"{words}. {state.words}" if state.name == "waiting" and state.words else words


@for_role("is_archivist")
@require_safe
def cut_hints(request: GatedRequest, ref: str) -> HttpResponse:
    """Moments where a new segment may begin."""
    row = recording_to_cut(request, ref)
    found = hints.cuts(request.gate, row)
    return JsonResponse({"cuts": [vars(one) for one in found]})


@for_role("is_archivist")
@require_safe
def heard(request: GatedRequest, ref: str) -> HttpResponse:
    """Who speaks and what is named within a stretch (`start`, `end` in milliseconds), to be taken or not."""
    row = recording_to_cut(request, ref)
    start, end = (_number(request.GET.get(name, "")) for name in ("start", "end"))
    if start is None or end is None or end <= start:
        return JsonResponse({"words": _("Say from where to where.")}, status=400)
    return JsonResponse({"found": heard_in(request, row, start, end)})


def heard_in(request: GatedRequest, row: Recording, start_ms: int, end_ms: int) -> list[dict[str, str]]:
    found = [{"field": "speakers", "name": name} for name in hints.heard_in(request.gate, row, start_ms, end_ms)]
    known: dict[str, desk.Known] = {}
    for label in hints.named_in(request.gate, row, start_ms, end_ms):
        found.append({"field": FIELD[Kind(label.kind)], "name": _written(request, known, label)})
    return found


def _written(request: GatedRequest, known: dict[str, desk.Known], label: Label) -> str:
    if label.kind not in known:
        known[label.kind] = desk.known(request.gate, label.kind)
    return known[label.kind].written(label)


@for_role("is_archivist")
@require_safe
def typed_time(request: GatedRequest) -> HttpResponse:
    """The moment or stretch that `text` names, in any form that the forms take, or words on what is wrong with it."""
    try:
        read = read_time(request.GET.get("text", ""), read_rate(request.GET.get("rate", "")))
    except ValidationError as error:
        return JsonResponse({"words": " ".join(error.messages)})
    if read is None:
        return JsonResponse({"words": _("Write a time.")})
    start_ms, end_ms = read if isinstance(read, Span) else (read, None)
    return JsonResponse({"start_ms": start_ms, "end_ms": end_ms})


def _number(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 12 else None


urlpatterns: list[URLPattern] = [
    path("desk/time/", typed_time, name="typed_time"),
    path("desk/recordings/<str:ref>/draft/", draft, name="draft"),
    path("desk/recordings/<str:ref>/wave/", wave, name="wave"),
    path("desk/recordings/<str:ref>/sound-state/", sound_state, name="sound_state"),
    path("desk/recordings/<str:ref>/cut-hints/", cut_hints, name="cut_hints"),
    path("desk/recordings/<str:ref>/heard/", heard, name="heard"),
]
