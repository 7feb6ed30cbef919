"""The index in tables of the database itself, for archives on PostgreSQL: the same atoms, the same port.

The words of every item are a row, and a word's places in it another, found by an index of the database. What is
ranked and counted from there, and before which gate, is the same to the bit as over the files (archive.search.index).
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from ..access import indexing, shelves
from ..access.indexing import Atom
from ..access.shelves import Written
from ..timecode.sounds import by_sounds
from . import sheets
from .index import AT_ONCE, NotReady, Progress
from .kept import Kept
from .pieces import Array, Numbers
from .sheets import ATOM, Places
from .stock import Flags, Stock, changed_between
from .words import words_of

MOST_PIECES = 12
KEPT_STANDINGS = 2_000_000
log = logging.getLogger(__name__)
_lock = threading.Lock()
_held: Stock | None = None


@dataclass(frozen=True, eq=False)
class _Standings:
    """Where a word stands: the atoms, ascending, and beside each which of its words it is (from 0)."""

    atoms: Numbers
    places: Numbers

    @property
    def size(self) -> int:
        return len(self.atoms)


class TablePiece:
    """Sheets that were read together; `numbers` are theirs in the database, ascending."""

    def __init__(self, edition: int, numbers: Numbers, arrays: dict[str, Array]) -> None:
        self.edition, self.numbers, self.arrays = edition, numbers, arrays
        self.name = f"{edition}-{numbers[0]}-{numbers[-1]}"
        self._kept: Kept[tuple[str, bool]] = Kept(KEPT_STANDINGS)

    def __getitem__(self, name: str) -> Array:
        return self.arrays[name]

    @property
    def sheets(self) -> int:
        return len(self.numbers)

    @property
    def atoms(self) -> int:
        return len(self.arrays["part"])

    def atoms_holding(self, word: str, *, is_beginning: bool = False) -> Numbers:
        return self._standings(word, is_beginning).atoms

    def places_of(self, word: str) -> Numbers:
        return self._standings(word, False).places

    def vocabulary(self) -> list[str]:
        """Every word, ascending by its bytes."""
        found = shelves.words(self.edition, int(self.numbers[0]), int(self.numbers[-1]))
        return [word.decode("utf-8", "replace") for word in found]

    def sounding(self, key: str) -> list[str]:
        """The words that are letters alone and have these sounds."""
        return self._by_sounds.get(key, [])

    @cached_property
    def _by_sounds(self) -> dict[str, list[str]]:
        return by_sounds(self.vocabulary())

    @cached_property
    def _begins(self) -> Numbers:
        """By atom: the place of its first word among all words of the piece."""
        words = self["words"].astype(np.int64)
        return np.cumsum(words) - words

    def _standings(self, word: str, is_beginning: bool) -> _Standings:
        held: _Standings | None = self._kept.get((word, is_beginning))
        if held is None:
            held = self._kept.put((word, is_beginning), self._read(word.encode("utf-8"), is_beginning))
        return held

    def _read(self, word: bytes, is_beginning: bool) -> _Standings:
        after = word + b"\xff" if is_beginning else None
        rows = shelves.postings(self.edition, word, after, int(self.numbers[0]), int(self.numbers[-1]))
        sheet = np.array([row[0] for row in rows], dtype=np.int64)
        at = np.minimum(np.searchsorted(self.numbers, sheet), len(self.numbers) - 1)
        known = self.numbers[at] == sheet
        places = [bytes(row[1]) for row, kept in zip(rows, known.tolist(), strict=True) if kept]
        counts = np.fromiter(map(len, places), dtype=np.int64, count=len(places)) // 4
        standing = np.frombuffer(b"".join(places), dtype="<u4").astype(np.int64)
        first_words = np.append(self._begins, self["words"].sum())[self["first_atom"]]
        standing += np.repeat(first_words[at[known]], counts)
        atoms = np.searchsorted(self._begins, standing, side="right") - 1
        return _Standings(atoms, standing - self._begins[atoms])


def _piece(edition: int, rows: list[tuple[int, int, int, bytes]]) -> TablePiece:
    table = sheets.table(b"".join(row[3] for row in rows))
    counts = np.array([len(row[3]) for row in rows], dtype=np.int64) // (sheets.ROW.itemsize * len(ATOM))
    owner = np.array([row[1] for row in rows], dtype=np.int64)
    arrays: dict[str, Array] = {
        "owner": owner,
        "mark": np.array([row[2] for row in rows], dtype=np.int64),
        "first_atom": np.concatenate([[0], np.cumsum(counts)]),
        "atom_owner": np.repeat(owner, counts).astype(np.int32),
    }
    for at, column in enumerate(ATOM):
        arrays[column] = table[:, at].astype(np.uint8 if column == "part" else np.int64)
    return TablePiece(edition, np.array([row[0] for row in rows], dtype=np.int64), arrays)


# --- what is in use ---


def current() -> Stock:
    """The index as it stands, with all that is owed paid. Raises NotReady while a large one is being built."""
    global _held
    if indexing.is_owed():
        pay()
    edition = shelves.edition()
    if not edition:
        heal()
        edition = shelves.edition()
    if not edition:
        raise NotReady
    with _lock:
        _held = _after(_held, edition)
        return _held


def forget() -> None:
    """Drop what is kept in this process."""
    global _held
    with _lock:
        _held = None


def _after(held: Stock | None, edition: int) -> Stock:
    """The state now: what was read before, and the sheets written since as a piece of their own.

    Where there are many pieces, all but the first are read once more as one.
    """
    folder = Path(f"edition-{edition}")
    same = held if held is not None and held.folder == folder else None
    if same is None:
        return _with(folder, edition, [], [], 0) or Stock(folder, 0, [], [])
    kept = 1 if len(same.pieces) >= MOST_PIECES else len(same.pieces)
    if shelves.last(edition) == same.generation:
        return same
    pieces: Sequence[Any] = same.pieces[:kept]
    after = int(pieces[-1].numbers[-1]) if kept else 0
    made = _with(folder, edition, pieces, same.standing[:kept], after) or same
    if made is not same:
        made.before, made.changed = same.generation, changed_between(same, made)
    return made


def _with(folder: Path, edition: int, pieces: Sequence[Any], standing: list[Flags], after: int) -> Stock | None:
    """These pieces and what was written after them; None where nothing was."""
    rows = shelves.sheets_after(edition, after)
    if not rows:
        return None
    piece = _piece(edition, rows)
    kept = [live & ~np.isin(one["owner"], piece["owner"]) for one, live in zip(pieces, standing, strict=True)]
    return Stock(folder, rows[-1][0], [*pieces, piece], [*kept, piece["mark"] != 0])


# --- mending and keeping up ---


def heal() -> None:
    """Build the index: at once where that is short, else in the background."""
    if indexing.size() <= AT_ONCE:
        _build_if_missing(wait=True)
    else:
        _build_in_background()


def _build_in_background() -> None:
    threading.Thread(target=_rebuild_in_background, daemon=True).start()


def _build_if_missing(*, wait: bool) -> None:
    with shelves.alone(wait=wait) as taken:
        if taken and not shelves.edition():
            _build(None)


def _rebuild_in_background() -> None:
    from django.db import connection

    try:
        _build_if_missing(wait=False)
    except Exception:
        log.exception("the search index could not be built; `manage.py reindex` says more")
    finally:
        connection.close()


def found_damaged() -> None:
    """Never called in earnest: the database keeps its tables whole. The next search builds the index anew."""
    forget()
    shelves.put_out_of_use()


def rebuild(progress: Progress | None = None) -> int:
    """Write a new edition beside the one in use, which answers meanwhile, and put it in use; returns its atoms."""
    with shelves.alone():
        return _build(progress)


def _build(progress: Progress | None) -> int:
    used = shelves.edition()
    began = shelves.last(used)
    edition = shelves.new_edition()
    total, done = indexing.size(), 0
    for numbers in indexing.batches():
        found = [atoms for atoms in indexing.atoms_of(numbers).values() if atoms]
        shelves.add(edition, [_written(atoms[0].owner, atoms) for atoms in found])
        done += sum(map(len, found))
        if progress is not None:
            progress(min(done, total), total)
    with indexing.debts() as owed:  # nobody pays while the new edition is brought up to the moment and put in use
        meanwhile = {row[1] for row in shelves.sheets_after(used, began)} if used else set()
        _write(edition, sorted(meanwhile | set(owed)))
        shelves.put_in_use(edition)
    return done


def pay() -> None:
    """Index what is owed, in one transaction with striking it off."""
    with indexing.debts() as owed:
        edition = shelves.edition()
        if owed and edition:
            _write(edition, owed)
        elif owed:
            indexing.owe(owed)


def _write(edition: int, numbers: list[int]) -> None:
    """Bring the sheets of these items in line; those that have not changed are left as they are."""
    atoms = indexing.atoms_of(numbers)
    before = shelves.marks(edition, numbers)
    changed = [number for number in numbers if before.get(number, 0) != sheets.mark(atoms[number])]
    shelves.replace(edition, [_written(number, atoms[number]) for number in changed])


def _written(owner: int, atoms: list[Atom]) -> Written:
    said = [words_of(atom.text) for atom in atoms]
    words = [word for each in said for word in each]
    return Written(
        owner=owner,
        mark=sheets.mark(atoms),
        atoms=sheets.rows(atoms, said),
        words={word: places for word, _, _, places in Places().word_values(words, None)},
    )
