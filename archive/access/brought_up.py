"""Policy and layout brought in line with what was written since, without reading the rest anew.

Everything that was touched is read again as it stands now, whatever was done to it. So it does no harm where more was
written meanwhile: it is only read once more. What is made here equals what is read whole (tested after every act).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TypedDict, TypeVar

import numpy as np
from django.db.models import Q
from numpy.typing import NDArray

from ..models import Item, Kind, Reach
from . import closure, columns, layout, policy, touched
from .judging import Numbers, Policy
from .layout import Layout

MOST_ASKED = 5_000  # a statement takes so many numbers and not many more
Entry = TypeVar("Entry", bound=np.generic)

# --- the policy ---


def policy_after(held: Policy, version: int) -> Policy | None:
    """This policy with what was written since read anew; None where all must be."""
    if not (held.is_firm and policy.is_alone()) or version < held.version:
        return None
    since = touched.since(held.version)
    if since is None:
        return None
    made = replace(held, version=version)
    if since.rules:
        made = replace(made, **policy.rules_and_audiences())
    if since.conditions:
        made = replace(made, reach=_reach_after(held, since.conditions))
    if len(since.items):
        made = replace(made, **_items_after(held, since.items))
    return made


def _reach_after(held: Policy, conditions: Sequence[int]) -> dict[int, Numbers]:
    kept = {number: reached for number, reached in held.reach.items() if number not in conditions}
    return kept | columns.beside(Reach.ungated.filter(condition__in=conditions), "condition_id", "item_id")


class _Items(TypedDict):
    size: int
    by_kind: dict[str, Numbers]
    undecided: Numbers
    within: dict[int, Numbers]


def _items_after(held: Policy, items: Numbers) -> _Items:
    """By what these items are now. A recording is touched by whatever comes to lie in it or no longer does."""
    kinds = dict(Item.ungated.filter(pk__in=items.tolist()).values_list("pk", "kind"))
    by_kind = {kind: _with_those(numbers, items, kind, kinds) for kind, numbers in held.by_kind.items()}
    recordings = [number for number, kind in kinds.items() if kind == Kind.RECORDING]
    gone = set(items.tolist())
    within = {number: inside for number, inside in held.within.items() if number not in gone}
    return _Items(
        size=policy.size_of(by_kind),
        by_kind=by_kind,
        undecided=_undecided_after(held, items.tolist()),
        within=within | policy.within_recordings(recordings),
    )


def _undecided_after(held: Policy, items: list[int]) -> Numbers:
    asked = sorted(closure.may_wait_with(items))
    if len(asked) > MOST_ASKED:
        return columns.ascending(closure.stands_undecided())
    others = held.undecided[~np.isin(held.undecided, asked)]
    return np.union1d(others, columns.ascending(closure.stand_undecided_among(asked)))


def _with_those(numbers: Numbers, items: Numbers, kind: str, kinds: dict[int, str]) -> Numbers:
    now = np.array(sorted(number for number, own in kinds.items() if own == kind), dtype=np.int64)
    before = items[layout.holds(numbers, items)]
    if np.array_equal(before, now):
        return numbers
    kept = numbers[~layout.holds(before, numbers)]
    return np.sort(np.concatenate([kept, now]), kind="stable")


# --- the layout ---


def layout_after(under: Policy, held: Layout, standing: Policy) -> Layout | None:
    """The layout made from the one held under an earlier policy; None where it must be read whole."""
    if not (under.is_firm and policy.is_alone()) or standing.line != under.line or standing.version < under.version:
        return None
    since = touched.since(under.version)
    if since is None:
        return None
    if not len(since.items):
        return held
    try:
        return _laid(held, since.items)
    except ValueError:  # a new language: the numbers of the others may move
        return None


def _laid(held: Layout, items: Numbers) -> Layout | None:
    numbers = items.tolist()
    rows = list(Item.ungated.filter(pk__in=numbers).values_list("pk", "kind", "ref"))
    size = max([held.size, *(number + 1 for number, _, _ in rows)])
    kind = _copy(held.kind, items, size)
    kind[[number for number, _, _ in rows]] = [layout.code(name) for _, name, _ in rows]
    named = layout.titles(numbers)
    keys = {number: layout.name_key(named.get(number, ""), ref) for number, _, ref in rows}
    names = held.names.with_these(keys.values())
    if names is None:
        return None
    rank = _copy(held.rank, items, size)
    rank[list(keys)] = [names.rank(key) for key in keys.values()]
    source, target, tie_kind = _ties(held, items, size)
    return Layout(
        kind=kind,
        rank=rank,
        names=names,
        tie_source=source,
        tie_target=target,
        tie_kind=tie_kind,
        serial=layout.next_serial(),
        before=held.serial,
        changed=items,
        **_times(held, items, numbers, size),
    )


def _copy(column: NDArray[Entry], items: Numbers, size: int) -> NDArray[Entry]:
    """The column, long enough, with nothing said of these items."""
    made = np.zeros(size, dtype=column.dtype)
    made[: len(column)] = column
    made[items[items < size]] = 0
    return made


def _times(held: Layout, items: Numbers, numbers: list[int], size: int) -> layout.Times:
    """What lies in a touched recording goes by its date and language, so it is read with it."""
    lies_in = np.flatnonzero(np.isin(held.holder, items)).astype(np.int64)
    inside = np.union1d(items, lies_in)
    columns = ("holder", "start_ms", "end_ms", "length_ms", "is_clips", "first_day", "last_day", "language")
    made = layout.Times(
        **{name: _copy(getattr(held, name), inside, size) for name in columns},  # type: ignore[typeddict-item]
        languages=held.languages,
        stretches=held.stretches[~np.isin(held.stretches, inside)],
    )
    layout.put_recordings(made, size, Q(pk__in=numbers))
    again = layout.put_stretches(made, size, Q(recording__in=numbers) | Q(pk__in=numbers))
    made["stretches"] = np.concatenate([made["stretches"], again])
    return made


def _ties(held: Layout, items: Numbers, size: int) -> tuple[Numbers, Numbers, Numbers]:
    """Both ends of a tie are touched by it, so those whose source was not are as they were. Ties lie by source."""
    numbers = items.tolist()
    first, after = (np.searchsorted(held.tie_source, items, side=side) for side in ("left", "right"))
    gone = layout.runs(first, after - first)
    again = layout.unpacked(layout.read_ties(size, Q(source__in=numbers), Q(content_object__in=numbers)))
    sources = np.delete(held.tie_source, gone)
    at = np.searchsorted(sources, again[0])
    kept = (sources, np.delete(held.tie_target, gone), np.delete(held.tie_kind, gone))
    source, target, kind = (np.insert(column, at, values) for column, values in zip(kept, again, strict=True))
    return source, target, kind
