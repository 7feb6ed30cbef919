"""Answers as plain data, for the shell and for other programs: what a file held, what a time says, where to cut."""

from collections.abc import Sequence
from typing import Any

from archive.timecode.cues import Cue, Problem, Transcript
from archive.timecode.errors import TimecodeError
from archive.timecode.frames import Rate
from archive.timecode.segmentation import suggest_cuts
from archive.timecode.times import Span, parse_time_or_span

CUE_FIELDS = ("start_ms", "end_ms", "text", "speaker", "identifier")
PROBLEM_FIELDS = ("line", "code", "severity", "text")


def transcript_report(file: str, transcript: Transcript) -> dict[str, Any]:
    """Return a transcript as plain data: its file name, form, cues and problems."""
    return {
        "file": file,
        "format": transcript.format,
        "cues": [{name: getattr(cue, name) for name in CUE_FIELDS} for cue in transcript.cues],
        "problems": [{name: getattr(problem, name) for name in PROBLEM_FIELDS} for problem in transcript.problems],
    }


def unreadable_report(file: str, reason: str) -> dict[str, Any]:
    """Return the report of a file that could not even be opened."""
    problem = Problem(0, "no-file", "refused", f"The file cannot be opened: {reason}. Check its name.")
    return {"file": file, "format": None, "cues": [],
            "problems": [{name: getattr(problem, name) for name in PROBLEM_FIELDS}]}


def time_answer(text: object, rate: object = None) -> dict[str, Any]:
    """Return {"ms"} for a time, {"start_ms", "end_ms"} for a Media Fragment, or {"error"}; never raises."""
    if not isinstance(text, str):
        return {"error": "“text” must be a text, such as 1:02:03.5."}
    if rate is not None and (isinstance(rate, bool) or not isinstance(rate, (str, int, float))):
        return {"error": "“rate” must be a number such as 25 or a text such as 30000/1001."}
    return _time_answer(text, rate)


def _time_answer(text: str, rate: Rate | None) -> dict[str, Any]:
    try:
        answer = parse_time_or_span(text, rate)
    except TimecodeError as error:
        return {"error": str(error)}
    return answer._asdict() if isinstance(answer, Span) else {"ms": answer}


def pauses_before(cues: Sequence[Cue]) -> list[float | None]:
    """Return the silence in milliseconds before each cue; None for the first and where times are missing."""
    pauses: list[float | None] = [None] * len(cues)
    for at in range(1, len(cues)):
        end_ms, start_ms = cues[at - 1].end_ms, cues[at].start_ms
        if end_ms is not None and start_ms is not None:
            pauses[at] = max(0, start_ms - end_ms)
    return pauses


def cuts_report(file: str, cues: Sequence[Cue], segments: int | None = None) -> dict[str, Any]:
    """Return where to cut: `boundaries` holds for each cut the number of the cue, from 1, after which it falls.

    `segments` holds the stretches between: numbers of their first and last cue, times in milliseconds.
    """
    cuts = suggest_cuts([cue.text for cue in cues], pauses_before(cues), segments)
    edges = [0, *cuts, len(cues)] if cues else []
    spans = [(edges[at], edges[at + 1]) for at in range(len(edges) - 1)]
    return {
        "file": file,
        "cues": len(cues),
        "boundaries": cuts,
        "segments": [
            {"first_cue": first + 1, "last_cue": stop, "start_ms": cues[first].start_ms,
             "end_ms": cues[stop - 1].end_ms} for first, stop in spans],
    }
