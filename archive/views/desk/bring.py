"""Bringing a recording in by page, and further transcripts; also saying better what a recording is."""

from __future__ import annotations

import codecs
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import TemporaryUploadedFile, UploadedFile
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from ...access import bringing, desk, making, showing, uploads
from ...access.bringing import RecordingGiven, Refused, TranscriptGiven
from ...access.gate import Gate
from ...access.making import Chosen
from ...access.uploads import NotTaken
from ...access.writing import Overtaken
from ...models import Kind, Level, Recording, TieKind, TranscriptKind
from ...models.tags import validate_event_date, validate_language_tag
from ..loading import GatedRequest, fetch, for_role
from ..pages.parts import Shown
from . import conflicts
from .drawing import crumbs, draw, posted, problem_rows
from .fields import AsksForNames, NamesField, SoundField
from .uploading import PIECE_BYTES

TRANSCRIPTS_AT_ONCE = 3
MOST_RAW = 2_000  # characters; a refused file is with whoever sent it, one that was taken in can be fetched
LANGUAGE_HELP = gettext_lazy("A language tag by BCP 47, such as en, pt-BR or qse-x-senneth.")
DATE_HELP = gettext_lazy(
    "1962-07-14, 1962-07, 1962, 1962~ (about), 196X (the 1960s), or two of them with a slash between."
)


def validate_encoding(text: str) -> None:
    try:
        codecs.lookup(text)
    except (LookupError, ValueError) as error:
        raise ValidationError(
            _("No encoding is called “%(name)s”. Write utf-8, windows-1252 or such, or leave it empty.")
            % {"name": text[:40]}
        ) from error


