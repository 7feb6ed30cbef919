"""Independent chunks of AAC: each is encoded alone from its own window of samples, and kept under that window's hash.

A chunk is a pure function of the samples in its window (its packets' own samples and eight packets on either side).
So a chunk that no closed second reaches cannot depend on one, and equal sound gives equal bytes.
"""

from __future__ import annotations

import hashlib
import struct
import zlib
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

import av
import numpy as np

from .files import whole_file
from .m4a import PACKET_SAMPLES
from .peaks import PEAK_SAMPLES, pcm_peaks
from .spans import RATE_HZ

_MAGIC = b"chunk 1\n"
_HEAD = struct.Struct("<8sIII")


class Recipe(NamedTuple):
    """How sound is encoded. `quality` is FFmpeg's constant quality (-q:a), which keeps no memory between packets.

    chunk_packets: a multiple of 15, so that a chunk (1024 samples a packet) holds whole peaks (960 samples each).
    Perceptual noise substitution stays off: its decoder draws from one random sequence for the whole file, so
    silencing one place would alter the noise everywhere after it.
    """

    chunk_packets: int = 360
    roll_packets: int = 8
    quality: float = 0.8
    coder: str = "twoloop"
    noise_substitution: bool = False

    def text(self) -> str:
        """Return all that decides the bytes besides the samples, for keys."""
        versions = {name: av.library_versions[name] for name in ("libavcodec", "libavutil")}
        return f"{self!r} {RATE_HZ} {PEAK_SAMPLES} {_MAGIC!r} {versions}"

    def options(self) -> dict[str, str]:
        """Return the options of FFmpeg's AAC encoder."""
        return {
            "flags": "+qscale+bitexact",
            "global_quality": str(round(self.quality * 118)),
            "aac_coder": self.coder,
            "aac_pns": "1" if self.noise_substitution else "0",
        }


RECIPE = Recipe()


class Plan(NamedTuple):
    """Where one chunk lies in its stretch of sound, in samples and packets.

    window: samples the encoder sees. keep: packets kept, counted within the window. peaks: samples the chunk's
    peaks describe.
    """

    window: tuple[int, int]
    keep: tuple[int, int]
    peaks: tuple[int, int]


class Chunk(NamedTuple):
    """Encoded packets (their sizes, shape (packets,), and their bytes) and peaks, shape (n, 2) int8."""

    sizes: np.ndarray
    peaks: np.ndarray
    payload: bytes


