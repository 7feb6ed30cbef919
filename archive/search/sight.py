"""What one viewer meets of the index: which atoms, which documents, how long these are for them."""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from django.db import connection
from numpy.typing import NDArray

from ..access import layout as lay
from ..access.gate import Gate
from ..access.indexing import Field
from ..access.layout import Flags, Layout, Numbers, runs
from . import engine
from .boards import MOST_CHANGED, NOWHERE, SEVERAL, Board, board, board_after, carried, with_holders
from .kept import Kept
from .query import Clause
from .stock import Stock

# How much a mention counts by where it stands: in a title or name, or in anything said or written at length.
PART_WEIGHTS = {Field.TITLE: 2.0, Field.SUMMARY: 1.0, Field.CUE: 1.0, Field.NAME: 2.0, Field.ABOUT: 1.0}
WEIGHTS = np.zeros(max(Field) + 1)
WEIGHTS[list(PART_WEIGHTS)] = list(PART_WEIGHTS.values())
TIE_WEIGHT = 2.0
OPEN, DESCRIPTION = 3, 2
# Words in cues further apart than this do not follow each other in a phrase.
LONGEST_PAUSE_MS = 4_000
UPWARD = ("part_of", "narrower_than")
MOST_KEPT = 1_000_000  # numbers of eight bytes, of what was worked out for one viewer's words
# What is kept of viewers: the last so many, fewer where there are so many atoms that memory would run out.
KEPT_VIEWERS, LEAST_VIEWERS, MOST_ATOMS = 24, 3, 5_000_000


@dataclass(frozen=True)
class Ties:
    """Side by side: the document at the near end, the item number at the far one, the kind (Layout's code)."""

    documents: Numbers
    targets: Numbers
    kinds: Numbers


@dataclass(frozen=True, eq=False)
class Facet:
    """Side by side, by document: the document, and the place in `things` of what it is tied to."""

    things: Numbers
    documents: NDArray[np.int32]
    places: NDArray[np.int32]

    def counts(self, flags: Flags, documents: Numbers) -> Numbers:
        """How many of these documents (as flags, and ascending) each thing stands beside."""
        if len(documents) * 20 < len(flags):
            first = np.searchsorted(self.documents, documents, side="left")
            taken = self.places[runs(first, np.searchsorted(self.documents, documents, side="right") - first)]
        else:
            taken = self.places[flags[self.documents]]
        return np.bincount(taken, minlength=len(self.things))


