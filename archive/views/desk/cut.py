"""Cutting a recording into segments, and editing them: times typed or taken from lines, ties by name."""

from __future__ import annotations

import re
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from ...access import desk, details, drafts, making, met, showing
from ...access.gate import Gate
from ...access.making import SegmentWritten
from ...access.showing import SegmentCard, ShownTranscript
from ...access.writing import Overtaken
from ...models import Kind, Level, Recording, Segment
from ...templatetags.undersky import clock
from ...timecode.frames import Rate
from ...timecode.times import Span, format_clock, format_fragment
from ..loading import GatedRequest, fetch, for_role
from ..pages import cues, parts, players
from ..pages.parts import Shown
from . import conflicts
from .bring import written
from .drawing import crumbs, draw, posted
from .fields import AsksForNames, NamesField, TimeField, joined, read_rate, read_time

CUES_A_PAGE = 300
AROUND_MS = 60_000
BENCH_URLS = ("draft", "wave", "cut_hints", "heard", "close_seconds", "sound_state")
PICK = re.compile(r"([0-9]{1,9})-([0-9]{1,9})")
RATE_HELP = gettext_lazy("Only for times that count frames, such as 00:01:30:12. Write 25, 29.97 …")
NAMES_HELP = gettext_lazy(
    "In any spelling that is known, several with semicolons between them. People and topics that are not known yet are "
    "written in."
)
KNOWN_HELP = gettext_lazy("Known ones only; others are added from the desk first.")


class SegmentForm(AsksForNames):
    start = TimeField(
        label=gettext_lazy("Starts at"),
        help_text=gettext_lazy("Like 1:02:03.5, PT1H2M3.5S, or a link that ends in #t=10,20."),
    )
    end = TimeField(
        label=gettext_lazy("Ends at"),
        help_text=gettext_lazy("The first moment that no longer belongs to it."),
    )
    rate = forms.CharField(
        label=gettext_lazy("Frames a second"), required=False, max_length=20, help_text=RATE_HELP,
        widget=forms.TextInput(attrs={"class": "short"}),
    )
    title = forms.CharField(label=gettext_lazy("Title"), max_length=200)
    summary = forms.CharField(
        label=gettext_lazy("Summary"), required=False, max_length=20_000, widget=forms.Textarea(attrs={"rows": 3}),
        help_text=gettext_lazy("What is told, in your words. It can be read where the words themselves may not."),
    )
    speakers = NamesField(
        Kind.PERSON, makes_new=True, required=False, label=gettext_lazy("Told by"), help_text=NAMES_HELP
    )
    topics = NamesField(Kind.TOPIC, makes_new=True, required=False, label=gettext_lazy("Topics"))
    places = NamesField(Kind.PLACE, required=False, label=gettext_lazy("Places it belongs to"), help_text=KNOWN_HELP)
    figures = NamesField(Kind.FIGURE, required=False, label=gettext_lazy("Sky figures named"), help_text=KNOWN_HELP)
    told_of = NamesField(Kind.PERSON, makes_new=True, required=False, label=gettext_lazy("Tells of"))
    had_from = NamesField(
        Kind.PERSON, makes_new=True, required=False, label=gettext_lazy("Had from"),
        help_text=gettext_lazy("Whom the teller had it from."),
    )
    sure = forms.BooleanField(required=False, label=gettext_lazy("The new names are meant as they are written."))
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, gate: Gate, *args: Any, length_ms: int = 0, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.gate, self.length_ms, self.again = gate, length_ms, {"length_ms": length_ms}
        self.know(gate)

    def picked(self) -> list[str]:
        """The lines that were ticked, as start-end in milliseconds."""
        return self.data.getlist("cue") if hasattr(self.data, "getlist") else []

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        rate = self._rate(given)
        start = self._time("start", given, rate)
        end = self._time("end", given, rate)
        given["start_ms"], given["end_ms"] = joined(start, end, self._ticked())
        self._check_stretch(given)
        self.ask_about_new_names(given)
        return given

    def _rate(self, given: dict[str, Any]) -> Rate | None:
        try:
            return read_rate(given.get("rate", ""))
        except ValidationError as error:
            self.add_error("rate", error)
            return None

    def _time(self, name: str, given: dict[str, Any], rate: Rate | None) -> int | Span | None:
        try:
            return read_time(given.get(name, ""), rate)
        except ValidationError as error:
            self.add_error(name, error)
            return None

    def _ticked(self) -> tuple[int, int] | None:
        """From the start of the first ticked line to the end of the last."""
        found = [match for text in self.picked() if (match := PICK.fullmatch(text))]
        if not found:
            return None
        return min(int(match[1]) for match in found), max(int(match[2]) for match in found)

    def _check_stretch(self, given: dict[str, Any]) -> None:
        start, end = given["start_ms"], given["end_ms"]
        for name, value in (("start", start), ("end", end)):
            if value is None and name not in self.errors:
                self.add_error(name, _("Write a time, or tick the first and the last line that belong to it."))
        if "start" in self.errors or "end" in self.errors:
            return
        if start >= self.length_ms:
            self.add_error("start", _("The recording ends at %(length)s, before this. Give a time inside it.")
                           % {"length": format_clock(self.length_ms)})
        elif end > self.length_ms:
            self.add_error("end", _("It runs to %(end)s, but the recording ends at %(length)s. Give times inside it.")
                           % {"end": format_clock(end), "length": format_clock(self.length_ms)})
        elif end <= start:
            self.add_error("end", _("It ends at %(end)s, which is not after its start, %(start)s. Give a later end.")
                           % {"end": format_clock(end), "start": format_clock(start)})

    def written(self) -> SegmentWritten:
        given = self.cleaned_data
        names = ("speakers", "topics", "places", "figures", "told_of", "had_from")
        return SegmentWritten(
            given["start_ms"], given["end_ms"], given["title"], given["summary"],
            **{name: given[name] for name in names},
        )


