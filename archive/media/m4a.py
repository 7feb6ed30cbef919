"""Writing an M4A: one AAC track, table of contents first, bytes a function of the packets alone.

Boxes as in ISO/IEC 14496-12 (base media file format), the sample entry as in ISO/IEC 14496-14 (MP4). No date, no
tag, no name of a program goes in, so that two archives that hold the same sound write the same file.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence

import numpy as np

PACKET_SAMPLES = 1024
PRIMING_PACKETS = 1
PRIMING_SAMPLES = PRIMING_PACKETS * PACKET_SAMPLES
"""The encoder's first packet starts 1024 samples early; the edit list tells players to skip them."""
HANDLER_NAME = b"access copy"
_UNITY_MATRIX = struct.pack(">9I", 0x10000, 0, 0, 0, 0x10000, 0, 0, 0, 0x40000000)
_UNDETERMINED_LANGUAGE = 0x55C4


def head(sizes: Sequence[np.ndarray], samples: int, rate_hz: int, channels: int, decoder_config: bytes) -> bytes:
    """Return everything that goes before the packets: ftyp, moov and the opening of mdat.

    sizes: the packets' lengths in bytes, one array per group of packets stored together. samples: length of the
    sound. decoder_config: the AudioSpecificConfig of ISO/IEC 14496-3.
    """
    brand = _box(b"ftyp", b"M4A ", struct.pack(">I", 0), b"M4A mp42isom")
    payload = sum(int(group.sum()) for group in sizes)
    opening = _opening(payload)
    length = len(_moov(sizes, samples, rate_hz, channels, decoder_config, 0))
    first_byte = len(brand) + length + len(opening)
    return brand + _moov(sizes, samples, rate_hz, channels, decoder_config, first_byte) + opening


def _opening(payload: int) -> bytes:
    """Return the header of mdat; the long form (section 4.2) above 4 GiB."""
    if payload + 8 < 1 << 32:
        return struct.pack(">I4s", payload + 8, b"mdat")
    return struct.pack(">I4sQ", 1, b"mdat", payload + 16)


def _box(name: bytes, *parts: bytes) -> bytes:
    body = b"".join(parts)
    return struct.pack(">I4s", len(body) + 8, name) + body


def _full(name: bytes, version: int, flags: int, *parts: bytes) -> bytes:
    return _box(name, struct.pack(">I", version << 24 | flags), *parts)


def _moov(
    sizes: Sequence[np.ndarray], samples: int, rate_hz: int, channels: int, config: bytes, first_byte: int
) -> bytes:
    media = _box(
        b"mdia",
        _mdhd(rate_hz, sum(map(len, sizes)) * PACKET_SAMPLES),
        _full(b"hdlr", 0, 0, struct.pack(">I4s12x", 0, b"soun"), HANDLER_NAME + b"\0"),
        _box(b"minf", _full(b"smhd", 0, 0, bytes(4)), _dinf(), _stbl(sizes, rate_hz, channels, config, first_byte)),
    )
    edit = _full(b"elst", 1, 0, struct.pack(">IQqHH", 1, samples, PRIMING_SAMPLES, 1, 0))
    return _box(b"moov", _mvhd(rate_hz, samples), _box(b"trak", _tkhd(samples), _box(b"edts", edit), media))


def _mvhd(rate_hz: int, samples: int) -> bytes:
    times = struct.pack(">QQIQ", 0, 0, rate_hz, samples)
    return _full(b"mvhd", 1, 0, times, struct.pack(">IH10x", 0x10000, 0x100), _UNITY_MATRIX, bytes(24), b"\0\0\0\2")


def _tkhd(samples: int) -> bytes:
    enabled_in_movie_and_preview = 7
    times = struct.pack(">QQIIQ", 0, 0, 1, 0, samples)
    rest = struct.pack(">8xHHHH", 0, 0, 0x100, 0)
    return _full(b"tkhd", 1, enabled_in_movie_and_preview, times, rest, _UNITY_MATRIX, bytes(8))


def _mdhd(rate_hz: int, samples: int) -> bytes:
    return _full(b"mdhd", 1, 0, struct.pack(">QQIQHH", 0, 0, rate_hz, samples, _UNDETERMINED_LANGUAGE, 0))


def _dinf() -> bytes:
    return _box(b"dinf", _full(b"dref", 0, 0, struct.pack(">I", 1), _full(b"url ", 0, 1)))


def _stbl(sizes: Sequence[np.ndarray], rate_hz: int, channels: int, config: bytes, first_byte: int) -> bytes:
    """Return the sample table; every packet lasts 1024 samples and needs the one before it to sound right (roll)."""
    packets = sum(map(len, sizes))
    flat = np.concatenate(sizes)
    return _box(
        b"stbl",
        _full(b"stsd", 0, 0, struct.pack(">I", 1), _mp4a(rate_hz, channels, config, flat)),
        _full(b"stts", 0, 0, struct.pack(">III", 1, packets, PACKET_SAMPLES)),
        _stsc(sizes),
        _full(b"stsz", 0, 0, struct.pack(">II", 0, packets), flat.astype(">u4").tobytes()),
        _offsets(sizes, first_byte),
        _full(b"sgpd", 1, 0, struct.pack(">4sIIh", b"roll", 2, 1, -1)),
        _full(b"sbgp", 0, 0, struct.pack(">4sIII", b"roll", 1, packets, 1)),
    )


def _stsc(sizes: Sequence[np.ndarray]) -> bytes:
    """Return how many packets each group holds, one entry where the number changes."""
    counts = [len(group) for group in sizes]
    changes = [i for i, count in enumerate(counts) if i == 0 or count != counts[i - 1]]
    rows = b"".join(struct.pack(">III", i + 1, counts[i], 1) for i in changes)
    return _full(b"stsc", 0, 0, struct.pack(">I", len(changes)), rows)


def _offsets(sizes: Sequence[np.ndarray], first_byte: int) -> bytes:
    lengths = [0, *(int(group.sum()) for group in sizes[:-1])]
    offsets = np.cumsum(np.array(lengths, np.uint64)) + np.uint64(first_byte)
    wide = sum(int(group.sum()) for group in sizes) >= 1 << 31
    name, form = (b"co64", ">u8") if wide else (b"stco", ">u4")
    return _full(name, 0, 0, struct.pack(">I", len(offsets)), offsets.astype(form).tobytes())


def _mp4a(rate_hz: int, channels: int, config: bytes, sizes: np.ndarray) -> bytes:
    entry = struct.pack(">6xH8xHHHHI", 1, channels, 16, 0, 0, rate_hz << 16)
    return _box(b"mp4a", entry, _esds(config, int(sizes.max()), _mean_bit_rate(sizes, rate_hz)))


def _mean_bit_rate(sizes: np.ndarray, rate_hz: int) -> int:
    return int(sizes.sum()) * 8 * rate_hz // (len(sizes) * PACKET_SAMPLES)


def _esds(config: bytes, largest: int, bit_rate: int) -> bytes:
    """Return the elementary stream descriptor (ISO/IEC 14496-1 section 7.2.6; 0x40 is MPEG-4 audio)."""
    specific = _descriptor(5, config)
    rates = struct.pack(">II", largest * 8 * 48, bit_rate)
    decoder = _descriptor(4, b"\x40\x15", struct.pack(">I", largest)[1:], rates, specific)
    return _full(b"esds", 0, 0, _descriptor(3, b"\0\0\0", decoder, _descriptor(6, b"\2")))


def _descriptor(tag: int, *parts: bytes) -> bytes:
    body = b"".join(parts)
    return bytes([tag, len(body)]) + body
