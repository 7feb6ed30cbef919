"""The one error this package raises about a sound file."""

from __future__ import annotations


class MediaError(Exception):
    """A sound file cannot be taken in, read or served; the message is for people.

    `code` is stable and for programs: empty, truncated, not_media, locked, unknown_codec, no_audio, no_sound,
    not_a_number, clock, damaged, name_mismatch, disk_full, storage, not_working_copy, not_rendition, bad_span.
    """

    def __init__(self, message: str, code: str) -> None:
        super().__init__(message)
        self.message = message
        self.code = code


def clock_text(seconds: float) -> str:
    """Return seconds as h:mm:ss, as people read a recorder's counter."""
    whole = int(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
