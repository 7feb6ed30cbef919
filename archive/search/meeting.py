"""Where one thing asked for is met by the viewer: in which passages, in which things, and what it is worth there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from ..access.indexing import Field
from ..access.layout import Flags, Numbers, holds, runs
from . import ranking
from .aims import Aim, Likewise
from .boards import SEVERAL
from .query import AT, BY, OF, ON, TITLE, Clause
from .sight import TIE_WEIGHT, WEIGHTS, Sight
from .stock import NO_NUMBERS

# The ties that each field looks along, from a passage to what it is tied to.
ALONG: dict[str, tuple[str, ...]] = {
    BY: ("told_by", "had_from"),
    AT: ("belongs_to", "recorded_at"),
    OF: ("names_figure", "tells_of"),
    ON: ("topic",),
    "": ("told_by", "had_from", "belongs_to", "recorded_at", "names_figure", "tells_of", "topic"),
    TITLE: (),
}
Amounts = NDArray[np.float64]
NO_AMOUNTS: Amounts = np.zeros(0)
FEW_PLACES = 2_000
MANY_TIMES = 50  # how many standings of a word are read for each place that is asked about


@dataclass(frozen=True, eq=False)
class Met:
    """`told` are the passages where it is met, ascending, and `fits` what it adds to the rank of each.

    `things` are the people, places and so on where it is met, ascending, and `times` its weighted counts there;
    `named` are those whose name it is. Of the passages, those of `likewise` do not hold it. `atoms` hold it, ascending;
    some of them the viewer may not meet.
    """

    clause: Clause
    told: Numbers
    fits: Amounts
    atoms: Numbers
    idf: float = 0.0
    things: Numbers = field(default_factory=lambda: NO_NUMBERS)
    times: Amounts = field(default_factory=lambda: NO_AMOUNTS)
    named: Numbers = field(default_factory=lambda: NO_NUMBERS)
    aim: Aim | None = None
    likewise: Likewise | None = None

    @property
    def size(self) -> int:
        """Numbers held in memory."""
        return 2 * (len(self.told) + len(self.things)) + (len(self.atoms) if self.clause.is_beginning else 0)


def meet(sight: Sight, clause: Clause) -> Met:
    """Kept for the viewer as long as nothing changes: the same words are asked for page after page."""
    held = sight.words.get(clause)
    if held is None:
        held = sight.words.put(clause, _meet(sight, clause))
    return replace(held, clause=clause)


def aimed(clause: Clause, aim: Aim, is_told: Flags) -> Met:
    """An aim restricts; it counts for the order by how much of what was asked a passage is tied to."""
    told = np.flatnonzero(aim.answers & is_told)
    return Met(clause, told, (aim.tied + aim.amounts)[told], np.unique(aim.said), aim=aim)


def _meet(sight: Sight, clause: Clause) -> Met:
    atoms, counts, named = _in_words(sight, clause) if clause.field in ("", TITLE) else _in_names(sight, clause)
    counts += TIE_WEIGHT * tied(sight, named, ALONG[clause.field])
    held = np.flatnonzero(counts)
    is_told = sight.board.is_told[held]
    told, things = held[is_told], held[~is_told]
    idf = ranking.rarity(sight.told[0], len(told))
    fits = np.zeros(len(told))
    if clause.field in ("", TITLE):
        fits = ranking.weights(counts[told], sight.lengths[told], sight.told[1], idf)
    return Met(clause, told, fits, atoms, idf, things, counts[things], named)


def _in_words(sight: Sight, clause: Clause) -> tuple[Numbers, Amounts, Numbers]:
    """The atoms that hold it; the weighted counts by document; the things whose name it is."""
    if len(clause.words) > 1:
        atoms, times = standing(sight, clause)
    else:
        # With every standing by itself: to count them by document at once is faster than by atom first.
        atoms, times = sight.board.stock.entries(clause.words[0], is_beginning=clause.is_beginning), None
    parts = sight.board.stock.part[atoms]
    named = _named(sight, atoms[parts == Field.NAME])
    if clause.field == TITLE:
        own = parts == Field.TITLE
        atoms, parts, times = atoms[own], parts[own], None if times is None else times[own]
    weights = WEIGHTS[parts] if times is None else WEIGHTS[parts] * times
    counts = _by_document(sight, atoms, weights)
    return np.unique(atoms) if clause.is_beginning else atoms, counts, named


def _by_document(sight: Sight, atoms: Numbers, weights: Amounts) -> Amounts:
    """The weights of the atoms that are met, added up by the documents they belong to."""
    home = sight.home[atoms]
    counts = np.bincount(home - SEVERAL, weights, minlength=sight.board.layout.size - SEVERAL)
    found = counts[-SEVERAL:].astype(np.float64, copy=False)
    if counts[0]:
        several = np.flatnonzero(home == SEVERAL)
        which, documents = sight.homes_of(atoms[several])
        found += np.bincount(documents, weights[several[which]], minlength=len(found))
    return found


def _in_names(sight: Sight, clause: Clause) -> tuple[Numbers, Amounts, Numbers]:
    atoms, _ = standing(sight, clause)
    named = _named(sight, atoms[sight.board.stock.part[atoms] == Field.NAME])
    return NO_NUMBERS, np.zeros(sight.board.layout.size), named


def _named(sight: Sight, atoms: Numbers) -> Numbers:
    found: Numbers = np.unique(sight.board.stock.owner[atoms[sight.is_seen[atoms]]]).astype(np.int64)
    return found


def tied(sight: Sight, things: Numbers, kinds: Sequence[str]) -> Amounts:
    """By document: how many of these things it is tied to, where both ends are met."""
    size = sight.board.layout.size
    if not len(things):
        return np.zeros(size)
    ties = sight.ties(*kinds)
    wanted = np.zeros(size, dtype=np.bool_)
    wanted[things] = True
    return np.bincount(ties.documents[wanted[ties.targets]], minlength=size).astype(np.float64)


# --- words that stand together ---


def standing(sight: Sight, clause: Clause) -> tuple[Numbers, Amounts]:
    """The atoms met that hold the clause's words one after the other, ascending, and how often."""
    if len(clause.words) > 1:
        return _following(sight, clause.words)
    stock = sight.board.stock
    found = stock.beginning(clause.words[0]) if clause.is_beginning else stock.postings(clause.words[0])
    seen = sight.is_seen[found.atoms]
    return found.atoms[seen], found.times[seen].astype(np.float64)


