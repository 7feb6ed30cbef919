"""Tile archives as others write them.

PMTiles: files written by pmtiles 3.8.1, and its numbers of tiles. MBTiles: specification 1.3, a file made by its
words (rows from the south).
"""

from __future__ import annotations

import random
import sqlite3
from pathlib import Path

import pmtiles.tile
import pytest
from pmtiles.writer import Writer

from archive.maps import tiles

PNG = b"\x89PNG\r\n\x1a\n"


def header(kind=pmtiles.tile.TileType.PNG, packing=pmtiles.tile.Compression.NONE):
    return {
        "tile_type": kind, "tile_compression": packing, "min_lon_e7": 0, "min_lat_e7": 0, "max_lon_e7": 0,
        "max_lat_e7": 0, "center_zoom": 0, "center_lon_e7": 0, "center_lat_e7": 0,
    }


def write(path, given: dict[tuple[int, int, int], bytes], **more) -> None:
    with path.open("wb") as handle:
        writer = Writer(handle)
        for place in sorted(given, key=lambda place: pmtiles.tile.zxy_to_tileid(*place)):
            writer.write_tile(pmtiles.tile.zxy_to_tileid(*place), given[place])
        writer.finalize(header(**more), {"attribution": "us"})


def write_mbtiles(path: Path, *rows: tuple[int, int, int, bytes]) -> None:
    """MBTiles 1.3: zoom, column, row from the south, and the picture."""
    with sqlite3.connect(path) as made:
        made.execute("CREATE TABLE metadata (name text, value text)")
        made.execute("CREATE TABLE tiles (zoom_level integer, tile_column integer, tile_row integer, tile_data blob)")
        made.execute("INSERT INTO metadata VALUES ('format', 'png')")
        made.executemany("INSERT INTO tiles VALUES (?, ?, ?, ?)", rows)


def test_tiles_have_the_numbers_that_the_reference_gives_them():
    rng = random.Random(1)
    for zoom in range(0, 20):
        for _ in range(40):
            place = (zoom, rng.randrange(1 << zoom), rng.randrange(1 << zoom))
            assert tiles.tile_id(*place) == pmtiles.tile.zxy_to_tileid(*place), place


def test_every_tile_of_a_file_by_the_reference_is_found_and_no_other(tmp_path):
    rng = random.Random(2)
    given = {(6, rng.randrange(64), rng.randrange(64)): PNG + bytes([rng.randrange(7)]) for _ in range(900)}
    write(tmp_path / "a.pmtiles", given)
    found = tiles.opened(str(tmp_path / "a.pmtiles"))
    assert (found.media_type, found.zooms) == ("image/png", (6, 6))
    for place in ((6, column, row) for column in range(64) for row in range(64)):
        assert found.tile(*place) == given.get(place), place


def test_leaves_under_the_root_are_read(tmp_path):
    rng = random.Random(3)
    places = [(9, rng.randrange(512), rng.randrange(512)) for _ in range(30_000)]
    given = {place: rng.randbytes(rng.randrange(1, 200)) for place in places}
    write(tmp_path / "b.pmtiles", given)
    found = tiles.opened(str(tmp_path / "b.pmtiles"))
    assert any(not entry.run for entry in found.directory(*found.root)), "the file has no leaves: make it larger"
    for place in rng.sample(sorted(given), 300):
        assert found.tile(*place) == given[place]
        beside = (9, (place[1] + 1) % 512, place[2])
        assert found.tile(*beside) == given.get(beside)


def test_an_mbtiles_file_counts_rows_from_the_south(tmp_path):
    path = tmp_path / "c.mbtiles"
    write_mbtiles(path, (1, 0, 1, PNG))
    found = tiles.opened(str(path))
    assert found.tile(1, 0, 0) == PNG
    assert found.tile(1, 0, 1) is None


@pytest.mark.parametrize("raw", [b"", b"PMTiles\x02" + bytes(200), b"SQLite format 3\0" + bytes(200), b"no tiles"])
def test_what_is_no_tile_archive_is_refused(tmp_path, raw):
    path = tmp_path / "d"
    path.write_bytes(raw)
    with pytest.raises(tiles.NoTiles):
        tiles.opened(str(path))


def test_vector_tiles_are_refused(tmp_path):
    write(tmp_path / "e.pmtiles", {(0, 0, 0): b"x"}, kind=pmtiles.tile.TileType.MVT)
    with pytest.raises(tiles.NoTiles, match="no pictures"):
        tiles.opened(str(tmp_path / "e.pmtiles"))


def test_a_broken_directory_is_told_and_no_tile_comes(tmp_path):
    path = tmp_path / "f.pmtiles"
    write(path, {(2, column, row): PNG + bytes([column, row]) for column in range(4) for row in range(4)})
    raw = bytearray(path.read_bytes())
    raw[127:140] = bytes(13)
    path.write_bytes(raw)
    with pytest.raises(tiles.NoTiles):
        tiles.opened(str(path)).tile(2, 1, 1)
