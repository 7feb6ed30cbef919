"""Decoding one of our own files in even blocks: a working copy or a rendition, both at 48 kHz."""

from __future__ import annotations

import itertools
import os
from collections.abc import Iterator
from pathlib import Path
from typing import IO

import av
import numpy as np

from .errors import MediaError
from .m4a import HANDLER_NAME, PRIMING_PACKETS
from .spans import RATE_HZ

_PACKETS_AT_ONCE = 200


def sound_blocks(path: Path | str, samples: int, only_rendition: bool = False) -> Iterator[np.ndarray]:
    """Yield the sound in blocks of shape (channels, samples), float32; the last one may be shorter.

    The padding behind the end that the header gives is left out. Raises MediaError: not_rendition, damaged.
    """
    try:
        with av.open(os.fspath(path), "r") as container:
            stream = container.streams.audio[0]
            is_rendition = stream.metadata.get("handler_name", "").encode() == HANDLER_NAME
            if only_rendition and not is_rendition:
                raise _not_rendition(path)
            frames = _rendition_frames(path, stream) if is_rendition else container.decode(stream)
            yield from _even_blocks(frames, samples, _length(stream))
    except (av.FFmpegError, EOFError, IndexError) as error:
        raise MediaError(f"{os.fspath(path)} cannot be decoded. Make it anew from the master.", "damaged") from error


def _rendition_frames(path: Path | str, stream: av.AudioStream) -> Iterator[av.AudioFrame]:
    """Yield the frames of a rendition from its first sound on, reading many packets at once.

    Its packets lie end to end (`m4a.head`), and a decoder may be given "several complete audio frames" in one packet
    (FFmpeg, avcodec.h, avcodec_send_packet): to take each by itself would cost half as much as decoding it.
    """
    index = stream.index_entries
    bounds = [index[at].pos for at in range(0, len(index), _PACKETS_AT_ONCE)]
    bounds.append(index[-1].pos + index[-1].size)
    with Path(path).open("rb") as file:
        file.seek(bounds[0])
        pieces = (av.Packet(_read(file, end - start)) for start, end in itertools.pairwise(bounds))
        frames = (frame for piece in pieces for frame in stream.codec_context.decode(piece))
        yield from itertools.islice(frames, PRIMING_PACKETS, None)


def _read(file: IO[bytes], size: int) -> bytes:
    data = file.read(size)
    if len(data) < size:
        raise EOFError
    return data


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
