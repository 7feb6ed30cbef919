"""Recordings described in a table (CSV), a row a recording: looked over whole before anything is taken in.

Each row is taken in by itself, whole or not at all; a file that is kept already (by its SHA-256) is passed over, so
that work that was stopped goes on where it was when the same table is given again. Files are looked for in a `Source`:
a folder, or what an archivist has uploaded. A problem names its row as a spreadsheet counts them, the first line being
row 1, and its column.
"""

from __future__ import annotations

import codecs
import difflib
import unicodedata
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Protocol

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from ..models import Account, Kind, TranscriptKind
from ..models.tags import validate_event_date, validate_language_tag
from . import bringing, desk, folders, showing, uploads
from .bringing import Brought, RecordingGiven, Refused, TranscriptGiven
from .gate import Gate
from .table_rows import NEEDED, TRANSCRIPTS, Problem, read

LONGEST_TITLE = LONGEST_NAME = 200
LONGEST_CIRCUMSTANCES = 20_000
MOST_PROBLEMS_A_FILE = 20


@dataclass(frozen=True)
class NamedTranscript:
    name: str
    language: str
    kind: str
    encoding: str


@dataclass(frozen=True)
class Row:
    """One row as looked over. `state`: `ready`, `kept` (in the archive already) or `refused`."""

    number: int
    file: str
    title: str
    recorded_on: str
    state: str
    language: str = ""
    circumstances: str = ""
    speakers: tuple[str, ...] = ()
    people: tuple[int, ...] = ()
    places: tuple[int, ...] = ()
    transcripts: tuple[NamedTranscript, ...] = ()
    duration_ms: int = 0
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True)
class Checked:
    rows: list[Row]
    problems: list[Problem]  # of the table as a whole, and of all its rows, in order

    @property
    def ready(self) -> list[Row]:
        return [row for row in self.rows if row.state == "ready"]

    @property
    def is_good(self) -> bool:
        return not any(problem.severity == "refused" for problem in self.problems)


@dataclass(frozen=True)
class Taken:
    """What became of a row: the address of its recording, or why there is none."""

    row: Row
    ref: str = ""
    words: str = ""
    is_storage: bool = False


# --- where the files are ---


class Source(Protocol):
    def find(self, name: str) -> Path | None: ...

    def names(self) -> list[str]: ...

    def take_in(self, by: Account, name: str, given: RecordingGiven) -> Brought: ...

    def done_with(self, by: Account, row: Row) -> None: ...


def _same(name: str) -> str:
    """Names of files are compared with their letters composed: some systems take them apart (Unicode NFC)."""
    return unicodedata.normalize("NFC", name)


class Folder:
    """Files under a folder; nothing outside it is found, whatever a row says."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder.resolve()
        self._found: dict[str, Path] | None = None

    def _files(self) -> dict[str, Path]:
        if self._found is None:
            inside = [path for path in self.folder.rglob("*") if path.is_file() and self._is_inside(path)]
            self._found = {_same(path.relative_to(self.folder).as_posix()): path for path in inside}
        return self._found

    def _is_inside(self, path: Path) -> bool:
        return path.resolve().is_relative_to(self.folder)

    def find(self, name: str) -> Path | None:
        return self._files().get(_same(PurePosixPath(name.replace("\\", "/")).as_posix()))

    def names(self) -> list[str]:
        return sorted(self._files())

    def take_in(self, by: Account, name: str, given: RecordingGiven) -> Brought:
        path = self.find(name)
        if path is None:
            raise Refused(_("The file is no longer there."))
        return bringing.add_recording(by, bringing.file_blocks(path), path.name, given)

    def done_with(self, by: Account, row: Row) -> None:
        """The folder is its owner's; nothing in it is touched."""


class Arrived:
    """What an archivist has uploaded, by the names the files had."""

    def __init__(self, account: Account) -> None:
        here = [one for one in uploads.mine(account) if one.is_here]
        self.refs = {_same(one.original_name): one.ref for one in reversed(here)}

    def find(self, name: str) -> Path | None:
        ref = self._ref(name)
        return folders.part_path(ref) if ref else None

    def _ref(self, name: str) -> str | None:
        return self.refs.get(_same(name)) or self.refs.get(_same(PurePosixPath(name.replace("\\", "/")).name))

    def names(self) -> list[str]:
        return sorted(self.refs)

    def take_in(self, by: Account, name: str, given: RecordingGiven) -> Brought:
        return bringing.add_upload(by, self._ref(name) or "", given)

    def done_with(self, by: Account, row: Row) -> None:
        """Forget the uploads of a row that is in the archive."""
        for name in (row.file, *(one.name for one in row.transcripts)):
            ref = self._ref(name)
            if ref:
                uploads.drop(by, ref)


