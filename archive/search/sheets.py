"""How items lie in Whoosh: one document an item, a *sheet*, holding the words of all its atoms one after the other.

A cue by itself would cost Whoosh a document of twelve words; a recording's thousand cues in one sheet cost it one.
Which word belongs to which atom is told by the sheet's table of atoms, kept beside it in a column.
"""

from __future__ import annotations

import hashlib
from array import array
from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray
from whoosh import columns, fields, formats

from ..access.indexing import Atom
from .words import words_of

# The columns of a sheet's table, one row an atom, all as 64-bit numbers.
ATOM = ("part", "cue", "transcript", "start_ms", "end_ms", "words")
ROW = np.dtype("<i8")


class Places(formats.Format):
    """Where a word stands in its sheet, counted in words from 0, as plain 32-bit numbers, so that numpy reads them."""

    def word_values(self, value: Any, analyzer: Any, **options: Any) -> Iterable[tuple[bytes, int, float, bytes]]:
        standing: dict[str, array[int]] = {}
        for place, word in enumerate(value):
            places = standing.get(word)
            if places is None:
                places = standing[word] = array("I")
            places.append(place)
        for word, places in standing.items():
            yield word.encode("utf-8"), len(places), float(len(places)), places.tobytes()

    def decode_positions(self, valuestring: bytes) -> list[int]:
        return array("I", valuestring).tolist()

    def decode_frequency(self, valuestring: bytes) -> int:
        return len(valuestring) // 4

    def decode_weight(self, valuestring: bytes) -> float:
        return float(self.decode_frequency(valuestring))


class Words(fields.TEXT):
    """A field that is given its words as a list: they are folded and cut already (archive.search.words)."""

    def __init__(self) -> None:
        super().__init__(phrase=True)
        self.format, self.scorable = Places(), False

    def index(self, value: Any, **options: Any) -> Any:
        return Places().word_values(value, None)


def schema() -> fields.Schema:
    number: Any = columns.NumericColumn
    table: Any = columns.VarBytesColumn
    return fields.Schema(
        text=Words(),
        owner=fields.COLUMN(number("q")),
        mark=fields.COLUMN(number("q")),
        atoms=fields.COLUMN(table()),
    )


def add(writer: Any, atoms: list[Atom]) -> None:
    """Write an item's sheet. An item without atoms has none."""
    if not atoms:
        return
    said = [words_of(atom.text) for atom in atoms]
    writer.add_document(
        text=[word for words in said for word in words],
        owner=atoms[0].owner,
        mark=mark(atoms),
        atoms=rows(atoms, said),
    )


def rows(atoms: list[Atom], said: list[list[str]]) -> bytes:
    """The table of a sheet: its atoms, and how many words each has."""
    found = [_row(atom, len(words)) for atom, words in zip(atoms, said, strict=True)]
    return np.array(found, dtype=ROW).tobytes()


def _row(atom: Atom, words: int) -> tuple[int, ...]:
    return int(atom.field), atom.cue, atom.transcript, atom.start_ms, atom.end_ms, words


def table(written: bytes) -> NDArray[np.int64]:
    """Rows as `add` wrote them, by the columns of ATOM."""
    return np.frombuffer(written, dtype=ROW).reshape(-1, len(ATOM)).astype(np.int64)


def mark(atoms: list[Atom]) -> int:
    """A number that tells one state of an item's words from another (63 bits of BLAKE2b); 0 for no words."""
    if not atoms:
        return 0
    digest = hashlib.blake2b(repr(atoms).encode("utf-8", "surrogatepass"), digest_size=8).digest()
    return int.from_bytes(digest, "big") >> 1 or 1


# --- reading them back ---


def numbers_of(part: Any, name: str) -> NDArray[np.int64]:
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


def tables_of(part: Any) -> list[bytes]:
    """The tables of all sheets of a part, in their order."""
    reader = part.column_reader("atoms")
    return [bytes(reader[at]) for at in range(part.doc_count_all())]


def words_with_sheets(part: Any) -> Iterator[tuple[bytes, list[int], list[bytes]]]:
    """Every word of a part in the order of its bytes, the sheets it stands in, and its places in each."""
    for word in part.lexicon("text"):
        matcher = part.postings("text", word)
        sheets: list[int] = []
        places: list[bytes] = []
        while matcher.is_active():
            sheets.append(matcher.id())
            places.append(matcher.value())
            matcher.next()
        yield word, sheets, places
