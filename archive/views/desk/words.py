"""Transcripts at the desk: correcting lines, two languages side by side, versions, misheard names, who is speaking."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import accumulate
from pathlib import PurePath

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse, QueryDict
from django.shortcuts import redirect
from django.urls import URLPattern, path, reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from ...access import desk, details, drafts, hints, met, words
from ...access.gate import NotMet
from ...access.hints import NameHint, SpeakerHint
from ...access.revisions import Clash, Correction, Difference, Line, Overtaken
from ...access.words import Words
from ...models import Recording, Transcript
from ...templatetags.undersky import clock, language_name
from ...timecode.times import Span, format_clock, format_fragment
from ..loading import GatedRequest, for_role
from ..pages import parts, players
from ..pages.parts import Shown
from .drawing import crumbs, draw
from .fields import read_ms

ROWS_A_PAGE = 50
HINTS_A_PAGE = 100
SIDES = ("a", "b")


def _fetch(request: GatedRequest, ref: str) -> Transcript:
    try:
        return words.fetch(request.gate, ref)
    except NotMet as error:
        raise Http404 from error


def _shown(request: GatedRequest, transcript: Transcript, number: int | None = None) -> Words:
    found = words.shown(request.gate, transcript, number)
    if found is None:
        raise Http404
    return found


def _title(shown: Words) -> str:
    return f"{language_name(shown.language)}, {shown.kind_words}"


def _crumbs(title: str, row: Recording, *between: tuple[str, str]) -> list[Shown]:
    return crumbs(title, (row.title, reverse("desk_recording", args=[row.ref])), *between)


def _number(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 9 else None


# --- correcting ---


@dataclass
class _Typed:
    """What came back for one transcript: corrections, and what could not be read, by place."""

    corrections: list[Correction] = field(default_factory=list)
    unread: dict[int, str] = field(default_factory=dict)


def _typed(data: QueryDict, side: str, lines: Sequence[Line]) -> _Typed:
    """Only what differs from what was shown is a correction. Boxes are named side-place-box."""
    found = _Typed()
    for place in sorted({int(text) for text in data.getlist(f"{side}-place") if text.isdigit() and len(text) < 9}):
        if place < len(lines):
            try:
                one = _correction(data, f"{side}-{place}", place, lines[place])
            except ValidationError as error:
                found.unread[place] = " ".join(error.messages)
                continue
            if one is not None:
                found.corrections.append(one)
    return found


def _correction(data: QueryDict, prefix: str, place: int, line: Line) -> Correction | None:
    if data.get(f"{prefix}-gone"):
        return Correction(place, is_taken_away=True)
    text = data.get(f"{prefix}-text", line.text).replace("\r\n", "\n").replace("\r", "\n")
    speaker = data.get(f"{prefix}-speaker", line.speaker).strip()
    start, end = (
        _changed_ms(data.get(f"{prefix}-{name}", ""), value)
        for name, value in (("start", line.start_ms), ("end", line.end_ms))
    )
    made = Correction(
        place,
        text=None if text == line.text.replace("\r\n", "\n") else text,
        speaker=None if speaker == line.speaker.strip() else speaker,
        start_ms=start,
        end_ms=end,
    )
    return None if made == Correction(place) else made


def _changed_ms(text: str, value: int) -> int | None:
    """The time that was typed, where it is another than the one that was shown."""
    if not text.strip() or text.strip() == format_clock(value):
        return None
    return read_ms(text, None)


@for_role("is_archivist")
@require_http_methods(["GET", "HEAD", "POST"])
def correct_words(request: GatedRequest, ref: str) -> HttpResponse:
    left = _fetch(request, ref)
    right = _beside(request, left)
    sides = [one for one in (left, right) if one is not None]
    bases = [_number(request.POST.get(f"{side}-base", "")) for side in SIDES]
    shown = [_shown(request, one, base) for one, base in zip(sides, bases, strict=False)]
    typed = [_typed(request.POST, side, one.lines) for side, one in zip(SIDES, shown, strict=False)]
    clashes: list[Shown] = []
    problem = ""
    if request.method == "POST" and not any(one.unread for one in typed):
        try:
            given = [
                (one, was.revision, each.corrections) for one, was, each in zip(sides, shown, typed, strict=True)
            ]
            saved = words.correct_together(request.gate, given)
            _say_saved(request, [was.revision for was in shown], saved)
            return redirect(request.get_full_path())
        except Overtaken as error:
            clashes = _clashes(error)
            shown = [_shown(request, one) for one in sides]
        except ValidationError as error:
            problem = " ".join(error.messages)
    return _words_page(request, left, right, shown, typed, clashes, problem)


def _beside(request: GatedRequest, left: Transcript) -> Transcript | None:
    """The transcript that stands beside it: the one asked for, else none."""
    wanted = request.GET.get("beside", "")
    if not wanted or wanted == left.ref:
        return None
    found = _fetch(request, wanted)
    return found if found.recording_id == left.recording_id else None


def _say_saved(request: GatedRequest, before: Sequence[int], after: Sequence[int]) -> None:
    if list(before) == list(after):
        messages.info(request, _("Nothing was changed, so nothing was saved."))
    else:
        messages.success(request, _("Saved as a new version. The earlier ones are kept."))


def _clashes(error: Overtaken) -> list[Shown]:
    who = error.by or _("Somebody else")
    return [{"who": who} | _clash(one) for one in error.clashes]


def _clash(one: Clash) -> Shown:
    theirs, typed = one.theirs, one.typed
    at = theirs or typed
    return {
        "time": clock(at.start_ms) if at else "",
        "theirs": theirs.text if theirs else _("(taken away)"),
        "typed": typed.text if typed else _("(taken away)"),
    }


def _words_page(
    request: GatedRequest,
    left: Transcript,
    right: Transcript | None,
    shown: Sequence[Words],
    typed: Sequence[_Typed],
    clashes: Sequence[Shown],
    problem: str,
) -> HttpResponse:
    row = left.recording
    met.note(request.gate, row, "desk")
    rows = _rows(shown)
    page = details.page_of(list(range(len(rows))), parts.page_number(request), ROWS_A_PAGE)
    sound = players.of_recording(request.gate, row)
    sound_url = reverse("recording_sound", args=[row.ref])
    data = request.POST if request.method == "POST" and not clashes else QueryDict()
    languages = [one.language for one in shown]
    return draw(
        request,
        "desk/words.html",
        {
            "crumbs": _crumbs(_("Words"), row),
            "title": row.title,
            "kicker": _title(shown[0]),
            "player": sound.player | {"cues": []} if sound is not None and sound.player is not None else None,
            "rows": [_drawn(rows[at], data, typed, languages, sound_url) for at in page.numbers],
            "bases": [{"name": f"{side}-base", "value": one.revision} for side, one in zip(SIDES, shown, strict=False)],
            "heads": [_title(one) for one in shown],
            "page": parts.page_links(page),
            "total": page.total,
            "clashes": clashes,
            "problem": problem,
            "has_errors": bool(problem) or any(one.unread for one in typed),
            "choices": _choices(request, left, right),
            "versions_url": reverse("versions", args=[left.ref]),
            "names_url": reverse("names_heard", args=[left.ref]),
            "recording_url": reverse("desk_recording", args=[row.ref]),
        },
    )


def _choices(request: GatedRequest, left: Transcript, right: Transcript | None) -> list[Shown]:
    """The other transcripts of the recording, to be put beside this one."""
    others = [one for one in words.of_recording(request.gate, left.recording) if one.pk != left.pk]
    labels = [f"{language_name(one.language)}, {one.get_kind_display()}" for one in others]
    address = reverse("correct_words", args=[left.ref])
    return [
        {
            "label": label if labels.count(label) == 1 else f"{label}, {request.gate.mask.text(one.original_name)}",
            "url": address if right is not None and one.pk == right.pk else f"{address}?beside={one.ref}",
            "chosen": right is not None and one.pk == right.pk,
        }
        for one, label in zip(others, labels, strict=True)
    ]


@dataclass
class _Row:
    """A line of the left transcript with those of the right that share most time with it; or one of the right alone."""

    start_ms: int
    left: int | None
    right: list[int] = field(default_factory=list)
    sides: tuple[Sequence[Line], Sequence[Line]] = ((), ())


def _rows(shown: Sequence[Words]) -> list[_Row]:
    left = shown[0].lines
    right: Sequence[Line] = shown[1].lines if len(shown) > 1 else ()
    rows = [_Row(line.start_ms, place, sides=(left, right)) for place, line in enumerate(left)]
    ends = list(accumulate((line.end_ms for line in left), max))
    alone = []
    for place, line in enumerate(right):
        best = _best(left, ends, line)
        if best is None:
            alone.append(_Row(line.start_ms, None, [place], (left, right)))
        else:
            rows[best].right.append(place)
    return sorted([*rows, *alone], key=lambda one: one.start_ms)


def _best(lines: Sequence[Line], ends: Sequence[int], line: Line) -> int | None:
    """The place of the line that shares most time with this one. `ends`: the latest end so far, a line each.

    Lines are in order of their start, so all before the first of `ends` after this line's start lie before it.
    """
    best, shared = None, 0
    for place in range(bisect_right(ends, line.start_ms), len(lines)):
        other = lines[place]
        if other.start_ms >= line.end_ms:
            break
        common = min(other.end_ms, line.end_ms) - max(other.start_ms, line.start_ms)
        if common > shared:
            best, shared = place, common
    return best


def _drawn(
    row: _Row, data: QueryDict, typed: Sequence[_Typed], languages: Sequence[str], sound_url: str
) -> Shown:
    cells = [[row.left] if row.left is not None else [], row.right]
    return {
        "time": clock(row.start_ms),
        "start_ms": row.start_ms,
        "url": sound_url + format_fragment(Span(row.start_ms, None)),
        "cells": [
            [_box(side, place, row.sides[at][place], data, typed[at], languages[at]) for place in places]
            for at, (side, places) in enumerate(zip(SIDES, cells, strict=True))
            if at < len(typed)
        ],
    }


def _box(side: str, place: int, line: Line, data: QueryDict, typed: _Typed, language: str) -> Shown:
    prefix = f"{side}-{place}"
    return {
        "side": side,
        "place": place,
        "prefix": prefix,
        "lang": language,
        "text": data.get(f"{prefix}-text", line.text),
        "speaker": data.get(f"{prefix}-speaker", line.speaker),
        "start": data.get(f"{prefix}-start", format_clock(line.start_ms)),
        "end": data.get(f"{prefix}-end", format_clock(line.end_ms)),
        "gone": bool(data.get(f"{prefix}-gone")),
        "lines": max(1, min(8, line.text.count("\n") + 1 + len(line.text) // 60)),
        "problem": typed.unread.get(place, ""),
        "time": clock(line.start_ms),
    }


# --- versions ---


@for_role("is_archivist")
@require_safe
def versions(request: GatedRequest, ref: str) -> HttpResponse:
    transcript = _fetch(request, ref)
    shown = _shown(request, transcript)
    found = words.history(request.gate, transcript)
    after = _number(request.GET.get("after", "")) or found[0].number
    before = _number(request.GET.get("before", "")) or max(1, after - 1)
    differences = words.compare(request.gate, transcript, before, after)
    if differences is None:
        raise Http404
    met.note(request.gate, transcript.recording, "desk")
    return draw(
        request,
        "desk/versions.html",
        {
            "crumbs": _crumbs(
                _("Versions"), transcript.recording, (_title(shown), reverse("correct_words", args=[transcript.ref]))
            ),
            "title": _("Versions of a transcript"),
            "kicker": _title(shown),
            "versions": [
                {
                    "number": one.number,
                    "when": date_format(one.made_at, "j F Y, H:i"),
                    "who": one.made_by,
                    "note": one.note,
                    "is_newest": one.number == found[0].number,
                }
                for one in found
            ],
            "before": before,
            "after": after,
            "lang": transcript.language,
            "differences": [_difference(one) for one in differences],
            "restore_url": reverse("restore_version", args=[ref]),
            "files": [
                {"label": _("As it was read at first"), "url": reverse("transcript_file", args=[ref, "original"])},
                {"label": _("Newest, SubRip"), "url": reverse("transcript_file", args=[ref, "srt"])},
                {"label": _("Newest, WebVTT"), "url": reverse("transcript_file", args=[ref, "vtt"])},
            ],
        },
    )


def _difference(one: Difference) -> Shown:
    def said(lines: Sequence[Line]) -> list[Shown]:
        return [
            {"time": f"{format_clock(line.start_ms)} – {format_clock(line.end_ms)}", "speaker": line.speaker,
             "text": line.text}
            for line in lines
        ]

    return {"before": said(one.before), "after": said(one.after)}


@for_role("is_archivist")
@require_POST
def restore_version(request: GatedRequest, ref: str) -> HttpResponse:
    transcript = _fetch(request, ref)
    number = _number(request.POST.get("number", ""))
    try:
        words.restore(request.gate, transcript, number or 0)
        messages.success(request, _("Version %(number)d is put back, as a new version.") % {"number": number or 0})
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("versions", ref=ref)


@for_role("is_archivist")
@require_safe
def transcript_file(request: GatedRequest, ref: str, form: str) -> HttpResponse:
    """A transcript as a file: the newest version as SubRip or WebVTT, or what was read from the file that came.

    That one is written anew too, in the form it came in: its bytes cannot be masked.
    """
    transcript = _fetch(request, ref)
    shown = _shown(request, transcript)
    if form not in ("original", "srt", "vtt"):
        raise Http404
    met.note(request.gate, transcript.recording, "transcript")
    name = PurePath(shown.original_name)
    number = None
    if form == "original":
        form, number = "vtt" if name.suffix.lower() == ".vtt" else "srt", 1
    made = words.written(request.gate, transcript, form, number)
    kind = "text/vtt; charset=utf-8" if form == "vtt" else "application/x-subrip; charset=utf-8"
    return _file(made.text.encode() if made else b"", f"{name.stem}.{form}", kind)


def _file(data: bytes, name: str, kind: str) -> HttpResponse:
    response = HttpResponse(data, content_type=kind)
    safe = "".join(letter if letter.isalnum() or letter in " .-_" else "_" for letter in name)
    response.headers["Content-Disposition"] = f'attachment; filename="{safe.encode("ascii", "replace").decode()}"'
    return response


# --- misheard names, and who is speaking ---


@for_role("is_archivist")
@require_http_methods(["GET", "HEAD", "POST"])
def names_heard(request: GatedRequest, ref: str) -> HttpResponse:
    """Suggestions to accept, change or refuse; nothing is applied that was not ticked."""
    transcript = _fetch(request, ref)
    if request.method == "POST":
        return _take_names(request, transcript)
    shown = _shown(request, transcript)
    row = transcript.recording
    met.note(request.gate, row, "desk")
    sound = players.of_recording(request.gate, row)
    sound_url = reverse("recording_sound", args=[row.ref])
    found = hints.misheard(request.gate, transcript)
    page = details.page_of(list(range(len(found))), parts.page_number(request), HINTS_A_PAGE)
    return draw(
        request,
        "desk/names.html",
        {
            "crumbs": _crumbs(
                _("Names and voices"), row, (_title(shown), reverse("correct_words", args=[ref]))
            ),
            "title": _("Names and voices"),
            "kicker": row.title,
            "base": shown.revision,
            "lang": shown.language,
            "player": sound.player | {"cues": []} if sound is not None and sound.player is not None else None,
            "names": [_name_row(found[at], sound_url) for at in page.numbers],
            "total": page.total,
            "page": parts.page_links(page),
            "speakers": [_speaker_row(one, sound_url) for one in hints.speakers(request.gate, transcript)],
            "known": [desk.known(request.gate, kind) for kind in hints.NAMED],
        },
    )


def _name_row(one: NameHint, sound_url: str) -> Shown:
    return {
        "key": f"{one.place}-{one.start_char}-{one.end_char}",
        "before": one.text[: one.start_char],
        "heard": one.heard,
        "after": one.text[one.end_char :],
        "name": one.name,
        "name_lang": one.label.language,
        "kind": one.label.kind,
        "mark": parts.MARKS[one.label.kind],  # type: ignore[index]
        "percent": round(100 * one.score),
        "time": clock(one.start_ms),
        "start_ms": one.start_ms,
        "end_ms": one.end_ms,
        "url": sound_url + format_fragment(Span(one.start_ms, one.end_ms if one.end_ms > one.start_ms else None)),
    }


def _speaker_row(one: SpeakerHint, sound_url: str) -> Shown:
    lines = one.last - one.first + 1
    return {
        "key": f"{one.first}-{one.last}",
        "lines": ngettext("%(count)d line", "%(count)d lines", lines) % {"count": lines},
        "text": one.text,
        "speaker": one.speaker,
        "why": _("teller of the segment") if one.from_segment else _("spoke just before"),
        "time": clock(one.start_ms),
        "start_ms": one.start_ms,
        "end_ms": one.end_ms,
        "url": sound_url + format_fragment(Span(one.start_ms, None)),
    }


def _take_names(request: GatedRequest, transcript: Transcript) -> HttpResponse:
    here = redirect("names_heard", ref=transcript.ref)
    base = _number(request.POST.get("base", ""))
    shown = words.shown(request.gate, transcript, base or 0)
    if shown is None:
        messages.error(request, _("That version of the transcript is not kept. Look at the suggestions again."))
        return here
    try:
        wanted = _accepted(request.POST, shown.lines)
        corrections = [Correction(place, text=text, speaker=speaker) for place, (text, speaker) in wanted.items()]
        number = words.correct(request.gate, transcript, shown.revision, corrections, _("suggested names and voices"))
        drafts.refuse(request.gate, transcript.recording, _refused(request.POST, shown.lines))
    except Overtaken as error:
        who = error.by or _("Somebody else")
        words_said = _("%(who)s changed the same lines meanwhile. Nothing was saved; look at the suggestions again.")
        messages.error(request, words_said % {"who": who})
        return here
    except (ValidationError, drafts.Overtaken) as error:
        messages.error(request, " ".join(getattr(error, "messages", [_("Look at the suggestions again.")])))
        return here
    _say_saved(request, [shown.revision], [number])
    return here


def _accepted(data: QueryDict, lines: Sequence[Line]) -> dict[int, tuple[str | None, str | None]]:
    """New text and speaker by place. Several names in one line are put in from the last to the first."""
    found: dict[int, tuple[str | None, str | None]] = {}
    for place, start, end, name in sorted(_names_taken(data, lines), reverse=True):
        text = found.get(place, (lines[place].text, None))[0] or ""
        found[place] = (text[:start] + name + text[end:], None)
    for key in data.getlist("voice"):
        first, last = (_number(part) for part in key.partition("-")[::2])
        speaker = data.get(f"voice-{key}", "").strip()
        if first is not None and last is not None and speaker:
            for place in range(first, min(last + 1, len(lines))):
                found[place] = (found.get(place, (None, None))[0], speaker)
    return found


def _keys(data: QueryDict, word: str, lines: Sequence[Line]) -> list[tuple[str, int, int, int]]:
    """(key, place, start, end) of the suggestions answered with this word, as far as they lie inside their line."""
    found = []
    for name, answer in data.items():
        numbers = [_number(part) for part in name.removeprefix("name-").split("-")]
        if answer != word or not name.startswith("name-") or len(numbers) != 3:
            continue
        place, start, end = numbers
        if place is None or start is None or end is None or place >= len(lines):
            continue
        if start < end <= len(lines[place].text):
            found.append((name.removeprefix("name-"), place, start, end))
    return found


def _names_taken(data: QueryDict, lines: Sequence[Line]) -> list[tuple[int, int, int, str]]:
    found = []
    for key, place, start, end in _keys(data, "take", lines):
        name = data.get(f"as-{key}", "").strip()
        if name:
            found.append((place, start, end, name))
    return found


def _refused(data: QueryDict, lines: Sequence[Line]) -> set[tuple[str, str]]:
    return {
        (lines[place].text[start:end], data.get(f"was-{key}", ""))
        for key, place, start, end in _keys(data, "refuse", lines)
    }


urlpatterns: list[URLPattern] = [
    path("desk/transcripts/<str:ref>/", correct_words, name="correct_words"),
    path("desk/transcripts/<str:ref>/versions/", versions, name="versions"),
    path("desk/transcripts/<str:ref>/versions/restore/", restore_version, name="restore_version"),
    path("desk/transcripts/<str:ref>/names/", names_heard, name="names_heard"),
    path("desk/transcripts/<str:ref>/files/<str:form>/", transcript_file, name="transcript_file"),
]
