"""What a file holds, read from its content and never from its name."""

from __future__ import annotations

import os
import struct
from collections.abc import Iterator
from pathlib import Path, PurePath
from typing import Any, NamedTuple

import av
from av.audio.stream import AudioStream
from av.container import InputContainer
from av.stream import Disposition

from .errors import MediaError, clock_text
from .files import Received, receive, sha256_file
from .source import check_clock, decoded, header_end_s, lead_s, open_source

__all__ = ["MediaError", "MediaFacts", "Received", "check_name_matches", "probe", "receive", "sha256_file"]

_MISSING_S = 0.25
"""A file this much shorter than its own header says is cut off; less is a codec's padding."""
_HEADER_IS_EXACT = {"wav", "flac", "aiff", "mp3", "mov"}
_FIRST_FRAMES = 8
_EVEN_WAV_CODES = {1, 3, 6, 7, 0xFFFE}
"""PCM, floats, A-law, µ-law and WAVE_FORMAT_EXTENSIBLE (RFC 2361, appendix A): each sample takes as many bytes."""

_NAMES = {
    "wav": {".wav", ".wave", ".bwf", ".rf64"},
    "flac": {".flac"},
    "mp3": {".mp3"},
    "aac": {".aac", ".adts"},
    "aiff": {".aif", ".aiff", ".aifc"},
    "ogg": {".ogg", ".oga", ".ogv", ".opus", ".spx"},
    "mov": {".mp4", ".m4a", ".m4v", ".m4b", ".mov", ".3gp", ".3g2"},
    "matroska": {".mkv", ".mka", ".webm", ".weba"},
    "avi": {".avi"},
    "mpegts": {".ts", ".mts", ".m2ts"},
}


class MediaFacts(NamedTuple):
    """What a file is. `container` and `codec` carry FFmpeg's short names; `sample_format` too (s16, s32, fltp...).

    `duration_ms` is within one packet (at most 60 ms) of the working copy's, which counts samples and is the truth.
    """

    container: str
    codec: str
    duration_ms: int
    rate_hz: int
    channels: int
    sample_format: str
    has_video: bool


def probe(path: Path | str) -> MediaFacts:
    """Read a file from end to end (without decoding it, where its packets can be trusted) and say what it is.

    Raises MediaError: empty, truncated, not_media, locked, unknown_codec, no_audio, no_sound, not_a_number, clock.
    """
    with open_source(path) as (container, stream):
        kind = container_name(container)
        ends = _last_ends_s(container, stream)
        _check_complete(path, kind, container, stream, ends)
        duration_s = lead_s(container, stream) + _duration_s(kind, stream, ends.sound_s)
        facts = _facts(container, stream, round(duration_s * 1000))
    _check_decodes(path)
    if facts.duration_ms <= 0:
        raise MediaError("The file holds no sound at all (0 seconds). Was the recorder running?", "no_sound")
    return facts


def _facts(container: InputContainer, stream: AudioStream, duration_ms: int) -> MediaFacts:
    context = stream.codec_context
    films = [one for one in container.streams.video if not one.disposition & Disposition.attached_pic]
    return MediaFacts(
        container=container_name(container),
        codec=context.codec.canonical_name,
        duration_ms=duration_ms,
        rate_hz=context.sample_rate,
        channels=context.channels,
        sample_format=context.format.name,
        has_video=bool(films),
    )


def container_name(container: InputContainer) -> str:
    """Return the first of FFmpeg's names for a format: 'mov' for the whole MP4 family."""
    return container.format.name.split(",")[0]


class _Ends(NamedTuple):
    """Where the sound and where the longest stream end, in seconds; where the first sound packet lies, in bytes."""

    sound_s: float
    longest_s: float
    first_byte: int


def _last_ends_s(container: InputContainer, stream: AudioStream) -> _Ends:
    """Walk over all packets. The sound's clock is checked on the way."""
    sound_s, longest_s, last_s, counted_s, first_byte = 0.0, 0.0, 0.0, 0.0, 0
    zero_s = float((stream.start_time or 0) * (stream.time_base or 0))
    for packet in _all_packets(container):
        if not packet.size:
            continue
        length_s = float((packet.duration or 0) * packet.time_base)
        start_s = float(packet.pts * packet.time_base) if packet.pts is not None else None
        if packet.stream.index == stream.index:
            first_byte = first_byte or packet.pos or 0
            # An encoder's lead-in (MPEG Layer III at 22 kHz: 50 ms) lies before the sound's beginning.
            start_s = counted_s if start_s is None else max(0.0, start_s - zero_s)
            check_clock(start_s, last_s)
            last_s = start_s
            counted_s = sound_s = max(sound_s, start_s + length_s)
        longest_s = max(longest_s, (start_s or 0.0) + length_s)
    return _Ends(sound_s, longest_s, first_byte)


def _all_packets(container: InputContainer) -> Iterator[av.Packet[Any]]:
    try:
        yield from container.demux()
    except av.FFmpegError:
        return  # what is missing is told by the lengths


