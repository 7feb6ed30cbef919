"""Opening somebody else's file: by its content, with the formats we accept and nothing else.

Formats are named as FFmpeg's demuxers name them. The list is closed on purpose: playlist-like formats can make a
reader open other files or addresses.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import av
import numpy as np
from av.audio.frame import AudioFrame
from av.audio.stream import AudioStream
from av.container import InputContainer

from .errors import MediaError, clock_text

ACCEPTED_FORMATS = "wav,flac,mp3,aac,aiff,ogg,mov,matroska,avi,mpegts"
_LOCKED_TAGS = {"drms", "enca", "encv", "p608"}
JITTER_S = 0.05
"""Timestamps of some containers are rounded to 1 ms or carry a codec delay; below 50 ms a step is not a gap."""
_LONGEST_GAP_S = 600.0
_MOST_DAMAGE = 0.01


class _Nameless:
    """A readable file without a name, so that FFmpeg judges the content alone."""

    def __init__(self, path: Path | str) -> None:
        self._file = open(path, "rb")  # noqa: SIM115 - closed by close()
        self.read, self.seek, self.tell = self._file.read, self._file.seek, self._file.tell

    def close(self) -> None:
        self._file.close()


@contextmanager
def open_source(path: Path | str) -> Iterator[tuple[InputContainer, AudioStream]]:
    """Open a file and its first audio stream.

    Raises MediaError: empty, not_media, no_audio, locked, unknown_codec.
    """
    if os.path.getsize(path) == 0:
        raise MediaError("The file is empty (0 bytes). Copy it from the recorder again.", "empty")
    nameless = _Nameless(path)
    try:
        with _open(nameless, path) as container:
            yield container, _audio_stream(container)
    finally:
        nameless.close()


def _open(nameless: _Nameless, path: Path | str) -> InputContainer:
    options = {"format_whitelist": ACCEPTED_FORMATS, "protocol_whitelist": "file"}
    try:
        return av.open(nameless, "r", options=options, metadata_errors="replace")
    except (av.FFmpegError, ValueError) as error:
        raise (_cut_off() if _begins_as_mp4(path) else _not_media()) from error


def _begins_as_mp4(path: Path | str) -> bool:
    """Say whether a file opens with a file type box (ISO/IEC 14496-12 section 4.3)."""
    with open(path, "rb") as file:
        return file.read(8)[4:] == b"ftyp"


def _cut_off() -> MediaError:
    return MediaError(
        "The file is cut off: its table of contents is missing. Copy it from the recorder again.", "truncated"
    )


def _not_media() -> MediaError:
    return MediaError(
        "This is not a sound or video file we can read, or its beginning or end is missing. "
        "Send WAV, FLAC, MP3, M4A, Ogg, Opus, WebM or a video with sound.",
        "not_media",
    )


def _audio_stream(container: InputContainer) -> AudioStream:
    if not container.streams.audio:
        if container.streams.video:
            raise MediaError("There is no sound in this file. Choose the one that holds the voices.", "no_audio")
        raise _not_media()
    stream = container.streams.audio[0]
    context = stream.codec_context
    if context is None:
        raise MediaError("The sound is in a code we cannot read. Save it as WAV or FLAC first.", "unknown_codec")
    if context.codec_tag in _LOCKED_TAGS:
        raise _locked()
    if not context.sample_rate or not context.channels or context.format is None:
        raise _not_media()
    return stream


def _locked() -> MediaError:
    return MediaError("The file is locked by its seller (copy protection) and cannot be read.", "locked")


def header_end_s(stream: AudioStream) -> float | None:
    """Return the length the header gives for the sound, in seconds, if it gives one."""
    if not stream.duration or not stream.time_base:
        return None
    return float(stream.duration * stream.time_base)


def begin_s(container: InputContainer) -> float:
    """Return the moment, on the file's own clock, that counts as its beginning."""
    return (container.start_time or 0) / av.time_base


def lead_s(container: InputContainer, stream: AudioStream) -> float:
    """Return how long after the file's beginning its sound begins (a film whose sound starts late), in seconds."""
    late_s = float((stream.start_time or 0) * (stream.time_base or 0)) - begin_s(container)
    return late_s if late_s > JITTER_S else 0.0


def decoded(container: InputContainer, stream: AudioStream) -> Iterator[AudioFrame]:
    """Yield decoded frames in file order, passing over single damaged packets.

    Raises MediaError: not_a_number, clock, locked, damaged (more than one packet in a hundred).
    """
    packets, damaged, last_s = 0, 0, 0.0
    for packet in _packets(container, stream):
        packets += 1
        try:
            frames = packet.decode()
        except av.FFmpegError:
            damaged += 1
            continue
        for frame in frames:
            last_s = _checked_time(frame, last_s)
            yield frame
    if damaged > max(1, packets * _MOST_DAMAGE):
        raise MediaError(
            f"{damaged} of {packets} pieces of this file cannot be read. Copy it from the recorder again.", "damaged"
        )


def _packets(container: InputContainer, stream: AudioStream) -> Iterator[av.Packet[AudioStream]]:
    try:
        for packet in container.demux(stream):
            if packet.has_sidedata("encryption_info"):  # common encryption (ISO/IEC 23001-7): FFmpeg hides its tag
                raise _locked()
            yield packet
    except av.FFmpegError as error:
        raise MediaError("The file breaks off in the middle. Copy it from the recorder again.", "damaged") from error


def _checked_time(frame: AudioFrame, last_s: float) -> float:
    """Return the time of a frame; refuse a clock that runs backwards and samples that are not numbers."""
    now_s = frame.time if frame.time is not None else last_s
    check_clock(now_s, last_s)
    if frame.format.name in ("flt", "fltp", "dbl", "dblp") and not (is_good := np.isfinite(frame.to_ndarray())).all():
        first_bad = int(np.argwhere(~is_good)[:, 1].min())
        first_bad_s = now_s + first_bad / is_good.shape[1] * frame.samples / frame.sample_rate
        raise MediaError(
            f"At {clock_text(first_bad_s)} the sound holds values that are not numbers. Save it again as 24-bit WAV.",
            "not_a_number",
        )
    return now_s


def check_clock(now_s: float, last_s: float) -> None:
    """Raise MediaError("clock") where the file's clock steps back, or leaps by more than ten minutes."""
    if now_s < last_s - JITTER_S:
        raise MediaError(
            f"The clock in this file runs backwards: from {clock_text(last_s)} to {clock_text(now_s)}. "
            "Export it again from the program that made it.",
            "clock",
        )
    if now_s > last_s + _LONGEST_GAP_S:
        raise MediaError(
            f"The clock in this file leaps from {clock_text(last_s)} to {clock_text(now_s)}. "
            "Export it again from the program that made it.",
            "clock",
        )
