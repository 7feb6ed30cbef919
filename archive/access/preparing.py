"""Making ready, ahead of the first listener, the sound that visitors may hear."""

from __future__ import annotations

from collections.abc import Iterator

from ..models import Recording, Segment
from . import showing, sound
from .gate import Gate
from .showing import Hearing


def open_sound() -> int:
    """Build what a visitor may hear now: whole recordings and segments. Returns how many files stand."""
    return len([sound.prepare(recording, hearing) for recording, hearing in _hearings(Gate())])


def _hearings(gate: Gate) -> Iterator[tuple[Recording, Hearing]]:
    for recording in Recording.ungated.select_related("master"):
        found = showing.hearing_of_recording(gate, recording)
        if found is not None:
            yield recording, found
    for segment in Segment.ungated.select_related("recording__master"):
        found = showing.hearing_of_segment(gate, segment)
        if found is not None:
            yield segment.recording, found
