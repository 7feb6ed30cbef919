"""Transcripts as the desk shows and corrects them: for those who hear all of the recording, names at rest masked.

A line goes by its place within one revision. What a page showed in other words than are kept (a name at rest, a speaker
who is not met) is kept as it was where it comes back unchanged.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from django.db import transaction

from ..models import Recording, Transcript
from ..timecode import cues as plain
from ..timecode.folding import fold
from ..timecode.writers import Written, write_srt, write_vtt
from . import desk, ledger, resting, revisions, showing
from .gate import Gate, NotMet
from .revisions import Correction, Difference, Line, Lines, Version


@dataclass(frozen=True)
class Words:
    """One transcript in one revision. A line's `number` is 0 here; its place is its index."""

    ref: str
    language: str
    kind: str
    kind_words: str
    original_name: str
    revision: int
    lines: tuple[Line, ...]


def fetch(gate: Gate, ref: str) -> Transcript:
    """The transcript at this address, for whoever hears all of its recording; NotMet else."""
    found = Transcript.ungated.select_related("recording__master").filter(ref=ref).first()
    if found is None or not desk.hears_all(gate, gate.fetch(Recording, found.recording.ref)):
        raise NotMet(ref)
    transcript: Transcript = found
    transcript.recording = resting.masked(gate, transcript.recording)
    return transcript


def of_recording(gate: Gate, row: Recording) -> list[Transcript]:
    """Its transcripts, those that say what was said first."""
    if not desk.hears_all(gate, row):
        return []
    order = {"verbatim": 0, "translation": 1, "summary": 2}
    return sorted(Transcript.ungated.filter(recording=row), key=lambda one: (order[one.kind], one.pk))


def shown(gate: Gate, transcript: Transcript, number: int | None = None) -> Words | None:
    """The newest revision, or the one with this number; None where that is not kept."""
    lines = revisions.current(transcript) if number is None else revisions.at(transcript, number)
    if lines is None:
        return None
    return Words(
        ref=transcript.ref,
        language=transcript.language,
        kind=transcript.kind,
        kind_words=transcript.get_kind_display(),
        original_name=gate.mask.text(transcript.original_name),
        revision=lines.number,
        lines=_masked(gate, transcript.language, lines.lines),
    )


def _masked(gate: Gate, language: str, lines: Sequence[Line]) -> tuple[Line, ...]:
    unnamed = showing.unnamed_speakers(gate)
    return tuple(_masked_line(gate, language, unnamed, line) for line in lines)


def _masked_line(gate: Gate, language: str, unnamed: set[str], line: Line) -> Line:
    speaker = "" if fold(line.speaker) in unnamed else gate.mask.text(line.speaker, language)
    return line._replace(number=0, text=gate.mask.text(line.text, language), speaker=speaker)


def correct(gate: Gate, transcript: Transcript, base: int, corrections: Sequence[Correction], note: str = "") -> int:
    """`revisions.correct` of what was shown; its Overtaken shows what stands in the viewer's words."""
    old = revisions.at(transcript, base)
    if old is not None:
        unnamed = showing.unnamed_speakers(gate)
        inside = [one for one in corrections if 0 <= one.place < len(old.lines)]
        corrections = [_kept(gate, transcript.language, unnamed, old, one) for one in inside]
    try:
        return revisions.correct(gate.account, transcript, base, corrections, note)
    except revisions.Overtaken as error:
        masked = [_masked_clash(gate, transcript.language, clash) for clash in error.clashes]
        raise revisions.Overtaken(error.by, masked, error.newest) from error


@transaction.atomic
def correct_together(gate: Gate, given: Sequence[tuple[Transcript, int, Sequence[Correction]]]) -> list[int]:
    """Correct several transcripts at once: all of it is saved, or none."""
    return [correct(gate, transcript, base, corrections) for transcript, base, corrections in given]


def _kept(gate: Gate, language: str, unnamed: set[str], old: Lines, one: Correction) -> Correction:
    line = old.lines[one.place]
    masked = _masked_line(gate, language, unnamed, line)
    return replace(
        one,
        text=_original(gate, line.text, masked.text, one.text),
        speaker=_original(gate, line.speaker, masked.speaker, one.speaker),
    )


def _original(gate: Gate, kept: str, showed: str, typed: str | None) -> str | None:
    if typed is None or typed == showed:
        return None
    return gate.mask.kept(kept, typed)


def _masked_clash(gate: Gate, language: str, clash: revisions.Clash) -> revisions.Clash:
    unnamed = showing.unnamed_speakers(gate)
    theirs = _masked_line(gate, language, unnamed, clash.theirs) if clash.theirs else None
    typed = _masked_line(gate, language, unnamed, clash.typed) if clash.typed else None
    return replace(clash, theirs=theirs, typed=typed)


def history(gate: Gate, transcript: Transcript) -> list[Version]:
    return [replace(one, note=gate.mask.text(one.note)) for one in revisions.history(transcript)]


def compare(gate: Gate, transcript: Transcript, before: int, after: int) -> list[Difference] | None:
    """What differs between two revisions; None where one of them is not kept."""
    old, new = revisions.at(transcript, before), revisions.at(transcript, after)
    if old is None or new is None:
        return None
    return [
        Difference(_masked(gate, transcript.language, one.before), _masked(gate, transcript.language, one.after))
        for one in revisions.compare(old, new)
    ]


def restore(gate: Gate, transcript: Transcript, number: int) -> int:
    return revisions.restore(gate.account, transcript, number)


def original(ref: str) -> tuple[str, bytes] | None:
    """The name and the bytes of a file as it came, for whoever keeps the house's machine; the ledger says so.

    No page gives them out: no word of them can be masked, and to refuse them where something in them is hidden would
    tell of it.
    """
    row = Transcript.ungated.filter(ref=ref).first()
    if row is None:
        return None
    ledger.write("transcript taken out", None, row.recording.ref, transcript=row.ref)
    return row.original_name, bytes(row.original)


def written(gate: Gate, transcript: Transcript, form: str, number: int | None = None) -> Written | None:
    """The newest revision, or the one with this number, as SubRip (`srt`) or WebVTT (`vtt`)."""
    words = shown(gate, transcript, number)
    if words is None:
        return None
    cues = [plain.Cue(line.start_ms, line.end_ms, line.text, line.speaker) for line in words.lines]
    writer = write_srt if form == "srt" else write_vtt
    return writer(plain.Transcript("srt" if form == "srt" else "vtt", "utf-8", cues=cues))
