"""A *piece*: one part of the Whoosh index as arrays in one file, made once and never changed.

Whoosh's files are what counts: a piece is made from them, and made again where it is missing. What the file is worth
is its speed: a word's places are a slice of an array, read from the disk only where they are asked for. They are read
and not mapped into memory: a mapped file that somebody cuts short takes the whole server with it (SIGBUS).

The file is the arrays one after the other, each at a multiple of 64 bytes; then a JSON table of them; then the
table's length, the CRC-32 of all before it, and a mark (24 bytes).
"""

from __future__ import annotations

import json
import os
import struct
import tempfile
import weakref
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from ..timecode.sounds import by_sounds
from . import sheets

Numbers = NDArray[np.int64]
Array = NDArray[Any]
ALIGNED = 64
MARK = b"piece 02"
END = struct.Struct("<QQ8s")
BLOCK = 1 << 20
POSTINGS_AT_ONCE = 200_000
MOST_KNOWN = 20_000
LONG = ("entry_atom", "entry_at")


class Damaged(Exception):
    """The files of the index cannot be read."""


class OnDisk:
    """A long array that stays on the disk; slices of it are read. The file is kept open, also when it is taken away."""

    def __init__(self, path: Path, kind: str, count: int, offset: int) -> None:
        self.kind, self.count, self.offset = np.dtype(kind), count, offset
        self._file = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
        weakref.finalize(self, os.close, self._file)

    def __getitem__(self, at: slice) -> Array:
        """Numbers from `at.start` to `at.stop`. Raises Damaged where the file has become shorter."""
        size = self.kind.itemsize
        found = os.pread(self._file, (at.stop - at.start) * size, self.offset + at.start * size)
        if len(found) != (at.stop - at.start) * size:
            raise Damaged("a piece was cut short")
        return np.frombuffer(found, dtype=self.kind)


@dataclass(frozen=True, eq=False)
class Piece:
    """Sheets, their atoms, and where each word stands; every number is local to the piece.

    `first_atom[s]` to `first_atom[s + 1]` are the atoms of sheet s. Of word w, the standings are the entries from
    `first_entry[w]` to `first_entry[w + 1]`, ascending: the atom, and which of the atom's words it is (from 0).
    The words of letters alone are listed by their sounds: `sounding_words` from `first_sounding[k]` on are those of key
    k, and `sounds` has the keys, one a line.
    """

    name: str
    arrays: dict[str, Array]
    entry_atom: OnDisk
    entry_at: OnDisk

    def __getitem__(self, name: str) -> Array:
        return self.arrays[name]

    @property
    def sheets(self) -> int:
        return len(self.arrays["owner"])

    @property
    def atoms(self) -> int:
        return len(self.arrays["part"])

    def atoms_holding(self, word: str, *, is_beginning: bool = False) -> Array:
        """The atom of every standing of the word, ascending (of words that begin so, word by word)."""
        return self.entry_atom[self.entries_beginning(word) if is_beginning else self.entries(word)]

    def places_of(self, word: str) -> Array:
        """Beside those, which of the atom's words each is (from 0)."""
        return self.entry_at[self.entries(word)]

    def entries(self, word: str) -> slice:
        """Where the standings of this very word lie. Kept: names are looked for beside the same words ever again."""
        held = self._known.get(word)
        if held is None:
            if len(self._known) >= MOST_KNOWN:
                self._known.clear()
            held = self._known[word] = self._find(word.encode("utf-8"))
        return held

    def _find(self, wanted: bytes) -> slice:
        at = self._first_not_before(wanted)
        if at == len(self["first_entry"]) - 1 or self._word(at) != wanted:
            return slice(0, 0)
        return self._slice(at, at + 1)

    def entries_beginning(self, start: str) -> slice:
        """Where the standings of all words that begin so lie: words are in order, so they lie side by side."""
        first = start.encode("utf-8")
        return self._slice(self._first_not_before(first), self._first_not_before(first + b"\xff"))

    def _slice(self, first: int, after: int) -> slice:
        bounds = self["first_entry"]
        return slice(int(bounds[first]), int(bounds[after]))

    def vocabulary(self) -> list[str]:
        """Every word, ascending by its bytes."""
        bounds, letters = self["first_letter"].tolist(), self["letters"].tobytes()
        return [letters[first:after].decode("utf-8", "replace") for first, after in pairwise(bounds)]

    def sounding(self, key: str) -> list[str]:
        """The words that are letters alone and have these sounds, ascending by their bytes."""
        found = self["sounding_words"][self._by_sounds.get(key, slice(0, 0))]
        return [self._word(at).decode("utf-8", "replace") for at in found.tolist()]

    @cached_property
    def _by_sounds(self) -> dict[str, slice]:
        bounds = self["first_sounding"].tolist()
        keys = self["sounds"].tobytes().decode("utf-8").split("\n")
        return dict(zip(keys, map(slice, bounds, bounds[1:]), strict=False))

    @cached_property
    def _known(self) -> dict[str, slice]:
        return {}

    def _word(self, at: int) -> bytes:
        bounds = self["first_letter"]
        return self["letters"][int(bounds[at]) : int(bounds[at + 1])].tobytes()

    def _first_not_before(self, wanted: bytes) -> int:
        low, high = 0, len(self["first_entry"]) - 1
        while low < high:
            middle = (low + high) // 2
            if self._word(middle) < wanted:
                low = middle + 1
            else:
                high = middle
        return low


