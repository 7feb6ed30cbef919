"""Transcripts out: SubRip (through pysrt) and WebVTT. What a form cannot hold is changed in the copy and reported.

Written text is UTF-8 without a byte order mark, lines ending in LF. What is read back by this package equals
what was written, apart from what the report names.
"""

import io
import re
from collections.abc import Sequence
from typing import NamedTuple

import pysrt

from archive.timecode.cues import Block, Cue, Problem, Transcript
from archive.timecode.decoding import blank
from archive.timecode.subrip import read_timing
from archive.timecode.times import format_vtt
from archive.timecode.webvtt import SIGNATURE, plain_text

COORDINATES = re.compile(r"(?:[XY][12]:[0-9]{1,5}[ \t]*)+")
ESCAPES = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;"})


class Written(NamedTuple):
    """A transcript as a file's text, and what could not be written as it was (line counts as in the source)."""

    text: str
    problems: list[Problem]


def write_srt(transcript: Transcript, duration_ms: int | None = None) -> Written:
    """Return the cues as a SubRip file. A speaker stands before the words as `Name: `.

    duration_ms, the length of the recording, is the end of a last cue without one. Numbers are kept if every
    cue has one, else counted from 1. Blank lines in a text are left out, since most readers end a cue there.
    """
    problems: list[Problem] = []
    cues = _writable(transcript.cues, duration_ms, problems)
    numbers = _numbers(cues)
    items = [_srt_item(number, cue, problems) for number, cue in zip(numbers, cues, strict=True)]
    out = io.StringIO()
    pysrt.SubRipFile(items=items, eol="\n").write_into(out, eol="\n")
    return Written(out.getvalue(), problems)


def _writable(cues: Sequence[Cue], duration_ms: int | None, problems: list[Problem]) -> list[Cue]:
    kept = []
    for at, cue in enumerate(cues):
        if cue.end_ms is None and at == len(cues) - 1:
            cue = cue._replace(end_ms=duration_ms)
        if cue.start_ms is None or cue.end_ms is None:
            text = "This cue has no start or no end and was left out. Give it both."
            problems.append(Problem(cue.line, "no-time", "refused", text))
        elif cue.start_ms < 0 or cue.end_ms < 0:
            text = "This cue starts or ends before the recording and was left out. Mend its times."
            problems.append(Problem(cue.line, "negative-time", "refused", text))
        else:
            kept.append(cue)
    return kept


def _numbers(cues: list[Cue]) -> list[int]:
    if all(re.fullmatch(r"0|[1-9][0-9]{0,8}", cue.identifier) for cue in cues):
        return [int(cue.identifier) for cue in cues]
    return list(range(1, len(cues) + 1))


def _srt_item(number: int, cue: Cue, problems: list[Problem]) -> pysrt.SubRipItem:
    words = f"{one_line(cue.speaker)}: {cue.text}" if cue.speaker else cue.text
    lines = [line for line in _lines(words) if not blank(line)]
    if len(lines) != len(_lines(words)) and words:
        problems.append(Problem(cue.line, "blank-line-left-out", "note", "A blank line in the text was left out."))
    text = "\n".join(_no_timing(line, cue, problems) for line in lines)
    position = cue.settings if COORDINATES.fullmatch(cue.settings) else ""
    if cue.settings and not position:
        problems.append(_no_settings(cue))
    return pysrt.SubRipItem(number, cue.start_ms, cue.end_ms, text, position)


def _no_timing(line: str, cue: Cue, problems: list[Problem]) -> str:
    if read_timing(line) is None:
        return line
    text = "A line of the text would be read as a timing line; its arrow became a dash."
    problems.append(Problem(cue.line, "arrow-replaced", "warning", text))
    return re.sub(r"[-–—=]{0,4}[ \t]?(?:>|&gt;)|→", "–", line)


def _no_settings(cue: Cue) -> Problem:
    return Problem(cue.line, "settings-left-out", "note", f"The settings {cue.settings[:60]} have no place here.")


def _lines(text: str) -> list[str]:
    return text.replace("\0", "\ufffd").replace("\r\n", "\n").replace("\r", "\n").split("\n")


def one_line(text: str) -> str:
    """Return text with every run of white space as one space, as the standard reads names."""
    return " ".join(text.replace("\0", "\ufffd").split())


def write_vtt(transcript: Transcript, duration_ms: int | None = None) -> Written:
    """Return the transcript as a WebVTT file with its headers, styles, regions and comments.

    A speaker becomes `<v Name>`; `&`, `<` and `>` are escaped. Empty lines in a text are left out, since they
    would end the cue. Headers of other forms become a NOTE. duration_ms as in write_srt.
    """
    problems: list[Problem] = []
    cues = _writable(transcript.cues, duration_ms, problems)
    parts = [_signature(transcript)]
    waiting = sorted(_loose_blocks(transcript), key=lambda block: block.line)
    for cue in cues:
        while waiting and waiting[0].line < cue.line:
            parts.append(_note(waiting.pop(0)))
        parts.append(_vtt_cue(cue, problems))
    parts += [_note(block) for block in waiting]
    return Written("\n\n".join(parts) + "\n", problems)


def _signature(transcript: Transcript) -> str:
    for block in transcript.headers:
        if transcript.format == "vtt" and block.kind == "header":
            return block.text
    return SIGNATURE


def _loose_blocks(transcript: Transcript) -> list[Block]:
    own = transcript.format == "vtt"
    return [block for block in transcript.headers if not own or block.kind != "header"] + transcript.comments


def _note(block: Block) -> str:
    if block.kind in ("style", "region"):
        return block.text
    lines = [line for line in _lines(block.text.replace("-->", "→")) if line]
    if not lines or not re.match(r"NOTE(?:[ \t]|$)", lines[0]):
        lines.insert(0, "NOTE")
    return "\n".join(lines)


def _vtt_cue(cue: Cue, problems: list[Problem]) -> str:
    lines = [line for line in _lines(_vtt_text(cue)) if line]
    if len(lines) != len(_lines(cue.text)) and cue.text:
        problems.append(Problem(cue.line, "blank-line-left-out", "note", "An empty line in the text was left out."))
    timing = f"{format_vtt(cue.start_ms or 0)} --> {format_vtt(cue.end_ms or 0)}"
    settings = one_line(cue.settings)
    if "-->" in settings or COORDINATES.fullmatch(settings):
        problems.append(_no_settings(cue))
        settings = ""
    head = _identifier(cue, problems)
    return "\n".join([*head, f"{timing} {settings}".rstrip(), *lines])


def _vtt_text(cue: Cue) -> str:
    speaker, text, _ = plain_text(cue.markup)
    if cue.markup and (speaker, text) == (cue.speaker, cue.text) and "-->" not in cue.markup:
        return cue.markup
    escaped = cue.text.translate(ESCAPES)
    return f"<v {one_line(cue.speaker).translate(ESCAPES)}>{escaped}" if cue.speaker.strip() else escaped


def _identifier(cue: Cue, problems: list[Problem]) -> list[str]:
    identifier = one_line(cue.identifier)
    if "-->" in identifier:
        identifier = identifier.replace("-->", "→")
        problems.append(Problem(cue.line, "arrow-replaced", "warning", "An arrow in the identifier was replaced."))
    return [identifier] if identifier else []
