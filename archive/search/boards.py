"""The index laid over the archive: which documents each text belongs to. The same for every viewer.

A document is a segment, or a recording with what of it lies in no segment, or one of the things that passages are
tied to (person, place, figure, mirror, topic). A cue belongs to each segment that it shares at least half its time
with, or half of the segment's.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import count
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from ..access import layout as lay
from ..access.indexing import Field
from ..access.layout import Flags, Layout, Numbers, runs
from .stock import Stock

TOLD = ("segment", "recording")
THINGS = ("person", "place", "figure", "mirror", "topic")
NOWHERE, SEVERAL = -1, -2
MOST_CHANGED = 2_000  # where more owners changed, everything is made anew
KEPT_CHANGES = 32
Kept = TypeVar("Kept", bound=np.generic)
_serials = count(1)


@dataclass(frozen=True, eq=False)
class Board:
    """The index laid over the archive, the same for every viewer. Documents go by their item number.

    `home` is the document of every atom, or NOWHERE, or SEVERAL: then its documents stand in `shared`, pairs of atom
    and document side by side, ascending.
    """

    stock: Stock
    layout: Layout
    is_document: Flags  # by item number
    is_told: Flags  # by item number: a segment or recording, not a thing
    home: NDArray[np.int32]
    shared: tuple[Numbers, Numbers]
    serial: int = 0
    # The boards before this one, by their serial, and the items that changed after each; the last one last.
    changes: tuple[tuple[int, Numbers], ...] = ()

    def changed_since(self, earlier: Board) -> Numbers | None:
        """The items whose atoms or times differ from what they were on that board; None where it is not known."""
        if earlier.serial == self.serial:
            return np.zeros(0, dtype=np.int64)
        known = [serial for serial, _ in self.changes]
        if earlier.serial not in known:
            return None
        return np.unique(np.concatenate([items for _, items in self.changes[known.index(earlier.serial) :]]))

    @cached_property
    def numbers(self) -> Numbers:
        """The item number of each document."""
        return np.arange(self.layout.size)

    @cached_property
    def cues(self) -> tuple[Numbers, Numbers]:
        """By document: the first and the last atom that is a cue of it; where it has none, the last lies before."""
        first = np.full(self.layout.size, len(self.home), dtype=np.int64)
        last = np.full(self.layout.size, -1, dtype=np.int64)
        alone = np.flatnonzero((self.home >= 0) & (self.stock.part == Field.CUE))
        for atoms, documents in ((alone, self.home[alone]), self.shared):
            np.minimum.at(first, documents, atoms)
            np.maximum.at(last, documents, atoms)
        return first, last


def board(stock: Stock, layout: Layout) -> Board:
    """Everything laid out anew."""
    home = np.full(len(stock), NOWHERE, dtype=np.int32)
    shared = _settle(home, stock, layout, np.flatnonzero(stock.is_live))
    return Board(
        stock=stock,
        layout=layout,
        is_document=np.isin(layout.kind, [lay.code(kind) for kind in (*TOLD, *THINGS)]),
        is_told=np.isin(layout.kind, [lay.code(kind) for kind in TOLD]),
        home=home,
        shared=shared,
        serial=next(_serials),
    )


# --- after a change ---


def board_after(held: Board, stock: Stock, layout: Layout) -> Board | None:
    """The board made from the one before; None where too much changed, or it is not known what did."""
    changed = _changed(held, stock, layout)
    if changed is None:
        return None
    owners = with_holders(changed, held.layout, layout)
    if len(owners) > MOST_CHANGED:
        return None
    home = carried(held.stock, stock, held.home, NOWHERE)
    atoms = stock.atoms_of(owners)
    home[atoms] = NOWHERE
    home[~stock.is_live] = NOWHERE
    mine = _settle(home, stock, layout, atoms)
    made = Board(
        stock=stock,
        layout=layout,
        is_document=np.isin(layout.kind, [lay.code(kind) for kind in (*TOLD, *THINGS)]),
        is_told=np.isin(layout.kind, [lay.code(kind) for kind in TOLD]),
        home=home,
        shared=_shared_after(held, stock, home, atoms, mine),
        serial=next(_serials),
    )
    return replace(made, changes=(*held.changes, (held.serial, changed))[-KEPT_CHANGES:])


def _changed(held: Board, stock: Stock, layout: Layout) -> Numbers | None:
    """Items whose words or times may differ, ascending."""
    found = [np.zeros(0, dtype=np.int64)]
    if stock is not held.stock:
        if stock.changed is None or stock.folder != held.stock.folder or stock.before != held.stock.generation:
            return None
        found.append(stock.changed)
    if layout is not held.layout:
        if layout.changed is None or layout.before != held.layout.serial:
            return None
        found.append(layout.changed)
    return np.unique(np.concatenate(found))


def with_holders(items: Numbers, *layouts: Layout) -> Numbers:
    """The items and the recordings that they lie or lay in: the owners of every atom that they may matter to."""
    holders = [layout.holder[items[items < layout.size]] for layout in layouts]
    found = np.unique(np.concatenate([items, *holders]))
    return found[found > 0]


def carried(before: Stock, after: Stock, values: NDArray[Kept], fill: int) -> NDArray[Kept]:
    """What was known of every atom of the pieces that stayed, where these lie now; `fill` for the others."""
    made = np.full(len(after), fill, dtype=values.dtype)
    for begin, end, moved in _moves(before, after):
        made[begin + moved : end + moved] = values[begin:end]
    return made


def _moves(before: Stock, after: Stock) -> list[tuple[int, int, int]]:
    """For every piece that stayed: from which atom to which it lay, and by how many it has moved."""
    now = {piece.name: begin for piece, begin in zip(after.pieces, after.first_atoms.tolist(), strict=False)}
    return [
        (begin, begin + piece.atoms, now[piece.name] - begin)
        for piece, begin in zip(before.pieces, before.first_atoms.tolist(), strict=False)
        if piece.name in now
    ]


def _shared_after(
    held: Board, stock: Stock, home: NDArray[np.int32], atoms: Numbers, mine: tuple[Numbers, Numbers]
) -> tuple[Numbers, Numbers]:
    """The pairs of atoms that were left as they were, and those just settled."""
    found, documents = [mine[0]], [mine[1]]
    for begin, end, moved in _moves(held.stock, stock):
        first, after = np.searchsorted(held.shared[0], [begin, end])
        pairs, beside = held.shared[0][first:after] + moved, held.shared[1][first:after]
        kept = (home[pairs] == SEVERAL) & ~np.isin(pairs, atoms)
        found.append(pairs[kept])
        documents.append(beside[kept])
    together = np.concatenate(found)
    order = np.argsort(together, kind="stable")
    return together[order], np.concatenate(documents)[order]


def _settle(home: NDArray[np.int32], stock: Stock, layout: Layout, atoms: Numbers) -> tuple[Numbers, Numbers]:
    """Write the homes of these atoms; returns the pairs of those that have several.

    Texts belong to their owner, cues to the segments they lie in, and the cues left over to their recording.
    """
    atoms = atoms[stock.owner[atoms] < layout.size]
    atoms = atoms[layout.kind[stock.owner[atoms]] > 0]
    home[atoms] = stock.owner[atoms]
    cues = atoms[stock.part[atoms] == Field.CUE]
    inside, segments = _cues_in_segments(stock, layout, cues)
    order = np.argsort(inside, kind="stable")
    inside, segments = inside[order], segments[order]
    alone = np.ones(len(inside), dtype=np.bool_)
    alone[1:] = inside[1:] != inside[:-1]
    alone[:-1] &= inside[1:] != inside[:-1]
    home[inside[alone]] = segments[alone]
    home[inside[~alone]] = SEVERAL
    return inside[~alone], segments[~alone]


def _cues_in_segments(stock: Stock, layout: Layout, cues: Numbers) -> tuple[Numbers, Numbers]:
    """Pairs (atom, segment number), all recordings at once: their times are put one after the other on one line."""
    segments = layout.of_kind("segment")
    segments = segments[np.isin(layout.holder[segments], stock.owner[cues])]
    line = lay.places(stock.owner[cues], stock.start_ms[cues])
    order = np.argsort(line, kind="stable")
    cues, starts = cues[order], line[order]
    ends = lay.places(stock.owner[cues], np.maximum(stock.end_ms[cues], stock.start_ms[cues] + 1))
    from_line = lay.places(layout.holder[segments], layout.start_ms[segments])
    to_line = lay.places(layout.holder[segments], layout.end_ms[segments])
    after = np.searchsorted(starts, to_line, side="left")
    before = np.searchsorted(np.maximum.accumulate(ends), from_line, side="right")
    counts = np.maximum(after - before, 0)
    which = np.repeat(np.arange(len(segments)), counts)
    at = runs(before, counts)
    shared = np.minimum(ends[at], to_line[which]) - np.maximum(starts[at], from_line[which])
    shorter = np.minimum(ends[at] - starts[at], to_line[which] - from_line[which])
    inside = (shared > 0) & (2 * shared >= shorter)
    return cues[at[inside]], segments[which[inside]]
