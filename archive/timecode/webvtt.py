"""WebVTT files by the W3C parser algorithm (WebVTT: The Web Video Text Tracks Format, section 6).

Reads what the standard reads and drops what it drops, but reports each dropped line. NOTE, STYLE and REGION
blocks, identifiers and settings are kept. The cue text is given plain, with its voice as the speaker
(6.4, cue text parsing rules); the markup it came from is kept beside it.
"""

import html
import re
from dataclasses import dataclass

from archive.timecode.checks import check_cues
from archive.timecode.cues import Block, Cue, Problem, Transcript
from archive.timecode.errors import shown

SIGNATURE = "WEBVTT"
ARROW = "-->"
ASCII_SPACE = " \t\f"
# "Collect a WebVTT timestamp" (6.3): minutes and seconds two digits up to 59, three digits behind the dot;
# hours any number of digits, bounded here so that one line cannot hold a number without end.
STAMP = re.compile(r"(?:([0-9]{1,9}):)?([0-5][0-9]):([0-5][0-9])\.([0-9]{3})(?![0-9])")
TAG = re.compile(r"<[^>]*>?")
KNOWN_TAG = re.compile(r"</?(?:c|i|b|u|ruby|rt|v|lang)(?:[.\s][^>]*)?>|</?>|<[0-9][0-9:.]*>")
VOICE = re.compile(r"<v(?:\.[^\s>]*)?(?:\s([^>]*))?>")
CHARREF = re.compile(
    r"&(?:#[0-9]{1,8}(?![0-9])|#[xX][0-9a-fA-F]{1,8}(?![0-9a-fA-F])|[A-Za-z][A-Za-z0-9]{1,31});?")
NO_SIGNATURE = ("The first line must be WEBVTT, alone or followed by a space and words. "
                "If this is a SubRip file, name it .srt.")


@dataclass(slots=True)
class _Block:
    """What the block algorithm collected: lines [first, stop), counted from 0, and a cue's timing if any."""

    first: int
    stop: int = 0
    timing: tuple[int, int, str] | None = None
    timing_at: int | None = None
    identifier: str = ""
    text: str = ""
    kind: str = ""


def read_webvtt(lines: list[str]) -> Transcript:
    """Return the transcript in the lines of a WebVTT file (encoding and its problems are the caller's)."""
    transcript = Transcript("vtt", "")
    if lines[0] != SIGNATURE and not lines[0].startswith((SIGNATURE + " ", SIGNATURE + "\t")):
        raw = "\n".join(lines)
        transcript.problems.append(Problem(1, "no-signature", "refused", NO_SIGNATURE, raw, 1))
        return transcript
    at = _keep_header(lines, transcript)
    seen_cue = False
    while at < len(lines):
        if lines[at] == "":
            at += 1
            continue
        block = _collect(lines, at, seen_cue)
        seen_cue = seen_cue or block.timing is not None
        _take(lines, block, transcript)
        at = block.stop
    transcript.problems += check_cues(transcript.cues)
    return transcript


def _keep_header(lines: list[str], transcript: Transcript) -> int:
    """Keep the signature and the lines under it up to a blank line or an arrow (6.1, steps 9 to 12)."""
    at = 1
    while at < len(lines) and lines[at] and ARROW not in lines[at]:
        at += 1
    transcript.headers.append(Block("header", 1, "\n".join(lines[:at])))
    return at


def _collect(lines: list[str], first: int, seen_cue: bool) -> _Block:
    """Collect a WebVTT block (6.1) that starts at line `first`, not in the header."""
    block = _Block(first)
    buffer: list[str] = []
    at = first
    while at < len(lines) and lines[at]:
        line, count = lines[at], at - first + 1
        if ARROW in line:
            if count > 2 or block.timing_at is not None:
                break
            block.timing_at = at
            block.timing = collect_timings(line)
            if block.timing is not None:
                block.identifier, buffer = "\n".join(buffer), []
        else:
            if count == 2 and not seen_cue and buffer:
                block.kind = _special(buffer[0])
            buffer.append(line)
        at += 1
    block.stop, block.text = at, "\n".join(buffer)
    return block


def _special(line: str) -> str:
    for name in ("STYLE", "REGION"):
        if line.startswith(name) and not line[len(name):].strip(ASCII_SPACE):
            return name.lower()
    return ""