# --- looking it over ---


class _Look:
    """One row being looked over: what it says, and what is amiss in it."""

    def __init__(self, over: _Over, number: int, cells: dict[str, str]) -> None:
        self.over, self.number, self.cells = over, number, cells
        self.problems: list[Problem] = []

    def say(self, column: str, text: str, severity: str = "refused") -> None:
        self.problems.append(Problem(self.number, column, severity, text))

    def cell(self, column: str, validate: Callable[[str], None] | None = None, most: int | None = None) -> str:
        text = self.cells.get(column, "")
        if not text and column in NEEDED:
            self.say(column, _("Nothing stands here; it is needed."))
        if most is not None and len(text) > most:
            self.say(column, _("This is longer than %(most)d letters.") % {"most": most})
        elif text and validate is not None:
            try:
                validate(text)
            except ValidationError as error:
                self.say(column, " ".join(error.messages))
        return text

    @property
    def is_refused(self) -> bool:
        return any(problem.severity == "refused" for problem in self.problems)

    def row(self) -> Row:
        file = self.cell("file")
        language = self.cell("language", validate_language_tag) or self.over.language
        people, new = self.names("speakers", self.over.people, makes_new=True)
        places, _none = self.names("places", self.over.places)
        plain = {
            "title": self.cell("title", most=LONGEST_TITLE),
            "recorded_on": self.cell("recorded_on", validate_event_date, most=40),
            "circumstances": self.cell("circumstances", most=LONGEST_CIRCUMSTANCES),
        }
        transcripts = [self.transcript(f"transcript{which}", language) for which in TRANSCRIPTS]
        named = tuple(one for one in transcripts if one is not None)
        duration_ms, is_kept = self.sound(file, named)
        state = "kept" if is_kept else "refused" if self.is_refused else "ready"
        if is_kept:
            self.problems = [one for one in self.problems if one.severity == "note"]
        return Row(
            self.number, file, state=state, language=language, speakers=tuple(new), people=tuple(people),
            places=tuple(places), transcripts=named, duration_ms=duration_ms, problems=tuple(self.problems), **plain,
        )

    def names(self, column: str, known: desk.Known, makes_new: bool = False) -> tuple[list[int], list[str]]:
        """Numbers of those that are known, and the names of those who are new."""
        numbers, new = [], []
        for text in filter(None, (part.strip() for part in self.cells.get(column, "").split(";"))):
            labels = known.find(text)
            if len(labels) == 1:
                numbers.append(labels[0].number)
            elif labels:
                written = "; ".join(f"{label.text} [{label.ref}]" for label in labels)
                self.say(column, _("Several go by “%(name)s”. Write one of: %(choices)s")
                         % {"name": text, "choices": written})
            elif len(text) > LONGEST_NAME:
                self.say(column, _("A name is longer than %(most)d letters; put semicolons between names.")
                         % {"most": LONGEST_NAME})
            else:
                self.new_name(column, text, known, makes_new)
                new.append(text)
        return list(dict.fromkeys(numbers)), list(dict.fromkeys(new))

    def new_name(self, column: str, text: str, known: desk.Known, makes_new: bool) -> None:
        near = ", ".join(f"“{label.text}”" for label in known.like(text))
        if not makes_new:
            words = _("Nothing is known by “%(name)s”. Mend the spelling, or add it from the desk first.")
            self.say(column, words % {"name": text} + (" " + _("Did you mean %(near)s?") % {"near": near}
                                                       if near else ""))
        elif near:
            words = _("“%(name)s” is new, but close to %(near)s. Mend the spelling, or say that new names are meant.")
            self.say(column, words % {"name": text, "near": near}, "warning" if self.over.is_sure else "refused")
        else:
            self.say(column, _("“%(name)s” is new and will be written in.") % {"name": text}, "note")

    def transcript(self, column: str, language: str) -> NamedTranscript | None:
        name = self.cells.get(column, "")
        spoken = self.cell(f"{column}_language", validate_language_tag)
        kind = self.cell(f"{column}_kind", _validate_kind).casefold()
        encoding = self.cell(f"{column}_encoding", _validate_encoding)
        if name:
            return NamedTranscript(name, spoken or language, kind or TranscriptKind.VERBATIM, encoding)
        if spoken or kind or encoding:
            self.say(column, _("What the transcript is like stands there, but no file."))
        return None

    def found(self, column: str, name: str) -> Path | None:
        path = self.over.source.find(name) if name else None
        if name and path is None:
            near = difflib.get_close_matches(name, self.over.source.names(), n=1, cutoff=0.7)
            words = _("There is no file “%(name)s”.") % {"name": name}
            self.say(column, words + (" " + _("Did you mean %(near)s?") % {"near": near[0]} if near else ""))
        return path

    def sound(self, name: str, transcripts: Sequence[NamedTranscript]) -> tuple[int, bool]:
        """How long the sound is, and whether it is kept already; its transcripts are read against it."""
        path = self.found("file", name)
        texts = [self.found(f"transcript{which}", one.name)
                 for which, one in zip(TRANSCRIPTS, transcripts, strict=False)]
        if path is None:
            return 0, False
        try:
            looked = bringing.look_over(path, PurePosixPath(name).name)
        except Refused as refused:
            self.say("file", refused.message)
            return 0, False
        if looked.is_kept:
            self.say("file", _("This very file is kept already; the row is passed over."), "note")
            return looked.duration_ms, True
        first = self.over.sums.setdefault(looked.sha256, self.number)
        if first != self.number:
            self.say("file", _("Row %(row)d has the very same file.") % {"row": first})
        for which, one, text in zip(TRANSCRIPTS, transcripts, texts, strict=False):
            if text is not None:
                self.read_text(f"transcript{which}", _given(one, text), looked.duration_ms)
        return looked.duration_ms, False

    def read_text(self, column: str, given: TranscriptGiven, duration_ms: int) -> None:
        try:
            problems = bringing.read_over(given, duration_ms)
        except Refused as refused:
            self.say(column, refused.message)
            problems = refused.problems
        for problem in problems[:MOST_PROBLEMS_A_FILE]:
            words = _("line %(line)d: %(text)s") % {"line": problem.line, "text": problem.text}
            self.say(column, words, "note" if problem.severity == "note" else "warning")
        if len(problems) > MOST_PROBLEMS_A_FILE:
            self.say(column, _("and %(count)d lines more") % {"count": len(problems) - MOST_PROBLEMS_A_FILE}, "warning")


