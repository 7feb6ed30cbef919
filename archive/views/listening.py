"""Sound and captions: only to whoever may hear them, in byte ranges, never kept by a cache.

What is served is a file built for exactly the closed seconds of this viewer at this moment (archive.access.sound);
its SHA-256 is its entity tag, so equal bytes have equal tags whatever was closed to make them.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TypeVar

from django.conf import settings
from django.http import Http404, HttpResponse, HttpResponseBase, JsonResponse, StreamingHttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path
from django.utils.cache import get_conditional_response
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from ..access import details, met, showing, sound
from ..access.showing import Hearing, ShownTranscript
from ..access.sound import Sound
from ..media.ranges import RangePlan, plan_range, strong_etag
from ..models import Item, Recording, Segment
from ..timecode.cues import Cue, Transcript
from ..timecode.writers import write_vtt
from .loading import GatedRequest, OnlyNotice, fetch

Gated = TypeVar("Gated", bound=Item)

BLOCK_BYTES = 1 << 16
ASK_AGAIN_S = 3


# --- what may be heard ---


def _met(request: GatedRequest, model: type[Gated], ref: str) -> Gated:
    """The item, or 404: where only a notice is met there is no sound either, and no words about it here."""
    try:
        return fetch(request, model, ref)
    except OnlyNotice as error:
        raise Http404 from error


def _of_recording(request: GatedRequest, ref: str) -> tuple[Recording, Recording, Hearing]:
    row = _met(request, Recording, ref)
    return row, row, _heard(showing.hearing_of_recording(request.gate, row))


def _of_segment(request: GatedRequest, ref: str) -> tuple[Segment, Recording, Hearing]:
    row = _met(request, Segment, ref)
    return row, row.recording, _heard(showing.hearing_of_segment(request.gate, row))


def _heard(hearing: Hearing | None) -> Hearing:
    if hearing is None:
        raise Http404
    return hearing


# --- sound ---


@require_safe
def recording_sound(request: GatedRequest, ref: str) -> HttpResponseBase:
    return _sound(request, *_of_recording(request, ref))


@require_safe
def segment_sound(request: GatedRequest, ref: str) -> HttpResponseBase:
    return _sound(request, *_of_segment(request, ref))


def _sound(request: GatedRequest, item: Item, recording: Recording, hearing: Hearing) -> HttpResponseBase:
    file = sound.ask_for(recording, hearing)
    if file is None:
        return _not_ready(request)
    etag = strong_etag(file.sha256)
    unchanged = get_conditional_response(request, etag=etag)
    if unchanged is not None:
        unchanged.headers["ETag"] = etag  # RFC 9110, section 15.4.5
        return unchanged
    is_get = request.method == "GET"
    plan = plan_range(
        request.headers.get("Range") if is_get else None, request.headers.get("If-Range"), etag, file.size
    )
    if is_get and plan.status != 416:
        _note_once_a_sitting(request, item, recording, hearing, plan.start)
    return _answer(request, file, plan)


def _note_once_a_sitting(
    request: GatedRequest, item: Item, recording: Recording, hearing: Hearing, start: int
) -> None:
    """Write that it was heard. A player asks for one sound in many pieces; only other pieces than the first, and
    only right after one that was written, go unwritten.
    """
    gate = request.gate
    key = f"{_whose_sitting(request)}:{gate.is_looking}:{item.ref}:{gate.policy.version}"
    if start == 0 or not _sittings.holds(key, gate.moment.timestamp()):
        _note(request, item, recording, hearing, "sound")
    _sittings.keep(key, gate.moment.timestamp())


def _whose_sitting(request: GatedRequest) -> str:
    """An account; visitors are told apart by where they ask from and with what, which is kept in memory alone."""
    if request.gate.hearer is not None:
        return request.gate.hearer.ref
    return f"visitor at {request.META.get('REMOTE_ADDR', '')} with {request.headers.get('User-Agent', '')[:200]}"


def _note(request: GatedRequest, item: Item, recording: Recording, hearing: Hearing, surface: str) -> None:
    """The item itself, or the restricted stretches inside a recording."""
    met.note(request.gate, item, surface)
    if item.pk == recording.pk:
        details.note_within(request.gate, recording, hearing.start_ms, hearing.end_ms, surface)


class _Sittings:
    """Who was last sent a piece of which sound, and when (seconds); the oldest are forgotten first."""

    LAST_S = 600.0
    KEPT = 4096

    def __init__(self) -> None:
        self._at: dict[str, float] = {}

    def holds(self, key: str, now_s: float) -> bool:
        return now_s - self._at.get(key, float("-inf")) < self.LAST_S

    def keep(self, key: str, now_s: float) -> None:
        self._at.pop(key, None)
        self._at[key] = now_s
        while len(self._at) > self.KEPT:
            self._at.pop(next(iter(self._at)), None)


_sittings = _Sittings()


def _answer(request: GatedRequest, file: Sound, plan: RangePlan) -> HttpResponseBase:
    response: HttpResponseBase
    if request.method == "HEAD" or plan.status == 416:
        response = HttpResponse(status=plan.status)
    elif settings.X_ACCEL:
        return _handed_over(file)
    elif plan.status == 206:
        response = HttpResponse(_piece(file.path, plan.start, plan.end), status=206)
    else:
        response = StreamingHttpResponse(_blocks(file.path))
    _as_sound(response)
    for name, words in plan.headers.items():
        response.headers[name] = words
    return response


def _as_sound(response: HttpResponseBase) -> None:
    response.headers["Content-Type"] = "audio/mp4"
    response.headers["Cache-Control"] = "private, no-store"
    response.headers["Content-Disposition"] = "inline"


def _handed_over(file: Sound) -> HttpResponse:
    """Have the front server send the file, in the ranges that are asked for, under this tag and not one of its own.

    Its own tag would be made of the file's size and the minute it was built in, which tells what equal bytes hide.
    """
    response = HttpResponse()
    _as_sound(response)
    response.headers["ETag"] = strong_etag(file.sha256)
    response.headers["X-Accel-Redirect"] = f"{settings.X_ACCEL.rstrip('/')}/{file.path.name}"
    return response


def _piece(path: Path, start: int, end: int) -> bytes:
    with path.open("rb") as handle:
        handle.seek(start)
        return handle.read(end - start)


def _blocks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as handle:
        while block := handle.read(BLOCK_BYTES):
            yield block


def _not_ready(request: GatedRequest) -> HttpResponse:
    """503 while the file is being built: words for people, JSON for scripts, and when to ask again for both."""
    words = _("The sound is being made ready. It will be here in a moment.")
    response: HttpResponse
    if "text/html" in request.headers.get("Accept", ""):
        response = render(request, "sound_waiting.html", {"words": words, "nav": "recordings"}, status=503)
        response.headers["Refresh"] = str(ASK_AGAIN_S)
    else:
        response = JsonResponse({"state": "preparing", "words": words, "retry_after_s": ASK_AGAIN_S}, status=503)
    response.headers["Retry-After"] = str(ASK_AGAIN_S)
    response.headers["Cache-Control"] = "private, no-store"
    return response


# --- is it ready? ---


@require_safe
def recording_sound_ready(request: GatedRequest, ref: str) -> HttpResponse:
    return _ready(request, *_of_recording(request, ref)[1:])


@require_safe
def segment_sound_ready(request: GatedRequest, ref: str) -> HttpResponse:
    return _ready(request, *_of_segment(request, ref)[1:])


def _ready(request: GatedRequest, recording: Recording, hearing: Hearing) -> HttpResponse:
    """For the waiting page: have it built, and load the page anew once it stands."""
    if sound.ask_for(recording, hearing) is None:
        return render(request, "pages/waiting.html", {"ready_url": request.path, "delay_s": ASK_AGAIN_S})
    return HttpResponse(headers={"HX-Refresh": "true"})


# --- captions ---


@require_safe
def recording_captions(request: GatedRequest, ref: str, lang: str) -> HttpResponse:
    row, recording, hearing = _of_recording(request, ref)
    return _captions(request, row, recording, hearing, lang)


@require_safe
def segment_captions(request: GatedRequest, ref: str, lang: str) -> HttpResponse:
    row, recording, hearing = _of_segment(request, ref)
    return _captions(request, row, recording, hearing, lang)


def _captions(
    request: GatedRequest, item: Item, recording: Recording, hearing: Hearing, lang: str
) -> HttpResponse:
    shown = showing.transcripts(request.gate, recording, hearing.start_ms, hearing.end_ms)
    wanted = [one for one in shown if one.language.lower() == lang.lower()]  # RFC 5646, 2.1.1: case says nothing
    if not wanted:
        raise Http404
    _note(request, item, recording, hearing, "captions")
    text = write_vtt(_within(wanted, hearing)).text
    return HttpResponse(text, content_type="text/vtt; charset=utf-8", headers={"Cache-Control": "private, no-store"})


def _within(shown: list[ShownTranscript], hearing: Hearing) -> Transcript:
    """All cues in this language, in time, counted from the start of what is heard and cut to it."""
    cues = [
        Cue(
            max(cue.start_ms, hearing.start_ms) - hearing.start_ms,
            min(cue.end_ms, hearing.end_ms) - hearing.start_ms,
            cue.text,
            cue.speaker,
        )
        for one in shown
        for cue in one.cues
    ]
    return Transcript("vtt", "utf-8", cues=sorted(cues, key=lambda cue: (cue.start_ms, cue.end_ms)))


urlpatterns: list[URLPattern] = [
    path("recordings/<str:ref>/sound", recording_sound, name="recording_sound"),
    path("recordings/<str:ref>/sound/ready", recording_sound_ready, name="recording_sound_ready"),
    path("recordings/<str:ref>/captions/<str:lang>.vtt", recording_captions, name="recording_captions"),
    path("segments/<str:ref>/sound", segment_sound, name="segment_sound"),
    path("segments/<str:ref>/sound/ready", segment_sound_ready, name="segment_sound_ready"),
    path("segments/<str:ref>/captions/<str:lang>.vtt", segment_captions, name="segment_captions"),
]