def collect_timings(line: str) -> tuple[int, int, str] | None:
    """Return (start_ms, end_ms, settings) of a timing line (6.3), or None if the standard refuses it."""
    start = STAMP.match(line, _past_space(line, 0))
    if start is None:
        return None
    arrow_at = _past_space(line, start.end())
    if not line.startswith(ARROW, arrow_at):
        return None
    end = STAMP.match(line, _past_space(line, arrow_at + len(ARROW)))
    if end is None:
        return None
    return stamp_ms(start), stamp_ms(end), line[end.end():].strip(ASCII_SPACE)


def _past_space(line: str, at: int) -> int:
    while at < len(line) and line[at] in ASCII_SPACE:
        at += 1
    return at


def stamp_ms(stamp: re.Match[str]) -> int:
    """Return the milliseconds of a matched STAMP."""
    hours, minutes, seconds, ms = stamp.groups()
    return ((int(hours or 0) * 60 + int(minutes)) * 60 + int(seconds)) * 1000 + int(ms)


def _take(lines: list[str], block: _Block, transcript: Transcript) -> None:
    raw = "\n".join(lines[block.first : block.stop])
    first_line = lines[block.first]
    if block.timing is not None:
        _take_cue(block, block.timing, transcript)
    elif block.kind:
        transcript.headers.append(Block(block.kind, block.first + 1, raw))
    elif block.timing_at is None and (first_line == "NOTE" or first_line.startswith(("NOTE ", "NOTE\t"))):
        transcript.comments.append(Block("comment", block.first + 1, raw))
    else:
        transcript.problems.append(_dropped(lines, block, raw))


def _dropped(lines: list[str], block: _Block, raw: str) -> Problem:
    number = block.first + 1
    if block.timing_at is not None:
        text = (f"{shown(lines[block.timing_at])} is not a timing line; "
                "write it like 00:01:02.500 --> 00:01:05.000.")
        return Problem(block.timing_at + 1, "unreadable-time", "refused", text, raw, number)
    if _special(lines[block.first]):
        text = "STYLE and REGION stand before the first cue, with lines under them; players ignore this."
        return Problem(number, "late-block", "warning", text, raw, number)
    text = "These lines have no time, so no player shows them. Add a timing line, or NOTE before them."
    return Problem(number, "no-time", "refused", text, raw, number)


def _take_cue(block: _Block, timing: tuple[int, int, str], transcript: Transcript) -> None:
    start_ms, end_ms, settings = timing
    speaker, text, voices = plain_text(block.text)
    number = block.first + 1
    if len(voices) > 1:
        names = ", ".join(voices)
        message = f"Several voices in one cue ({names}); the first is its speaker, the others stand in its text."
        transcript.problems.append(Problem(number, "several-voices", "note", message))
    markup = block.text if block.text != text else ""
    transcript.cues.append(Cue(
        start_ms, end_ms, text, speaker, block.identifier, settings, number, block.stop, markup))


def plain_text(markup: str) -> tuple[str, str, list[str]]:
    """Return (speaker, plain text, all voices) of WebVTT cue text.

    Tags of the standard go, character references are decoded; what looks like a tag but is none (such as
    `<laughs>`) stays, so that no words are lost. A second voice is put in front of its words as `Name: `.
    """
    if "<" not in markup and "&" not in markup:
        return "", markup, []
    pieces: list[str] = []
    voices: list[str] = []
    at = 0
    for tag in TAG.finditer(markup):
        pieces.append(unescape(markup[at : tag.start()]))
        pieces.append(_tag_text(tag[0], voices))
        at = tag.end()
    pieces.append(unescape(markup[at:]))
    return voices[0] if voices else "", "".join(pieces), list(dict.fromkeys(voices))


def _tag_text(tag: str, voices: list[str]) -> str:
    voice = VOICE.fullmatch(tag)
    if voice:
        name = " ".join(unescape(voice[1] or "").split())
        switched = bool(voices) and voices[-1] != name
        if name:
            voices.append(name)
        return f"{name}: " if name and switched else ""
    return "" if KNOWN_TAG.fullmatch(tag) else tag


def unescape(text: str) -> str:
    """Return text with HTML character references decoded; references without end stay as they are."""
    return CHARREF.sub(lambda match: html.unescape(match[0]), text) if "&" in text else text