class AboutForm(AsksForNames):
    """What is said about a recording, when it is brought in and later."""

    title = forms.CharField(label=gettext_lazy("Title"), max_length=200)
    recorded_on = forms.CharField(
        label=gettext_lazy("Recorded on"), max_length=40, help_text=DATE_HELP, validators=[validate_event_date]
    )
    speakers = NamesField(
        Kind.PERSON,
        makes_new=True,
        required=False,
        label=gettext_lazy("Who is heard"),
        help_text=gettext_lazy("A name in each box, in any spelling. A name that is not known yet is written in."),
    )
    places = NamesField(
        Kind.PLACE, required=False, label=gettext_lazy("Where it was recorded"),
        help_text=gettext_lazy("A place that is known already."),
    )
    language = forms.CharField(
        label=gettext_lazy("Language spoken"), max_length=35, help_text=LANGUAGE_HELP,
        validators=[validate_language_tag],
    )
    circumstances = forms.CharField(
        label=gettext_lazy("Circumstances"),
        required=False,
        max_length=20_000,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=gettext_lazy("Who recorded it, for what, who else was there, what was asked for."),
    )
    sure = forms.BooleanField(required=False, label=gettext_lazy("The new names are meant as they are written."))

    def __init__(self, gate: Gate, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.gate = gate
        self.know(gate)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        self.ask_about_new_names(given)
        return given


class BringForm(AboutForm):
    """The sound comes as a file with the form, or has arrived before as an upload (`kept`)."""

    audio = SoundField(
        label=gettext_lazy("Sound or film"),
        help_text=gettext_lazy(
            "WAV, FLAC, MP3, M4A, Ogg, Opus, or a film with sound. It is kept as it is, byte for byte, and never "
            "served; what is heard is made from it."
        ),
    )
    kept = forms.ChoiceField(
        label=gettext_lazy("Or a file that has arrived already"), required=False, widget=forms.RadioSelect
    )
    field_order = ["audio", "kept"]

    def __init__(self, gate: Gate, *args: Any, **kwargs: Any) -> None:
        super().__init__(gate, *args, **kwargs)
        here = [one for one in uploads.mine(gate.account) if one.is_here] if gate.account else []
        field = self.fields["kept"]
        if here and isinstance(field, forms.ChoiceField):
            field.choices = [(one.ref, f"{one.original_name} ({megabytes(one.size_bytes)})") for one in here]
        else:
            self.fields.pop("kept")

    def clean(self) -> dict[str, Any]:
        given = super().clean()
        if not given.get("kept") and "audio" not in self.errors:
            self.add_error("audio", _("Choose the file that holds the sound."))
        return given


def megabytes(size_bytes: int) -> str:
    return _("%(size)s MB") % {"size": f"{size_bytes / 1e6:.1f}"}


class TranscriptForm(forms.Form):
    file = forms.FileField(
        label=gettext_lazy("Transcript"), required=False, max_length=255, allow_empty_file=True,
        help_text=gettext_lazy("SubRip, WebVTT, a table with times (CSV), or plain text with times."),
    )
    language = forms.CharField(
        label=gettext_lazy("Its language"), max_length=35, help_text=LANGUAGE_HELP, validators=[validate_language_tag]
    )
    kind = forms.ChoiceField(label=gettext_lazy("What it is"), choices=TranscriptKind.choices)
    encoding = forms.CharField(
        label=gettext_lazy("Encoding"), required=False, max_length=40, validators=[validate_encoding],
        help_text=gettext_lazy("Only where letters come out wrong: windows-1252, iso-8859-2, utf-16 …"),
    )

    def given(self) -> TranscriptGiven | None:
        file: UploadedFile | None = self.cleaned_data.get("file")
        if file is None:
            return None
        return TranscriptGiven(
            file.read(),
            file.name or "",
            self.cleaned_data["language"],
            self.cleaned_data["kind"],
            self.cleaned_data["encoding"] or None,
        )


def transcript_forms(request: GatedRequest, language: str, count: int) -> list[TranscriptForm]:
    data, files = (request.POST, request.FILES) if request.method == "POST" else (None, None)
    return [
        TranscriptForm(data, files, prefix=f"transcript-{at}", initial={"language": language})
        for at in range(count)
    ]


# --- a new recording ---


@for_role("is_archivist")
@require_http_methods(["GET", "HEAD", "POST"])
def bring(request: GatedRequest) -> HttpResponse:
    language = showing.house().language
    if request.method != "POST":
        form = BringForm(request.gate, initial={"language": language})
        return _bring_page(request, form, transcript_forms(request, language, TRANSCRIPTS_AT_ONCE))
    form = _sent_form(request)
    transcripts = transcript_forms(request, language, TRANSCRIPTS_AT_ONCE)
    are_good = [form.is_valid(), *(one.is_valid() for one in transcripts)]
    refused = None
    if all(are_good):
        try:
            return _taken_in(request, form, transcripts)
        except Refused as error:
            refused = error
            _blame(form, transcripts, refused)
        except ValidationError as error:
            form.add_error(None, error)
    return _bring_page(request, form, transcripts, refused)


def _sent_form(request: GatedRequest) -> BringForm:
    """The form as it was sent. A file that came with it is kept first, so that no mistake costs a second upload."""
    data, problem = request.POST.copy(), ""
    audio = request.FILES.get("audio")
    if isinstance(audio, TemporaryUploadedFile):
        try:
            data["kept"] = uploads.keep(request.user, audio.name or "", Path(audio.temporary_file_path())).ref
        except NotTaken as error:
            problem = error.message
    form = BringForm(request.gate, data)
    if problem:
        form.is_valid()
        form.errors.pop("audio", None)
        form.add_error("audio", problem)
    return form


def _taken_in(request: GatedRequest, form: BringForm, transcripts: Sequence[TranscriptForm]) -> HttpResponse:
    given = form.cleaned_data
    brought = bringing.add_upload(
        request.user,
        given["kept"],
        RecordingGiven(
            title=given["title"],
            recorded_on=given["recorded_on"],
            speakers=[one.text for one in given["speakers"] if one.number is None],
            people=numbers(given["speakers"]),
            places=numbers(given["places"]),
            language=given["language"],
            circumstances=given["circumstances"],
            transcripts=[one for form in transcripts if (one := form.given()) is not None],
        ),
    )
    words = _("“%(title)s” is kept, byte for byte. It is closed and waits for the council.")
    messages.success(request, request.gate.mask.text(words % {"title": brought.recording.title}))
    if brought.problems:
        messages.warning(request, _("Some lines of the transcripts want a look. They are listed below."))
    return redirect("desk_recording", ref=brought.recording.ref)


def numbers(chosen: Sequence[Chosen]) -> list[int]:
    return [one.number for one in chosen if one.number is not None]


def _blame(form: forms.Form, transcripts: Sequence[TranscriptForm], refused: Refused) -> None:
    if refused.transcript is None:
        form.add_error("audio", refused.message)
        return  # the file itself is at fault, and gone from those that have arrived
    with_file = [one for one in transcripts if one.cleaned_data.get("file")]
    with_file[refused.transcript].add_error("file", refused.message)


def _bring_page(
    request: GatedRequest, form: BringForm, transcripts: Sequence[TranscriptForm], refused: Refused | None = None
) -> HttpResponse:
    return draw(
        request,
        "desk/bring.html",
        {
            "crumbs": crumbs(_("Bring a recording in")),
            "form": form,
            "transcripts": transcripts,
            "has_errors": bool(form.errors) or any(one.errors for one in transcripts),
            "problems": refused_rows(refused),
            "known": form.known,
            "arriving": [arriving_row(one) for one in uploads.mine(request.user)],
            "piece_bytes": PIECE_BYTES,
        },
    )


def arriving_row(one: uploads.Arriving) -> Shown:
    return {
        "ref": one.ref,
        "name": one.original_name,
        "size": one.size_bytes,
        "is_here": one.is_here,
        "percent": int(100 * one.share),
        "megabytes": megabytes(one.size_bytes),
        "drop_url": reverse("drop_upload", args=[one.ref]),
    }


def refused_rows(refused: Refused | None) -> list[list[Shown]]:
    found = refused.problems if refused else []
    return problem_rows([desk.Problem(one.line, one.severity, one.code, _with_raw(one)) for one in found])


def _with_raw(problem: Any) -> str:
    """What is wrong, and the lines that it is about, or their beginning where they are very long."""
    raw = problem.raw if len(problem.raw) <= MOST_RAW else problem.raw[:MOST_RAW] + " …"
    return f"{problem.text}\n{raw}".strip()


# --- a further transcript ---


@for_role("is_archivist")
@require_http_methods(["GET", "HEAD", "POST"])
def add_transcript(request: GatedRequest, ref: str) -> HttpResponse:
    row = fetch(request, Recording, ref, Level.OPEN)
    if not desk.hears_all(request.gate, row):
        raise Http404
    form = transcript_forms(request, row.language, 1)[0]
    form.fields["file"].required = True
    refused = None
    if request.method == "POST" and form.is_valid():
        given = form.given()
        try:
            if given is not None:
                bringing.add_transcript(request.user, bringing.recording(row.pk), given)
            messages.success(request, _("The transcript is taken in. What is odd in it is listed by line."))
            return redirect("desk_recording", ref=ref)
        except Refused as error:
            refused = error
            form.add_error("file", error.message)
    return draw(
        request,
        "desk/transcript.html",
        {
            "crumbs": crumbs(_("Add a transcript"), (row.title, reverse("desk_recording", args=[ref]))),
            "form": form,
            "problems": refused_rows(refused),
            "cancel_url": reverse("desk_recording", args=[ref]),
        },
    )


# --- what is said about a recording ---


class EditRecordingForm(AboutForm):
    version = forms.IntegerField(widget=forms.HiddenInput)


@for_role("is_archivist")
@require_http_methods(["GET", "HEAD", "POST"])
def edit_recording(request: GatedRequest, ref: str) -> HttpResponse:
    row = fetch(request, Recording, ref, Level.OPEN)
    current = _as_typed(request.gate, row)
    form = EditRecordingForm(request.gate, posted(request), initial=current)
    conflict = None
    if request.method == "POST" and form.is_valid():
        try:
            _save_recording(request, row, form)
            messages.success(request, _("Saved."))
            return redirect("desk_recording", ref=ref)
        except Overtaken:
            form, conflict = conflicts.meet(form, current, desk.last_saved_by(row))
        except ValidationError as error:
            form.add_error(None, error)
    return draw(
        request,
        "desk/edit.html",
        {
            "crumbs": crumbs(_("Say it better"), (row.title, reverse("desk_recording", args=[ref]))),
            "title": row.title,
            "form": form,
            "conflict": conflict,
            "known": form.known,
            "cancel_url": reverse("desk_recording", args=[ref]),
        },
    )


def _as_typed(gate: Gate, row: Recording) -> Shown:
    ties = showing.ties(gate, row.pk)
    return {
        "title": row.title,
        "recorded_on": row.recorded_on,
        "language": row.language,
        "circumstances": row.circumstances,
        "speakers": written(gate, Kind.PERSON, showing.others(ties, TieKind.TOLD_BY, True)),
        "places": written(gate, Kind.PLACE, showing.others(ties, TieKind.RECORDED_AT, True)),
        "version": row.version,
    }


def written(gate: Gate, kind: str, labels: Sequence[showing.Label]) -> list[str]:
    known = desk.known(gate, kind)
    return [known.written(label) for label in labels]


def _save_recording(request: GatedRequest, row: Recording, form: EditRecordingForm) -> None:
    given = form.cleaned_data
    making.change_recording(
        request.gate,
        row,
        given["version"],
        {TieKind.TOLD_BY: given["speakers"], TieKind.RECORDED_AT: given["places"]},
        **{name: given[name] for name in ("title", "recorded_on", "language", "circumstances")},
    )


urlpatterns: list[URLPattern] = [
    path("desk/bring/", bring, name="bring"),
    path("desk/recordings/<str:ref>/transcripts/add/", add_transcript, name="add_transcript"),
    path("desk/recordings/<str:ref>/edit/", edit_recording, name="edit_recording"),
]
