"""How everything lies, as arrays by item number, under one policy; and what a viewer may read of it.

`readable` is the array form of `Gate.closed_stretches` with `showing.transcripts`: the same rule for every cue at
once. Times are integer milliseconds in the recording; stretches are half-open.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import chain
from typing import TypedDict

import numpy as np
from django.db.models import Case, IntegerField, Value, When
from numpy.typing import NDArray

from ..models import (
    ClosedSpan,
    House,
    Item,
    Kind,
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
from . import masks, policy
from .dates import days_of

Numbers = NDArray[np.int64]
Flags = NDArray[np.bool_]
KINDS: tuple[str, ...] = tuple(Kind.values)
TIES: tuple[str, ...] = (*TieKind.values, "topic")
# A place in a recording as one number: the recording's number and the time under it, so that all recordings can be
# looked through at once. 40 bits of milliseconds are 34 years; 23 bits are left for item numbers.
TIME_BITS = 40
LAST_MS = (1 << TIME_BITS) - 1


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
_held: list[tuple[policy.Policy, Layout]] = []
KEPT = 2  # requests that began before a change may still ask for the layout before it


def current(standing: policy.Policy) -> Layout:
    """The layout under this policy, or a later one; read anew for each policy."""
    for under, held in list(_held):
        if under is standing:
            return held
    with _lock:
        for under, held in _held:
            if under is standing:
                return held
        made = _load()
        _held[:] = [(standing, made), *_held][:KEPT]
        return made


def forget() -> None:
    """Drop what is kept in this process."""
    with _lock:
        _held.clear()


def _load() -> Layout:
    items = list(Item.ungated.values_list("pk", "kind", "ref"))
    size = max((number for number, _, _ in items), default=0) + 1
    kind = np.zeros(size, dtype=np.uint8)
    codes = {name: code(name) for name in KINDS}
    for number, name, _ in items:
        kind[number] = codes[name]
    titles = _titles()
    return Layout(
        kind=kind,
        rank=_ranks(size, items, titles),
        **_times(size),
        **_ties(size),
    )


def _zeros(size: int) -> Numbers:
    return np.zeros(size, dtype=np.int64)


class _Times(TypedDict):
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


def _times(size: int) -> _Times:
    """Recordings, and what lies in them; a segment goes by the date and language of its recording."""
    made = _Times(
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
    _put_recordings(made, size)
    made["stretches"] = np.concatenate([_put_stretches(made, model, size) for model in (Segment, ClosedSpan)])
    return made


def _put_recordings(made: _Times, size: int) -> None:
    columns = ("pk", "offering", "recorded_on", "language", "master__duration_ms")
    rows = [row for row in Recording.ungated.values_list(*columns) if row[0] < size]
    made["languages"] = languages = tuple(sorted({row[3] for row in rows}))
    for number, offering, recorded_on, language, length_ms in rows:
        made["holder"][number] = number
        made["end_ms"][number] = made["length_ms"][number] = length_ms or 0
        made["is_clips"][number] = offering != Offering.QUIET
        made["first_day"][number], made["last_day"][number] = days_of(recorded_on) or (0, 0)
        made["language"][number] = languages.index(language) + 1


def _put_stretches(made: _Times, model: type[Segment] | type[ClosedSpan], size: int) -> Numbers:
    rows = _table(model.ungated.values_list("pk", "recording_id", "start_ms", "end_ms"), 4)
    numbers, holders, starts, ends = rows[(rows[:, :2] < size).all(axis=1)].T
    made["holder"][numbers], made["start_ms"][numbers], made["end_ms"][numbers] = holders, starts, ends
    for column in (made["first_day"], made["last_day"], made["language"]):
        column[numbers] = column[holders]
    return numbers


class _Ties(TypedDict):
    tie_source: Numbers
    tie_target: Numbers
    tie_kind: Numbers


def _ties(size: int) -> _Ties:
    codes = Case(*(When(kind=name, then=Value(tie_code(name))) for name in TieKind.values), output_field=IntegerField())
    told = _table(Tie.ungated.order_by().annotate(code=codes).values_list("source_id", "target_id", "code"), 3)
    topics = _table(TopicTie.ungated.values_list("content_object_id", "tag_id", Value(tie_code("topic"))), 3)
    rows = np.concatenate([told, topics])
    source, target, kind = unpacked(np.unique(packed(*rows[(rows[:, :2] < size).all(axis=1)].T)))
    return _Ties(tie_source=source, tie_target=target, tie_kind=kind)


def packed(source: Numbers, target: Numbers, kind: Numbers) -> Numbers:
    """A tie as one number, so that ties are sorted and told apart at one stroke: 29 bits to an item, 5 to the kind."""
    return (source << 34) | (target << 5) | kind


def unpacked(ties: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    return ties >> 34, ties >> 5 & (1 << 29) - 1, ties & 31


def _table(rows: Iterable[tuple[int, ...]], columns: int) -> Numbers:
    return np.fromiter(chain.from_iterable(rows), dtype=np.int64).reshape(-1, columns)


def _titles() -> dict[int, str]:
    """What each item is called first of all, as its label says it (archive.access.showing)."""
    titles: dict[int, str] = {}
    for model, column in ((Recording, "title"), (Segment, "title"), (Mirror, "title"), (Topic, "name")):
        titles.update(model.ungated.values_list("pk", column))
    titles.update(leading_names())
    mask = masks.standing()
    if mask.rules:
        titles = {number: mask.text(text) for number, text in titles.items()}
        titles.update({number: rule.words() for number, rule in mask.people.items()})
    return titles


def leading_names() -> dict[int, str]:
    spoken = House.objects.values_list("language", flat=True).filter(pk=1).first() or "en"
    rows = Name.ungated.order_by("item_id", "-is_preferred", "position", "pk")
    leading: dict[int, tuple[str, str]] = {}
    for number, language, text in rows.values_list("item_id", "language", "text"):
        held = leading.get(number)
        if held is None or (held[0] != spoken and language == spoken):
            leading[number] = (language, text)
    return {number: text for number, (_, text) in leading.items()}


def _ranks(size: int, items: list[tuple[int, str, str]], titles: dict[int, str]) -> Numbers:
    ordered = sorted((titles.get(number, "").casefold(), ref, number) for number, _, ref in items)
    ranks = _zeros(size)
    for rank, (_, _, number) in enumerate(ordered):
        ranks[number] = rank
    return ranks


# --- what a viewer may read ---


def levels_at(levels: policy.Levels, numbers: Numbers) -> policy.Levels:
    """The level of each of the numbers; one that the levels do not know is at nothing."""
    known = np.minimum(numbers, len(levels) - 1)
    found = levels[known].copy()
    found[numbers >= len(levels)] = Level.NOTHING
    return found


def offered_whole(layout: Layout, levels: policy.Levels, trusted: Iterable[int]) -> Flags:
    """By item number: recordings that this viewer hears whole (`Gate.hears_whole`)."""
    whole = np.zeros(layout.size, dtype=np.bool_)
    numbers = layout.of_kind(Kind.RECORDING)
    met = levels_at(levels, numbers) >= Level.OPEN
    whole[numbers] = met & (~layout.is_clips[numbers] | np.isin(numbers, list(trusted)))
    return whole


def readable(
    layout: Layout,
    levels: policy.Levels,
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
    open_, closed = _opened(layout, levels)
    found = (start_ms < length) & (end_ms > 0)
    found &= ~_meets_any(closed, recording, start_ms, last)
    inside = _lies_inside(open_, recording, np.maximum(start_ms, 0), np.minimum(last, length))
    return found & (offered_whole(layout, levels, trusted)[recording] | inside)


def silent(layout: Layout, levels: policy.Levels, numbers: Numbers) -> Flags:
    """Whether all the seconds of each of these stretches are closed to this viewer by others that lie over them."""
    _, closed = _opened(layout, levels)
    return _lies_inside(closed, layout.holder[numbers], layout.start_ms[numbers], layout.end_ms[numbers])


@dataclass(frozen=True)
class _Merged:
    """Stretches of all recordings, merged; as places (see TIME_BITS), ascending."""

    starts: Numbers
    ends: Numbers


def _opened(layout: Layout, levels: policy.Levels) -> tuple[_Merged, _Merged]:
    """The open segments, and the closed segments and spans."""
    met = levels_at(levels, layout.stretches) >= Level.OPEN
    segments = layout.kind[layout.stretches] == code(Kind.SEGMENT)
    return _merge(layout, layout.stretches[met & segments]), _merge(layout, layout.stretches[~met])


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