@dataclass(frozen=True, eq=False)
class Sight:
    """One viewer's part of the board. `levels` is kept to know whether it still holds."""

    board: Board
    levels: NDArray[np.uint8]
    trusted: frozenset[int]
    level: NDArray[np.uint8]  # by item number of the layout
    is_seen: Flags  # by atom

    @cached_property
    def is_met(self) -> Flags:
        """By document: at least its description is met."""
        return (self.level >= DESCRIPTION) & self.board.is_document

    @cached_property
    def lengths(self) -> NDArray[np.float64]:
        """By document: the words this viewer meets of it, weighted by part."""
        stock, seen = self.board.stock, self.seen
        which, documents = self.homes_of(seen)
        atoms = seen[which]
        words = stock.words[atoms] * WEIGHTS[stock.part[atoms]]
        return np.bincount(documents, words, minlength=self.board.layout.size).astype(np.float64, copy=False)

    @cached_property
    def words(self) -> Kept[Clause]:
        """What was worked out for words that were asked for."""
        return Kept(MOST_KEPT)

    @cached_property
    def home(self) -> NDArray[np.int32]:
        """By atom: `Board.home` where atom and document are met, else NOWHERE; SEVERAL where some of them may be."""
        home = np.where(self.is_seen, self.board.home, NOWHERE)
        home[(home >= 0) & ~self.is_met[np.maximum(home, 0)]] = NOWHERE
        return home

    # --- what is known of a document ---

    @cached_property
    def knows_recording(self) -> Flags:
        """By document: whether the recording it lies in is met, whose date and language it goes by."""
        return self.level[self.board.layout.holder] >= DESCRIPTION

    @cached_property
    def first_day(self) -> Numbers:
        """By document; 0 where there is no date."""
        return np.where(self.knows_recording, self.board.layout.first_day, 0)

    @cached_property
    def language(self) -> Numbers:
        """By document: the place of its language in `Layout.languages`, counted from 1; 0 for none."""
        return np.where(self.knows_recording, self.board.layout.language, 0)

    def told_between(self, first: int | None, last: int | None) -> Flags:
        """By document: whether the days it may have been told on share one with [first, last], both included."""
        kept = self.first_day != 0
        if first is not None:
            kept &= self.board.layout.last_day >= first
        if last is not None:
            kept &= self.first_day <= last
        return kept

    @cached_property
    def heard(self) -> Flags:
        """By document: passages with sound that this viewer may hear."""
        lies = self.board.layout
        whole = lay.offered_whole(lies, self.level, self.trusted)
        segment = (lies.kind == lay.code("segment")) & (self.level >= OPEN)
        return (whole | segment) & ~lay.silent(lies, self.level, self.board.numbers)

    @property
    def seen(self) -> Numbers:
        """The atoms met, ascending."""
        return np.flatnonzero(self.is_seen)

    def statistics(self, is_told: bool) -> tuple[int, float]:
        """How many documents of the two sorts are met, and their average length."""
        met = self.is_met & (self.board.is_told == is_told)
        count = int(np.count_nonzero(met))
        return count, float(self.lengths[met].sum() / count) if count else 0.0

    @cached_property
    def told(self) -> tuple[int, float]:
        return self.statistics(True)

    @cached_property
    def things(self) -> tuple[int, float]:
        return self.statistics(False)

    def ties(self, *kinds: str) -> Ties:
        """The ties of these kinds from documents, where both ends are met.

        What is tied to a part is tied to the whole, and to broader topics, as far as these ties are met as well.
        """
        held = self._ties.get(kinds)
        if held is None:
            held = self._ties[kinds] = self._with_wholes(self._direct(kinds))
        return held

    def facet(self, *kinds: str) -> Facet:
        """The same, made ready for counting: each document and thing once, and the things by their place."""
        held = self._facets.get(kinds)
        if held is None:
            ties = self._with_wholes(self._direct(kinds))
            kept = self.board.is_told[ties.documents]
            kept[1:] &= (ties.documents[1:] != ties.documents[:-1]) | (ties.targets[1:] != ties.targets[:-1])
            targets = ties.targets[kept]
            is_thing = lay.flagged(self.board.layout.size, targets)
            place = np.cumsum(is_thing, dtype=np.int32) - 1
            held = self._facets[kinds] = Facet(
                np.flatnonzero(is_thing), ties.documents[kept].astype(np.int32), place[targets]
            )
        return held

    @cached_property
    def _facets(self) -> dict[tuple[str, ...], Facet]:
        return {}

    def _met_ties(self, kinds: tuple[str, ...]) -> Flags:
        wanted = lay.flagged(len(lay.TIES), [lay.tie_code(kind) for kind in kinds])
        return self._both_ends_met & wanted[self.board.layout.tie_kind]

    @cached_property
    def _both_ends_met(self) -> Flags:
        lies, met = self.board.layout, self.level >= DESCRIPTION
        return met[lies.tie_source] & met[lies.tie_target]

    def _direct(self, kinds: tuple[str, ...]) -> Ties:
        """In the order of `Layout.tie_source`, which is theirs by document."""
        lies = self.board.layout
        met = np.flatnonzero(self._met_ties(kinds) & self.board.is_document[lies.tie_source])
        return Ties(lies.tie_source[met], lies.tie_target[met], lies.tie_kind[met])

    @cached_property
    def _upward(self) -> tuple[Numbers, Numbers]:
        """Parts and narrower topics, ascending, and beside each what it is a part of or narrower than."""
        lies = self.board.layout
        met = np.flatnonzero(self._met_ties(UPWARD))
        return lies.tie_source[met], lies.tie_target[met]

    def _with_wholes(self, ties: Ties) -> Ties:
        """Step by step upward, until a step brings nothing new (rings are harmless)."""
        below, above = self._upward
        if not len(below):
            return ties
        known = lay.packed(ties.documents, ties.targets, ties.kinds)
        edge = known
        while len(edge):
            documents, targets, kinds = lay.unpacked(edge)
            first = np.searchsorted(below, targets, side="left")
            counts = np.searchsorted(below, targets, side="right") - first
            wider = lay.packed(np.repeat(documents, counts), above[runs(first, counts)], np.repeat(kinds, counts))
            edge = np.setdiff1d(wider, known)
            known = np.union1d(known, edge)
        return Ties(*lay.unpacked(known))

    @cached_property
    def _ties(self) -> dict[tuple[str, ...], Ties]:
        return {}

    def homes_of(self, atoms: Numbers) -> tuple[Numbers, Numbers]:
        """The documents of the atoms that are met: for each, which of the atoms it is a home of, and itself."""
        home = self.board.home[atoms]
        which = np.flatnonzero(home >= 0)
        documents = home[which].astype(np.int64)
        shared_atoms, shared_documents = self.board.shared
        if len(shared_atoms):
            several = np.flatnonzero(home == SEVERAL)
            first = np.searchsorted(shared_atoms, atoms[several], side="left")
            counts = np.searchsorted(shared_atoms, atoms[several], side="right") - first
            which = np.concatenate([which, np.repeat(several, counts)])
            documents = np.concatenate([documents, shared_documents[runs(first, counts)]])
        met = self.is_met[documents]
        return which[met], documents[met]

    @cached_property
    def first_word(self) -> NDArray[np.int32]:
        """By atom: the place of its first word on one line of all the words met, on which phrases are looked for.

        Cues of a transcript that follow each other without a long pause run on (a sheet holds them in the order they
        were said); between all others is a gap. What is not met is not on the line at all.
        """
        stock, order = self.board.stock, self.seen
        gap = np.ones(len(order), dtype=np.int64)
        one, next_ = order[:-1], order[1:]
        gap[1:] = (stock.transcript[next_] == 0) | (stock.transcript[one] != stock.transcript[next_])
        gap[1:] |= stock.start_ms[next_] - stock.end_ms[one] > LONGEST_PAUSE_MS
        line = np.zeros(len(stock), dtype=np.int32)
        line[order] = np.cumsum(gap) + np.cumsum(stock.words[order]) - stock.words[order]
        return line

    @cached_property
    def line(self) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
        """The atoms met that hold a word, in the order of the line, and where each begins on it."""
        atoms = np.flatnonzero(self.is_seen & (self.board.stock.words > 0)).astype(np.int32)
        return atoms, self.first_word[atoms]

    @property
    def line_length(self) -> int:
        """How many places there are on the line."""
        atoms, starts = self.line
        return int(starts[-1]) + int(self.board.stock.words[atoms[-1]]) if len(atoms) else 0


