"""SubRip files, read line by line so that nothing is lost silently.

SubRip has no standard; this follows common practice: an index line, a timing line, text lines, a blank line.
Timing lines are found first, and a cue's text runs to the next cue's index or timing line, so a missing or
an extra blank line costs nothing. Times that can be read one way only are read and the oddity is reported;
others (negative, frames, letters, one of the two missing) are refused together with their text.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

from archive.timecode.checks import check_cues
from archive.timecode.cues import Block, Cue, Problem, Severity, Transcript
from archive.timecode.decoding import blank, filled_range
from archive.timecode.errors import shown
from archive.timecode.times import fraction_ms

USUAL = re.compile(
    r"([0-9]{1,6}):([0-5][0-9]):([0-5][0-9]),([0-9]{3})[ \t]{0,9}-->"
    r"[ \t]{0,9}([0-9]{1,6}):([0-5][0-9]):([0-5][0-9]),([0-9]{3})[ \t]*+")
TIME = re.compile(
    r"(?:([0-9]{1,6})[ \t]?:[ \t]?)?([0-9]{1,3})[ \t]?:[ \t]?([0-9]{1,3})(?:[ \t]?([,.])[ \t]?([0-9]{1,9}))?")
ARROW = re.compile(r"-{1,4}[ \t]?>|--&gt;|[–—]{1,2}[ \t]?>|→|={1,3}>")
INDEX = re.compile(r"[ \t\ufeff]{0,9}#?([0-9]{1,9})\.?[ \t]{0,9}")
INDEX_BEFORE_TIME = re.compile(r"([0-9]{1,9})[ \t]{1,9}(?=[0-9]{1,6}[ \t]?:)")
SETTING = re.compile(r"[A-Za-z][A-Za-z0-9]*:[^ \t]+")
TIME_SIGNS = re.compile(r"[-+−0-9:.,; \t]+")
MAX_TIME_CHARS = 60
ID_CHARS = 40


class Oddity(NamedTuple):
    """Something odd about a timing line."""

    code: str
    severity: Severity
    text: str


@dataclass(slots=True)
class Timing:
    """A timing line taken apart. refusal says why there is no cue; index and text are those on the line."""

    start_ms: int = 0
    end_ms: int = 0
    settings: str = ""
    index: str = ""
    text: str = ""
    refusal: Oddity | None = None
    oddities: list[Oddity] = field(default_factory=list)


def read_subrip(lines: list[str]) -> Transcript:
    """Return the transcript in the lines of a SubRip file (encoding and its problems are the caller's)."""
    timings = dict(_timings(lines))
    transcript = Transcript("srt", "")
    starts = _block_starts(lines, timings, transcript.problems)
    _keep_head(lines, starts[0][1] if starts else len(lines), transcript)
    for number, (timing_at, first, identifier) in enumerate(starts):
        stop = starts[number + 1][1] if number + 1 < len(starts) else len(lines)
        _take_block(lines, timings[timing_at], (first, timing_at, stop), identifier, transcript)
    transcript.problems += check_cues(transcript.cues)
    return transcript


def has_timing_lines(lines: list[str], readable: bool = False) -> bool:
    """Whether any line is meant as a SubRip timing line; with readable, one whose times can be read."""
    return any(not readable or timing.refusal is None for _, timing in _timings(lines))


def _timings(lines: list[str]) -> Iterator[tuple[int, Timing]]:
    for at, line in enumerate(lines):
        if ">" in line or "→" in line or "&gt;" in line:
            timing = read_timing(line)
            if timing is not None:
                yield at, timing


def read_timing(line: str) -> Timing | None:
    """Return a timing line taken apart, refused or not; None if the line is text."""
    usual = USUAL.match(line)
    if usual:
        return _with_rest(Timing(_usual_ms(usual, 1), _usual_ms(usual, 5)), line[usual.end():])
    arrow = ARROW.search(line)
    if arrow is None:
        return None
    left, right = line[: arrow.start()].strip(" \t\ufeff"), line[arrow.end():].strip(" \t")
    index = INDEX_BEFORE_TIME.match(left)
    timing = Timing(index=index[1] if index else "")
    if index:
        left = left[index.end():]
        timing.oddities.append(Oddity("index-on-timing-line", "note", "The cue number is on the timing line."))
    if arrow[0] != "-->":
        timing.oddities.append(Oddity("odd-arrow", "warning", f"{arrow[0]} was read as the arrow -->."))
    return _read_sides(timing, left, right, usual_arrow=arrow[0] == "-->")


def _usual_ms(match: re.Match[str], group: int) -> int:
    hours, minutes, seconds, ms = match.group(group, group + 1, group + 2, group + 3)
    return ((int(hours) * 60 + int(minutes)) * 60 + int(seconds)) * 1000 + int(ms)


def _read_sides(timing: Timing, left: str, right: str, usual_arrow: bool) -> Timing | None:
    start = TIME.fullmatch(left)
    end = TIME.match(right)
    rest = right[end.end():] if end else ""
    if start and end and (not rest or rest[0] in " \t"):
        timing.start_ms, timing.end_ms = _time_ms(start, timing.oddities), _time_ms(end, timing.oddities)
        return _with_rest(timing, rest.strip(" \t"))
    if not usual_arrow or not _meant_as_timing(left, right):
        return None
    timing.refusal = _why_refused(left, right)
    return timing


def _time_ms(match: re.Match[str], oddities: list[Oddity]) -> int:
    hours, minutes, seconds, mark, fraction = match.groups()
    if hours is None:
        oddities.append(Oddity("no-hours", "warning", f"{match[0]} was read as minutes and seconds."))
    if mark is None:
        oddities.append(Oddity("no-milliseconds", "note", f"{match[0]} has no milliseconds."))
    elif mark == ".":
        oddities.append(Oddity("odd-decimal-mark", "note", f"{match[0]} has a dot for the comma."))
    if fraction and len(fraction) != 3:
        text = f"The end of {match[0]} was read as a decimal fraction: {fraction_ms(fraction)} ms."
        oddities.append(Oddity("odd-fraction", "warning", text))
    if int(seconds) > 59 or int(minutes) > 59:
        oddities.append(Oddity("over-59", "warning", f"{match[0]} has more than 59 minutes or seconds; kept so."))
    return ((int(hours or 0) * 60 + int(minutes)) * 60 + int(seconds)) * 1000 + fraction_ms(fraction or "")


def _with_rest(timing: Timing, rest: str) -> Timing:
    if rest and all(SETTING.fullmatch(part) for part in rest.split()):
        timing.settings = rest.strip(" \t")
    elif rest:
        timing.text = rest
        timing.oddities.append(Oddity("text-on-timing-line", "warning",
                                      "Words on the timing line were kept as the cue's first line."))
    return timing


def _meant_as_timing(left: str, right: str) -> bool:
    if not left:
        return bool(TIME.match(right))
    if len(left) > MAX_TIME_CHARS:
        return not left.strip("0123456789") and ":" in right[:MAX_TIME_CHARS]
    if TIME_SIGNS.fullmatch(left):
        return left.strip("-+−") != "" and any(mark in left for mark in ":;,.")
    return ":" in left and " " not in left and "\t" not in left


def _why_refused(left: str, right: str) -> Oddity:
    end = right.split()[0] if right.split() else ""
    for side, name in ((left, "start"), (end, "end")):
        if not side:
            return Oddity("missing-time", "refused", f"The {name} time is missing; add it.")
        if side[0] in "-−":
            text = f"The {name} time {shown(side)} is before the start of the recording; mend it."
            return Oddity("negative-time", "refused", text)
        if re.fullmatch(r"[0-9]{1,6}[:;][0-9]{1,3}[:;][0-9]{1,3}[:;][0-9]{1,3}", side):
            text = f"{shown(side)} counts frames, and the file gives no frame rate; write milliseconds."
            return Oddity("frames", "refused", text)
    wrong = left if TIME.fullmatch(left) is None else end
    return Oddity("unreadable-time", "refused", f"{shown(wrong)} is not a time; write it like 00:01:02,500.")


def _block_starts(
    lines: list[str], timings: dict[int, Timing], problems: list[Problem],
) -> list[tuple[int, int, str]]:
    """Return (timing line, first line, identifier) of each block, and report the numbering once."""
    starts: list[tuple[int, int, str]] = []
    floor, last_number = 0, None
    jumps, unnumbered = [], []
    for at, timing in timings.items():
        first, identifier = _index_line(lines, at, floor, last_number)
        identifier = identifier or timing.index
        starts.append((at, first, identifier))
        number = int(identifier) if identifier.isdecimal() else None
        if number is None:
            unnumbered.append(at)
        elif last_number is not None and number != last_number + 1:
            jumps.append((at, last_number, number))
        last_number = number if number is not None else last_number
        floor = at + 1
    problems += _numbering(jumps, unnumbered)
    return starts


def _numbering(jumps: list[tuple[int, int, int]], unnumbered: list[int]) -> list[Problem]:
    problems = []
    if jumps:
        at, before, number = jumps[0]
        text = f"The numbers go from {before} to {number} here, and {len(jumps)} time(s) in all do not run on."
        problems.append(Problem(at + 1, "index-order", "note", text + " Is a cue missing?"))
    if unnumbered:
        text = f"{len(unnumbered)} cue(s) have no number, first here. Nothing is lost by that."
        problems.append(Problem(unnumbered[0] + 1, "no-index", "note", text))
    return problems


def _index_line(lines: list[str], at: int, floor: int, last_number: int | None) -> tuple[int, str]:
    """Return the first line of the block whose timing line is `at`, and its identifier if it has one.

    floor is the first line that may belong to it: the one behind the timing line before.
    """
    above = at - 1
    if above < floor:
        return at, ""
    if blank(lines[above]):
        return _index_over_blank(lines, at, floor, last_number)
    index = INDEX.fullmatch(lines[above])
    opens = above == 0 or (above > floor and blank(lines[above - 1]))
    if index:
        follows = last_number is not None and int(index[1]) == last_number + 1
        crowded = last_number is not None and above > floor
        return (above, index[1]) if opens or follows or crowded else (at, "")
    name = lines[above].strip(" \t\ufeff")
    if opens and len(name) <= ID_CHARS and not re.search(r"\s", name):
        return above, name
    return at, ""


def _index_over_blank(lines: list[str], at: int, floor: int, last_number: int | None) -> tuple[int, str]:
    above = at - 1
    while above > floor and blank(lines[above]):
        above -= 1
    index = INDEX.fullmatch(lines[above])
    opens = above == 0 or blank(lines[above - 1])
    if index and opens and last_number in (None, int(index[1]) - 1):
        return above, index[1]
    return at, ""


def _keep_head(lines: list[str], stop: int, transcript: Transcript) -> None:
    first, stop = filled_range(lines, 0, stop)
    if first < stop:
        transcript.headers.append(Block("header", first + 1, "\n".join(lines[first:stop])))
        text = "Lines before the first cue have no time; kept as a header."
        transcript.problems.append(Problem(first + 1, "before-first-cue", "warning", text))


def _take_block(
    lines: list[str], timing: Timing, span: tuple[int, int, int], identifier: str, transcript: Transcript,
) -> None:
    first, timing_at, stop = span
    text_first, text_stop = filled_range(lines, timing_at + 1, stop)
    last = text_stop if text_first < text_stop else timing_at + 1
    if timing.refusal is not None:
        code, severity, text = timing.refusal
        raw = "\n".join(lines[first:last])
        transcript.problems.append(Problem(timing_at + 1, code, severity, text, raw, first + 1))
        return
    body = lines[text_first:text_stop]
    problems = transcript.problems
    if timing.oddities:
        problems += [Problem(timing_at + 1, *oddity) for oddity in timing.oddities]
    if first and not blank(lines[first - 1]):
        problems.append(Problem(first + 1, "no-blank-line", "note", "No blank line before this cue."))
    problems += _text_oddities(body, text_first)
    body = [timing.text, *body] if timing.text else body
    text = "\n".join(body)
    transcript.cues.append(Cue(
        timing.start_ms, timing.end_ms, text, "", identifier, timing.settings, first + 1, last))


def _text_oddities(body: list[str], text_first: int) -> list[Problem]:
    problems = []
    for at, line in enumerate(body):
        if "-->" in line:
            text = "An arrow --> in the text. If this was meant as a time, mend it."
            problems.append(Problem(text_first + at + 1, "arrow-in-text", "warning", text))
    inside = next((at for at, line in enumerate(body) if blank(line)), None)
    if inside is not None:
        text = "A blank line inside this cue's text; the lines behind it were kept with the cue."
        problems.append(Problem(text_first + inside + 1, "blank-line-in-text", "warning", text))
    return problems