def _duration_s(kind: str, stream: AudioStream, counted_s: float) -> float:
    header_s = header_end_s(stream)
    if kind in _HEADER_IS_EXACT and header_s and abs(header_s - counted_s) < _MISSING_S:
        return header_s
    return counted_s


def _check_complete(path: Path | str, kind: str, container: InputContainer, stream: AudioStream, ends: _Ends) -> None:
    """Compare what the file says it holds with what is there."""
    there_s = ends.longest_s if kind == "matroska" else ends.sound_s
    said_s = _said_s(path, kind, container, stream, ends)
    if said_s is not None and said_s - there_s > _MISSING_S:
        raise MediaError(
            f"The file is cut off: it should last {clock_text(said_s)} but ends at {clock_text(there_s)}. "
            "Copy it from the recorder again.",
            "truncated",
        )
    if kind == "ogg" and _ends_inside_a_page(path):
        raise MediaError(
            f"The file is cut off at about {clock_text(there_s)}. Copy it from the recorder again.", "truncated"
        )


def _said_s(path: Path | str, kind: str, container: InputContainer, stream: AudioStream, ends: _Ends) -> float | None:
    """Return the length a file declares, or None where what FFmpeg gives is only its own estimate."""
    if kind == "wav":
        return _wav_said_s(path, stream) or header_end_s(stream)
    if kind == "mp3":
        return header_end_s(stream) if _has_length_frame(path, ends.first_byte) else None
    if kind in _HEADER_IS_EXACT:
        return header_end_s(stream)
    if kind == "matroska":
        return container.duration / av.time_base if container.duration else None
    return None


def _wav_said_s(path: Path | str, stream: AudioStream) -> float | None:
    """Return the length by the size of a WAV file's data chunk (Multimedia Programming Interface 1.0, 1991).

    None where the recorder left the size open (0 or 0xFFFFFFFF), where RF64 keeps it elsewhere, and where the sound is
    in a compressed code, whose bytes a second are an estimate.
    """
    with open(path, "rb") as file:
        if file.read(4) != b"RIFF":
            return None
        file.seek(12)
        bytes_per_s = 0
        while len(head := file.read(8)) == 8:
            name, size = struct.unpack("<4sI", head)
            if name == b"data":
                known = 0 < size < 0xFFFFFFFF and bytes_per_s
                return size / bytes_per_s if known else None
            if name == b"fmt ":
                code, _channels, _rate_hz, bytes_per_s = struct.unpack("<HHII4x", file.read(16))
                bytes_per_s = bytes_per_s if code in _EVEN_WAV_CODES else 0
                file.seek(-16, os.SEEK_CUR)
            file.seek(size + size % 2, os.SEEK_CUR)
    return None


def _has_length_frame(path: Path | str, first_byte: int) -> bool:
    """Say whether an MP3's first frame carries the number of frames (the tags Xing, Info and VBRI; no standard)."""
    with open(path, "rb") as file:
        file.seek(max(0, first_byte - 2048))
        before = file.read(min(2048, first_byte) + 256)
    return any(tag in before for tag in (b"Xing", b"Info", b"VBRI"))


def _ends_inside_a_page(path: Path | str) -> bool:
    """Say whether an Ogg file ends before its last page does (RFC 3533 section 6: page header, segment table)."""
    with open(path, "rb") as file:
        size = file.seek(0, os.SEEK_END)
        start = max(0, size - 2 * 65_307)
        file.seek(start)
        tail = file.read()
    at = tail.rfind(b"OggS")
    if at < 0 or len(tail) < at + 27:
        return True
    segments = tail[26 + at]
    lacing = tail[at + 27 : at + 27 + segments]
    return len(lacing) < segments or at + 27 + segments + sum(lacing) > len(tail)


def _check_decodes(path: Path | str) -> None:
    """Decode the first frames; all of them where samples may be floats, which alone can be 'not a number'."""
    with open_source(path) as (container, stream):
        is_float_pcm = stream.codec_context.codec.canonical_name.startswith("pcm_f")
        frames = 0
        for _ in decoded(container, stream):
            frames += 1
            if frames >= _FIRST_FRAMES and not is_float_pcm:
                return
    if frames == 0:
        raise MediaError("The file holds no sound at all (0 seconds). Was the recorder running?", "no_sound")


def check_name_matches(facts: MediaFacts, original_name: str) -> None:
    """Raise MediaError("name_mismatch") where a name promises another format than the content has.

    A name without an ending, or with one we do not know, promises nothing.
    """
    ending = PurePath(original_name).suffix.lower()
    promised = next((kind for kind, endings in _NAMES.items() if ending in endings), None)
    if promised is None or promised == facts.container:
        return
    right = sorted(_NAMES.get(facts.container, set()))
    raise MediaError(
        f"The name ends in {ending}, but the file holds {facts.container}. "
        f"If the content is right, rename it to end in {right[0] if right else 'its own ending'}; "
        "if not, choose the right file.",
        "name_mismatch",
    )
