"""Corrections of a transcript: each is a revision with who and when; any of them can be compared and put back.

The bytes that came stay as they are. A revision keeps all lines as they stood after it, packed (zlib, RFC 1950, over
JSON); the rows that pages and search read are those of the newest. A line keeps its identity through corrections, so
that two people correcting different lines do not stand in each other's way.
"""

from __future__ import annotations

import difflib
import json
import zlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from ..models import Account, Cue, Recording, Revision, Transcript
from ..timecode.times import format_clock
from . import ledger, writing

LONGEST_TEXT = 20_000
LONGEST_SPEAKER = 120


class Line(NamedTuple):
    """A timed line. `number` is its identity within the transcript (a row's number, never shown)."""

    number: int
    start_ms: int
    end_ms: int
    text: str
    speaker: str


@dataclass(frozen=True)
class Version:
    """A revision as a page may list it; number 1 is as the file was read."""

    number: int
    made_at: datetime
    made_by: str
    note: str


@dataclass(frozen=True)
class Lines:
    """All lines of one revision, in order."""

    number: int
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class Correction:
    """What one line is to become, by its place in the revision it was read from; text None takes it away."""

    place: int
    text: str | None = None
    speaker: str | None = None
    start_ms: int | None = None
    end_ms: int | None = None
    is_taken_away: bool = False


@dataclass(frozen=True)
class Clash:
    """A line that somebody else changed meanwhile: as it stood, as it stands, and as it was typed."""

    place: int
    theirs: Line | None
    typed: Line | None


class Overtaken(Exception):
    """Somebody changed the same lines meanwhile. Nothing was written."""

    def __init__(self, by: str, clashes: Sequence[Clash], newest: int) -> None:
        super().__init__("overtaken")
        self.by, self.clashes, self.newest = by, list(clashes), newest


@dataclass(frozen=True)
class Difference:
    """Lines that differ between two revisions; either side may be empty."""

    before: tuple[Line, ...]
    after: tuple[Line, ...]


# --- reading ---


def current(transcript: Transcript) -> Lines:
    """The newest revision's lines, from the rows themselves."""
    newest = Revision.ungated.filter(transcript=transcript).first()
    return Lines(newest.number if newest else 1, tuple(_rows(transcript)))


def _rows(transcript: Transcript) -> list[Line]:
    rows = Cue.ungated.filter(transcript=transcript).order_by("start_ms", "pk")
    return [Line(*row) for row in rows.values_list("pk", "start_ms", "end_ms", "text", "speaker")]


def at(transcript: Transcript, number: int) -> Lines | None:
    row = Revision.ungated.filter(transcript=transcript, number=number).first()
    if row is not None:
        return Lines(number, tuple(_unpacked(row.content)))
    return current(transcript) if number == 1 else None


def history(transcript: Transcript) -> list[Version]:
    """Every revision, the newest first."""
    rows = Revision.ungated.filter(transcript=transcript).select_related("made_by").defer("content")
    found = [Version(row.number, row.made_at, str(row.made_by or ""), row.note) for row in rows]
    return found or [Version(1, transcript.received_at, "", "")]


def compare(before: Lines, after: Lines) -> list[Difference]:
    """What differs, in the order of the newer one; times, words and speaker all count."""
    old, new = [line[1:] for line in before.lines], [line[1:] for line in after.lines]
    found = difflib.SequenceMatcher(None, old, new, autojunk=False).get_opcodes()
    return [
        Difference(before.lines[a:b], after.lines[c:d]) for tag, a, b, c, d in found if tag != "equal"
    ]


def _packed(lines: Iterable[Line]) -> bytes:
    return zlib.compress(json.dumps([list(line) for line in lines], ensure_ascii=False).encode(), 6)


def _unpacked(content: bytes) -> list[Line]:
    return [Line(*row) for row in json.loads(zlib.decompress(bytes(content)))]


# --- writing ---


def first(transcript: Transcript, by: Account | None) -> None:
    """Keep a transcript as it was read, so that it can always be put back."""
    Revision.ungated.create(
        transcript=transcript, number=1, made_by=by, content=_packed(_rows(transcript)), note=_("as it was read")
    )


@transaction.atomic
def correct(
    by: Account | None, transcript: Transcript, base: int, corrections: Sequence[Correction], note: str = ""
) -> int:
    """Correct lines as they stood in revision `base`; returns the new revision's number.

    Lines that others changed since then are left as they are where the correction leaves them alone; where both
    changed one, Overtaken. ValidationError where a line would not run forward or lie outside the recording.
    """
    transcript = _locked(transcript)
    old, now = at(transcript, base), current(transcript)
    if old is None:
        raise ValidationError(_("That version of the transcript is not kept. Load the page again."))
    wanted = {old.lines[one.place]: _corrected(old.lines[one.place], one) for one in corrections
              if 0 <= one.place < len(old.lines)}
    changed = {line: new for line, new in wanted.items() if new != line}
    _check(transcript.recording, [new for new in changed.values() if new is not None])
    standing = {line.number: line for line in now.lines}
    clashes = _clashes(old, standing, changed)
    if clashes:
        raise Overtaken(_newest_by(transcript), clashes, now.number)
    changed = {line: new for line, new in changed.items() if standing.get(line.number) != new}
    if not changed:
        return now.number
    _first_if_missing(transcript, now)
    _write({line.number: new for line, new in changed.items()})
    return _keep(by, transcript, now.number + 1, note)


