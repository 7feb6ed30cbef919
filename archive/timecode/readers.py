"""The one way in: bytes of a transcript file, in any form read here, to a Transcript. Never raises."""

import re
from collections import Counter

from archive.timecode.cues import Format, Problem, Transcript
from archive.timecode.decoding import decode_lines, filled_range
from archive.timecode.plain import read_plain
from archive.timecode.subrip import has_timing_lines, read_subrip
from archive.timecode.table import header_of, read_table
from archive.timecode.webvtt import SIGNATURE, read_webvtt

READERS = {"srt": read_subrip, "vtt": read_webvtt, "text": read_plain, "csv": read_table}
NO_TIMES = "No timing line such as 00:00:01,000 --> 00:00:04,000 was found, so this is not a SubRip file."
CONTROL = re.compile(r"[\x01-\x08\x0b\x0e-\x1f\x7f\ufffd]")
# Share of characters no typist writes, above which a file is not text; a lost letter here and there is below.
CONTROL_SHARE = 0.02
OTHER_FORMATS = re.compile(r"\s{0,40}(\{\\rtf|%PDF|<\?xml|<!doctype|<html|\{\s{0,40}\"|\[\s{0,40}\{)", re.IGNORECASE)
# More notes of one kind than this are told once, with their number.
MANY_NOTES = 10


def read_transcript(data: bytes, filename: str = "", encoding: str | None = None) -> Transcript:
    """Return the transcript in a file: SubRip, WebVTT, plain text or a table of timed lines (CSV).

    filename helps to tell the form where the content does not; encoding is only used where no byte order
    mark says otherwise. A file that is no transcript gives no cues and a refused problem.
    """
    decoded = decode_lines(data, encoding)
    lines = decoded.lines
    form = _form(lines, filename)
    refusal = _not_a_transcript(lines, form)
    if refusal is not None:
        transcript = Transcript(form, "", problems=[refusal])
    else:
        transcript = READERS[form](lines)
    transcript.encoding = decoded.encoding
    transcript.problems += [*decoded.problems, *_misnamed(form, filename)]
    transcript.problems = sorted(_condensed(transcript.problems), key=lambda problem: problem.line)
    return transcript


def _suffix(filename: str) -> str:
    return filename.rpartition(".")[2].casefold() if "." in filename else ""


def _form(lines: list[str], filename: str) -> Format:
    """Return the form of a file. Content decides; a .vtt file without its signature is still WebVTT, refused."""
    suffix = _suffix(filename)
    if suffix == "vtt" or re.match(SIGNATURE + r"(?:[ \t]|$)", lines[0]):
        return "vtt"
    if suffix == "srt":
        return "srt"
    if suffix in ("csv", "tsv") or (suffix != "txt" and header_of(lines) is not None):
        return "csv"
    return "srt" if has_timing_lines(lines, readable=True) else "text"


def _misnamed(form: Format, filename: str) -> list[Problem]:
    if form == "vtt" and _suffix(filename) == "srt":
        return [Problem(0, "misnamed", "note", "The file is named .srt but holds WebVTT; read as WebVTT.")]
    if form == "srt" and _suffix(filename) == "txt":
        return [Problem(0, "misnamed", "note", "The file is named .txt but holds SubRip; read as SubRip.")]
    return []


def _not_a_transcript(lines: list[str], form: Format) -> Problem | None:
    first, stop = filled_range(lines, 0, len(lines))
    raw = "\n".join(lines[first:stop])
    if not raw:
        return Problem(0, "empty-file", "refused", "The file is empty. Choose the transcript and try again.")
    if form == "srt" and not has_timing_lines(lines):
        return Problem(first + 1, "not-a-transcript", "refused", NO_TIMES, raw, first + 1)
    if form == "text" and (OTHER_FORMATS.match(raw) or len(CONTROL.findall(raw)) > CONTROL_SHARE * len(raw)):
        text = "This is not a text file. Save the transcript as plain text, SubRip or WebVTT and try again."
        return Problem(first + 1, "not-a-transcript", "refused", text, raw, first + 1)
    return None


def _condensed(problems: list[Problem]) -> list[Problem]:
    counts = Counter(problem.code for problem in problems if problem.severity == "note")
    told: set[str] = set()
    kept = []
    for problem in problems:
        if problem.severity == "note" and counts[problem.code] > MANY_NOTES and not problem.raw:
            if problem.code in told:
                continue
            told.add(problem.code)
            problem = problem._replace(text=f"{problem.text} (and {counts[problem.code] - 1} more like it)")
        kept.append(problem)
    return kept
