"""`manage.py add_recording`: bring recordings and their transcripts in from the shell, one or a whole folder."""

from __future__ import annotations

import signal
import sys
from argparse import ArgumentParser, RawDescriptionHelpFormatter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _

from archive.access import bringing, manifests, showing, sound, table_rows
from archive.access.gate import Gate
from archive.media.errors import MediaError
from archive.models import Account, TranscriptKind
from archive.models.tags import validate_language_tag

STOPPED = 130  # what a shell gives a command that was interrupted (128 + SIGINT)


class Command(BaseCommand):
    help = (
        "Bring a recording in. The file is kept untouched under its SHA-256; every problem of a transcript is listed "
        "by line; the recording lands closed and waits for the council. Nothing is kept if anything is refused.\n\n"
        "With --manifest, or given a folder that holds one table (.csv): bring in a recording a row. The whole table, "
        "its files and its transcripts are looked over first, and every problem is listed by row and column; if "
        "anything is refused, nothing is taken in, unless --good-rows. Each row is taken in whole or not at all. It "
        "may be stopped (Ctrl-C) and started again: what is in already is passed over."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.formatter_class = RawDescriptionHelpFormatter
        parser.epilog = _columns_in_words()
        parser.add_argument("audio", type=Path, nargs="?", help="the file, or a folder with a table in it")
        parser.add_argument("--manifest", type=Path, help="table of recordings (CSV); its files lie beside it")
        parser.add_argument("--dry-run", action="store_true", help="with a table: look it over and take nothing in")
        parser.add_argument("--good-rows", action="store_true", help="with a table: take the rows in that are good")
        parser.add_argument("--sure", action="store_true", help="with a table: new names close to known ones are meant")
        parser.add_argument(
            "--transcript", action="append", default=[], metavar="FILE[:LANGUAGE[:KIND]]",
            help="SubRip, WebVTT, CSV or timed text; with its language and kind (verbatim, translation or summary) "
            "where they are not the talk's own and verbatim: told.srt:pt:translation; repeatable",
        )
        parser.add_argument(
            "--language", default="en", help="BCP 47 tag of the talk, and of a transcript that names none (default en)"
        )
        parser.add_argument("--encoding", help="of the transcripts, where they do not say")
        parser.add_argument("--title", help="needed without a table")
        parser.add_argument("--date", help="needed without a table; EDTF: 1962-07-14, 1962-07, 1962, 1962~ or 196X")
        parser.add_argument("--speaker", action="append", default=[], help="by name; repeatable")
        parser.add_argument("--circumstances", default="")
        parser.add_argument("--by", help="sign-in name of the archivist who is entrusted with it; needed with a table")

    def handle(self, *args: Any, **options: Any) -> None:
        by = _archivist(options["by"])
        table = _table(options)
        if table is not None:
            self._many(by, table, options)
            return
        missing = [name for name in ("audio", "title", "date") if not options[name]]
        if missing:
            raise CommandError(_("Say what is to be brought in, with --title and --date, or give a table: %(missing)s.")
                               % {"missing": ", ".join(missing)})
        self._one(by, options)

    def _one(self, by: Account | None, options: dict[str, Any]) -> None:
        given = bringing.RecordingGiven(
            title=options["title"],
            recorded_on=options["date"],
            speakers=options["speaker"],
            language=options["language"],
            circumstances=options["circumstances"],
            transcripts=[_transcript(path, options) for path in options["transcript"]],
        )
        audio: Path = options["audio"]
        if not audio.is_file():
            raise CommandError(_("There is no file %s.") % audio)
        try:
            brought = bringing.add_recording(by, self._with_progress(audio), audio.name, given)
        except bringing.Refused as refused:
            self._list(refused.problems)
            raise CommandError(refused.message) from refused
        except ValidationError as error:
            raise CommandError(_spelled(error)) from error
        self._list(brought.problems)
        recording = brought.recording
        self.stdout.write(_("Kept as %(ref)s: SHA-256 %(sum)s, %(seconds).1f s.") % {
            "ref": recording.ref,
            "sum": recording.master.sha256,
            "seconds": recording.master.duration_ms / 1000,
        })
        self._make_access_copy(by, bringing.recording(recording.pk))
        self.stdout.write(_("It is closed and waits for the council."))

    def _many(self, by: Account | None, table: Path, options: dict[str, Any]) -> None:
        if by is None:
            raise CommandError(_("Say with --by who is entrusted with the recordings of the table."))
        source = manifests.Folder(table.parent)
        data = table.read_bytes()
        with _stoppable():
            checked = manifests.check(
                by, data, source, options["sure"], lambda done, all_: self._progress(_("looking over"), done / all_)
            )
            self._list_rows(checked)
            if options["dry_run"] or (not checked.is_good and not options["good_rows"]):
                self._sum_up(checked)
                return
            self._take_rows(by, checked.ready, source)

    def _list_rows(self, checked: manifests.Checked) -> None:
        for one in checked.problems:
            where = _("row %(row)d") % {"row": one.row} if one.row else _("table")
            self.stdout.write(f"{where}: {one.column or '-'}: {one.severity}: {one.text}")

    def _sum_up(self, checked: manifests.Checked) -> None:
        states = [row.state for row in checked.rows]
        counts = {state: states.count(state) for state in ("ready", "kept", "refused")}
        words = _("%(rows)d rows: %(ready)d ready, %(kept)d kept already, %(refused)d refused. Nothing was taken in.")
        self.stdout.write(words % {"rows": len(states), **counts})
        if not checked.is_good:
            raise CommandError(_("Mend what is refused, or take in only the good rows with --good-rows."))

    def _take_rows(self, by: Account, rows: list[manifests.Row], source: manifests.Source) -> None:
        failed = done = 0
        try:
            for taken in manifests.take_in(by, rows, source):
                done += bool(taken.ref)
                failed += not taken.ref
                what = taken.ref or _("not taken in: %(why)s") % {"why": taken.words}
                self.stdout.write(_("row %(row)d: %(file)s: %(what)s") % {
                    "row": taken.row.number, "file": taken.row.file, "what": what})
                self._progress(_("taking in"), (done + failed) / len(rows))
        except KeyboardInterrupt:
            words = _("Stopped: %(done)d of %(all)d rows are in, whole. Give the same command again to go on.")
            raise CommandError(words % {"done": done, "all": len(rows)}, returncode=STOPPED) from None
        self.stdout.write(_("%(done)d of %(all)d rows are in, closed, and wait for the council. The worker makes their "
                            "sound ready (manage.py work).") % {"done": done, "all": len(rows)})
        if failed:
            raise CommandError(_("%(count)d rows were not taken in.") % {"count": failed})

    def _with_progress(self, audio: Path) -> Iterator[bytes]:
        size, done = max(1, audio.stat().st_size), 0
        for block in bringing.file_blocks(audio):
            done += len(block)
            self._progress(_("reading"), done / size)
            yield block

    def _make_access_copy(self, by: Account | None, recording: Any) -> None:
        hearing = showing.hearing_of_recording(Gate(by), recording)
        if hearing is None:
            return
        try:
            sound.prepare(recording, hearing, lambda share: self._progress(_("access copy"), share))
        except MediaError as error:
            words = _("The recording is kept, closed, and its file is safe; only its sound is not ready yet. %(why)s "
                      "The worker makes it once somebody asks for it (manage.py work).")
            why = _("The disk is full: free some space.") if error.code == "disk_full" else error
            raise CommandError(words % {"why": why}) from error

    def _progress(self, what: str, share: float) -> None:
        if sys.stderr.isatty():
            self.stderr.write(f"\r{what} {share:4.0%}", ending="\n" if share >= 1 else "")

    def _list(self, problems: Any) -> None:
        for problem in problems:
            self.stdout.write(
                _("line %(line)d: %(severity)s: %(text)s [%(code)s]")
                % {"line": problem.line, "severity": problem.severity, "text": problem.text, "code": problem.code}
            )


def _columns_in_words() -> str:
    lines = [f"  {name:22}{_('needed; ') if needed else ''}{words}" for name, needed, words in table_rows.COLUMNS]
    return "\n".join([_("Columns of a table, in any order, named in its first row:"), *lines])


def _table(options: dict[str, Any]) -> Path | None:
    """The table that is asked for: named, or the only one in a folder."""
    given: Path | None = options["manifest"]
    folder: Path | None = options["audio"]
    if given is None and (folder is None or not folder.is_dir()):
        return None
    if given is not None:
        if folder is not None:
            raise CommandError(_("Give a file or a table, not both: the files of a table lie beside it."))
        if not given.is_file():
            raise CommandError(_("There is no file %s.") % given)
        return given
    tables = sorted(path for path in (folder or Path()).iterdir() if path.suffix.lower() == ".csv")
    if len(tables) != 1:
        words = _("The folder holds %(count)d tables (.csv). Say which with --manifest.")
        raise CommandError(words % {"count": len(tables)})
    return tables[0]


@contextmanager
def _stoppable() -> Iterator[None]:
    """Let a request to end (SIGTERM) stop the work as Ctrl-C does: after undoing the row under way."""
    def stop(*_why: Any) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _spelled(error: ValidationError) -> str:
    """One line a field: which, and what is amiss."""
    if not hasattr(error, "error_dict"):
        return "\n".join(error.messages)
    return "\n".join(f"{field}: {' '.join(words)}" for field, words in error.message_dict.items())


def _archivist(name: str | None) -> Account | None:
    if name is None:
        return None
    account = Account.objects.filter(username=name, is_active=True).first()
    if account is None or not account.is_archivist:
        raise CommandError(_("%s is not the sign-in name of an archivist.") % name)
    return account


def _transcript(given: str, options: dict[str, Any]) -> bringing.TranscriptGiven:
    """FILE, FILE:LANGUAGE or FILE:LANGUAGE:KIND. A file that has colons in its own name is found by the whole name."""
    path, language, kind = _parted(given)
    if not path.is_file():
        raise CommandError(_("There is no file %s.") % path)
    if kind not in TranscriptKind.values:
        words = _("“%(kind)s” in %(given)s is no kind of transcript. Write one of: %(kinds)s.")
        raise CommandError(words % {"kind": kind, "given": given, "kinds": ", ".join(TranscriptKind.values)})
    try:
        validate_language_tag(language or options["language"])
    except ValidationError as error:
        raise CommandError(f"{given}: {_spelled(error)}") from error
    return bringing.TranscriptGiven(
        path.read_bytes(), path.name, language or options["language"], kind, options["encoding"]
    )


def _parted(given: str) -> tuple[Path, str, str]:
    """The file, its language (may be empty) and its kind."""
    readings = [given.rsplit(":", parts) for parts in range(3)]
    file, *about = next((one for one in readings if Path(one[0]).is_file()), [given])
    language, kind = [*about, *("", TranscriptKind.VERBATIM.value)[len(about) :]]
    return Path(file), language, kind
