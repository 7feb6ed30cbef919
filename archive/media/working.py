"""The working copy: the master decoded once to FLAC at 48 kHz. Its sample numbers are the recording's time code.

It holds everything, closed seconds included: it never leaves the house and is never served.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

import av
import numpy as np
from av.audio.frame import AudioFrame
from av.audio.resampler import AudioResampler
from av.audio.stream import AudioStream
from av.container import InputContainer, OutputContainer

from .errors import MediaError
from .files import storage_error, whole_file
from .probe import container_name
from .source import JITTER_S, begin_s, decoded, header_end_s, lead_s, open_source
from .spans import RATE_HZ

Progress = Callable[[float], None]
"""Called with the share done, 0 to 1. An exception it raises stops the work and leaves nothing behind."""

_BLOCK_SAMPLES = 48_000
_SHORT_FORMATS = {"u8", "u8p", "s16", "s16p"}
_STREAMINFO_BYTES = 42


class WorkingCopy(NamedTuple):
    """A FLAC file at 48 kHz: samples per channel, channels (1 or 2), bits per sample (16 or 24).

    `pcm_md5` is the MD5 of its samples, as FLAC's own header carries it: a fingerprint, not a safeguard.
    """

    path: Path
    samples: int
    channels: int
    bits: int
    pcm_md5: str

    @property
    def duration_ms(self) -> int:
        """Length in milliseconds, rounded up so that the last sample lies inside it."""
        return -(-self.samples * 1000 // RATE_HZ)


def make_working_copy(master_path: Path | str, out_path: Path | str, progress: Progress | None = None) -> WorkingCopy:
    """Decode a master to FLAC at 48 kHz, mono or stereo, in flat memory; written whole or not at all.

    More than two channels are mixed to stereo. A master of up to 16 bits gives 16 bits, any other 24. Gaps in the
    master's clock become silence, so that time codes hold. Lossless masters at 48 kHz keep their sample values.
    Raises MediaError as `probe.probe` does, and damaged, disk_full, storage.
    """
    with whole_file(out_path) as file, open_source(master_path) as (container, stream):
        try:
            _transcode(container, stream, file.name, progress)
        except av.FFmpegError as error:
            raise _encoder_error(error) from error
    return read_working_copy(out_path)


def _encoder_error(error: av.FFmpegError) -> MediaError:
    if isinstance(error, OSError):
        return storage_error(error)
    return MediaError(f"The sound could not be converted ({error.strerror}).", "damaged")


def _transcode(container: InputContainer, stream: AudioStream, name: str, progress: Progress | None) -> None:
    context = stream.codec_context
    layout = "mono" if context.channels == 1 else "stereo"
    sample_format = "s16" if context.format.name in _SHORT_FORMATS else "s32"
    total_s = header_end_s(stream) or (container.duration or 0) / av.time_base
    with av.open(name, "w", format="flac", options={"fflags": "+bitexact"}) as out:
        target = out.add_stream("flac", rate=RATE_HZ, layout=layout, format=sample_format)
        target.codec_context.flags |= av.codec.context.Flags.bitexact
        written = 0
        for block in _blocks(container, stream, sample_format, layout):
            written = _write(out, target, block, written)
            if progress and total_s:
                progress(min(written / RATE_HZ / total_s, 1.0))
        if not written:
            raise MediaError("The file holds no sound at all (0 seconds). Was the recorder running?", "no_sound")
        out.mux(target.encode(None))
    if progress:
        progress(1.0)


def _write(out: OutputContainer, target: AudioStream, block: AudioFrame, written: int) -> int:
    block.pts, block.time_base = written, Fraction(1, RATE_HZ)
    out.mux(target.encode(block))
    return written + block.samples


def _blocks(container: InputContainer, stream: AudioStream, sample_format: str, layout: str) -> Iterator[AudioFrame]:
    """Yield frames at 48 kHz, without gaps, counted from the moment the file as a whole begins."""
    resampler = AudioResampler(format=sample_format, layout=layout, rate=RATE_HZ)
    left = _samples_to_keep(container, stream)
    for frame in _without_gaps(decoded(container, stream), begin_s(container)):
        for block in resampler.resample(frame):
            yield _head(block, left)
            left -= block.samples
            if left <= 0:
                return
    for block in resampler.resample(None):
        yield _head(block, left)


def _samples_to_keep(container: InputContainer, stream: AudioStream) -> int:
    """Return the length an MP4's edit list gives (ISO/IEC 14496-12 section 8.6.6): decoders leave padding behind it.

    Other formats: more than any file holds.
    """
    end_s = header_end_s(stream)
    if container_name(container) != "mov" or not end_s:
        return 1 << 62
    return round((lead_s(container, stream) + end_s) * RATE_HZ)


def _head(block: AudioFrame, left: int) -> AudioFrame:
    if block.samples <= left:
        return block
    short = AudioFrame.from_ndarray(
        block.to_ndarray()[:, : left * _interleaved(block)], block.format.name, block.layout.name
    )
    short.sample_rate = block.sample_rate
    return short


def _interleaved(block: AudioFrame) -> int:
    return 1 if block.format.is_planar else len(block.layout.channels)


def _without_gaps(frames: Iterator[AudioFrame], zero_s: float) -> Iterator[AudioFrame]:
    """Fill steps of the clock above 50 ms with silence; the frames' own times are dropped afterwards."""
    done_s = 0.0
    for frame in frames:
        now_s = frame.time - zero_s if frame.time is not None else done_s
        if now_s > done_s + JITTER_S:
            for quiet in _quiet_like(frame, round((now_s - done_s) * frame.sample_rate)):
                done_s += quiet.samples / quiet.sample_rate
                yield quiet
        done_s += frame.samples / frame.sample_rate
        frame.pts = None
        yield frame