def _following(sight: Sight, words: Sequence[str]) -> tuple[Numbers, Amounts]:
    """Phrases: places on the line of all words met (Sight.first_word) from which every word stands in its turn.

    The rarest word is taken first, and nothing more is read once no place is left.
    """
    stock = sight.board.stock
    counts = {word: len(stock.entries(word)) for word in words}
    turns = sorted(range(len(words)), key=lambda turn: (counts[words[turn]], turn))
    if not counts[words[turns[0]]]:
        return NO_NUMBERS, NO_AMOUNTS
    starts = _places(sight, words[turns[0]]) - turns[0]
    for turn in turns[1:]:
        if not len(starts):
            break
        starts = starts[holds(_places(sight, words[turn]), starts + turn)]
    atoms, times = np.unique(_home_of(sight, starts), return_counts=True)
    return atoms, times.astype(np.float64)


def chained(sight: Sight, choices: Sequence[Sequence[str]]) -> list[tuple[tuple[str, ...], Numbers]]:
    """Every run of one word of each choice in turn that stands somewhere met, and the atoms in which it begins.

    The choice that stands in fewest places is taken first, and the others are looked for beside it alone.
    """
    counts = [sum(len(sight.board.stock.entries(word)) for word in choice) for choice in choices]
    first, *others = sorted(range(len(choices)), key=lambda turn: (counts[turn], turn))
    if not counts[first]:
        return []
    places, chosen = _places_of(sight, choices[first])
    starts, taken = places - first, {first: chosen}
    for turn in others:
        kept, chosen = _standing_there(sight, choices[turn], starts + turn)
        starts = starts[kept]
        taken = {**{before: which[kept] for before, which in taken.items()}, turn: chosen}
    return _by_run(sight, choices, starts, [taken[turn] for turn in range(len(choices))])