def recording_to_cut(request: GatedRequest, ref: str) -> Recording:
    """The recording, for an archivist who hears it from end to end; 404 else."""
    row = fetch(request, Recording, ref, Level.OPEN)
    if not desk.works_on(request.gate, row):
        raise Http404
    return row


def _segment(request: GatedRequest, ref: str) -> Segment:
    row = fetch(request, Segment, ref, Level.OPEN)
    if not desk.works_on(request.gate, row.recording):
        raise Http404
    return row


# --- cutting ---


@for_role("is_archivist")
@require_http_methods(["GET", "HEAD", "POST"])
def cut(request: GatedRequest, ref: str) -> HttpResponse:
    row = recording_to_cut(request, ref)
    length_ms = row.master.duration_ms
    form = SegmentForm(request.gate, posted(request), length_ms=length_ms)
    if request.method == "POST" and form.is_valid():
        try:
            made = making.add_segment(request.gate, row, form.written())
            drafts.without_piece(request.gate, row, request.POST.get("piece", ""))
            words = _("“%(title)s” is cut: %(start)s to %(end)s.")
            messages.success(request, request.gate.mask.text(words % _stretch_words(made)))
            return redirect("cut", ref=ref)
        except ValidationError as error:
            add_errors(form, error)
    met.note(request.gate, row, "desk")
    transcripts = showing.transcripts(request.gate, row)
    cards, _here = details.segments_page(request.gate, details.segments_in(request.gate, row.pk), 1, 1000)
    return draw(
        request,
        "desk/cut.html",
        _form_context(request, form, row, transcripts, (0, length_ms), parts.page_number(request))
        | {
            "crumbs": crumbs(_("Cut"), (row.title, reverse("desk_recording", args=[ref]))),
            "title": row.title,
            "segments": [_segment_row(card) for card in cards],
            "length": format_clock(length_ms),
            "piece": request.POST.get("piece", ""),
        },
    )


