"""Suggestions for the archivist: where to cut, which names were misheard, who is speaking. None is applied by itself.

All of them are made from what this viewer hears and reads, and from names that they meet.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from ..models import Kind, Level, Name, Recording, Segment, Tie, TieKind, Transcript
from ..timecode.cues import Cue
from ..timecode.folding import fold
from ..timecode.misheard import find_misheard
from ..timecode.segmentation import suggest_cuts
from . import desk, drafts, showing, sound, words
from .gate import Gate
from .revisions import Line
from .showing import Label

Span = tuple[int, int]
AROUND_PAUSE_MS = 400  # a cue's edges are typed or machine-made: they miss the pause by about so much
CARRIES_MS = 4_000  # a speaker is carried over a line that follows within this time
NAMED = (Kind.PERSON, Kind.PLACE, Kind.FIGURE, Kind.TOPIC)


@dataclass(frozen=True)
class CutHint:
    """A moment where a new segment may begin; `pause_ms` is the silence there, 0 where none was found."""

    at_ms: int
    pause_ms: int
    before: str
    after: str


@dataclass(frozen=True)
class NameHint:
    """Words [start_char, end_char) of a line, by its place, that may be a known name misheard."""

    place: int
    start_ms: int
    end_ms: int
    text: str
    start_char: int
    end_char: int
    heard: str
    name: str
    label: Label
    score: float


@dataclass(frozen=True)
class SpeakerHint:
    """Lines first..last (places) without a speaker, who may be speaking, and where that is taken from."""

    first: int
    last: int
    start_ms: int
    end_ms: int
    text: str
    speaker: str
    from_segment: bool


# --- where to cut ---


def cuts(gate: Gate, row: Recording) -> list[CutHint]:
    """From a shift of words in the lines and from pauses in the sound; without lines, from long pauses alone."""
    pauses = _pauses(gate, row)
    lines = _lines(gate, row)
    if not lines:
        return _cuts_from_pauses(pauses, row.master.duration_ms)
    before = _silence_before(lines, pauses)
    silences = [pause[1] - pause[0] if pause else 0 for pause in before]
    found = suggest_cuts([line.text for line in lines], silences)
    return [
        CutHint(_moment(lines, at, before[at]), silences[at], lines[at - 1].text, lines[at].text) for at in found
    ]


def _pauses(gate: Gate, row: Recording) -> list[Span]:
    hearing = showing.hearing_of_recording(gate, row)
    return sound.pauses(row, hearing) if hearing is not None else []


def _lines(gate: Gate, row: Recording) -> list[Line]:
    """The lines of what was said, in time, in the first language that has any."""
    transcripts = words.of_recording(gate, row)
    if not transcripts:
        return []
    found = words.shown(gate, transcripts[0])
    return sorted(found.lines, key=lambda line: (line.start_ms, line.end_ms)) if found else []


def _silence_before(lines: Sequence[Line], pauses: Sequence[Span]) -> list[Span | None]:
    """For each line the longest pause between the line before and itself."""
    starts = [pause[0] for pause in pauses]
    found: list[Span | None] = [None]
    for before, line in pairwise(lines):
        low, high = before.end_ms - AROUND_PAUSE_MS, line.start_ms + AROUND_PAUSE_MS
        first = max(0, bisect_left(starts, low) - 1)
        inside = [pause for pause in pauses[first : bisect_left(starts, high)] if pause[1] > low]
        found.append(max(inside, key=lambda pause: pause[1] - pause[0], default=None))
    return found


def _moment(lines: Sequence[Line], at: int, pause: Span | None) -> int:
    """The middle of the pause; else the start of the line."""
    return (pause[0] + pause[1]) // 2 if pause else lines[at].start_ms


def _cuts_from_pauses(pauses: Sequence[Span], length_ms: int, most: int = 60) -> list[CutHint]:
    """The longest pauses inside the recording, at least 2 s of silence."""
    inside = [(a, b) for a, b in pauses if b - a >= 2_000 and a > 0 and b < length_ms]
    longest = sorted(inside, key=lambda pause: pause[0] - pause[1])[:most]
    return [CutHint((a + b) // 2, b - a, "", "") for a, b in sorted(longest)]


# --- misheard names ---


def misheard(gate: Gate, transcript: Transcript) -> list[NameHint]:
    """Names that the transcript may have misheard, against every spelling of everything the viewer meets."""
    shown = words.shown(gate, transcript)
    if shown is None:
        return []
    spelled, labels = _names(gate)
    left_alone = drafts.refused(gate, transcript.recording)
    found = find_misheard([Cue(line.start_ms, line.end_ms, line.text) for line in shown.lines], spelled)
    hints = []
    for one in found:
        if (one.heard, one.name) not in left_alone:
            line = shown.lines[one.cue_index]
            hints.append(
                NameHint(
                    one.cue_index, line.start_ms, line.end_ms, line.text, one.start_char, one.end_char, one.heard,
                    one.name, labels[one.name], one.score,
                )
            )
    return hints


def _names(gate: Gate) -> tuple[dict[str, list[str]], dict[str, Label]]:
    """Spellings by leading name, and whose name that is; of two with the same name the first by address."""
    spelled: dict[str, list[str]] = {}
    labels: dict[str, Label] = {}
    met = showing.labels(gate, [int(number) for kind in NAMED for number in gate.numbers(kind)])
    for label in sorted(met.values(), key=lambda one: one.ref):
        labels.setdefault(label.text, label)
        spelled.setdefault(label.text, [])
    rows = Name.ungated.filter(item__kind__in=NAMED).order_by("item_id", "position", "pk")
    for number, text in rows.values_list("item_id", "text"):
        if number in met and number not in gate.mask.people and gate.meets(number, Level.DESCRIPTION):
            spelled[met[number].text].append(gate.mask.text(text))
    return spelled, labels


# --- who is speaking ---


def speakers(gate: Gate, transcript: Transcript) -> list[SpeakerHint]:
    """For runs of lines without a speaker: who told the segment they lie in, else who spoke just before."""
    shown = words.shown(gate, transcript)
    if shown is None:
        return []
    told = _told(gate, transcript.recording)
    hints: list[SpeakerHint] = []
    carried, until_ms = "", 0
    for place, line in enumerate(shown.lines):
        if line.speaker:
            carried, until_ms = line.speaker, line.end_ms
            continue
        by_segment = _teller(told, line)
        speaker = by_segment or (carried if line.start_ms - until_ms <= CARRIES_MS else "")
        if speaker:
            _add(hints, place, line, speaker, bool(by_segment))
            until_ms = line.end_ms
    return hints


def _told(gate: Gate, row: Recording) -> list[tuple[int, int, str]]:
    """Stretches of segments met that one person alone tells, with that person's name."""
    segments = {one.pk: one for one in Segment.ungated.filter(recording=row) if gate.meets(one.pk)}
    tellers: dict[int, list[int]] = {}
    for source, target in Tie.ungated.filter(source__in=segments, kind=TieKind.TOLD_BY).values_list(
        "source_id", "target_id"
    ):
        tellers.setdefault(source, []).append(target)
    named = showing.labels(gate, [number for numbers in tellers.values() for number in numbers])
    return [
        (segments[number].start_ms, segments[number].end_ms, named[people[0]].text)
        for number, people in tellers.items() if len(people) == 1 and people[0] in named
    ]


