"""Plain text, one spoken line a line, with or without time marks (no standard; common practice of typists).

A time mark stands at the start of a line: `[0:07]`, `(1:02:03.5)`, `[0:07 - 0:12]`, or bare `00:01:02`. A bare
one counts only where several lines begin so, since a sentence may begin with the time of day. Lines without
a mark belong to the mark above. A name and a colon in front of the words is the speaker where the file does
so at least twice.
"""

import re
from collections import Counter
from typing import NamedTuple

from archive.timecode.checks import check_cues
from archive.timecode.cues import Block, Cue, Problem, Transcript
from archive.timecode.decoding import blank, filled_range
from archive.timecode.errors import TimecodeError
from archive.timecode.times import format_clock, parse_clock

STAMP = r"[0-9]{1,6}(?:[:;][0-9]{1,3}){1,3}(?:[.,][0-9]{1,9})?"
BARE_STAMP = r"[0-9]{1,6}(?:[:;][0-9]{2}){1,3}(?:[.,][0-9]{1,9})?"
SPACE = r"[ \t]{0,9}"
UNTIL = rf"{SPACE}(?:-{{1,2}}>?|–|—|→){SPACE}({STAMP})"
BRACKETED = re.compile(rf"{SPACE}[\[(]{SPACE}([-−]?{STAMP})(?:{UNTIL})?{SPACE}[\])]{SPACE}")
BARE = re.compile(rf"{SPACE}({BARE_STAMP})(?:{UNTIL})?(?:[ \t]{{1,9}}(?:[-–—][ \t])?|$)")
SPEAKER = re.compile(r"([^\W\d_][^:\n]{0,39}):[ \t]+(?=\S)")
BARE_SHARE = 0.2
MAX_NAME_WORDS = 4


class _Mark(NamedTuple):
    """A time mark at the start of a line: its times as written and where the words behind it begin."""

    start: str
    end: str | None
    words_at: int


def read_plain(lines: list[str]) -> Transcript:
    """Return the transcript in the lines of a text file: a cue for each mark, or for each line without any."""
    marks = _find_marks(lines)
    transcript = Transcript("text", "")
    cues = _marked(lines, marks, transcript) if marks else _unmarked(lines)
    transcript.cues = with_ends(_with_speakers(cues, transcript.problems), transcript.problems)
    transcript.problems += check_cues(transcript.cues)
    return transcript


def _find_marks(lines: list[str]) -> dict[int, _Mark]:
    marks: dict[int, _Mark] = {}
    bare: dict[int, _Mark] = {}
    for at, line in enumerate(lines):
        for pattern, found in ((BRACKETED, marks), (BARE, bare)):
            match = pattern.match(line)
            if match:
                found[at] = _Mark(match[1], match[2], match.end())
    filled = sum(not blank(line) for line in lines)
    if len(bare) >= 2 and len(bare) >= BARE_SHARE * filled:
        marks |= bare
    return dict(sorted(marks.items()))


def _unmarked(lines: list[str]) -> list[Cue]:
    return [Cue(None, None, line.strip(" \t"), line=number, last_line=number)
            for number, line in enumerate(lines, 1) if not blank(line)]


def _marked(lines: list[str], marks: dict[int, _Mark], transcript: Transcript) -> list[Cue]:
    starts = list(marks)
    first, stop = filled_range(lines, 0, starts[0])
    if first < stop:
        transcript.headers.append(Block("header", first + 1, "\n".join(lines[first:stop])))
    cues = []
    for at, next_at in zip(starts, [*starts[1:], len(lines)], strict=True):
        stop = filled_range(lines, at, next_at)[1]
        words = [lines[at][marks[at].words_at :], *lines[at + 1 : stop]]
        text = "\n".join(words).strip(" \t\n")
        try:
            start_ms = parse_clock(marks[at].start)
            end_ms = parse_clock(marks[at].end or "") if marks[at].end else None
        except TimecodeError as error:
            raw = "\n".join(lines[at:stop])
            transcript.problems.append(Problem(at + 1, "unreadable-time", "refused", str(error), raw, at + 1))
            continue
        cues.append(Cue(start_ms, end_ms, text, line=at + 1, last_line=stop))
    return cues


def _with_speakers(cues: list[Cue], problems: list[Problem]) -> list[Cue]:
    names = Counter(match[1] for cue in cues if (match := SPEAKER.match(cue.text)) and _like_a_name(match[1]))
    known = {name for name, count in names.items() if count >= 2}
    if not known:
        return cues
    listed = ", ".join(sorted(known)[:20])
    problems.append(Problem(0, "speakers-from-text", "note", f"Read as speakers: {listed}."))
    return [_with_speaker(cue, known) for cue in cues]


def _like_a_name(text: str) -> bool:
    return len(text.split()) <= MAX_NAME_WORDS and not re.search(r"[.!?;,\"]", text)


def _with_speaker(cue: Cue, known: set[str]) -> Cue:
    match = SPEAKER.match(cue.text)
    if not match or match[1] not in known:
        return cue
    return cue._replace(speaker=match[1].strip(), text=cue.text[match.end():])


def with_ends(cues: list[Cue], problems: list[Problem]) -> list[Cue]:
    """Return cues that have a start but no end with the next later start as their end, and say so.

    The last one's end stays None: it runs to the end of the recording.
    """
    ended, next_ms, filled = [], None, 0
    for cue in reversed(cues):
        if cue.start_ms is not None:
            if cue.end_ms is None and next_ms is not None and next_ms > cue.start_ms:
                ended.append(cue._replace(end_ms=next_ms))
                filled += 1
                next_ms = cue.start_ms
                continue
            next_ms = cue.start_ms
        ended.append(cue)
    if filled:
        first = next(cue for cue in cues if cue.start_ms is not None and cue.end_ms is None)
        text = f"{filled} line(s) give no end; the start of the next one was taken. First at "
        problems.append(Problem(first.line, "end-from-next", "note",
                                f"{text}{format_clock(first.start_ms or 0)}."))
    return ended[::-1]
