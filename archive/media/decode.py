"""Decoding one of our own files in even blocks: a working copy or a rendition, both at 48 kHz."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import av
import numpy as np

from .errors import MediaError
from .m4a import HANDLER_NAME
from .spans import RATE_HZ


def sound_blocks(path: Path | str, samples: int, only_rendition: bool = False) -> Iterator[np.ndarray]:
    """Yield the sound in blocks of shape (channels, samples), float32; the last one may be shorter.

    The padding behind the end that the header gives is left out. Raises MediaError: not_rendition, damaged.
    """
    try:
        with av.open(os.fspath(path), "r") as container:
            stream = container.streams.audio[0]
            if only_rendition and stream.metadata.get("handler_name", "").encode() != HANDLER_NAME:
                raise _not_rendition(path)
            yield from _even_blocks(container.decode(stream), samples, _length(stream))
    except (av.FFmpegError, IndexError) as error:
        raise MediaError(f"{os.fspath(path)} cannot be decoded. Make it anew from the master.", "damaged") from error


def _length(stream: av.AudioStream) -> int:
    return round((stream.duration or 0) * (stream.time_base or 0) * RATE_HZ)


def _not_rendition(path: Path | str) -> MediaError:
    return MediaError(
        f"{os.fspath(path)} is not a rendition. Peaks of a master or working copy would betray closed seconds.",
        "not_rendition",
    )


def _even_blocks(frames: Iterator[av.AudioFrame], samples: int, left: int) -> Iterator[np.ndarray]:
    fifo = av.AudioFifo()
    for frame in frames:
        frame.pts = None
        fifo.write(frame)
        if fifo.samples >= samples and left > 0:
            yield from _taken(fifo, samples, left)
            left -= samples
    while left > 0 and fifo.samples:
        yield from _taken(fifo, samples, left)
        left -= samples


def _taken(fifo: av.AudioFifo, samples: int, left: int) -> Iterator[np.ndarray]:
    frame = fifo.read(samples, partial=True)
    if frame is not None:
        yield _floats(frame)[:, :left]


def _floats(frame: av.AudioFrame) -> np.ndarray:
    """Return a frame as float32 in [-1, 1], one row a channel."""
    pcm = frame.to_ndarray()
    if not frame.format.is_planar:
        pcm = pcm.reshape(frame.samples, -1).T
    if pcm.dtype == np.float32:
        return pcm
    return pcm.astype(np.float32) * np.float32(2.0 ** (1 - 8 * pcm.dtype.itemsize))