def _teller(told: Sequence[tuple[int, int, str]], line: Line) -> str:
    inside = {name for start, end, name in told if start <= line.start_ms and line.end_ms <= end}
    return inside.pop() if len(inside) == 1 else ""


def _add(hints: list[SpeakerHint], place: int, line: Line, speaker: str, from_segment: bool) -> None:
    last = hints[-1] if hints else None
    if last and last.last == place - 1 and (last.speaker, last.from_segment) == (speaker, from_segment):
        hints[-1] = SpeakerHint(
            last.first, place, last.start_ms, line.end_ms, last.text, speaker, from_segment
        )
        return
    hints.append(SpeakerHint(place, place, line.start_ms, line.end_ms, line.text, speaker, from_segment))


def heard_in(gate: Gate, row: Recording, start_ms: int, end_ms: int) -> list[str]:
    """Who speaks within a stretch by the lines' voices, as known people are written; others as they stand."""
    known = desk.known(gate, Kind.PERSON)
    found: dict[str, str] = {}
    for line in _lines(gate, row):
        if line.speaker and line.start_ms < end_ms and line.end_ms > start_ms:
            labels = known.find(line.speaker)
            name = known.written(labels[0]) if len(labels) == 1 else line.speaker
            found.setdefault(fold(name), name)
    return list(found.values())


def named_in(gate: Gate, row: Recording, start_ms: int, end_ms: int) -> list[Label]:
    """Places, figures, people and topics whose names stand in the lines of a stretch, in any spelling."""
    spelled, labels = _names(gate)
    text = " ".join(line.text for line in _lines(gate, row) if line.start_ms < end_ms and line.end_ms > start_ms)
    said = f" {fold(_spaced(text))} "
    return [
        labels[name] for name, variants in spelled.items()
        if any(f" {fold(_spaced(spelling))} " in said for spelling in (name, *variants) if len(fold(spelling)) > 2)
    ]


def _spaced(text: str) -> str:
    """Punctuation other than what folding knows becomes a space, so that names stand as whole words."""
    return "".join(letter if letter.isalnum() or fold(letter) == "" else " " for letter in text)