def _validate_kind(text: str) -> None:
    if text.casefold() not in TranscriptKind.values:
        raise ValidationError(_("“%(kind)s” is none of verbatim, translation and summary.") % {"kind": text[:40]})


def _validate_encoding(text: str) -> None:
    try:
        codecs.lookup(text)
    except (LookupError, ValueError) as error:
        raise ValidationError(_("No encoding is called “%(name)s”.") % {"name": text[:40]}) from error


def _given(one: NamedTranscript, path: Path) -> TranscriptGiven:
    return TranscriptGiven(
        path.read_bytes(), PurePosixPath(one.name).name, one.language, one.kind, one.encoding or None
    )


@dataclass
class _Over:
    """What all rows are looked over against."""

    source: Source
    people: desk.Known
    places: desk.Known
    language: str
    is_sure: bool
    sums: dict[str, int] = field(default_factory=dict)


def check(
    by: Account,
    data: bytes,
    source: Source,
    is_sure: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Checked:
    """Look a table over, its files and transcripts included; nothing is kept. `is_sure`: new names are meant.

    `progress` is told how many rows are looked over and how many there are.
    """
    table = read(data)
    gate = Gate(by)
    over = _Over(source, desk.known(gate, Kind.PERSON), desk.known(gate, Kind.PLACE), showing.house().language, is_sure)
    rows = []
    if not any(problem.severity == "refused" and problem.row <= 1 for problem in table.problems):
        for number, cells in table.rows:
            rows.append(_Look(over, number, cells).row())
            if progress is not None:
                progress(len(rows), len(table.rows))
    return Checked(rows, table.problems + [problem for row in rows for problem in row.problems])


# --- taking in ---


def take_in(by: Account, rows: Sequence[Row], source: Source) -> Iterator[Taken]:
    """Take rows in one by one, each whole or not at all. Stops at the first the disk has no room for."""
    for row in rows:
        taken = _one(by, row, source)
        yield taken
        if taken.is_storage:
            return


def _one(by: Account, row: Row, source: Source) -> Taken:
    try:
        brought = source.take_in(by, row.file, _recording_given(row, source))
    except Refused as refused:
        return Taken(row, words=refused.message, is_storage=refused.is_storage)
    except ValidationError as error:
        return Taken(row, words=" ".join(error.messages))
    except OSError as error:
        return Taken(row, words=str(error.strerror or error))
    source.done_with(by, row)
    return Taken(row, brought.recording.ref)


def _recording_given(row: Row, source: Source) -> RecordingGiven:
    found = [(one, source.find(one.name)) for one in row.transcripts]
    missing = [one.name for one, path in found if path is None]
    if missing:
        raise Refused(_("There is no file “%(name)s”.") % {"name": missing[0]})
    return RecordingGiven(
        title=row.title,
        recorded_on=row.recorded_on,
        speakers=row.speakers,
        people=row.people,
        places=row.places,
        language=row.language,
        circumstances=row.circumstances,
        transcripts=[_given(one, path) for one, path in found if path is not None],
    )
