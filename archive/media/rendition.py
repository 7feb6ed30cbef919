"""The access copy that is served: the sound with its closed seconds silent, as AAC-LC in an M4A.

Closed samples are set to zero before anything is encoded, and each chunk is encoded alone from its own window, so the
result is the file a recording would give that had been silent there from the start: absence by construction.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO, NamedTuple

import numpy as np

from . import m4a
from .chunks import RECIPE, Chunk, ChunkStore, Plan, Recipe, decoder_config, encode, key_of, plan
from .errors import MediaError
from .files import whole_file
from .spans import RATE_HZ, SAMPLES_PER_MS, Spans, covers, cut_to, silence, to_samples, touches
from .working import Progress, WorkingCopy, WorkingReader, read_working_copy


class Rendition(NamedTuple):
    """A served file. Its ETag is its `sha256`: equal bytes, equal tags.

    peaks: int8 pairs (lowest, highest), 50 a second, of the silenced sound. chunks: keys of the chunks it is made
    of, for `sweep_chunks`.
    """

    path: Path
    sha256: str
    duration_ms: int
    size: int
    peaks: bytes = b""
    chunks: tuple[str, ...] = ()


def render(
    working_path: Path | str,
    out_path: Path | str,
    closed: Sequence[tuple[int, int]],
    start_ms: int = 0,
    end_ms: int | None = None,
    chunk_dir: Path | str | None = None,
    progress: Progress | None = None,
    recipe: Recipe = RECIPE,
) -> Rendition:
    """Write the M4A of [start_ms, end_ms) of a working copy with `closed` (ms, half-open) silent.

    `closed` empty: the plain access copy. Up to 5 ms on either side of a closed span are faded. A clip starts at its
    own zero and holds nothing of what lies outside it; a closed span right beside it fades its edge as in the whole.
    With `chunk_dir`, chunks are kept there and only those that a new closure touches are encoded again. `out_path`
    appears whole or not at all.
    Raises MediaError: not_working_copy, bad_span, damaged, disk_full, storage.
    """
    copy = read_working_copy(working_path)
    stretch = _stretch(copy, closed, start_ms, end_ms)
    with _store(chunk_dir, Path(out_path)) as store, WorkingReader(copy) as reader:
        builder = _Builder(reader, stretch, store, recipe)
        for _attempt in range(2):
            keys = builder.keys(progress)
            try:
                return _assemble(Path(out_path), builder, keys)
            except _SpoiltChunk:
                continue
    raise MediaError("Pieces of the access copy cannot be read back from disk. Check the disk.", "storage")


def rendition_key(
    master_sha256: str, closed: Sequence[tuple[int, int]], start_ms: int = 0, end_ms: int | None = None
) -> str:
    """Return a file name for a rendition: equal for equal inputs, whatever order or overlap the spans come in.

    It names a build, not its bytes: two masters with equal served bytes have different keys and equal SHA-256.
    """
    spans = cut_to(closed, start_ms, end_ms)
    facts = json.dumps([master_sha256, spans, start_ms, end_ms, RECIPE.text()])
    return hashlib.sha256(facts.encode()).hexdigest()


def sweep_chunks(chunk_dir: Path | str, keep: Sequence[Rendition]) -> int:
    """Remove the chunks that none of these renditions is made of; return how many went.

    Run it after a closure: chunks of the earlier copy still hold what is now closed.
    """
    return ChunkStore(chunk_dir).sweep(key for one in keep for key in one.chunks)


class _Stretch(NamedTuple):
    """What to render, in samples of the working copy; `closed` is counted from the stretch's own beginning."""

    start: int
    samples: int
    closed: Spans


def _stretch(copy: WorkingCopy, closed: Sequence[tuple[int, int]], start_ms: int, end_ms: int | None) -> _Stretch:
    start = start_ms * SAMPLES_PER_MS
    stop = copy.samples if end_ms is None else min(end_ms * SAMPLES_PER_MS, copy.samples)
    if not 0 <= start < stop:
        raise MediaError(
            f"The clip {start_ms}-{end_ms} ms lies outside the recording, which lasts {copy.duration_ms} ms.",
            "bad_span",
        )
    return _Stretch(start, stop - start, to_samples(cut_to(closed, start_ms, end_ms)))


@contextmanager
def _store(chunk_dir: Path | str | None, out_path: Path) -> Iterator[ChunkStore]:
    if chunk_dir is not None:
        yield ChunkStore(chunk_dir)
        return
    out_path.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=out_path.parent, prefix=".chunks-") as folder:
        yield ChunkStore(folder)


class _SpoiltChunk(Exception):
    """A kept chunk is gone or damaged; it will be made again."""


