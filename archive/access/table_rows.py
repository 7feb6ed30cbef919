"""The table that describes recordings (CSV), read into rows by column; what is amiss names its row and column.

Rows are counted as a spreadsheet does, the first line being row 1.
"""

from __future__ import annotations

import csv
import difflib
from collections.abc import Sequence
from dataclasses import dataclass, field

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from ..timecode.decoding import decode_lines

MOST_BYTES = 1 << 20
MOST_ROWS = 2_000
TRANSCRIPTS = ("", "_2", "_3")
COLUMNS: tuple[tuple[str, bool, str | Promise], ...] = (
    ("file", True, gettext_lazy("name of the sound or film; in a folder, with folders inside it: tapes/one.wav")),
    ("title", True, gettext_lazy("title of the recording")),
    ("recorded_on", True, gettext_lazy("1962-07-14, 1962-07, 1962, 1962~ (about) or 196X (the 1960s)")),
    ("language", False, gettext_lazy("language spoken, as a BCP 47 tag; empty for the house's own")),
    ("speakers", False, gettext_lazy("who is heard; several with semicolons between them")),
    ("places", False, gettext_lazy("where it was recorded; places that are known already")),
    ("circumstances", False, gettext_lazy("who recorded it, for what, who else was there")),
    ("transcript", False, gettext_lazy("name of a transcript; two more in transcript_2 and transcript_3")),
    ("transcript_language", False, gettext_lazy("its language, if not the one spoken (transcript_2_language …)")),
    ("transcript_kind", False, gettext_lazy("verbatim, translation or summary; empty for verbatim")),
    ("transcript_encoding", False, gettext_lazy("only where letters come out wrong: windows-1252 …")),
)
NEEDED = tuple(name for name, is_needed, _words in COLUMNS if is_needed)


_ABOUT_TRANSCRIPT = ("_language", "_kind", "_encoding")


def column_names() -> list[str]:
    """All columns there can be."""
    plain = [name for name, _needed, _words in COLUMNS if not name.startswith("transcript")]
    return plain + [f"transcript{which}{part}" for which in TRANSCRIPTS for part in ("", *_ABOUT_TRANSCRIPT)]


@dataclass(frozen=True)
class Problem:
    """What is amiss in the table. `row` 0 is the table as a whole; `severity` is note, warning or refused."""

    row: int
    column: str
    severity: str
    text: str


@dataclass
class Table:
    rows: list[tuple[int, dict[str, str]]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def refuse(self, row: int, column: str, text: str) -> None:
        self.problems.append(Problem(row, column, "refused", text))


def read(data: bytes) -> Table:
    """The rows of a table by column; blank rows are counted and passed over."""
    table = Table()
    if len(data) > MOST_BYTES:
        table.refuse(0, "", _("The table is larger than %(most)d MB. Split it.") % {"most": MOST_BYTES >> 20})
        return table
    decoded = decode_lines(data)
    table.problems += [Problem(one.line, "", one.severity, one.text) for one in decoded.problems]
    lines = [f"{line}\n" for line in decoded.lines]
    names: list[str] = []
    cells_of = csv.reader(lines, delimiter=delimiter_of(lines), strict=True)
    try:
        for number, cells in enumerate(cells_of, start=1):
            if not any(cell.strip() for cell in cells):
                continue
            if not names:
                names = _header(table, number, cells)
            elif len(table.rows) < MOST_ROWS:
                _take_cells(table, number, names, cells)
    except csv.Error as error:
        words = _("A row near line %(line)d cannot be read (%(why)s). Put quotes round cells with commas in them.")
        table.refuse(0, "", words % {"line": cells_of.line_num, "why": error})
    if not names:
        table.refuse(0, "", _("The table is empty. Its first row names the columns: %(names)s.")
                     % {"names": ", ".join(NEEDED)})
    if len(table.rows) >= MOST_ROWS:
        table.refuse(0, "", _("The table has more than %(most)d rows. Split it.") % {"most": MOST_ROWS - 1})
    return table


def delimiter_of(lines: Sequence[str]) -> str:
    """The one of comma, semicolon and tab that the first filled line has most of."""
    first = next((line for line in lines if line.strip()), "")
    return max(",;\t", key=first.count)


def _header(table: Table, number: int, cells: Sequence[str]) -> list[str]:
    names = ["_".join(cell.strip().casefold().replace("_", " ").split()) for cell in cells]
    known = column_names()
    for name in dict.fromkeys(names):
        if name and name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            words = _("No column is called “%(name)s”; it is passed over.") % {"name": name[:60]}
            meant = " " + _("Did you mean %(near)s?") % {"near": near[0]} if near else ""
            table.problems.append(Problem(number, name[:60], "warning", words + meant))
        elif name and names.count(name) > 1:
            table.refuse(number, name, _("This column stands there twice."))
    for name in NEEDED:
        if name not in names:
            table.refuse(number, name, _("The column is missing. The first row names the columns."))
    return names


def _take_cells(table: Table, number: int, names: Sequence[str], cells: Sequence[str]) -> None:
    if any(cell.strip() for cell in cells[len(names) :]):
        table.refuse(number, "", _("There are more cells than columns. Put quotes round cells with commas in them."))
    table.rows.append((number, {name: cell.strip() for name, cell in zip(names, cells, strict=False)}))
