"""Our files against the standards they claim: FLAC, MP4, and SHA-256, read with nothing of the package's own."""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from archive.media.chunks import Recipe
from archive.media.files import sha256_file
from archive.media.rendition import render
from archive.media.working import make_working_copy
from tests.media_sounds import as_24_bit, decode, packets_of, voice, write_pcm

SMALL = Recipe(chunk_packets=30)
CONTAINERS = {b"moov", b"trak", b"edts", b"mdia", b"minf", b"dinf", b"stbl"}


@pytest.mark.parametrize(
    ("message", "digest"),
    [
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        (
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        ),
        (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
    ],
)
def test_sha256_of_the_published_messages(message: bytes, digest: str, tmp_path: Path) -> None:
    """NIST, examples for SHA-256 (FIPS 180-4): one block, none, two blocks, a million letters a."""
    (tmp_path / "message").write_bytes(message)
    assert sha256_file(tmp_path / "message") == digest


def test_the_working_copy_carries_the_md5_of_its_samples(tmp_path: Path) -> None:
    """RFC 9639 section 8.2: MD5 over the unencoded samples, interleaved, little-endian, in whole bytes."""
    pcm = np.stack([as_24_bit(voice(1.0, seed)) for seed in (1, 2)])
    copy = make_working_copy(write_pcm(tmp_path / "a.wav", pcm), tmp_path / "a.flac")
    as_bytes = (pcm.T.reshape(-1) >> 8).astype("<i4").view(np.uint8).reshape(-1, 4)[:, :3].tobytes()
    assert copy.pcm_md5 == hashlib.md5(as_bytes).hexdigest()
    assert copy.path.read_bytes()[:4] == b"fLaC"


def boxes(data: bytes, at: int = 0, end: int | None = None, path: str = "") -> Iterator[tuple[str, bytes, int]]:
    """Yield (path, body, position) of every box: ISO/IEC 14496-12 section 4.2, size and type."""
    end = len(data) if end is None else end
    while at < end:
        size, name = struct.unpack_from(">I4s", data, at)
        assert 8 <= size <= end - at, f"box {name!r} does not fit where it stands"
        here = f"{path}/{name.decode()}"
        yield here, data[at + 8 : at + size], at
        if name in CONTAINERS:
            yield from boxes(data, at + 8, at + size, here)
        at += size


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("served")
    copy = make_working_copy(write_pcm(folder / "a.wav", as_24_bit(voice(3.001))), folder / "a.flac")
    return render(copy.path, folder / "a.m4a", [(1_000, 1_500)], recipe=SMALL).path


@pytest.fixture(scope="module")
def found(served: Path) -> dict[str, bytes]:
    return {path: body for path, body, _ in boxes(served.read_bytes())}


def test_the_table_of_contents_comes_before_the_sound(served: Path) -> None:
    """Sections 4.3 and 8.1: ftyp first; moov before mdat lets a player start before it has everything."""
    top = [path for path, _, _ in boxes(served.read_bytes()) if path.count("/") == 1]
    assert top == ["/ftyp", "/moov", "/mdat"]


def test_every_packet_lies_where_the_tables_say(served: Path, found: dict[str, bytes]) -> None:
    """Sections 8.7.3 (stsz), 8.7.4 (stsc) and 8.7.5 (stco), followed by hand; FFmpeg's reader finds the same."""
    data, table = served.read_bytes(), "/moov/trak/mdia/minf/stbl/"
    count = struct.unpack_from(">I", found[table + "stsz"], 8)[0]
    sizes = struct.unpack_from(f">{count}I", found[table + "stsz"], 12)
    offsets = struct.unpack_from(f">{struct.unpack_from('>I', found[table + 'stco'], 4)[0]}I", found[table + "stco"], 8)
    runs = [struct.unpack_from(">III", found[table + "stsc"], 8 + 12 * i) for i in range(2)]
    per_group = [max(run for run in runs if run[0] <= group + 1)[1] for group in range(len(offsets))]
    assert struct.unpack_from(">I", found[table + "stsc"], 4)[0] == 2
    packets, number = [], 0
    for offset, group in zip(offsets, per_group, strict=True):
        for size in sizes[number : number + group]:
            packets.append(data[offset : offset + size])
            offset += size
        number += group
    assert number == count
    assert packets == packets_of(served)
    assert offset == len(data)


def test_the_edit_list_gives_the_exact_length_and_skips_the_priming(found: dict[str, bytes]) -> None:
    """Section 8.6.6: one edit, of the sound's own length in the movie's time scale, from sample 1024 on."""
    assert struct.unpack(">IIQqHH", found["/moov/trak/edts/elst"]) == (1 << 24, 1, 3_001 * 48, 1_024, 1, 0)


def test_times_are_in_samples_and_no_date_is_told(found: dict[str, bytes]) -> None:
    """Sections 8.2.2 (mvhd), 8.3.2 (tkhd), 8.4.2 (mdhd), version 1: dates are zero."""
    assert struct.unpack_from(">IQQIQ", found["/moov/mvhd"]) == (1 << 24, 0, 0, 48_000, 3_001 * 48)
    assert struct.unpack_from(">IQQI4xQ", found["/moov/trak/tkhd"]) == (1 << 24 | 7, 0, 0, 1, 3_001 * 48)
    packets = -(-3_001 * 48 // 1024) + 1
    assert struct.unpack_from(">IQQIQ", found["/moov/trak/mdia/mdhd"]) == (1 << 24, 0, 0, 48_000, packets * 1024)


def test_the_sound_is_aac_low_complexity_at_48_khz(found: dict[str, bytes]) -> None:
    """ISO/IEC 14496-3 table 1.16: object type 2 (5 bits), frequency index 3 (4 bits), one channel (4 bits)."""
    entry = found["/moov/trak/mdia/minf/stbl/stsd"]
    at = entry.index(b"\x05", entry.index(b"esds"))
    config = int.from_bytes(entry[at + 2 : at + 4], "big")
    assert (config >> 11, config >> 7 & 15, config >> 3 & 15) == (2, 3, 1)


def test_no_tag_and_no_programs_name_goes_out(served: Path) -> None:
    """FFmpeg writes its name into headers and, now and then, into AAC packets, unless asked for exact bits."""
    data = served.read_bytes()
    for word in (b"Lav", b"lav", b"udta", b"meta", b"FFmpeg", b"ffmpeg"):
        assert word not in data


def test_the_sample_count_is_kept(served: Path) -> None:
    """FFmpeg's reader leaves the padding of the last packet in: less than 1024 samples behind the end."""
    assert 0 <= decode(served).shape[1] - 3_001 * 48 < 1_024
