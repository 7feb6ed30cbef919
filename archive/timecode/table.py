"""Timed lines in a table: CSV (RFC 4180), also with semicolons or tabs, the first line naming the columns.

Times may be any clock form or ISO 8601 duration. Bare numbers are read only where the column says what they
count (`start_ms`, `start_s`), or as seconds where they have a decimal point; whole numbers without a unit
could be either and are refused.
"""

import csv
import re
from collections.abc import Iterator

from archive.timecode.checks import check_cues
from archive.timecode.cues import Block, Cue, Problem, Transcript
from archive.timecode.decoding import blank, filled_range
from archive.timecode.errors import TimecodeError
from archive.timecode.plain import with_ends
from archive.timecode.times import fraction_ms, parse_time

START = ("start", "begin", "from", "in", "start time", "time", "timecode")
END = ("end", "stop", "to", "out", "end time")
TEXT = ("text", "transcript", "words", "utterance", "content", "caption")
SPEAKER = ("speaker", "name", "who", "voice")
IDENTIFIER = ("identifier", "id", "number", "no", "index")
UNIT = re.compile(r"(.*?)[\s_]*[\[(]?(?:(ms|msec|milliseconds?)|(s|sec|secs|seconds?))[\])]?")
DECIMAL = re.compile(r"([0-9]{1,9})(?:[.,]([0-9]{1,9}))?")
DELIMITERS = ",;\t"
HINT = "Name the columns in the first line: start, end, speaker, text."


class Columns:
    """Where each field stands in a row, and the unit of bare numbers: "ms", "s" or "" (not said)."""

    def __init__(self, names: list[str]) -> None:
        self.at: dict[str, int] = {}
        self.unit: dict[str, str] = {}
        wanted = {"start": START, "end": END, "text": TEXT, "speaker": SPEAKER, "identifier": IDENTIFIER}
        for position, name in enumerate(names):
            plain, unit = _name_and_unit(name)
            for field, known in wanted.items():
                if plain in known and field not in self.at:
                    self.at[field], self.unit[field] = position, unit

    def complete(self) -> bool:
        """Whether there is something to take: a start and a text."""
        return {"start", "text"} <= set(self.at)

    def value(self, row: list[str], field: str) -> str:
        """Return the field of a row, empty where the row is short or has no such column."""
        position = self.at.get(field, len(row))
        return row[position] if position < len(row) else ""


def _name_and_unit(name: str) -> tuple[str, str]:
    plain = " ".join(name.strip().casefold().replace("_", " ").split())
    match = UNIT.fullmatch(plain) if len(plain) < 40 else None
    if match and match[1]:
        return match[1].strip(), "ms" if match[2] else "s"
    return plain, ""


def header_of(lines: list[str]) -> tuple[int, str, Columns] | None:
    """Return (line, delimiter, columns) of the first filled line if it names the columns of a timed table."""
    first, stop = filled_range(lines, 0, len(lines))
    if first == stop or len(lines[first]) > 1_000:
        return None
    for delimiter in DELIMITERS:
        try:
            names = next(csv.reader([lines[first]], delimiter=delimiter), [])
        except csv.Error:
            continue
        columns = Columns(names)
        if columns.complete():
            return first, delimiter, columns
    return None


def read_table(lines: list[str]) -> Transcript:
    """Return the transcript in the lines of a table (encoding and its problems are the caller's)."""
    transcript = Transcript("csv", "")
    header = header_of(lines)
    if header is None:
        first, stop = filled_range(lines, 0, len(lines))
        raw = "\n".join(lines[first:stop])
        text = f"No column named start and none named text. {HINT}"
        transcript.problems.append(Problem(first + 1, "no-columns", "refused", text, raw, first + 1))
        return transcript
    at, delimiter, columns = header
    transcript.headers.append(Block("header", at + 1, lines[at]))
    for first, stop, row in _rows(lines, at + 1, delimiter):
        _take_row(lines, (first, stop), row, columns, transcript)
    transcript.cues = with_ends(transcript.cues, transcript.problems)
    transcript.problems += check_cues(transcript.cues)
    return transcript


def _rows(lines: list[str], at: int, delimiter: str) -> Iterator[tuple[int, int, list[str] | str]]:
    """Yield (first line, line behind the last, fields), or what is wrong with the quoting instead of fields."""
    used = at

    def feed() -> Iterator[str]:
        nonlocal used
        while used < len(lines):
            used += 1
            yield lines[used - 1] + ("\n" if used < len(lines) else "")

    reader = csv.reader(feed(), delimiter=delimiter, strict=True)
    while True:
        first = used
        try:
            row: list[str] | str = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            row = str(error)
        first, stop = filled_range(lines, first, used)
        if first < stop:
            yield first, stop, row


def _take_row(
    lines: list[str], span: tuple[int, int], row: list[str] | str, columns: Columns, transcript: Transcript,
) -> None:
    first, stop = span
    raw = "\n".join(lines[first:stop])
    if isinstance(row, str):
        text = f"This row cannot be read ({row}). Put quotes around text with commas and double the quotes in it."
        transcript.problems.append(Problem(first + 1, "unreadable-row", "refused", text, raw, first + 1))
        return
    try:
        start_ms = _cell_ms(columns.value(row, "start"), columns.unit["start"])
        end = columns.value(row, "end")
        end_ms = None if blank(end) else _cell_ms(end, columns.unit["end"])
    except TimecodeError as error:
        transcript.problems.append(Problem(first + 1, "unreadable-time", "refused", str(error), raw, first + 1))
        return
    text, speaker, identifier = (columns.value(row, name) for name in ("text", "speaker", "identifier"))
    if len(row) > max(columns.at.values()) + 1 and any(cell.strip() for cell in row[len(columns.at) :]):
        transcript.problems.append(_more_cells(first, row, columns))
    transcript.cues.append(Cue(start_ms, end_ms, text, speaker.strip(), identifier.strip(), "", first + 1, stop))


def _cell_ms(cell: str, unit: str) -> int:
    given = cell.strip()
    number = DECIMAL.fullmatch(given)
    if number is None:
        return parse_time(given)
    whole, fraction = number.groups()
    if unit == "ms":
        return int(whole) + (fraction is not None and fraction[0] >= "5")
    if unit == "s" or fraction is not None:
        return int(whole) * 1000 + fraction_ms(fraction or "")
    raise TimecodeError(given, "a whole number could be seconds or milliseconds",
                        "Name the column start_s or start_ms.")


def _more_cells(first: int, row: list[str], columns: Columns) -> Problem:
    known = set(columns.at.values())
    others = [cell for position, cell in enumerate(row) if position not in known and cell.strip()]
    text = f"Not taken in from this row: {', '.join(others)[:100]}."
    return Problem(first + 1, "more-cells", "note", text)
