"""What is odd about cues however they were read: order, length, and the end of the recording."""

from archive.timecode.cues import Cue, Problem, Transcript
from archive.timecode.times import format_clock


def check_cues(cues: list[Cue]) -> list[Problem]:
    """Return the problems of the cues among themselves; the cues are kept as read."""
    problems: list[Problem] = []
    latest_ms = 0
    for cue in cues:
        start_ms, end_ms = cue.start_ms, cue.end_ms
        if start_ms is not None and end_ms is not None and end_ms <= start_ms:
            problems.append(_reversed_or_empty(cue, start_ms, end_ms))
        if not cue.text.strip():
            problems.append(Problem(cue.line, "empty-text", "warning", "This cue has no text."))
        if start_ms is not None:
            if start_ms < latest_ms:
                message = f"This cue starts at {format_clock(start_ms)}, before the one above it."
                problems.append(Problem(cue.line, "out-of-order", "note", message))
            latest_ms = start_ms
    return problems


def _reversed_or_empty(cue: Cue, start_ms: int, end_ms: int) -> Problem:
    if end_ms == start_ms:
        message = f"This cue starts and ends at {format_clock(start_ms)}; give it an end."
        return Problem(cue.line, "zero-length", "warning", message)
    message = (f"This cue ends at {format_clock(end_ms)}, before it starts at {format_clock(start_ms)}; "
               "kept as written. Mend the times.")
    return Problem(cue.line, "reversed", "warning", message)


def check_against_duration(transcript: Transcript, duration_ms: int) -> list[Problem]:
    """Return a refused `past-end` for each cue that runs past the recording, and reversed times again.

    Nothing is cut, moved or swapped: whoever keeps the transcript decides.
    """
    problems: list[Problem] = []
    for cue in transcript.cues:
        start_ms, end_ms = cue.start_ms, cue.end_ms
        latest_ms = max(start_ms or 0, end_ms or 0)
        if latest_ms > duration_ms or (start_ms is not None and start_ms >= duration_ms):
            message = (f"This cue runs to {format_clock(latest_ms)}, but the recording ends at "
                       f"{format_clock(duration_ms)}. Is it the transcript of another recording?")
            problems.append(Problem(cue.line, "past-end", "refused", message))
        if start_ms is not None and end_ms is not None and end_ms <= start_ms:
            problems.append(_reversed_or_empty(cue, start_ms, end_ms))
    return problems
