"""How everything lies, as arrays by item number, under one policy; and what a viewer may read of it.

`readable` is the array form of `Gate.closed_stretches` with `showing.transcripts`: the same rule for every cue at
once. Times are integer milliseconds in the recording; stretches are half-open.
"""

from __future__ import annotations

import threading
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import count
from typing import TypedDict

import numpy as np
from django.db.models import BigIntegerField, Case, F, Q, Value, When
from django.db.models.expressions import CombinedExpression
from numpy.typing import NDArray

from ..models import (
    ClosedSpan,
    House,
    Item,
    Kind,
    Layer,
    Level,
    Mirror,
    Name,
    Offering,
    Recording,
    Segment,
    Tie,
    TieKind,
    Topic,
    TopicTie,
)
from . import columns, judging, masks
from .dates import days_of

Numbers = NDArray[np.int64]
Flags = NDArray[np.bool_]
KINDS: tuple[str, ...] = tuple(Kind.values)
TIES: tuple[str, ...] = (*TieKind.values, "topic")
# A place in a recording as one number: the recording's number and the time under it, so that all recordings can be
# looked through at once. 40 bits of milliseconds are 34 years; 23 bits are left for item numbers.
TIME_BITS = 40
LAST_MS = (1 << TIME_BITS) - 1
ITEM_BITS = 29  # of an item's number where two stand in one
LAST_ITEM = (1 << ITEM_BITS) - 1


