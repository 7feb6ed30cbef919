"""A base map in one file on our own host: picture tiles out of MBTiles 1.3 or PMTiles 3, by zoom, column and row.

Rows count from the north, as in web addresses (MBTiles counts from the south, TMS). Files of vector tiles are refused:
the map draws pictures. What is in the file is shown to everybody who may open the map page.

MBTiles: specification 1.3. PMTiles: specification version 3 (header of 127 bytes, directories of varints, tiles by
their place along a Hilbert curve).
"""

from __future__ import annotations

import gzip
import sqlite3
import zlib
from bisect import bisect_right
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Protocol

HEADER_BYTES = 127
MOST_DIRECTORY_BYTES = 16 << 20
DEEPEST = 4  # a root and three leaves under one another: what the specification's own limits come to
MOST_ZOOM = 26
MEDIA = {"png": "image/png", "jpg": "image/jpeg", "jpeg": "image/jpeg", "webp": "image/webp"}
PM_MEDIA = {2: "image/png", 3: "image/jpeg", 4: "image/webp"}
NONE, GZIP = 1, 2  # of PMTiles' kinds of compression


class NoTiles(Exception):
    """The file cannot be used as a base map; the words say why."""


class Tiles(Protocol):
    media_type: str
    zooms: tuple[int, int]

    def tile(self, zoom: int, column: int, row: int) -> bytes | None:
        """The picture, or None where the file has none. Raises NoTiles where the file is broken there."""


@lru_cache(maxsize=2)
def opened(path: str) -> Tiles:
    """The file at this path. Raises NoTiles."""
    file = Path(path)
    if not file.is_file():
        raise NoTiles("there is no file at this path")
    with file.open("rb") as handle:
        start = handle.read(16)
    if start.startswith(b"PMTiles"):
        return PMTiles(file)
    if start.startswith(b"SQLite format 3\0"):
        return MBTiles(file)
    raise NoTiles("it is neither MBTiles nor PMTiles")


def is_on_the_map(zoom: int, column: int, row: int) -> bool:
    return 0 <= zoom <= MOST_ZOOM and 0 <= column < 1 << zoom and 0 <= row < 1 << zoom


# --- MBTiles ---


class MBTiles:
    def __init__(self, file: Path) -> None:
        self.address = f"{file.absolute().as_uri()}?mode=ro&immutable=1"
        said = dict(self._rows("SELECT name, value FROM metadata"))
        (held,) = self._rows("SELECT min(zoom_level), max(zoom_level) FROM tiles")
        self.media_type = MEDIA.get(str(said.get("format", "")).lower(), "")
        if not self.media_type:
            raise NoTiles("its tiles are no pictures (png, jpg or webp)")
        self.zooms = (held[0] or 0, held[1] or 0)

    def _rows(self, asked: str, given: Sequence[int] = ()) -> list[tuple[Any, ...]]:
        try:
            with closing(sqlite3.connect(self.address, uri=True)) as connection:
                return connection.execute(asked, given).fetchall()
        except sqlite3.Error as error:
            raise NoTiles(f"it is no MBTiles file: {error}") from error

    def tile(self, zoom: int, column: int, row: int) -> bytes | None:
        asked = "SELECT tile_data FROM tiles WHERE zoom_level = ? AND tile_column = ? AND tile_row = ?"
        found = self._rows(asked, (zoom, column, (1 << zoom) - 1 - row))
        return found[0][0] if found and isinstance(found[0][0], bytes) else None


# --- PMTiles ---


@dataclass(frozen=True)
class Entry:
    """A run of tiles with the same bytes; `run` 0 is a leaf directory."""

    tile_id: int
    offset: int
    length: int
    run: int


class PMTiles:
    def __init__(self, file: Path) -> None:
        self.file = file
        head = self._bytes(0, HEADER_BYTES)
        if len(head) < HEADER_BYTES or head[7] != 3:
            raise NoTiles("it is no PMTiles file of version 3")
        numbers = [int.from_bytes(head[at : at + 8], "little") for at in range(8, 72, 8)]
        self.root, self.leaves, self.data = numbers[0:2], numbers[4], numbers[6]
        self.packing, self.tile_packing = head[97], head[98]
        self.media_type = PM_MEDIA.get(head[99], "")
        self.zooms = (head[100], head[101])
        if not self.media_type:
            raise NoTiles("its tiles are no pictures (png, jpg or webp)")
        if self.packing not in (NONE, GZIP) or self.tile_packing not in (NONE, GZIP):
            raise NoTiles("it is packed in a way that is not read here (only gzip is)")
        self.directory = lru_cache(maxsize=64)(self._directory)

    def _bytes(self, offset: int, length: int) -> bytes:
        with self.file.open("rb") as handle:
            handle.seek(offset)
            return handle.read(length)

    def _directory(self, offset: int, length: int) -> list[Entry]:
        if length > MOST_DIRECTORY_BYTES:
            raise NoTiles("a directory in it is too long")
        return read_directory(_unpacked(self._bytes(offset, length), self.packing))

    def tile(self, zoom: int, column: int, row: int) -> bytes | None:
        wanted = tile_id(zoom, column, row)
        offset, length = self.root
        for _depth in range(DEEPEST):
            entries = self.directory(offset, length)
            at = bisect_right(entries, wanted, key=lambda entry: entry.tile_id) - 1
            if at < 0:
                return None
            entry = entries[at]
            if entry.run:
                return self._tile(entry) if wanted < entry.tile_id + entry.run else None
            offset, length = self.leaves + entry.offset, entry.length
        return None

    def _tile(self, entry: Entry) -> bytes:
        return _unpacked(self._bytes(self.data + entry.offset, entry.length), self.tile_packing)


def _unpacked(raw: bytes, packing: int) -> bytes:
    try:
        return gzip.decompress(raw) if packing == GZIP else raw
    except (OSError, EOFError, zlib.error) as error:
        raise NoTiles(f"a part of it is broken: {error}") from error


def tile_id(zoom: int, column: int, row: int) -> int:
    """The place of a tile along the Hilbert curves of all zooms (specification, section 4.1)."""
    found, half = ((1 << 2 * zoom) - 1) // 3, (1 << zoom) >> 1
    while half:
        right, down = int(column & half > 0), int(row & half > 0)
        found += half * half * ((3 * right) ^ down)
        if not down:
            if right:
                column, row = half - 1 - column & half - 1, half - 1 - row & half - 1
            column, row = row, column
        half >>= 1
    return found


def read_directory(raw: bytes) -> list[Entry]:
    """Four columns one after another: steps between tiles, runs, lengths, offsets (specification, section 4.2)."""
    numbers = _varints(raw)
    if not numbers or len(numbers) != 1 + 4 * numbers[0]:
        raise NoTiles("a directory in it is broken")
    count, *rest = numbers
    steps, runs, lengths, offsets = (rest[at * count : (at + 1) * count] for at in range(4))
    entries: list[Entry] = []
    number = 0
    for step, run, length, offset in zip(steps, runs, lengths, offsets, strict=True):
        number += step
        follows = entries[-1].offset + entries[-1].length if entries else 0
        entries.append(Entry(number, offset - 1 if offset else follows, length, run))
    return entries


def _varints(raw: bytes) -> list[int]:
    numbers, value, shift = [], 0, 0
    for byte in raw:
        value |= (byte & 0x7F) << shift
        shift += 7
        if byte < 0x80:
            numbers.append(value)
            value = shift = 0
    return numbers