def _stretch_words(segment: Segment) -> dict[str, str]:
    return {
        "title": segment.title,
        "start": format_clock(segment.start_ms),
        "end": format_clock(segment.end_ms),
    }


def add_errors(form: forms.Form, error: ValidationError) -> None:
    if not hasattr(error, "error_dict"):
        form.add_error(None, error)
        return
    for name, errors in error.error_dict.items():
        form.add_error(name if name in form.fields else None, errors)


def _segment_row(card: SegmentCard) -> Shown:
    return {
        "title": card.label.text,
        "url": reverse("edit_segment", args=[card.label.ref]),
        "start": format_clock(card.start_ms),
        "end": format_clock(card.end_ms),
        "start_ms": card.start_ms,
        "end_ms": card.end_ms,
        "speakers": ", ".join(one.text for one in card.speakers),
    }


def _form_context(
    request: GatedRequest,
    form: SegmentForm,
    row: Recording,
    transcripts: list[ShownTranscript],
    stretch: tuple[int, int],
    number: int,
) -> Shown:
    url = reverse("recording_sound", args=[row.ref])
    lines = _lines(transcripts, url, stretch, set(form.picked()))
    page = details.page_of(list(range(len(lines))), number, CUES_A_PAGE)
    desk.have_sound_made(request.gate, row)
    return {
        "form": form,
        "known": form.known,
        "lines": [lines[at] for at in page.numbers],
        "lines_total": page.total,
        "page": parts.page_links(page),
        "player": _player(request.gate, row),
        "spans": [_span_row(one) for one in desk.closed_spans(request.gate, row)],
        "length_ms": row.master.duration_ms,
        "urls": {name: reverse(name, args=[row.ref]) for name in BENCH_URLS},
    }


def _player(gate: Gate, row: Recording) -> Shown | None:
    """The player without its own list of lines: the desk has one to tick."""
    found = players.of_recording(gate, row)
    return found.player | {"cues": []} if found is not None and found.player is not None else None


def _span_row(span: desk.SpanState) -> Shown:
    return {
        "start": format_clock(span.start_ms),
        "end": format_clock(span.end_ms),
        "start_ms": span.start_ms,
        "end_ms": span.end_ms,
        "reason": span.reason,
        "is_waiting": span.is_waiting,
    }


def _lines(
    transcripts: list[ShownTranscript], url: str, stretch: tuple[int, int], picked: set[str]
) -> list[Shown]:
    """The lines within a stretch, with the times they have in the recording."""
    shown = cues.lines(transcripts, url, 0, 1 << 53)
    inside = [line for line in shown if line["start_ms"] < stretch[1] and line["end_ms"] > stretch[0]]
    for line in inside:
        line["value"] = f"{line['start_ms']}-{line['end_ms']}"
        line["is_picked"] = line["value"] in picked
        line["url"] = url + format_fragment(Span(line["start_ms"], None))
        line["long_time"] = clock(line["start_ms"])
    return inside


# --- a segment that stands ---