def plan(samples: int, recipe: Recipe) -> list[Plan]:
    """Return the chunks of a stretch of so many samples. Packet j carries frames j - 1 and j of 1024 samples."""
    frames = -(-samples // PACKET_SAMPLES)
    count = -(-frames // recipe.chunk_packets)
    return [_plan_one(i, i == count - 1, frames, samples, recipe) for i in range(count)]


def _plan_one(number: int, is_last: bool, frames: int, samples: int, recipe: Recipe) -> Plan:
    first = number * recipe.chunk_packets
    after = frames + 1 if is_last else first + recipe.chunk_packets
    begin = max(0, first - 1 - recipe.roll_packets)
    end = min(frames, after + recipe.roll_packets)
    peaks_end = min(samples, (first + recipe.chunk_packets) * PACKET_SAMPLES)
    return Plan(
        window=(begin * PACKET_SAMPLES, end * PACKET_SAMPLES),
        keep=(first - begin, after - begin),
        peaks=(first * PACKET_SAMPLES, peaks_end),
    )


def key_of(pcm: np.ndarray, one: Plan, recipe: Recipe) -> str:
    """Return the SHA-256 of a chunk's samples and of all that decides its bytes."""
    begin = one.window[0]
    shape = (pcm.shape, str(pcm.dtype), one.keep, one.peaks[0] - begin, one.peaks[1] - begin)
    digest = hashlib.sha256(f"{recipe.text()} {shape}".encode())
    digest.update(np.ascontiguousarray(pcm).data)
    return digest.hexdigest()


def encode(pcm: np.ndarray, one: Plan, recipe: Recipe) -> Chunk:
    """Encode one window, shape (channels, samples), with an encoder of its own."""
    packets = list(_packets(pcm, recipe))[slice(*one.keep)]
    begin = one.window[0]
    heard = pcm[:, one.peaks[0] - begin : one.peaks[1] - begin]
    sizes = np.array([len(packet) for packet in packets], np.uint32)
    return Chunk(sizes, pcm_peaks(heard), b"".join(packets))


def new_encoder(channels: int, recipe: Recipe) -> av.AudioCodecContext:
    """Return a fresh AAC-LC encoder."""
    encoder = av.CodecContext.create("aac", "w")
    encoder.sample_rate = RATE_HZ
    encoder.layout = "mono" if channels == 1 else "stereo"
    encoder.format = "fltp"
    encoder.options = recipe.options()
    encoder.open()
    return encoder


def decoder_config(channels: int, recipe: Recipe) -> bytes:
    """Return the AudioSpecificConfig (ISO/IEC 14496-3) that goes with such packets."""
    return bytes(new_encoder(channels, recipe).extradata or b"")


def _packets(pcm: np.ndarray, recipe: Recipe) -> Iterator[bytes]:
    """Yield the packets of one encoder; it cuts the window into frames of 1024 samples itself."""
    encoder = new_encoder(len(pcm), recipe)
    frame = av.AudioFrame.from_ndarray(as_float(pcm), format="fltp", layout=encoder.layout.name)
    frame.sample_rate, frame.pts = RATE_HZ, 0
    for part in (frame, None):
        yield from (bytes(packet) for packet in encoder.encode(part))


def as_float(pcm: np.ndarray) -> np.ndarray:
    """Return int16 or int32 samples as float32 in [-1, 1)."""
    return pcm.astype(np.float32) * np.float32(2.0 ** (1 - 8 * pcm.dtype.itemsize))


class ChunkStore:
    """A folder of encoded chunks. Every file is written whole, and is checked when read."""

    def __init__(self, folder: Path | str) -> None:
        self.folder = Path(folder)

    def path(self, key: str) -> Path:
        return self.folder / key[:2] / f"{key}.chunk"

    def put(self, key: str, chunk: Chunk) -> None:
        """Keep a chunk. Raises MediaError: disk_full, storage."""
        body = chunk.sizes.astype("<u4").tobytes() + chunk.peaks.tobytes() + chunk.payload
        with whole_file(self.path(key), durable=False) as file:
            file.write(_HEAD.pack(_MAGIC, len(chunk.sizes), len(chunk.peaks), zlib.crc32(body)))
            file.write(body)

    def get(self, key: str) -> Chunk | None:
        """Return a chunk, or None where it is missing or its bytes are not what was written."""
        try:
            data = self.path(key).read_bytes()
        except OSError:
            return None
        return _unpack(data)

    def sweep(self, keep: Iterable[str]) -> int:
        """Remove all chunks but these, and all lists; return how many chunks went."""
        kept, gone = set(keep), 0
        for path in self.folder.glob("??/*.chunk"):
            if path.stem not in kept:
                path.unlink(missing_ok=True)
                gone += 1
        for path in self.folder.glob("*.keys"):
            path.unlink(missing_ok=True)
        return gone


def _unpack(data: bytes) -> Chunk | None:
    if len(data) < _HEAD.size:
        return None
    magic, packets, peaks, check = _HEAD.unpack_from(data)
    body = memoryview(data)[_HEAD.size :]
    if magic != _MAGIC or zlib.crc32(body) != check:
        return None
    sizes = np.frombuffer(body[: 4 * packets], "<u4")
    pairs = np.frombuffer(body[4 * packets : 4 * packets + 2 * peaks], np.int8).reshape(-1, 2)
    return Chunk(sizes, pairs, bytes(body[4 * packets + 2 * peaks :]))