# --- reading ---


def path_of(folder: Path, name: str) -> Path:
    return folder / f"{name}.piece"


def read(folder: Path, name: str) -> Piece | None:
    """The piece, or None where its file is missing. Raises Damaged where it is not whole."""
    path = path_of(folder, name)
    try:
        with path.open("rb") as file:
            listed = _table(file, path)
            arrays = {key: _array(file, *told) for key, told in listed.items() if key not in LONG}
        return Piece(name, arrays, *(OnDisk(path, *listed[key]) for key in LONG))
    except FileNotFoundError:
        return None


def _table(file: IO[bytes], path: Path) -> dict[str, tuple[str, int, int]]:
    """The JSON table of the file, once the whole file has been seen to be as it was written."""
    size = os.fstat(file.fileno()).st_size
    if size < END.size:
        raise Damaged(str(path))
    left, checked, last = size - END.size, 0, b""
    while left:
        last = file.read(min(BLOCK, left))
        checked = zlib.crc32(last, checked)
        left -= len(last)
    length, told, mark = END.unpack(file.read(END.size))
    if mark != MARK or told != checked:
        raise Damaged(str(path))
    file.seek(size - END.size - length)
    found: dict[str, tuple[str, int, int]] = json.loads(file.read(length))
    return found


def _array(file: IO[bytes], kind: str, count: int, offset: int) -> Array:
    file.seek(offset)
    found = file.read(count * np.dtype(kind).itemsize)
    if len(found) != count * np.dtype(kind).itemsize:
        raise Damaged(file.name)
    return np.frombuffer(found, dtype=kind)


# --- making ---


def make(folder: Path, part: Any) -> Piece:
    """Make the piece of this part of the Whoosh index, whole or not at all, and read it."""
    name = part.segment().segment_id()
    new = folder / f"{name}.making"
    with new.open("w+b") as file:
        _Maker(file).write(part)
        file.flush()
        os.fsync(file.fileno())
    os.replace(new, path_of(folder, name))
    made = read(folder, name)
    if made is None:
        raise Damaged(name)
    return made


