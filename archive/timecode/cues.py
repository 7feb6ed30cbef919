"""Plain data of a transcript: cues, the problems found while reading, and what else the file held.

Every non-blank line of a file belongs to exactly one cue, header, comment or problem that carries it (`raw`).
"""

from dataclasses import dataclass, field
from typing import Literal, NamedTuple

Severity = Literal["note", "warning", "refused"]
Format = Literal["srt", "vtt", "text", "csv"]


class Cue(NamedTuple):
    """One timed line. Times are milliseconds from the start of the recording, [start_ms, end_ms).

    start_ms and end_ms are None where the file gives none (plain text). text is what is said, as read;
    markup is the WebVTT cue text it was taken from, where that says more. line and last_line count from 1.
    """

    start_ms: int | None
    end_ms: int | None
    text: str
    speaker: str = ""
    identifier: str = ""
    settings: str = ""
    line: int = 0
    last_line: int = 0
    markup: str = ""


class Problem(NamedTuple):
    """Something a person should know about a file; line counts from 1, 0 is the file as a whole.

    note: harmless. warning: kept as read, but look at it. refused: not taken in. text says what and how to
    mend it; raw holds lines that became no cue, as they stood, the first of them being raw_line.
    """

    line: int
    code: str
    severity: Severity
    text: str
    raw: str = ""
    raw_line: int = 0


class Block(NamedTuple):
    """Lines kept beside the cues: kind is header, style, region or comment; line is that of the first."""

    kind: str
    line: int
    text: str


@dataclass(slots=True)
class Transcript:
    """What a file held. encoding is the one it was read with."""

    format: Format
    encoding: str
    cues: list[Cue] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    headers: list[Block] = field(default_factory=list)
    comments: list[Block] = field(default_factory=list)

    @property
    def refused(self) -> bool:
        """Whether anything was not taken in."""
        return any(problem.severity == "refused" for problem in self.problems)