@for_role("is_archivist")
@require_http_methods(["GET", "HEAD", "POST"])
def edit_segment(request: GatedRequest, ref: str) -> HttpResponse:
    row = _segment(request, ref)
    recording = row.recording
    length_ms = recording.master.duration_ms
    current = _as_typed(request.gate, row)
    form = SegmentForm(request.gate, posted(request), initial=current, length_ms=length_ms)
    conflict = None
    if request.method == "POST" and form.is_valid():
        try:
            making.change_segment(request.gate, row, form.written(), form.cleaned_data["version"] or 0)
            words = _("“%(title)s” is saved.") % {"title": form.cleaned_data["title"]}
            messages.success(request, request.gate.mask.text(words))
            return redirect("cut", ref=recording.ref)
        except Overtaken as error:
            saved_by = str(error.by) if error.by else ""
            form, conflict = conflicts.meet(form, current, saved_by)
        except ValidationError as error:
            add_errors(form, error)
    met.note(request.gate, row, "desk")
    transcripts = showing.transcripts(request.gate, recording)
    around = (max(0, row.start_ms - AROUND_MS), min(length_ms, row.end_ms + AROUND_MS))
    return draw(
        request,
        "desk/segment.html",
        _form_context(request, form, recording, transcripts, around, parts.page_number(request))
        | {
            "crumbs": crumbs(
                row.title,
                (recording.title, reverse("desk_recording", args=[recording.ref])),
                (_("Cut"), reverse("cut", args=[recording.ref])),
            ),
            "title": row.title,
            "conflict": conflict,
            "is_one": True,
            "heard": heard_in_segment(request, row),
            "remove_url": reverse("remove_segment", args=[ref]),
            "cancel_url": reverse("cut", args=[recording.ref]),
            "page_url": reverse("segment", args=[ref]),
            "start": format_clock(row.start_ms),
            "end": format_clock(row.end_ms),
        },
    )


def heard_in_segment(request: GatedRequest, row: Segment) -> list[Shown]:
    """Who speaks in it and what is named in it, by field, without what is tied already."""
    from .bench import heard_in  # its addresses stand on this module

    current = _as_typed(request.gate, row)
    labels = {name: str(field.label) for name, field in SegmentForm.base_fields.items()}
    return [
        {"label": labels[one["field"]], "field": one["field"], "name": one["name"]}
        for one in heard_in(request, row.recording, row.start_ms, row.end_ms)
        if one["name"] not in current[one["field"]]
    ]


def _as_typed(gate: Gate, row: Segment) -> Shown:
    card = showing.segment_cards(gate, [row.pk])[0]
    return {
        "start": format_clock(row.start_ms),
        "end": format_clock(row.end_ms),
        "title": row.title,
        "summary": row.summary,
        "speakers": written(gate, Kind.PERSON, card.speakers),
        "topics": written(gate, Kind.TOPIC, card.topics),
        "places": written(gate, Kind.PLACE, card.places),
        "figures": written(gate, Kind.FIGURE, card.figures),
        "told_of": written(gate, Kind.PERSON, card.told_of),
        "had_from": written(gate, Kind.PERSON, card.had_from),
        "version": row.version,
    }


@for_role("is_archivist")
@require_http_methods(["GET", "HEAD", "POST"])
def remove_segment(request: GatedRequest, ref: str) -> HttpResponse:
    row = _segment(request, ref)
    recording = row.recording
    problem = ""
    if request.method == "POST":
        try:
            making.remove_segment(request.gate, row)
            words = _("“%(title)s” is taken away. The recording is as it was.")
            messages.success(request, words % {"title": row.title})
            return redirect("cut", ref=recording.ref)
        except ValidationError as error:
            problem = " ".join(error.messages)
    return draw(
        request,
        "desk/remove.html",
        {
            "crumbs": crumbs(_("Take away"), (recording.title, reverse("cut", args=[recording.ref]))),
            "title": row.title,
            "problem": problem,
            "question": _("Take “%(title)s” away?") % {"title": row.title},
            "consequences": [
                _("Its title, summary and ties are gone; its address leads nowhere."),
                _("The sound and the words stay in the recording."),
                _("The ledger keeps that you did it."),
            ],
            "action": reverse("remove_segment", args=[ref]),
            "cancel_url": reverse("edit_segment", args=[ref]),
        },
    )


urlpatterns: list[URLPattern] = [
    path("desk/recordings/<str:ref>/cut/", cut, name="cut"),
    path("desk/segments/<str:ref>/", edit_segment, name="edit_segment"),
    path("desk/segments/<str:ref>/remove/", remove_segment, name="remove_segment"),
]
