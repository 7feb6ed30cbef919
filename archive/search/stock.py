"""One state of the index: its pieces side by side, so that atoms go by one number, and which of them still count."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray
from whoosh import index as store

from ..access.layout import runs
from . import pieces
from .pieces import Damaged, Piece

Numbers = NDArray[np.int64]
Flags = NDArray[np.bool_]
NO_NUMBERS: Numbers = np.zeros(0, dtype=np.int64)
# Sheets whose piece may be made anew within a request; where more are missing, the index is built anew.
MADE_AT_ONCE = 5_000


@dataclass(frozen=True)
class Postings:
    """Where a word stands: atoms (by place in the stock, ascending) and how often in each."""

    atoms: Numbers
    times: Numbers


class Part(Protocol):
    """What a stock is put together from (archive.search.pieces says what the arrays are)."""

    @property
    def name(self) -> str: ...

    def __getitem__(self, name: str) -> NDArray[Any]: ...

    @property
    def atoms(self) -> int: ...

    def atoms_holding(self, word: str, *, is_beginning: bool = False) -> NDArray[Any]: ...

    def places_of(self, word: str) -> NDArray[Any]: ...

    def vocabulary(self) -> list[str]: ...

    def sounding(self, key: str) -> list[str]: ...


@dataclass(eq=False)
class Stock:
    """Atoms by their place over all pieces. Those of sheets that were replaced or taken away count for nothing.

    `changed` are the items whose sheets differ from those of the state before, `before`; None where all may.
    """

    folder: Path
    generation: int
    pieces: Sequence[Part]
    standing: list[Flags]  # for each piece, by sheet: it counts
    before: int | None = None
    changed: Numbers | None = field(default=None, repr=False)

    @classmethod
    def read(cls, folder: Path, before: Stock | None = None) -> Stock:
        """The state on the disk; pieces that `before` has read already are taken from it."""
        index: Any = store.open_dir(str(folder))
        generation = index.latest_generation()
        same = before if before is not None and before.folder == folder else None
        if same is not None and same.generation == generation:
            return same
        reader = index.reader()
        try:
            parts = [part for part, _ in reader.leaf_readers() if part.doc_count_all()]
            known = {piece.name: piece for piece in same.pieces} if same else {}
            made = [known.get(part.segment().segment_id()) or _piece(folder, part) for part in parts]
            standing = [_standing(part) for part in parts]
        finally:
            reader.close()
        _sweep(folder, {piece.name for piece in made})
        stock = cls(folder, generation, made, standing)
        if same is not None:
            stock.before, stock.changed = same.generation, changed_between(same, stock)
        return stock

    def __len__(self) -> int:
        return int(self.first_atoms[-1])

    @cached_property
    def first_atoms(self) -> Numbers:
        """By piece: the place of its first atom; at the end, how many atoms there are."""
        return np.cumsum([0, *(piece.atoms for piece in self.pieces)])

    def _column(self, name: str) -> NDArray[Any]:
        if len(self.pieces) == 1:
            return self.pieces[0][name]
        return np.concatenate([np.zeros(0, dtype=np.int32), *(piece[name] for piece in self.pieces)])

    @cached_property
    def owner(self) -> Numbers:
        return self._column("atom_owner")

    @cached_property
    def part(self) -> NDArray[np.uint8]:
        return self._column("part").astype(np.uint8, copy=False)

    @cached_property
    def cue(self) -> Numbers:
        return self._column("cue")

    @cached_property
    def transcript(self) -> Numbers:
        return self._column("transcript")

    @cached_property
    def start_ms(self) -> Numbers:
        return self._column("start_ms")

    @cached_property
    def end_ms(self) -> Numbers:
        return self._column("end_ms")

    @cached_property
    def words(self) -> Numbers:
        return self._column("words")

    @cached_property
    def is_live(self) -> Flags:
        """By atom."""
        flags = [np.repeat(live, np.diff(piece["first_atom"])) for piece, live in zip(*self._both, strict=True)]
        return np.concatenate([np.zeros(0, dtype=np.bool_), *flags])

    @property
    def _both(self) -> tuple[Sequence[Part], list[Flags]]:
        return self.pieces, self.standing

    # --- sheets ---

    @cached_property
    def sheet_owner(self) -> Numbers:
        return self._column("owner")

    @cached_property
    def sheet_stands(self) -> Flags:
        return np.concatenate([np.zeros(0, dtype=np.bool_), *self.standing])

    def sheets_of(self, owner: int) -> Numbers:
        """The document numbers, in Whoosh, of the sheets of an item that count."""
        return np.flatnonzero((self.sheet_owner == owner) & self.sheet_stands)

    def mark_of(self, owner: int) -> int:
        """The mark that the owner's atoms were written under; 0 where it has none."""
        found = self.sheets_of(owner)
        return int(self._column("mark")[found[0]]) if len(found) else 0

    def atoms_of(self, owners: Numbers) -> Numbers:
        """The places of all atoms that count of these items, ascending."""
        found = [NO_NUMBERS]
        for piece, live, begins in zip(*self._both, self.first_atoms, strict=False):
            sheets = np.flatnonzero(live & np.isin(piece["owner"], owners))
            first, after = piece["first_atom"][sheets], piece["first_atom"][sheets + 1]
            found.append(begins + runs(first, after - first))
        return np.concatenate(found)

    @cached_property
    def _sheets_by_owner(self) -> tuple[Numbers, Numbers, Numbers]:
        """The sheets that count by their owner: the owner, its first atom, and the one after its last."""
        first = np.concatenate(
            [NO_NUMBERS, *(p["first_atom"][:-1] + at for p, at in zip(self.pieces, self.first_atoms, strict=False))]
        )
        after = np.concatenate(
            [NO_NUMBERS, *(p["first_atom"][1:] + at for p, at in zip(self.pieces, self.first_atoms, strict=False))]
        )
        sheets = np.flatnonzero(self.sheet_stands)
        sheets = sheets[np.argsort(self.sheet_owner[sheets], kind="stable")]
        return self.sheet_owner[sheets], first[sheets], after[sheets]

    def sheet_spans(self, owners: Numbers) -> Numbers:
        """The first atom of each of these items, and beneath it the one after its last; the same where it has none."""
        known, first, after = self._sheets_by_owner
        if not len(known):
            return np.zeros((2, len(owners)), dtype=np.int64)
        at = np.minimum(np.searchsorted(known, owners), len(known) - 1)
        return np.where(known[at] == owners, np.stack([first[at], after[at]]), 0)

    # --- words ---

    def entries(self, word: str, *, is_beginning: bool = False) -> Numbers:
        """The atom of every standing of the word, ascending within each word (of those that begin so, if asked)."""
        found = []
        for piece, begins in zip(self.pieces, self.first_atoms.tolist(), strict=False):
            atoms = piece.atoms_holding(word, is_beginning=is_beginning)
            found.append(atoms + begins if begins else atoms)
        return found[0] if len(found) == 1 else np.concatenate([NO_NUMBERS, *found])

    def postings(self, word: str) -> Postings:
        return _counted(self.entries(word))

    def beginning(self, start: str) -> Postings:
        """The postings of all words that begin so, taken together."""
        return _counted(self.entries(start, is_beginning=True))

    def positions(self, word: str) -> Postings:
        """Every standing of the word by itself; `times` says which of the atom's words it is (from 0)."""
        return Postings(self.entries(word), self.places(word))

    def places(self, word: str) -> Numbers:
        """Beside `entries`: which of the atom's words it is (from 0)."""
        found = [piece.places_of(word) for piece in self.pieces]
        return found[0] if len(found) == 1 else np.concatenate([NO_NUMBERS, *found])


