"""Which of the seconds that are silent to a viewer may be marked as such: those the council lets them know of.

A segment or closed span that is met by its description shows when it is, and so may its silence. Of one that is met
by a notice, or not at all, no time is told: its seconds are quiet and nothing says so.
"""

from __future__ import annotations

from ..models import ClosedSpan, Level, Recording, Segment
from .gate import Gate
from .showing import Hearing
from .spans import Span, merge


def stretches(gate: Gate, recording: Recording, hearing: Hearing) -> list[Span]:
    """Milliseconds from the start of what is heard: merged, ascending, half-open."""
    rows = [
        *Segment.ungated.filter(recording=recording).values_list("pk", "start_ms", "end_ms"),
        *ClosedSpan.ungated.filter(recording=recording).values_list("pk", "start_ms", "end_ms"),
    ]
    told = [
        (max(start, hearing.start_ms) - hearing.start_ms, min(end, hearing.end_ms) - hearing.start_ms)
        for number, start, end in rows
        if gate.meets(number, Level.DESCRIPTION) and not gate.meets(number)
    ]
    return merge([(start, end) for start, end in told if start < end])
