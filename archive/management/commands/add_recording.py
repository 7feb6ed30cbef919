"""`manage.py add_recording`: bring a recording and its transcripts in from the shell."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _

from archive.access import bringing, showing, sound
from archive.access.gate import Gate
from archive.models import Account


class Command(BaseCommand):
    help = (
        "Bring a recording in. The file is kept untouched under its SHA-256; every problem of a transcript is listed "
        "by line; the recording lands closed and waits for the council. Nothing is kept if anything is refused."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("audio", type=Path)
        parser.add_argument(
            "--transcript", type=Path, action="append", default=[], help="SubRip, WebVTT, CSV or timed text; repeatable"
        )
        parser.add_argument("--language", default="en", help="BCP 47 tag of the talk and its transcripts (default en)")
        parser.add_argument("--encoding", help="of the transcripts, where they do not say")
        parser.add_argument("--title", required=True)
        parser.add_argument("--date", required=True, help="EDTF: 1962-07-14, 1962-07, 1962, 1962~ or 196X")
        parser.add_argument("--speaker", action="append", default=[], help="by name; repeatable")
        parser.add_argument("--circumstances", default="")
        parser.add_argument("--by", help="sign-in name of the archivist who is entrusted with it")

    def handle(self, *args: Any, **options: Any) -> None:
        by = _archivist(options["by"])
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

    def _with_progress(self, audio: Path) -> Iterator[bytes]:
        size, done = max(1, audio.stat().st_size), 0
        for block in bringing.file_blocks(audio):
            done += len(block)
            self._progress(_("reading"), done / size)
            yield block

    def _make_access_copy(self, by: Account | None, recording: Any) -> None:
        hearing = showing.hearing_of_recording(Gate(by), recording)
        if hearing is not None:
            sound.prepare(recording, hearing, lambda share: self._progress(_("access copy"), share))

    def _progress(self, what: str, share: float) -> None:
        if sys.stderr.isatty():
            self.stderr.write(f"\r{what} {share:4.0%}", ending="\n" if share >= 1 else "")

    def _list(self, problems: Any) -> None:
        for problem in problems:
            self.stdout.write(
                _("line %(line)d: %(severity)s: %(text)s [%(code)s]")
                % {"line": problem.line, "severity": problem.severity, "text": problem.text, "code": problem.code}
            )


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


def _transcript(path: Path, options: dict[str, Any]) -> bringing.TranscriptGiven:
    if not path.is_file():
        raise CommandError(_("There is no file %s.") % path)
    return bringing.TranscriptGiven(
        path.read_bytes(), path.name, options["language"], encoding=options["encoding"]
    )