class _Builder:
    """Makes the chunks of one stretch, from the store where it can."""

    def __init__(self, reader: WorkingReader, stretch: _Stretch, store: ChunkStore, recipe: Recipe) -> None:
        self.reader, self.stretch, self.store, self.recipe = reader, stretch, store, recipe
        self.plans = plan(stretch.samples, recipe)
        self._plain = _PlainKeys(store, reader.copy, stretch, recipe, len(self.plans))

    def keys(self, progress: Progress | None) -> list[str]:
        """Make sure that every chunk is in the store; return their keys in order."""
        keys = []
        for number, one in enumerate(self.plans):
            keys.append(self._key(number, one))
            if progress:
                progress((number + 1) / len(self.plans))
        self._plain.save()
        return keys

    def _key(self, number: int, one: Plan) -> str:
        is_plain = not touches(self.stretch.closed, *one.window)
        known = self._plain.get(number) if is_plain else None
        if known and self.store.path(known).exists():
            return known
        pcm = self._window(one)
        key = key_of(pcm, one, self.recipe)
        if not self.store.path(key).exists():
            self.store.put(key, encode(pcm, one, self.recipe))
        if is_plain:
            self._plain.set(number, key)
        return key

    def _window(self, one: Plan) -> np.ndarray:
        """Return a chunk's samples with the closed ones silent; beyond the stretch there is silence."""
        begin, end = one.window
        inside = min(end, self.stretch.samples)
        pcm = np.zeros((self.reader.copy.channels, end - begin), self.reader.dtype)
        if covers(self.stretch.closed, begin, inside):
            return pcm
        pcm[:, : inside - begin] = self.reader.read(self.stretch.start + begin, self.stretch.start + inside)
        return silence(pcm, begin, self.stretch.closed)


class _PlainKeys:
    """The keys of chunks that no closed second reaches, so that they are found again without decoding.

    Kept per working copy (by the fingerprint in its header), stretch and recipe; a list that cannot be read is as
    good as none.
    """

    def __init__(self, store: ChunkStore, copy: WorkingCopy, stretch: _Stretch, recipe: Recipe, count: int) -> None:
        facts = json.dumps([copy.pcm_md5, copy.samples, copy.bits, stretch.start, stretch.samples, recipe.text()])
        self._path = store.folder / f"{hashlib.sha256(facts.encode()).hexdigest()}.keys"
        self._keys = self._load(count)
        self._changed = False

    def _load(self, count: int) -> list[str]:
        try:
            keys = self._path.read_text("ascii").split("\n")
        except (OSError, ValueError):
            keys = []
        return keys if len(keys) == count else [""] * count

    def get(self, number: int) -> str | None:
        return self._keys[number] or None

    def set(self, number: int, key: str) -> None:
        self._changed = self._changed or self._keys[number] != key
        self._keys[number] = key

    def save(self) -> None:
        if self._changed:
            with whole_file(self._path, durable=False) as file:
                file.write("\n".join(self._keys).encode("ascii"))


def _assemble(out_path: Path, builder: _Builder, keys: list[str]) -> Rendition:
    """Write head and packets of all chunks, and take the SHA-256 on the way."""
    layout = [_sizes_and_peaks(builder.store, key) for key in keys]
    channels = builder.reader.copy.channels
    head = m4a.head(
        [sizes for sizes, _ in layout],
        builder.stretch.samples,
        RATE_HZ,
        channels,
        decoder_config(channels, builder.recipe),
    )
    with whole_file(out_path) as file:
        sha256 = _write(file, head, builder.store, keys)
        size = file.tell()
    return Rendition(
        path=out_path,
        sha256=sha256,
        duration_ms=-(-builder.stretch.samples // SAMPLES_PER_MS),
        size=size,
        peaks=b"".join(peaks for _, peaks in layout),
        chunks=tuple(dict.fromkeys(keys)),
    )


def _sizes_and_peaks(store: ChunkStore, key: str) -> tuple[np.ndarray, bytes]:
    chunk = _chunk(store, key)
    return chunk.sizes.copy(), chunk.peaks.tobytes()


def _write(file: IO[bytes], head: bytes, store: ChunkStore, keys: list[str]) -> str:
    digest = hashlib.sha256(head)
    file.write(head)
    for key in keys:
        payload = _chunk(store, key).payload
        digest.update(payload)
        file.write(payload)
    return digest.hexdigest()


def _chunk(store: ChunkStore, key: str) -> Chunk:
    chunk = store.get(key)
    if chunk is None:
        store.path(key).unlink(missing_ok=True)
        raise _SpoiltChunk(os.fspath(store.path(key)))
    return chunk
