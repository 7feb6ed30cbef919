"""What the archivist's desk shows: recordings with their state, names to choose from, who saved last.

Plain frozen data, and nothing in it that the viewer does not meet.
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass, field

from ..models import (
    Account,
    ClosedSpan,
    Item,
    Kind,
    LedgerRow,
    Name,
    Recording,
    Segment,
    Transcript,
    TranscriptProblem,
)
from ..timecode.folding import fold
from . import jobs, showing, sound
from .gate import Gate
from .showing import Label

ALIKE = 0.74  # of difflib's ratio, from which two spellings may be slips of each other; common practice, no source


# --- names to choose from ---


@dataclass(frozen=True)
class Known:
    """The items of one kind that the writer meets, under every spelling of theirs."""

    kind: str
    labels: dict[int, Label]
    exact: dict[str, frozenset[int]] = field(repr=False)
    folded: dict[str, frozenset[int]] = field(repr=False)

    def find(self, text: str) -> list[Label]:
        """Who goes by this text: by address in brackets, else by the same letters, else in any spelling."""
        wanted = text.strip()
        ref = re.search(r"\[([a-z0-9]{6,16})\]$", wanted)
        if ref:
            return [label for label in self.labels.values() if label.ref == ref[1]]
        found = self.exact.get(wanted.casefold()) or self.folded.get(fold(wanted), frozenset())
        return sorted((self.labels[number] for number in found), key=lambda one: (one.text.casefold(), one.ref))

    def like(self, text: str) -> list[Label]:
        """Those whose spelling is close, at most three, the closest first."""
        near = difflib.get_close_matches(fold(text), [key for key in self.folded if key], n=3, cutoff=ALIKE)
        numbers = dict.fromkeys(number for key in near for number in sorted(self.folded[key]))
        return [self.labels[number] for number in numbers]

    def written(self, label: Label) -> str:
        """How a label is typed so that it is found again: with its address where another goes by the same name."""
        return label.text if len(self.find(label.text)) == 1 else f"{label.text} [{label.ref}]"

    def options(self) -> list[str]:
        """What a list of suggestions offers: one line an item, by name."""
        ordered = sorted(self.labels.values(), key=lambda one: (one.text.casefold(), one.ref))
        return [self.written(label) for label in ordered]


def known(gate: Gate, kind: str) -> Known:
    numbers = gate.numbers(kind).tolist()
    labels = showing.labels(gate, numbers)
    exact: dict[str, set[int]] = {}
    folded: dict[str, set[int]] = {}
    spelled = [
        (number, text)
        for number, text in _spellings(kind)
        if number in labels and number not in gate.mask.people
    ]
    spelled += [(label.number, label.text) for label in labels.values()]
    for number, text in spelled:
        exact.setdefault(text.strip().casefold(), set()).add(number)
        if fold(text):
            folded.setdefault(fold(text), set()).add(number)
    return Known(kind, labels, _frozen(exact), _frozen(folded))


def _spellings(kind: str) -> list[tuple[int, str]]:
    return list(Name.ungated.filter(item__kind=kind).values_list("item_id", "text"))


def _frozen(found: dict[str, set[int]]) -> dict[str, frozenset[int]]:
    return {key: frozenset(numbers) for key, numbers in found.items()}


# --- recordings ---


@dataclass(frozen=True)
class TranscriptState:
    ref: str
    language: str
    kind: str
    original_name: str
    file_format: str
    encoding: str
    cues: int
    problems: int


@dataclass(frozen=True)
class RecordingState:
    """A recording as its archivist looks after it. `is_waiting`: the council has not spoken about it yet."""

    label: Label
    recorded_on: str
    duration_ms: int
    is_sound_ready: bool
    work: jobs.State
    transcripts: tuple[TranscriptState, ...]
    segments: int
    closed_spans: int
    is_waiting: bool


@dataclass(frozen=True)
class SpanState:
    """A closed stretch that this viewer meets."""

    ref: str
    start_ms: int
    end_ms: int
    reason: str
    is_waiting: bool


@dataclass(frozen=True)
class MasterFacts:
    """What is kept, as it came: read from the file itself, never from its name."""

    sha256: str
    original_name: str
    size_bytes: int
    container: str
    codec: str
    rate_hz: int
    channels: int
    duration_ms: int


@dataclass(frozen=True)
class Problem:
    line: int
    severity: str
    code: str
    text: str


def entrusted(gate: Gate) -> list[RecordingState]:
    """The recordings entrusted to this viewer, those that wait first, then by date and title."""
    rows = Recording.ungated.filter(pk__in=gate.trusted).select_related("master")
    met = [row for row in rows if gate.meets(row.pk)]
    states = [recording_state(gate, row) for row in met]
    return sorted(states, key=lambda one: (not one.is_waiting, one.recorded_on, one.label.text.casefold()))


def recording_state(gate: Gate, row: Recording) -> RecordingState:
    named = showing.label(gate, row.pk)
    if named is None:
        raise LookupError("a recording is shown that is not met")
    return RecordingState(
        label=named,
        recorded_on=row.recorded_on,
        duration_ms=row.master.duration_ms,
        is_sound_ready=is_sound_ready(gate, row),
        work=sound_state(gate, row),
        transcripts=transcript_states(gate, row),
        segments=len(gate.keep(Segment.ungated.filter(recording=row).values_list("pk", flat=True))),
        closed_spans=len(gate.keep(ClosedSpan.ungated.filter(recording=row).values_list("pk", flat=True))),
        is_waiting=row.decision_id is None,
    )


def is_sound_ready(gate: Gate, row: Recording) -> bool:
    hearing = showing.hearing_of_recording(gate, row)
    return hearing is not None and sound.built(row, hearing) is not None


def sound_state(gate: Gate, row: Recording) -> jobs.State:
    """How far the making of its sound is, for this viewer."""
    hearing = showing.hearing_of_recording(gate, row)
    if hearing is None:
        return jobs.State("none")
    if sound.built(row, hearing) is not None:
        return jobs.State("ready", 1.0)
    return jobs.state(sound.key(row, hearing), row)


def have_sound_made(gate: Gate, row: Recording) -> None:
    """Ask for the sound this viewer hears, should it not stand yet."""
    hearing = showing.hearing_of_recording(gate, row)
    if hearing is not None:
        sound.ask_for(row, hearing)


def peaks(gate: Gate, row: Recording) -> bytes | None:
    """The waveform of what this viewer hears: pairs of int8, 50 a second; None while it is being made."""
    hearing = showing.hearing_of_recording(gate, row)
    return sound.peaks(row, hearing) if hearing is not None else None


def works_on(gate: Gate, row: Recording) -> bool:
    """Whether this viewer hears the recording from end to end, so that they can cut it."""
    return gate.hears_whole(row)


def hears_all(gate: Gate, row: Recording) -> bool:
    """Whether whole files and their faults may be shown: to who is entrusted with it, and nothing of it is closed to.

    Were it enough that nothing is closed, these pages would tell everybody else whether something is.
    """
    return gate.hears_whole(row) and gate.is_trusted(row) and not gate.closed_stretches(row)


def closed_spans(gate: Gate, row: Recording) -> list[SpanState]:
    rows = ClosedSpan.ungated.filter(recording=row).order_by("start_ms", "end_ms", "ref")
    return [
        SpanState(one.ref, one.start_ms, one.end_ms, gate.mask.text(one.reason), one.decision_id is None)
        for one in rows if gate.meets(one.pk)
    ]


def transcript_states(gate: Gate, row: Recording) -> tuple[TranscriptState, ...]:
    if not hears_all(gate, row):
        return ()
    return tuple(
        TranscriptState(
            ref=one.ref,
            language=one.language,
            kind=one.get_kind_display(),
            original_name=gate.mask.text(one.original_name),
            file_format=one.file_format,
            encoding=one.encoding,
            cues=one.cues.count(),
            problems=one.problems.count(),
        )
        for one in Transcript.ungated.filter(recording=row)
    )


def problems_of(gate: Gate, row: Recording) -> list[tuple[TranscriptState, list[Problem]]]:
    """Every problem of every transcript, by line; they may hold words, so only for who hears all of it."""
    if not hears_all(gate, row):
        return []
    kept = Transcript.ungated.filter(recording=row)
    return [
        (state, [_problem(gate, found) for found in TranscriptProblem.ungated.filter(transcript=one)])
        for state, one in zip(transcript_states(gate, row), kept, strict=True)
    ]


def _problem(gate: Gate, row: TranscriptProblem) -> Problem:
    return Problem(row.line, row.severity, row.code, gate.mask.text(row.text))


def master_facts(gate: Gate, row: Recording) -> MasterFacts | None:
    if not hears_all(gate, row):
        return None
    held = row.master
    return MasterFacts(
        held.sha256,
        gate.mask.text(held.original_name),
        held.size_bytes,
        held.container,
        held.codec,
        held.rate_hz,
        held.channels,
        held.duration_ms,
    )


def made_and_waiting(gate: Gate) -> list[Label]:
    """What this viewer wrote in that the council has yet to decide about, other than recordings."""
    if gate.account is None:
        return []
    own = Item.ungated.filter(created_by=gate.account, decision__isnull=True).exclude(
        kind__in=(Kind.RECORDING, Kind.SEGMENT, Kind.SPAN)
    )
    named = showing.labels(gate, own.values_list("pk", flat=True))
    return sorted(named.values(), key=lambda one: (one.kind, one.text.casefold(), one.ref))


# --- who saved last ---


def last_saved_by(item: Item) -> str:
    """The name of whoever saved this item last, by the ledger; empty where nobody is known."""
    row = LedgerRow.objects.filter(item=item.ref, event__in=_saves(item.kind)).order_by("-id").first()
    if row is None or not row.actor:
        return ""
    account = Account.objects.filter(ref=row.actor).first()
    return str(account) if account else ""


def _saves(kind: str) -> list[str]:
    return [f"{kind} made", f"{kind} changed"]