class Names:
    """The order of names: `keys` ascending, and the rank of each. Far apart, so that later ones find room between.

    Keys of names that are gone stay: they are landmarks, and the ranks of the others do not depend on them.
    """

    APART = 1 << 32

    def __init__(self, keys: list[str], ranks: list[int]) -> None:
        self.keys, self.ranks = keys, ranks

    @classmethod
    def of(cls, ordered: list[str]) -> Names:
        return cls(ordered, [at * cls.APART for at in range(1, len(ordered) + 1)])

    def with_these(self, keys: Iterable[str]) -> Names | None:
        """These names among the others; None where there is no more room somewhere."""
        made = Names(self.keys.copy(), self.ranks.copy())
        return made if all(made._room_for(key) for key in keys) else None

    def _room_for(self, key: str) -> bool:
        at = bisect_left(self.keys, key)
        if at < len(self.keys) and self.keys[at] == key:
            return True
        below = self.ranks[at - 1] if at else 0
        above = self.ranks[at] if at < len(self.ranks) else below + 2 * self.APART
        self.keys.insert(at, key)
        self.ranks.insert(at, (below + above) // 2)
        return below < self.ranks[at] < above

    def rank(self, key: str) -> int:
        return self.ranks[bisect_left(self.keys, key)]


def name_key(title: str, ref: str) -> str:
    """By name, case apart, then by ref."""
    return f"{title.casefold()}\0{ref}"


@dataclass(frozen=True)
class Layout:
    """Arrays are by item number unless said otherwise; what does not apply is 0.

    `holder` is the recording of a segment or span, and of a recording itself. `rank` puts items in the order of their
    names (case apart), then of their refs. The three `tie_` arrays run side by side, one entry to a tie, each once, by
    source, target and kind.
    """

    kind: NDArray[np.uint8]
    holder: Numbers
    start_ms: Numbers
    end_ms: Numbers
    length_ms: Numbers
    is_clips: Flags
    first_day: Numbers
    last_day: Numbers
    language: Numbers
    languages: tuple[str, ...]
    rank: Numbers
    stretches: Numbers  # numbers of segments and spans
    tie_source: Numbers
    tie_target: Numbers
    tie_kind: Numbers
    names: Names = field(repr=False)
    # The layout this one was made from, and the items that lie otherwise; none where it was read whole.
    serial: int = 0
    before: int | None = None
    changed: Numbers | None = field(default=None, repr=False)

    @property
    def size(self) -> int:
        return len(self.kind)

    def of_kind(self, *kinds: str) -> Numbers:
        return np.flatnonzero(np.isin(self.kind, [code(kind) for kind in kinds])).astype(np.int64)


def code(kind: str) -> int:
    """The number a kind goes by in `Layout.kind`; 0 is no item."""
    return KINDS.index(kind) + 1


def tie_code(kind: str) -> int:
    return TIES.index(kind)


# --- reading it ---

_lock = threading.Lock()
_held: list[tuple[judging.Policy, Layout]] = []
KEPT = 2  # requests that began before a change may still ask for the layout before it
_serials = count(1)


def current(standing: judging.Policy) -> Layout:
    """The layout under this policy, or a later one; made from the last one, or read anew."""
    for under, held in list(_held):
        if under is standing:
            return held
    with _lock:
        for under, held in _held:
            if under is standing:
                return held
        made = _after_last(standing) or read()
        _held[:] = [(standing, made), *_held][:KEPT]
        return made


def _after_last(standing: judging.Policy) -> Layout | None:
    from . import brought_up

    return brought_up.layout_after(*_held[0], standing) if _held else None


def forget() -> None:
    """Drop what is kept in this process."""
    with _lock:
        _held.clear()


def next_serial() -> int:
    return next(_serials)


def read() -> Layout:
    items, refs = columns.texts(Item.ungated.all(), "pk", "ref")
    size = int(items.max(initial=0)) + 1
    kind = np.zeros(size, dtype=np.uint8)
    for name, numbers in columns.grouped(Item.ungated.all(), "kind", "pk").items():
        kind[numbers[numbers < size]] = code(name)
    rank, names = _ranks(size, items, refs, titles())
    return Layout(
        kind=kind, rank=rank, names=names, serial=next_serial(), **times(size), **_ties(size)
    )


def _zeros(size: int) -> Numbers:
    return np.zeros(size, dtype=np.int64)


class Times(TypedDict):
    holder: Numbers
    start_ms: Numbers
    end_ms: Numbers
    length_ms: Numbers
    is_clips: Flags
    first_day: Numbers
    last_day: Numbers
    language: Numbers
    languages: tuple[str, ...]
    stretches: Numbers


def times(size: int) -> Times:
    """Recordings, and what lies in them; a segment goes by the date and language of its recording."""
    made = Times(
        holder=_zeros(size),
        start_ms=_zeros(size),
        end_ms=_zeros(size),
        length_ms=_zeros(size),
        is_clips=np.zeros(size, dtype=np.bool_),
        first_day=_zeros(size),
        last_day=_zeros(size),
        language=_zeros(size),
        languages=(),
        stretches=_zeros(0),
    )
    made["languages"] = tuple(sorted(set(Recording.ungated.values_list("language", flat=True))))
    put_recordings(made, size, Q())
    made["stretches"] = put_stretches(made, size, Q())
    return made


def put_recordings(made: Times, size: int, where: Q) -> None:
    """Write the recordings into the arrays. Raises ValueError where one is in a language that is not listed."""
    wanted = ("pk", "offering", "recorded_on", "language", "master__duration_ms")
    rows = [row for row in Recording.ungated.filter(where).values_list(*wanted) if row[0] < size]
    days = {told: days_of(told) or (0, 0) for told in {row[2] for row in rows}}
    languages = made["languages"]
    for number, offering, recorded_on, language, length_ms in rows:
        made["holder"][number] = number
        made["end_ms"][number] = made["length_ms"][number] = length_ms or 0
        made["is_clips"][number] = offering != Offering.QUIET
        made["first_day"][number], made["last_day"][number] = days[recorded_on]
        made["language"][number] = languages.index(language) + 1


def put_stretches(made: Times, size: int, where: Q) -> Numbers:
    """Write segments and spans into the arrays, after their recordings; returns their numbers."""
    return np.concatenate([_put_stretches(made, model, size, where) for model in (Segment, ClosedSpan)])


def _put_stretches(made: Times, model: type[Segment] | type[ClosedSpan], size: int, where: Q) -> Numbers:
    rows = np.stack(columns.numbers(model.ungated.filter(where), "pk", "recording_id", "start_ms", "end_ms"))
    numbers, holders, starts, ends = rows[:, (rows[:2] < size).all(axis=0)]
    made["holder"][numbers], made["start_ms"][numbers], made["end_ms"][numbers] = holders, starts, ends
    for column in (made["first_day"], made["last_day"], made["language"]):
        column[numbers] = column[holders]
    return numbers


class _Ties(TypedDict):
    tie_source: Numbers
    tie_target: Numbers
    tie_kind: Numbers


def _ties(size: int) -> _Ties:
    source, target, kind = unpacked(read_ties(size, Q(), Q()))
    return _Ties(tie_source=source, tie_target=target, tie_kind=kind)


def read_ties(size: int, ties: Q, topics: Q) -> Numbers:
    """Those of the ties, and of the segments' topics, packed; each once, ascending."""
    by_kind = Case(*(When(kind=kind, then=tie_code(kind)) for kind in TieKind.values), output_field=BigIntegerField())
    named = _packed(F("source_id"), F("target_id"), by_kind)
    topic = _packed(F("content_object_id"), F("tag_id"), Value(tie_code("topic")))
    found = np.concatenate(
        [*columns.numbers(Tie.ungated.filter(ties), named), *columns.numbers(TopicTie.ungated.filter(topics), topic)]
    )
    source, target, _ = unpacked(found)
    ordered = np.sort(found[(source < size) & (target < size)])
    return ordered[np.diff(ordered, prepend=-1) != 0]


def _packed(source: F, target: F, kind: Case | Value) -> CombinedExpression:
    """`packed`, in the database."""
    return source * (1 << (ITEM_BITS + 5)) + target * (1 << 5) + kind


def packed(source: Numbers, target: Numbers, kind: Numbers) -> Numbers:
    """A tie as one number, so that ties are sorted and told apart at one stroke: 29 bits to an item, 5 to the kind."""
    return (source.astype(np.int64) << (ITEM_BITS + 5)) | (target.astype(np.int64) << 5) | kind


def unpacked(ties: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    return ties >> (ITEM_BITS + 5), ties >> 5 & LAST_ITEM, ties & 31


def titles(among: Sequence[int] | None = None) -> dict[int, str]:
    """What each item is called first of all, as its label says it (archive.access.showing)."""
    found: dict[int, str] = {}
    said_in = {Recording: "title", Segment: "title", Mirror: "title", Layer: "title", Topic: "name"}
    for model, column in said_in.items():
        rows = model.ungated.all() if among is None else model.ungated.filter(pk__in=among)
        numbers, texts = columns.texts(rows, "pk", column)
        found.update(zip(numbers.tolist(), texts, strict=True))
    found.update(leading_names(among))
    mask = masks.standing()
    if mask.rules:
        found = {number: mask.text(text) for number, text in found.items()}
        found.update({number: rule.words() for number, rule in mask.people.items()})
    return found


def leading_names(among: Sequence[int] | None = None) -> dict[int, str]:
    spoken = House.objects.values_list("language", flat=True).filter(pk=1).first() or "en"
    rows = Name.ungated.all() if among is None else Name.ungated.filter(item__in=among)
    leading: dict[int, tuple[str, str]] = {}
    ordered = rows.order_by("item_id", "-is_preferred", "position", "pk")
    for number, language, text in ordered.values_list("item_id", "language", "text"):
        held = leading.get(number)
        if held is None or (held[0] != spoken and language == spoken):
            leading[number] = (language, text)
    return {number: text for number, (_, text) in leading.items()}


def _ranks(size: int, items: Numbers, refs: list[str], titles: dict[int, str]) -> tuple[Numbers, Names]:
    called = [titles.get(number, "") for number in items.tolist()]
    keys = list(map(name_key, called, refs))
    order = sorted(range(len(keys)), key=keys.__getitem__)
    names = Names.of([keys[at] for at in order])
    ranks = _zeros(size)
    ranks[items[order]] = names.ranks
    return ranks, names


def runs(starts: Numbers, counts: Numbers) -> Numbers:
    """start, start + 1, … for `count` steps, for each start, one after the other."""
    total = int(counts.sum())
    begins = np.cumsum(counts) - counts
    return np.arange(total) - np.repeat(begins, counts) + np.repeat(starts, counts)


def flagged(size: int, numbers: Numbers | Sequence[int]) -> Flags:
    """By number below the size: whether it is one of these."""
    flags = np.zeros(size, dtype=np.bool_)
    flags[numbers] = True
    return flags


def holds(ordered: Numbers, numbers: Numbers) -> Flags:
    """Whether each of the numbers is among the ordered ones."""
    if not len(ordered):
        return np.zeros(len(numbers), dtype=np.bool_)
    found: Flags = ordered[np.minimum(np.searchsorted(ordered, numbers), len(ordered) - 1)] == numbers
    return found


# --- what a viewer may read ---


def levels_at(levels: judging.Levels, numbers: Numbers) -> judging.Levels:
    """The level of each of the numbers; one that the levels do not know is at nothing."""
    known = np.minimum(numbers, len(levels) - 1)
    found = levels[known].copy()
    found[numbers >= len(levels)] = Level.NOTHING
    return found


def met_ties(layout: Layout, levels: judging.Levels, *kinds: str) -> tuple[Numbers, Numbers]:
    """Sources and targets of the ties of these kinds of which both ends are met at least by their description."""
    kept = np.isin(layout.tie_kind, [tie_code(kind) for kind in kinds])
    source, target = layout.tie_source[kept], layout.tie_target[kept]
    met = np.minimum(levels_at(levels, source), levels_at(levels, target)) >= Level.DESCRIPTION
    return source[met], target[met]


def offered_whole(layout: Layout, levels: judging.Levels, trusted: Iterable[int]) -> Flags:
    """By item number: recordings that this viewer hears whole (`Gate.hears_whole`)."""
    whole = np.zeros(layout.size, dtype=np.bool_)
    numbers = layout.of_kind(Kind.RECORDING)
    met = levels_at(levels, numbers) >= Level.OPEN
    whole[numbers] = met & (~layout.is_clips[numbers] | np.isin(numbers, list(trusted)))
    return whole


def readable(
    layout: Layout,
    levels: judging.Levels,
    trusted: Iterable[int],
    recording: Numbers,
    start_ms: Numbers,
    end_ms: Numbers,
) -> Flags:
    """Whether each cue (of a recording, from, to) may be read: it shares no instant with what is closed.

    A cue without length counts as the instant at its start. One that lies wholly outside the sound is on no page.
    """
    recording = np.where(recording < layout.size, recording, 0)
    length = layout.length_ms[recording]
    last = np.maximum(end_ms, start_ms + 1)
    open_, closed = _opened(layout, levels, recording)
    found = (start_ms < length) & (end_ms > 0)
    found &= ~_meets_any(closed, recording, start_ms, last)
    inside = _lies_inside(open_, recording, np.maximum(start_ms, 0), np.minimum(last, length))
    return found & (offered_whole(layout, levels, trusted)[recording] | inside)


def silent(layout: Layout, levels: judging.Levels, numbers: Numbers) -> Flags:
    """Whether all the seconds of each of these stretches are closed by others over them that the viewer knows of.

    What the viewer meets nothing of makes no difference here: to them those seconds are silent because they are so.
    """
    asked = _stretches_in(layout, layout.holder[numbers])
    level = levels_at(levels, asked)
    known = _merge(layout, asked[(level > Level.NOTHING) & (level < Level.OPEN)])
    return _lies_inside(known, layout.holder[numbers], layout.start_ms[numbers], layout.end_ms[numbers])


@dataclass(frozen=True)
class _Merged:
    """Stretches of all recordings, merged; as places (see TIME_BITS), ascending."""

    starts: Numbers
    ends: Numbers


def _opened(layout: Layout, levels: judging.Levels, recordings: Numbers) -> tuple[_Merged, _Merged]:
    """The open segments, and the closed segments and spans, of these recordings."""
    stretches = _stretches_in(layout, recordings)
    met = levels_at(levels, stretches) >= Level.OPEN
    segments = layout.kind[stretches] == code(Kind.SEGMENT)
    return _merge(layout, stretches[met & segments]), _merge(layout, stretches[~met])


def _stretches_in(layout: Layout, recordings: Numbers) -> Numbers:
    asked = np.zeros(layout.size, dtype=np.bool_)
    asked[recordings] = True
    return layout.stretches[asked[layout.holder[layout.stretches]]]


def places(recording: Numbers, time_ms: Numbers) -> Numbers:
    return (recording.astype(np.int64) << TIME_BITS) + np.clip(time_ms.astype(np.int64), 0, LAST_MS)


def _merge(layout: Layout, numbers: Numbers) -> _Merged:
    starts = places(layout.holder[numbers], layout.start_ms[numbers])
    ends = places(layout.holder[numbers], layout.end_ms[numbers])
    order = np.argsort(starts, kind="stable")
    starts, reach = starts[order], np.maximum.accumulate(ends[order])
    first = np.ones(len(starts), dtype=np.bool_)
    first[1:] = starts[1:] > reach[:-1]
    last = np.append(np.flatnonzero(first)[1:] - 1, len(starts) - 1) if len(starts) else np.zeros(0, dtype=np.int64)
    return _Merged(starts[first], reach[last])


def _meets_any(merged: _Merged, recording: Numbers, start_ms: Numbers, end_ms: Numbers) -> Flags:
    """Whether [start, end) shares anything with the merged stretches of its recording."""
    before = np.searchsorted(merged.starts, places(recording, end_ms), side="left")
    over = np.searchsorted(merged.ends, places(recording, start_ms), side="right")
    return before > over


def _lies_inside(merged: _Merged, recording: Numbers, start_ms: Numbers, end_ms: Numbers) -> Flags:
    if not len(merged.starts):
        return np.zeros(len(recording), dtype=np.bool_)
    at = np.searchsorted(merged.starts, places(recording, start_ms), side="right") - 1
    found = merged.ends[np.maximum(at, 0)] >= places(recording, end_ms)
    return found & (at >= 0)