def _locked(transcript: Transcript) -> Transcript:
    found: Transcript = Transcript.ungated.select_for_update(of=("self",)).get(pk=transcript.pk)
    return found


def _corrected(line: Line, one: Correction) -> Line | None:
    if one.is_taken_away:
        return None
    return Line(
        line.number,
        line.start_ms if one.start_ms is None else one.start_ms,
        line.end_ms if one.end_ms is None else one.end_ms,
        line.text if one.text is None else one.text,
        line.speaker if one.speaker is None else one.speaker,
    )


def _check(recording: Recording, lines: Iterable[Line]) -> None:
    length = recording.master.duration_ms
    problems = []
    for line in lines:
        where = format_clock(max(0, line.start_ms))
        if line.end_ms < line.start_ms or line.start_ms < 0:
            problems.append(_("The line at %(start)s ends before it starts. Mend its times.") % {"start": where})
        elif line.end_ms > length:
            problems.append(_("The line at %(start)s runs past the end of the recording, %(length)s.")
                            % {"start": where, "length": format_clock(length)})
        if len(line.text) > LONGEST_TEXT or len(line.speaker) > LONGEST_SPEAKER:
            words = _("The line at %(start)s is too long: %(text)d letters at most, %(speaker)d for the speaker.")
            problems.append(words % {"start": where, "text": LONGEST_TEXT, "speaker": LONGEST_SPEAKER})
    if problems:
        raise ValidationError(problems)


def _clashes(old: Lines, standing: Mapping[int, Line], changed: Mapping[Line, Line | None]) -> list[Clash]:
    places = {line: place for place, line in enumerate(old.lines)}
    return [
        Clash(places[line], standing.get(line.number), new)
        for line, new in changed.items()
        if standing.get(line.number) not in (line, new)
    ]


def _newest_by(transcript: Transcript) -> str:
    row = Revision.ungated.filter(transcript=transcript).select_related("made_by").first()
    return str(row.made_by) if row is not None and row.made_by else ""


def _first_if_missing(transcript: Transcript, now: Lines) -> None:
    """A transcript from before revisions were kept gets its first one now."""
    if not Revision.ungated.filter(transcript=transcript).exists():
        Revision.ungated.create(transcript=transcript, number=1, content=_packed(now.lines), note=_("as it was read"))


def _write(changed: Mapping[int, Line | None]) -> None:
    gone = [number for number, line in changed.items() if line is None]
    Cue.ungated.filter(pk__in=gone).delete()
    rows = Cue.ungated.in_bulk([number for number, line in changed.items() if line is not None])
    for number, row in rows.items():
        line = changed[number]
        if line is not None:
            row.start_ms, row.end_ms, row.text, row.speaker = line[1:]
    Cue.ungated.bulk_update(rows.values(), ["start_ms", "end_ms", "text", "speaker"], batch_size=500)


def _keep(by: Account | None, transcript: Transcript, number: int, note: str) -> int:
    Revision.ungated.create(
        transcript=transcript, number=number, made_by=by, note=note[:200], content=_packed(_rows(transcript))
    )
    ref = transcript.recording.ref
    ledger.write("transcript corrected", by, ref, transcript=transcript.ref, revision=number)
    writing.owe_index([transcript.recording_id])
    return number


@transaction.atomic
def restore(by: Account | None, transcript: Transcript, number: int) -> int:
    """Put an earlier revision's lines back, as a new revision; what stood in between stays kept."""
    transcript = _locked(transcript)
    wanted, now = at(transcript, number), current(transcript)
    if wanted is None:
        raise ValidationError(_("That version of the transcript is not kept. Load the page again."))
    if [line[1:] for line in wanted.lines] == [line[1:] for line in now.lines]:
        return now.number
    _first_if_missing(transcript, now)
    standing = {line.number: line for line in now.lines}
    kept = {line.number: line for line in wanted.lines if line.number in standing}
    _write({number: kept.get(number) for number, line in standing.items() if kept.get(number) != line})
    Cue.ungated.bulk_create(
        [
            Cue(transcript=transcript, start_ms=line.start_ms, end_ms=line.end_ms, text=line.text, speaker=line.speaker)
            for line in wanted.lines if line.number not in standing
        ],
        batch_size=1000,
    )
    note = _("version %(number)d put back") % {"number": number}
    return _keep(by, transcript, now.number + 1, note)