class _Maker:
    """Writes the arrays one after the other; the long ones in stretches, as Whoosh gives the words."""

    def __init__(self, file: IO[bytes]) -> None:
        self.file = file
        self.listed: dict[str, tuple[str, int, int]] = {}

    def write(self, part: Any) -> None:
        tables = sheets.tables_of(part)
        atoms = sheets.table(b"".join(tables))
        counts = np.array([len(table) for table in tables], dtype=np.int64) // (sheets.ROW.itemsize * len(sheets.ATOM))
        first = np.concatenate([[0], np.cumsum(counts)])
        owner = sheets.numbers_of(part, "owner")
        self._put("owner", owner)
        self._put("mark", sheets.numbers_of(part, "mark"), np.int64)
        self._put("first_atom", first)
        self._put("atom_owner", np.repeat(owner, counts))
        for at, column in enumerate(sheets.ATOM):
            self._put(column, atoms[:, at], np.uint8 if column == "part" else None)
        self._put_words(part, first, atoms[:, sheets.ATOM.index("words")])
        self._end()

    def _put(self, name: str, values: Array, kind: Any = None) -> None:
        """32 bits where they are enough: half the memory."""
        wide = kind or (np.int32 if not len(values) or np.abs(values).max() < 1 << 31 else np.int64)
        offset = self._aligned()
        self.file.write(np.ascontiguousarray(values, dtype=wide).tobytes())
        self.listed[name] = (np.dtype(wide).str, len(values), offset)

    def _aligned(self) -> int:
        at = self.file.tell()
        self.file.write(b"\0" * (-at % ALIGNED))
        return self.file.tell()

    def _put_words(self, part: Any, first_atom: Numbers, words: Numbers) -> None:
        """The entries go to the file as they come; the places beside them wait in a file of their own."""
        begins = np.cumsum(words) - words
        atom_at = np.repeat(np.arange(len(words), dtype=np.int32), words)
        begin_of_sheet = np.append(begins, len(atom_at))[first_atom]
        letters, lengths, counts = [], [], []
        offset = self._aligned()
        with tempfile.TemporaryFile() as waiting:
            for some, sheet, places, each in _in_stretches(part):
                standing = begin_of_sheet[sheet] + places
                atoms = atom_at[standing]
                self.file.write(atoms.tobytes())
                waiting.write((standing - begins[atoms]).astype(np.int32).tobytes())
                letters.append(b"".join(some))
                lengths += [len(word) for word in some]
                counts.append(each)
            total = int(sum(each.sum() for each in counts))
            self.listed["entry_atom"] = ("<i4", total, offset)
            self.listed["entry_at"] = ("<i4", total, self._aligned())
            waiting.seek(0)
            while block := waiting.read(BLOCK):
                self.file.write(block)
        self._put("first_entry", np.cumsum(np.concatenate([[0], *counts])), np.int64)
        self._put("first_letter", np.cumsum([0, *lengths]), np.int64)
        self._put_letters("letters", b"".join(letters))
        self._put_sounds(b"".join(letters), lengths)

    def _put_sounds(self, letters: bytes, lengths: list[int]) -> None:
        bounds = pairwise(np.cumsum([0, *lengths]).tolist())
        words = [letters[first:after].decode("utf-8", "replace") for first, after in bounds]
        at = {word: number for number, word in enumerate(words)}
        found = sorted(by_sounds(words).items())
        self._put("sounding_words", np.array([at[word] for _, some in found for word in some], dtype=np.int64))
        self._put("first_sounding", np.cumsum([0, *(len(some) for _, some in found)]))
        self._put_letters("sounds", "\n".join(key for key, _ in found).encode("utf-8"))

    def _put_letters(self, name: str, letters: bytes) -> None:
        self._put(name, np.frombuffer(letters, dtype=np.uint8), np.uint8)

    def _end(self) -> None:
        table = json.dumps(self.listed).encode("ascii")
        self.file.write(table)
        self.file.flush()
        self.file.seek(0)
        checked = 0
        while block := self.file.read(BLOCK):
            checked = zlib.crc32(block, checked)
        self.file.write(END.pack(len(table), checked, MARK))


def _in_stretches(part: Any) -> Iterator[tuple[list[bytes], Numbers, Numbers, Numbers]]:
    """Some words at a time: the words; for each standing its sheet and its place there; how many standings a word."""
    words: list[bytes] = []
    sheet: list[int] = []
    places: list[bytes] = []
    each: list[int] = []
    for word, in_sheets, found in sheets.words_with_sheets(part):
        words.append(word)
        sheet += in_sheets
        places += found
        each.append(sum(map(len, found)) // 4)
        if len(sheet) >= POSTINGS_AT_ONCE:
            yield _stretch(words, sheet, places, each)
            words, sheet, places, each = [], [], [], []
    if words:
        yield _stretch(words, sheet, places, each)


def _stretch(
    words: list[bytes], sheet: list[int], places: list[bytes], each: list[int]
) -> tuple[list[bytes], Numbers, Numbers, Numbers]:
    counts = np.fromiter(map(len, places), dtype=np.int64, count=len(places)) // 4
    standing = np.frombuffer(b"".join(places), dtype="<u4").astype(np.int64)
    return words, np.repeat(np.array(sheet, dtype=np.int64), counts), standing, np.array(each, dtype=np.int64)
