"""The desk itself: what is entrusted to its archivist, in which state, and the way to each piece of work."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from ...access import desk, met
from ...access.desk import RecordingState
from ...models import Kind, Level, Recording
from ...templatetags.undersky import clock, event_date, language_name
from ...timecode.times import format_clock
from ..loading import GatedRequest, fetch, for_role
from ..pages import parts
from ..pages.parts import Shown
from .bench import state_words
from .drawing import crumbs, draw, problem_rows

ADDABLE = (Kind.PERSON, Kind.PLACE, Kind.FIGURE, Kind.TOPIC, Kind.MIRROR, Kind.LAYER)


def add_words() -> list[tuple[Kind, str]]:
    return [
        (Kind.PERSON, _("A person")),
        (Kind.PLACE, _("A place")),
        (Kind.FIGURE, _("A sky figure")),
        (Kind.TOPIC, _("A topic")),
        (Kind.MIRROR, _("A mirror")),
        (Kind.LAYER, _("A layer of the map")),
    ]


@for_role("is_archivist")
@require_safe
def page(request: GatedRequest) -> HttpResponse:
    states = desk.entrusted(request.gate)
    made = desk.made_and_waiting(request.gate)
    return draw(
        request,
        "desk/home.html",
        {
            "recordings": [recording_row(state) for state in states],
            "adds": [
                *({"label": words, "url": reverse(f"add_{kind}")} for kind, words in add_words()),
                {"label": _("Many places from a file"), "url": reverse("bring_places")},
            ],
            "made": [parts.chip(label) | {"url": reverse("edit", args=[label.kind, label.ref])} for label in made],
            "brought": request.GET.get("brought", ""),
        },
    )


def recording_row(state: RecordingState) -> Shown:
    counted = ngettext("%(count)d segment", "%(count)d segments", state.segments) % {"count": state.segments}
    closed = ngettext("%(count)d closed stretch", "%(count)d closed stretches", state.closed_spans)
    problems = sum(one.problems for one in state.transcripts)
    noted = ngettext("%(count)d line of a transcript to look at", "%(count)d lines of transcripts to look at", problems)
    ref = state.label.ref
    return {
        "title": state.label.text,
        "lang": state.label.language,
        "url": reverse("desk_recording", args=[ref]),
        "cut_url": reverse("cut", args=[ref]),
        "facts": [event_date(state.recorded_on), clock(state.duration_ms), counted],
        "closed": closed % {"count": state.closed_spans} if state.closed_spans else "",
        "is_sound_ready": state.is_sound_ready,
        "sound": state_words(state.work),
        "sound_failed": state.work.name == "failed",
        "state_url": reverse("sound_state", args=[ref]),
        "transcripts": [f"{language_name(one.language)}, {one.kind}" for one in state.transcripts],
        "problems": noted % {"count": problems} if problems else "",
        "is_waiting": state.is_waiting,
    }


@for_role("is_archivist")
@require_safe
def recording(request: GatedRequest, ref: str) -> HttpResponse:
    """A recording as its archivist looks after it: the master's facts, the transcripts and what is odd in them."""
    row = fetch(request, Recording, ref, Level.OPEN)
    state = desk.recording_state(request.gate, row)
    met.note(request.gate, row, "desk")
    desk.have_sound_made(request.gate, row)
    return draw(
        request,
        "desk/recording.html",
        {
            "recording": recording_row(state),
            "crumbs": crumbs(state.label.text),
            "page_url": parts.address(state.label),
            "edit_url": reverse("edit_recording", args=[ref]),
            "transcript_url": reverse("add_transcript", args=[ref]),
            "close_url": reverse("close_seconds", args=[ref]),
            "spans": [_span(one) for one in desk.closed_spans(request.gate, row)],
            "facts": _facts(desk.master_facts(request.gate, row)),
            "transcripts": [_transcript(*one) for one in desk.problems_of(request.gate, row)],
        },
    )


def _facts(master: desk.MasterFacts | None) -> list[Shown]:
    if master is None:
        return []
    rate = _("%(rate)s kHz, %(channels)d channels") if master.channels != 1 else _("%(rate)s kHz, one channel")
    return [
        {"term": _("File as it came"), "value": master.original_name},
        {"term": _("What it holds"), "value": f"{master.codec} ({master.container})"},
        {"term": _("Sound"), "value": rate % {"rate": f"{master.rate_hz / 1000:g}", "channels": master.channels}},
        {"term": _("Length"), "value": clock(master.duration_ms)},
        {"term": _("Size"), "value": _("%(size)s MB") % {"size": f"{master.size_bytes / 1e6:.1f}"}},
        {"term": _("SHA-256"), "value": master.sha256},
    ]


def _span(span: desk.SpanState) -> Shown:
    return {
        "time": f"{format_clock(span.start_ms)} – {format_clock(span.end_ms)}",
        "reason": span.reason,
        "is_waiting": span.is_waiting,
    }


def _transcript(state: desk.TranscriptState, problems: list[desk.Problem]) -> Shown:
    cues = ngettext("%(count)d line", "%(count)d lines", state.cues) % {"count": state.cues}
    return {
        "title": f"{language_name(state.language)}, {state.kind}",
        "facts": [state.original_name, state.file_format.upper(), state.encoding, cues],
        "problems": problem_rows(problems),
        "links": [
            {"label": _("Read and correct"), "url": reverse("correct_words", args=[state.ref])},
            {"label": _("Names and voices"), "url": reverse("names_heard", args=[state.ref])},
            {"label": _("Versions"), "url": reverse("versions", args=[state.ref])},
        ],
    }


@for_role("is_archivist")
@require_safe
def edit(request: GatedRequest, kind: str, ref: str) -> HttpResponse:
    """One address for editing whatever it is."""
    if kind not in (*ADDABLE, Kind.RECORDING, Kind.SEGMENT):
        return redirect("desk")
    return redirect(f"edit_{kind}", ref=ref)


urlpatterns: list[URLPattern] = [
    path("desk/", page, name="desk"),
    path("desk/recordings/<str:ref>/", recording, name="desk_recording"),
    path("desk/edit/<str:kind>/<str:ref>/", edit, name="edit"),
]
