"""Which of the seconds that are silent to a viewer may be marked as such: those the council lets them know of.

A segment or closed span that is met by its description shows when it is, and so may its silence. Of one that is met
by a notice, or not at all, no time is told: its seconds are quiet and nothing says so.
"""

from __future__ import annotations

from ..models import Level, Recording
from .gate import Gate, stretches_of
from .showing import Hearing
from .spans import Span, clip, merge


def stretches(gate: Gate, recording: Recording, hearing: Hearing) -> list[Span]:
    """Milliseconds from the start of what is heard: merged, ascending, half-open."""
    told = [
        (start, end)
        for number, start, end in stretches_of(recording)
        if gate.meets(number, Level.DESCRIPTION) and not gate.meets(number)
    ]
    return clip(merge(told), hearing.start_ms, hearing.end_ms)