def _quiet_like(frame: AudioFrame, samples: int) -> Iterator[AudioFrame]:
    while samples > 0:
        count = min(samples, _BLOCK_SAMPLES)
        quiet = AudioFrame(format=frame.format.name, layout=frame.layout.name, samples=count)
        quiet.sample_rate = frame.sample_rate
        for plane in quiet.planes:
            plane.update((b"\x80" if frame.format.name.startswith("u8") else b"\0") * plane.buffer_size)
        samples -= count
        yield quiet


def read_working_copy(path: Path | str) -> WorkingCopy:
    """Read a working copy's facts from its header (RFC 9639 section 8.2, the streaminfo block).

    Raises MediaError("not_working_copy").
    """
    with open(path, "rb") as file:
        head = file.read(_STREAMINFO_BYTES)
    facts = int.from_bytes(head[18:26], "big")
    rate_hz, channels = facts >> 44, (facts >> 41 & 7) + 1
    bits, samples = (facts >> 36 & 31) + 1, facts & 0xFFFFFFFFF
    if head[:4] != b"fLaC" or rate_hz != RATE_HZ or channels > 2 or bits not in (16, 24) or not samples:
        raise MediaError(
            f"{os.fspath(path)} is not a working copy (FLAC, 48 kHz, mono or stereo). Make it anew from the master.",
            "not_working_copy",
        )
    return WorkingCopy(Path(path), samples, channels, bits, head[26:42].hex())


class WorkingReader:
    """Reads any stretch of a working copy by sample number. Use it in a `with`; one per thread."""

    def __init__(self, copy: WorkingCopy) -> None:
        self.copy = copy
        self.dtype = np.int16 if copy.bits == 16 else np.int32
        self._open()

    def _open(self) -> None:
        self._container = av.open(os.fspath(self.copy.path), "r", format="flac")
        self._stream = self._container.streams.audio[0]

    def __enter__(self) -> WorkingReader:
        return self

    def __exit__(self, *_: object) -> None:
        self._container.close()

    def read(self, start: int, stop: int) -> np.ndarray:
        """Return samples [start, stop), shape (channels, stop - start), int16 or int32 (24 bits in the upper ones).

        Beyond the end of the recording there is silence. Raises MediaError("damaged").
        """
        pcm = np.zeros((self.copy.channels, stop - start), self.dtype)
        stop = min(stop, self.copy.samples)
        if start < stop:
            self._fill(pcm, start, stop)
        return pcm

    def _fill(self, pcm: np.ndarray, start: int, stop: int) -> None:
        done = start
        try:
            self._seek(start)
            for frame in self._container.decode(self._stream):
                done = _copy_overlap(frame, pcm, start, stop, done)
                if done >= stop:
                    return
        except av.FFmpegError as error:
            raise self._damaged() from error
        raise self._damaged()

    def _seek(self, start: int) -> None:
        """Go to the frame that holds a sample. Files of a single frame cannot be searched: they are opened anew."""
        try:
            self._container.seek(start, stream=self._stream)
        except av.FFmpegError:
            self._container.close()
            self._open()

    def _damaged(self) -> MediaError:
        return MediaError("The working copy is damaged. Make it anew from the master.", "damaged")

    def blocks(self, samples: int = 30 * RATE_HZ) -> Iterator[tuple[int, np.ndarray]]:
        """Yield (first sample number, samples of shape (channels, up to `samples`)) through the whole recording."""
        for start in range(0, self.copy.samples, samples):
            yield start, self.read(start, min(start + samples, self.copy.samples))


def _copy_overlap(frame: AudioFrame, pcm: np.ndarray, start: int, stop: int, done: int) -> int:
    """Copy what a decoded frame shares with [start, stop); return how far the stretch is filled."""
    at = frame.pts
    if at is None or at > done:
        return done
    lo, hi = max(at, start), min(at + frame.samples, stop)
    if lo >= hi:
        return done
    samples: np.ndarray = frame.to_ndarray()
    if not frame.format.is_planar:
        samples = samples.reshape(frame.samples, -1).T
    pcm[:, lo - start : hi - start] = samples[:, lo - at : hi - at]
    return hi
