"""What an item is tied to at one step and at two, and from whom a person had it over the generations.

A tie shows where both its ends are met, and nothing is reached through what is not: a chain ends at a link that the
viewer does not meet, as if there were nothing behind it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q

from ..models import Kind, Level, Segment, Tie, TieKind, TopicTie
from . import details, showing
from .gate import Gate
from .showing import Label

LIES_IN, TOPIC = "lies_in", "topic"
MOST_FIRST, MOST_SECOND = 24, 48
MOST_GENERATIONS = 6


@dataclass(frozen=True)
class Thread:
    """A tie from one item (its number) to another; `outward` is read from the first to the second."""

    of: int
    to: int
    kind: str
    outward: bool


@dataclass(frozen=True)
class Web:
    """`first` and `second` are at one step and at two, by kind and name; `left_out` counts the others that are met."""

    middle: Label
    first: tuple[Label, ...]
    second: tuple[Label, ...]
    threads: tuple[Thread, ...]
    left_out: int

    def between(self, of: int, to: Iterable[Label]) -> list[tuple[Thread, Label]]:
        named = {one.number: one for one in to}
        return [(thread, named[thread.to]) for thread in self.threads if thread.of == of and thread.to in named]


@dataclass(frozen=True)
class Kin:
    """A person `generation` steps before (negative) or after somebody, and what is heard of them telling."""

    label: Label
    generation: int
    segments: int
    subjects: tuple[Label, ...] = ()


@dataclass(frozen=True)
class Lineage:
    """`handed` are pairs of numbers: who had it, and from whom."""

    people: tuple[Kin, ...]
    handed: tuple[tuple[int, int], ...]


def web(gate: Gate, number: int) -> Web | None:
    """None where the item is not met."""
    middle = showing.label(gate, number)
    if middle is None:
        return None
    near = _threads(gate, [number])
    first, over = _chosen(gate, {one.to for one in near} - {number}, MOST_FIRST)
    held = {one.number for one in first}
    far = [one for one in _threads(gate, held) if one.to not in held | {number}]
    second, further = _chosen(gate, {one.to for one in far}, MOST_SECOND)
    ends = held | {one.number for one in second}
    return Web(middle, first, second, tuple(one for one in [*near, *far] if one.to in ends), over + further)


def _chosen(gate: Gate, numbers: Iterable[int], most: int) -> tuple[tuple[Label, ...], int]:
    kinds = list(Kind.values)
    named = sorted(
        showing.labels(gate, numbers).values(), key=lambda one: (kinds.index(one.kind), details.by_name(one)))
    return tuple(named[:most]), max(len(named) - most, 0)


def _threads(gate: Gate, numbers: Iterable[int]) -> list[Thread]:
    """Every tie of these items whose other end is met, topics and recordings included."""
    asked = set(numbers)
    ties = Tie.ungated.filter(Q(source__in=asked) | Q(target__in=asked)).order_by("source_id", "target_id", "kind")
    topics = TopicTie.ungated.filter(Q(content_object__in=asked) | Q(tag__in=asked))
    segments = Segment.ungated.filter(Q(pk__in=asked) | Q(recording__in=asked))
    joined = [
        *ties.values_list("source_id", "target_id", "kind"),
        *((source, target, TOPIC) for source, target in topics.values_list("content_object_id", "tag_id")),
        *((source, target, LIES_IN) for source, target in segments.values_list("pk", "recording_id")),
    ]
    both = [one for one in joined if all(gate.meets(end, Level.DESCRIPTION) for end in one[:2])]
    found = [Thread(source, target, kind, True) for source, target, kind in both if source in asked]
    return found + [Thread(target, source, kind, False) for source, target, kind in both if target in asked]


# --- who had it from whom ---


def lineage(gate: Gate, number: int) -> Lineage | None:
    """Those a person learned from and those who learned from them, generation by generation; None where not met."""
    if not gate.meets(number, Level.DESCRIPTION):
        return None
    reached = {number: 0}
    handed: set[tuple[int, int]] = set()
    for step in (-1, 1):
        edge = {number}
        for generation in range(1, MOST_GENERATIONS + 1):
            pairs = _handed(gate, edge, step < 0)
            handed |= pairs
            edge = {one for pair in pairs for one in pair} - set(reached)
            reached |= dict.fromkeys(edge, step * generation)
    return Lineage(_kin(gate, reached), tuple(sorted(handed)))


def _handed(gate: Gate, people: set[int], upwards: bool) -> set[tuple[int, int]]:
    """(who had it, from whom) for these people, upwards to those they had it from; by ties and by segments told."""
    own, other = (TieKind.TOLD_BY, TieKind.HAD_FROM) if upwards else (TieKind.HAD_FROM, TieKind.TOLD_BY)
    plain = Tie.ungated.filter(kind=TieKind.LEARNED_FROM)
    plain = plain.filter(source__in=people) if upwards else plain.filter(target__in=people)
    found = set(plain.values_list("source_id", "target_id"))
    mine = Tie.ungated.filter(kind=own, target__in=people, source__kind=Kind.SEGMENT)
    told = [(segment, one) for segment, one in mine.values_list("source_id", "target_id")
            if gate.meets(segment, Level.DESCRIPTION)]
    theirs: dict[int, list[int]] = {}
    rows = Tie.ungated.filter(kind=other, source__in={segment for segment, _one in told})
    for segment, one in rows.values_list("source_id", "target_id"):
        theirs.setdefault(segment, []).append(one)
    joined = {(one, each) for segment, one in told for each in theirs.get(segment, ()) if one != each}
    found |= joined if upwards else {(each, one) for one, each in joined}
    return {pair for pair in found if all(gate.meets(one, Level.DESCRIPTION) for one in pair)}


def _kin(gate: Gate, reached: dict[int, int]) -> tuple[Kin, ...]:
    named = showing.labels(gate, reached)
    kin = []
    for number, generation in reached.items():
        told = details.segments_tied(gate, number, TieKind.TOLD_BY)
        kin.append(Kin(named[number], generation, len(told), details.subjects_of(gate, told)))
    return tuple(sorted(kin, key=lambda one: (one.generation, details.by_name(one.label))))

