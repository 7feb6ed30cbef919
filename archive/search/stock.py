"""One state of the index in memory: its atoms as arrays, and the postings of a word as arrays, read when asked for."""

from __future__ import annotations

import threading
import weakref
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from whoosh import index as store

Numbers = NDArray[np.int64]
NUMBERS = ("owner", "part", "cue", "transcript", "start_ms", "end_ms", "words", "mark")
KEPT_WORDS = 4_000
KEPT_POSTINGS = 4_000_000


class Damaged(Exception):
    """The files of the index cannot be read."""


@dataclass(frozen=True)
class Leaf:
    """One of the parts that Whoosh keeps an index in. A part is never changed, only marked and replaced."""

    name: str
    numbers: dict[str, Numbers]


@dataclass(frozen=True)
class Postings:
    """Where a word stands: atoms (by place in the stock, ascending) and how often in each."""

    atoms: Numbers
    times: Numbers


NO_NUMBERS: Numbers = np.zeros(0, dtype=np.int64)


@dataclass(eq=False)
class Stock:
    """Atoms by their place; those marked as deleted have `is_live` False and count for nothing."""

    folder: Path
    reader: Any
    leaves: list[Leaf]
    generation: int
    is_live: NDArray[np.bool_]
    owner: Numbers
    part: Numbers
    cue: Numbers
    transcript: Numbers
    start_ms: Numbers
    end_ms: Numbers
    words: Numbers
    mark: Numbers

    def __post_init__(self) -> None:
        self._counts: OrderedDict[str, Postings] = OrderedDict()
        self._places: OrderedDict[str, Postings] = OrderedDict()
        self._lock = threading.Lock()
        # The files are let go when nobody reads from this state any more: a search may still be at it.
        weakref.finalize(self, self.reader.close)

    @classmethod
    def read(cls, folder: Path, before: Stock | None = None) -> Stock:
        """The state on the disk; parts that `before` has read already are taken from it."""
        index: Any = store.open_dir(str(folder))
        generation = index.latest_generation()
        same = before if before is not None and before.folder == folder else None
        if same is not None and same.generation == generation:
            return same
        reader = index.reader()
        known = {leaf.name: leaf for leaf in same.leaves} if same else {}
        parts = [part for part, _ in reader.leaf_readers() if part.doc_count_all()]
        leaves = [known.get(_name(part)) or Leaf(_name(part), _numbers(part)) for part in parts]
        return cls(
            folder=folder,
            reader=reader,
            leaves=leaves,
            generation=generation,
            is_live=_live(parts),
            **{name: np.concatenate([NO_NUMBERS, *(leaf.numbers[name] for leaf in leaves)]) for name in NUMBERS},
        )

    def __len__(self) -> int:
        return len(self.owner)

    def places_of(self, owner: int) -> Numbers:
        return np.flatnonzero((self.owner == owner) & self.is_live)

    def mark_of(self, owner: int) -> int:
        """The mark that the owner's atoms were written under; 0 where it has none."""
        places = self.places_of(owner)
        return int(self.mark[places[0]]) if len(places) else 0

    def postings(self, word: str) -> Postings:
        """Raises Damaged where the files cannot be read."""
        return self._kept(self._counts, word, lambda: self._read([word]))

    def beginning(self, start: str) -> Postings:
        """The postings of all words that begin so, taken together."""
        return self._kept(self._counts, start + "*", lambda: self._read(self._words_beginning(start)))

    def positions(self, word: str) -> Postings:
        """Every standing of the word by itself; `times` says which of the atom's words it is (from 0)."""
        return self._kept(self._places, word, lambda: self._read_positions(word))

    def _kept(self, among: OrderedDict[str, Postings], key: str, read: Callable[[], Postings]) -> Postings:
        with self._lock:
            held = among.pop(key, None)
            among[key] = held = held if held is not None else read()
            while len(among) > 1 and sum(len(each.atoms) for each in among.values()) > KEPT_POSTINGS:
                among.popitem(last=False)
            while len(among) > KEPT_WORDS:
                among.popitem(last=False)
            return held

    def _words_beginning(self, start: str) -> list[str]:
        try:
            return [word.decode("utf-8") for word in self.reader.expand_prefix("text", start)]
        except Exception as error:
            raise Damaged(str(self.folder)) from error

    def _read(self, words: list[str]) -> Postings:
        atoms: list[int] = []
        times: list[float] = []

        def take(matcher: Any) -> None:
            atoms.append(matcher.id())
            times.append(matcher.weight())

        for word in words:
            self._each(word, take)
        places, which = np.unique(np.array(atoms, dtype=np.int64), return_inverse=True)
        return Postings(places, np.bincount(which, times, minlength=len(places)).astype(np.int64))

    def _read_positions(self, word: str) -> Postings:
        atoms: list[int] = []
        positions: list[int] = []

        def take(matcher: Any) -> None:
            found = matcher.value_as("positions")
            atoms.extend([matcher.id()] * len(found))
            positions.extend(found)

        self._each(word, take)
        return Postings(np.array(atoms, dtype=np.int64), np.array(positions, dtype=np.int64))

    def _each(self, word: str, take: Callable[[Any], None]) -> None:
        """Go through the word's postings in the order of their atoms; any fault in the files becomes Damaged."""
        try:
            if ("text", word) not in self.reader:
                return
            matcher = self.reader.postings("text", word)
            while matcher.is_active():
                take(matcher)
                matcher.next()
        except Exception as error:
            raise Damaged(str(self.folder)) from error


def _name(part: Any) -> str:
    return str(part.segment().segment_id())


def _live(parts: list[Any]) -> NDArray[np.bool_]:
    live = [np.ones(part.doc_count_all(), dtype=np.bool_) for part in parts]
    for flags, part in zip(live, parts, strict=True):
        flags[list(part.segment().deleted_docs())] = False
    return np.concatenate([np.zeros(0, dtype=np.bool_), *live])


def _numbers(part: Any) -> dict[str, Numbers]:
    return {name: _column(part, name) for name in NUMBERS}


def _column(part: Any, name: str) -> Numbers:
    """A column of 64-bit numbers at one stroke: big-endian as Whoosh writes them, its end left off where it is all 0.

    Asking Whoosh row by row gives the same (tested), at a thousand times the cost.
    """
    column = np.zeros(part.doc_count_all(), dtype=np.int64)
    filename = part.codec().column_filename(part.segment(), name)
    if part.storage().file_exists(filename):
        with part.storage().open_file(filename) as file:
            written = np.frombuffer(bytes(file.read()), dtype=">i8")
        column[: len(written)] = written
    return column