def _by_run(
    sight: Sight, choices: Sequence[Sequence[str]], starts: Numbers, taken: Sequence[Numbers]
) -> list[tuple[tuple[str, ...], Numbers]]:
    """The atoms of the starts, by the words that were taken for each."""
    if not len(starts):
        return []
    rows, which = np.unique(np.stack(taken, axis=1), axis=0, return_inverse=True)
    atoms = _home_of(sight, starts)
    return [
        (tuple(choice[one] for choice, one in zip(choices, row, strict=True)), np.unique(atoms[which.ravel() == at]))
        for at, row in enumerate(rows.tolist())
    ]


def _places_of(sight: Sight, words: Sequence[str]) -> tuple[Numbers, Numbers]:
    """The places of all of these words, and beside each which of them stands there."""
    places = [_places(sight, word) for word in words]
    which = np.repeat(np.arange(len(words)), [len(found) for found in places])
    return np.concatenate([NO_NUMBERS, *places]), which


def _standing_there(sight: Sight, words: Sequence[str], places: Numbers) -> tuple[Numbers, Numbers]:
    """Which of the places are held by one of these words, and beside each by which of them."""
    if len(places) > FEW_PLACES:
        return _standing_by_table(sight, words, places)
    if not len(places):
        return NO_NUMBERS, NO_NUMBERS
    held = [np.flatnonzero(_stands_at(sight, word, places)) for word in words]
    which = np.repeat(np.arange(len(words)), [len(found) for found in held])
    return np.concatenate([NO_NUMBERS, *held]), which


def _standing_by_table(sight: Sight, words: Sequence[str], places: Numbers) -> tuple[Numbers, Numbers]:
    """The same, over a table of the whole line: faster where many places are asked about."""
    table = np.zeros(sight.line_length, dtype=np.uint16)
    for at, word in enumerate(words, start=1):
        table[_places(sight, word)] = at
    on_line = np.flatnonzero((places >= 0) & (places < len(table)))
    found = table[places[on_line]]
    held = np.flatnonzero(found)
    return on_line[held], found[held].astype(np.int64) - 1


def _stands_at(sight: Sight, word: str, places: Numbers) -> Flags:
    """By place: whether the word stands there. What stands very often is looked for in the places' atoms alone."""
    entries = sight.board.stock.entries(word)
    if len(entries) < MANY_TIMES * len(places):
        return holds(_places(sight, word), places)
    atoms = _home_of(sight, places)
    first = np.searchsorted(entries, atoms, side="left")
    counts = np.searchsorted(entries, atoms, side="right") - first
    which = np.repeat(np.arange(len(places)), counts)
    at = sight.first_word[atoms][which] + sight.board.stock.places(word)[runs(first, counts)]
    found = np.zeros(len(places), dtype=np.bool_)
    found[which[at == places[which]]] = True
    return found


def _places(sight: Sight, word: str) -> Numbers:
    """Where the word stands on the line, ascending."""
    found = sight.board.stock.positions(word)
    seen = sight.is_seen[found.atoms]
    return sight.first_word[found.atoms[seen]] + found.times[seen]


def _home_of(sight: Sight, places: Numbers) -> Numbers:
    """The atoms in which these places of the line lie."""
    if not len(places):
        return NO_NUMBERS
    atoms, starts = sight.line
    return atoms[np.searchsorted(starts, places, side="right") - 1].astype(np.int64)


# --- in which of a document's lines ---


def lines_in(sight: Sight, atoms: Numbers, documents: Numbers) -> tuple[Numbers, Numbers]:
    """Of these atoms (ascending), the cues met that belong to these documents: the atom, and beside it the document."""
    stock = sight.board.stock
    first, after = np.searchsorted(atoms, stock.sheet_spans(sight.board.layout.holder[documents]))
    counts = np.maximum(after - first, 0)
    found, whose = atoms[runs(first, counts)], np.repeat(documents, counts)
    home = sight.home[found]
    mine = (home == whose) | ((home == SEVERAL) & _is_shared(sight, found, whose))
    mine &= stock.part[found] == Field.CUE
    return found[mine], whose[mine]


def _is_shared(sight: Sight, atoms: Numbers, documents: Numbers) -> Flags:
    """Whether the document is one of several that the atom belongs to."""
    which, homes = sight.homes_of(atoms)
    found = np.zeros(len(atoms), dtype=np.bool_)
    found[which[homes == documents[which]]] = True
    return found
