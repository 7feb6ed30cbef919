"""The closure: which items each condition reaches. The truth that the gate's two readings share.

`members` is the one definition. `refresh` keeps the stored rows equal to it inside the writing transaction; `rebuild`
makes them all anew, from ties read all at once.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from itertools import chain
from typing import Protocol

from django.db import connection, transaction
from django.db.models import QuerySet

from ..models import ClosedSpan, Condition, Item, Kind, Reach, Recording, Scope, Segment, Tie, TieKind, TopicTie

# A condition on the whole holds for its parts: a closed figure's parts would give away its stars.
DOWNWARD = (TieKind.PART_OF, TieKind.NARROWER_THAN)
# Ties that join an item to something told, recorded or claimed: what `tied` reaches.
TELLING = (
    TieKind.TOLD_BY,
    TieKind.TELLS_OF,
    TieKind.HAD_FROM,
    TieKind.BELONGS_TO,
    TieKind.RECORDED_AT,
    TieKind.NAMES_FIGURE,
    TieKind.MIRRORS,
    TieKind.STANDS_AT,
)


class Ties(Protocol):
    """Where ties and contents are read from: asked of the database step by step, or all read beforehand."""

    def below(self, items: set[int]) -> set[int]:
        """One step down: parts of these figures, topics narrower than these."""

    def told_with(self, items: set[int]) -> tuple[set[int], set[int]]:
        """Segments, recordings and mirrors tied to any of these people, places, figures or topics; and those of them
        in which something may lie."""

    def within(self, items: set[int]) -> set[int]:
        """What lies inside: a recording's segments and spans, a figure's mirrors."""


class AskedTies:
    """Ties as the database has them now: for the reach of a few conditions."""

    def below(self, items: set[int]) -> set[int]:
        return set(Tie.ungated.filter(target__in=items, kind__in=DOWNWARD).values_list("source_id", flat=True))

    def told_with(self, items: set[int]) -> tuple[set[int], set[int]]:
        ties = Tie.ungated.filter(target__in=items, kind__in=TELLING)
        topics = TopicTie.ungated.filter(tag__in=items).values_list("content_object_id", flat=True)
        recordings = ties.filter(source__kind=Kind.RECORDING).values_list("source_id", flat=True)
        return set(ties.values_list("source_id", flat=True)) | set(topics), set(recordings)

    def within(self, items: set[int]) -> set[int]:
        segments = Segment.ungated.filter(recording__in=items).values_list("pk", flat=True)
        spans = ClosedSpan.ungated.filter(recording__in=items).values_list("pk", flat=True)
        mirrors = Tie.ungated.filter(target__in=items, kind=TieKind.MIRRORS).values_list("source_id", flat=True)
        return set(segments) | set(spans) | set(mirrors)


class ReadTies:
    """Ties and contents read beforehand: for the reach of many conditions."""

    def __init__(
        self,
        ties: Iterable[tuple[int, str, int]],
        topics: Iterable[tuple[int, int]],
        contents: Iterable[tuple[int, int]],
    ) -> None:
        """Ties as (source, kind, target), topics as (segment, topic), contents as (segment or span, recording)."""
        self._below: dict[int, set[int]] = defaultdict(set)
        self._told: dict[int, set[int]] = defaultdict(set)
        self._inside: dict[int, set[int]] = defaultdict(set)
        for source, kind, target in ties:
            if kind in DOWNWARD:
                self._below[target].add(source)
            if kind in TELLING:
                self._told[target].add(source)
            if kind == TieKind.MIRRORS:
                self._inside[target].add(source)
        for segment, topic in topics:
            self._told[topic].add(segment)
        for inside, recording in contents:
            self._inside[recording].add(inside)

    def below(self, items: set[int]) -> set[int]:
        return _of_each(self._below, items)

    def told_with(self, items: set[int]) -> tuple[set[int], set[int]]:
        told = _of_each(self._told, items)
        return told, told

    def within(self, items: set[int]) -> set[int]:
        return _of_each(self._inside, items)


def _of_each(held: Mapping[int, set[int]], items: set[int]) -> set[int]:
    return set().union(*(held[item] for item in items if item in held))


def read_ties() -> ReadTies:
    """Every tie and all contents, in four statements."""
    contents = chain.from_iterable(
        model.ungated.values_list("pk", "recording_id").order_by().iterator() for model in (Segment, ClosedSpan)
    )
    return ReadTies(
        Tie.ungated.values_list("source_id", "kind", "target_id").order_by().iterator(),
        TopicTie.ungated.values_list("content_object_id", "tag_id").order_by().iterator(),
        contents,
    )


def members(target: int, scope: str, ties: Ties | None = None) -> set[int]:
    """Item numbers that a condition on `target` with this scope reaches, the target itself included."""
    ties = ties or AskedTies()
    reached = {target}
    if scope == Scope.TIED:
        reached |= _lower(target, ties)
        told, holding = ties.told_with(reached)
        return reached | told | ties.within(reached | holding)
    return reached | ties.within(reached)


def _lower(target: int, ties: Ties) -> set[int]:
    """Parts of a figure and narrower topics, all the way down; rings are harmless."""
    found: set[int] = set()
    edge = {target}
    while edge:
        edge = ties.below(edge) - found - {target}
        found |= edge
    return found


def could_reach(item: int) -> set[int]:
    """Targets whose conditions may reach `item`: the item, what holds it, what it is tied to, and their wholes."""
    found = {item} | _holders(item)
    ties = Tie.ungated.filter(source__in=found, kind__in=TELLING).values_list("target_id", flat=True)
    topics = TopicTie.ungated.filter(content_object__in=found).values_list("tag_id", flat=True)
    edge = set(ties) | set(topics) | found
    while edge:
        found |= edge
        above = Tie.ungated.filter(source__in=edge, kind__in=DOWNWARD).values_list("target_id", flat=True)
        edge = set(above) - found
    return found


def _holders(item: int) -> set[int]:
    segments = Segment.ungated.filter(pk=item).values_list("recording_id", flat=True)
    spans = ClosedSpan.ungated.filter(pk=item).values_list("recording_id", flat=True)
    figures = Tie.ungated.filter(source=item, kind=TieKind.MIRRORS).values_list("target_id", flat=True)
    return set(segments) | set(spans) | set(figures)


def refresh(targets: Iterable[int]) -> int:
    """Bring the stored rows of every condition on these targets in line; returns how many rows changed."""
    conditions = Condition.ungated.filter(target__in=set(targets), lifted_by__isnull=True)
    return sum(refresh_condition(condition) for condition in conditions)


def refresh_condition(condition: Condition) -> int:
    wanted = set() if condition.lifted_by_id else members(condition.target_id, condition.scope)
    stored = set(Reach.ungated.filter(condition=condition).values_list("item_id", flat=True))
    missing, extra = wanted - stored, stored - wanted
    _add(condition, sorted(missing))
    for part in batches(sorted(extra)):
        Reach.ungated.filter(condition=condition, item__in=part).delete()
    return len(missing) + len(extra)


def _add(condition: Condition, numbers: list[int]) -> None:
    """All rows in one statement: the busiest topic has thousands, and a statement each costs six times as much."""
    table = connection.ops.quote_name(Reach._meta.db_table)
    listed = "json_array_elements_text" if connection.vendor == "postgresql" else "json_each"
    number = "value::bigint" if connection.vendor == "postgresql" else "value"
    with connection.cursor() as cursor:
        cursor.execute(
            f"INSERT INTO {table} (condition_id, item_id) "  # noqa: S608 (the model's own table)
            f"SELECT {int(condition.pk)}, {number} FROM {listed}(%s)",
            [json.dumps(numbers)],
        )


def batches(numbers: list[int], size: int = 5000) -> list[list[int]]:
    """So many at a time: a database takes no query with a hundred thousand numbers in it."""
    return [numbers[at : at + size] for at in range(0, len(numbers), size)]


@transaction.atomic
def rebuild() -> int:
    """Make every row anew; returns how many stand."""
    Reach.ungated.all().delete()
    ties = read_ties()
    for condition in Condition.ungated.filter(lifted_by__isnull=True):
        _add(condition, sorted(members(condition.target_id, condition.scope, ties)))
    return Reach.ungated.count()


def stands_undecided() -> set[int]:
    """Items closed because the council has not spoken: of them, of their recording, or of the figure they mirror."""
    kinds = [kind for kind in Kind.values if kind != Kind.SEGMENT]  # named, so that the index by kind serves
    own = Item.ungated.filter(decision__isnull=True, kind__in=kinds).values_list("pk", flat=True)
    waiting = Recording.ungated.filter(decision__isnull=True)
    segments = Segment.ungated.filter(recording__in=waiting).values_list("pk", flat=True)
    spans = ClosedSpan.ungated.filter(recording__in=waiting).values_list("pk", flat=True)
    return set(own) | set(segments) | set(spans) | set(undecided_mirrors().values_list("source_id", flat=True))


def stand_undecided_among(items: Sequence[int]) -> set[int]:
    """Of these items alone. Read by their numbers and sifted here: the database would begin with all undecided ones."""
    rows = Item.ungated.filter(pk__in=items).values_list("pk", "kind", "decision_id")
    found = {number for number, kind, decision in rows if decision is None and kind != Kind.SEGMENT}
    for model in (Segment, ClosedSpan):
        inside = model.ungated.filter(pk__in=items).values_list("pk", "recording__decision_id")
        found |= {number for number, decision in inside if decision is None}
    mirrors = Tie.ungated.filter(source__in=items, kind=TieKind.MIRRORS).order_by()
    ends = mirrors.values_list("source_id", "target__decision_id")
    return found | {number for number, decision in ends if decision is None}


def may_wait_with(items: Sequence[int]) -> set[int]:
    """Those items, and all that may wait for the council's word on one of them: what lies in them, or mirrors them."""
    segments = Segment.ungated.filter(recording__in=items).values_list("pk", flat=True)
    spans = ClosedSpan.ungated.filter(recording__in=items).values_list("pk", flat=True)
    mirrors = Tie.ungated.filter(kind=TieKind.MIRRORS, target__in=items).values_list("source_id", flat=True)
    return set(items) | set(segments) | set(spans) | set(mirrors)


def undecided_mirrors() -> QuerySet[Tie]:
    """Ties of mirrors to figures that the council has not spoken of: their pairs would give the figure's stars."""
    return Tie.ungated.filter(kind=TieKind.MIRRORS, source__kind=Kind.MIRROR, target__decision__isnull=True)