def _counted(entries: Numbers) -> Postings:
    atoms, times = np.unique(entries, return_counts=True)
    return Postings(atoms, times)


def _piece(folder: Path, part: Any) -> Piece:
    name = part.segment().segment_id()
    found = pieces.read(folder, name)
    if found is not None:
        return found
    if part.doc_count_all() > MADE_AT_ONCE:
        raise Damaged(f"{pieces.path_of(folder, name)} is missing")
    return pieces.make(folder, part)


def _standing(part: Any) -> Flags:
    flags = np.ones(part.doc_count_all(), dtype=np.bool_)
    flags[list(part.segment().deleted_docs())] = False
    return flags


def changed_between(before: Stock, after: Stock) -> Numbers:
    """The owners of every sheet that counts in one of the two and not in the other."""
    held = {piece.name: live for piece, live in zip(before.pieces, before.standing, strict=True)}
    found = [NO_NUMBERS]
    for piece, live in zip(after.pieces, after.standing, strict=True):
        differs = live != held.pop(piece.name) if piece.name in held else live
        found.append(piece["owner"][differs].astype(np.int64))
    gone = {piece.name: piece for piece in before.pieces}
    found += [gone[name]["owner"][live].astype(np.int64) for name, live in held.items()]
    return np.unique(np.concatenate(found))


def _sweep(folder: Path, names: set[str]) -> None:
    """Take away the pieces of parts that Whoosh has merged into others; who still reads one keeps it."""
    for path in (*folder.glob("*.piece"), *folder.glob("*.making")):
        if path.stem not in names or path.suffix == ".making":
            path.unlink(missing_ok=True)


__all__ = ["NO_NUMBERS", "Damaged", "Flags", "Numbers", "Part", "Postings", "Stock", "changed_between"]