_lock = threading.Lock()
log = logging.getLogger(__name__)
_board: Board | None = None
_sights: OrderedDict[int, Sight] = OrderedDict()


def sight_of(gate: Gate, stock: Stock) -> Sight:
    """What the gate's viewer meets of the index. Kept as long as index, policy and the gate's levels stay the same."""
    made = _board_of(stock, lay.current(gate.policy))
    viewer = gate.account.pk if gate.account else 0
    held = _sights.get(viewer)
    if held is not None and held.board is made and held.levels is gate.levels:
        return held
    sight = (held and _look_again(held, gate, made)) or _look(gate, made)
    with _lock:
        _sights[viewer] = sight
        _sights.move_to_end(viewer)
        while len(_sights) > min(KEPT_VIEWERS, max(LEAST_VIEWERS, MOST_ATOMS // (len(stock) + 1))):
            _sights.popitem(last=False)
    return sight


def read_ahead() -> None:
    """Read what the first search of a process waits for, before anybody asks; for a thread of its own.

    What goes wrong here is told where it is met again: by the first search.
    """
    try:
        gate = Gate(None)
        lay.current(gate.policy)  # also where there is no index yet
        sight_of(gate, engine.current())
    except Exception as error:
        log.info("nothing was read ahead (%s)", repr(error))
    finally:
        connection.close()


def forget() -> None:
    global _board
    with _lock:
        _board = None
        _sights.clear()


def _board_of(stock: Stock, layout: Layout) -> Board:
    global _board
    with _lock:
        if _board is None or _board.stock is not stock or _board.layout is not layout:
            _board = (_board and board_after(_board, stock, layout)) or board(stock, layout)
        return _board


def _look(gate: Gate, made: Board) -> Sight:
    level = lay.levels_at(gate.levels, np.arange(made.layout.size))
    is_seen = np.zeros(len(made.stock), dtype=np.bool_)
    live = np.flatnonzero(made.stock.is_live)
    is_seen[live] = _seen(gate, made, level, live)
    return Sight(made, gate.levels, frozenset(gate.trusted), level, is_seen)


def _seen(gate: Gate, made: Board, level: NDArray[np.uint8], atoms: Numbers) -> Flags:
    """Whether each of these atoms is met: texts with their owner's description, cues as far as they may be read."""
    stock = made.stock
    owner = stock.owner[atoms]
    found = lay.levels_at(level, owner) >= DESCRIPTION
    said = np.flatnonzero(stock.part[atoms] == Field.CUE)
    cues = atoms[said]
    found[said] = lay.readable(
        made.layout, level, gate.trusted, owner[said], stock.start_ms[cues], stock.end_ms[cues]
    )
    return found


def _look_again(held: Sight, gate: Gate, made: Board) -> Sight | None:
    """What this viewer met before, with what changed judged anew; None where that would be too much."""
    changed = made.changed_since(held.board)
    if changed is None:
        return None
    level = lay.levels_at(gate.levels, np.arange(made.layout.size))
    before = lay.levels_at(held.level, np.arange(made.layout.size))
    moved = np.flatnonzero(level != before)
    trusted = np.array(sorted(held.trusted ^ frozenset(gate.trusted)), dtype=np.int64)
    owners = with_holders(np.unique(np.concatenate([changed, moved, trusted])), held.board.layout, made.layout)
    if len(owners) > MOST_CHANGED:
        return None
    is_seen = carried(held.board.stock, made.stock, held.is_seen, False) & made.stock.is_live
    atoms = made.stock.atoms_of(owners)
    is_seen[atoms] = _seen(gate, made, level, atoms)
    return Sight(made, gate.levels, frozenset(gate.trusted), level, is_seen)
