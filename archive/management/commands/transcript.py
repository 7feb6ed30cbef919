"""Transcript files looked through on the command line, and given back as they came."""

import json
import sys
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from archive.access import words
from archive.timecode.readers import read_transcript
from archive.timecode.reports import transcript_report, unreadable_report


class Command(BaseCommand):
    """``manage.py transcript check FILE... [--encoding E] [--json]`` and ``transcript original ADDRESS --out FILE``."""

    help = ("check: looks through transcripts (SubRip, WebVTT, plain text, tables) without taking them in, and lists "
            "every problem by line. Ends with 1 if anything in them was refused. original: writes the file that a "
            "transcript of the archive was read from, byte for byte, and enters it in the ledger.")
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        verbs = parser.add_subparsers(dest="verb", required=True, metavar="VERB")
        check = verbs.add_parser("check", help="list the problems of transcript files by line")
        check.add_argument("files", nargs="+", metavar="FILE")
        check.add_argument("--encoding", help="how the files were saved, such as windows-1252")
        check.add_argument("--json", action="store_true", help="one object a file, one a line")
        original = verbs.add_parser("original", help="write the file as it came; nothing in it is masked or left out")
        original.add_argument("address", help="the transcript's address on its pages, such as 3gqrh72xdnrb")
        original.add_argument("--out", required=True, metavar="FILE", help="a file that is not there yet")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["verb"] == "original":
            self._take_out(options["address"], Path(options["out"]))
        else:
            self._check(options)

    def _take_out(self, address: str, out: Path) -> None:
        try:
            with out.open("xb") as file:
                found = words.original(address)
                if found is not None:
                    file.write(found[1])
        except OSError as error:
            raise CommandError(_("%(file)s cannot be written: %(why)s") % {
                "file": out, "why": error.strerror or str(error)}) from error
        if found is None:
            out.unlink()
            raise CommandError(_("No transcript has the address %(address)s. It stands in the address of its page, "
                                 "after /desk/transcripts/.") % {"address": address})
        self.stdout.write(_("%(name)s is in %(file)s, as it came.") % {"name": found[0], "file": out})

    def _check(self, options: dict[str, Any]) -> None:
        refused = False
        for file in options["files"]:
            report, encoding = _report(file, options["encoding"])
            self.stdout.write(json.dumps(report, ensure_ascii=False) if options["json"] else _plain(report, encoding))
            refused = refused or any(problem["severity"] == "refused" for problem in report["problems"])
        if refused:
            sys.exit(1)


def _report(file: str, encoding: str | None) -> tuple[dict[str, Any], str]:
    """Return what is told of a file, and the encoding that it was read in."""
    try:
        data = Path(file).read_bytes()
    except (OSError, ValueError) as error:
        return unreadable_report(file, getattr(error, "strerror", None) or str(error)), ""
    transcript = read_transcript(data, Path(file).name, encoding)
    return transcript_report(file, transcript), transcript.encoding


def _plain(report: dict[str, Any], encoding: str) -> str:
    count = len(report["cues"])
    cues = ngettext("%(count)d cue", "%(count)d cues", count) % {"count": count}
    lines = [f"{report['file']}: {report['format'] or '-'}, {encoding or '-'}, {cues}"]
    names = {"note": _("note"), "warning": _("warning"), "refused": _("refused")}
    lines += [f"  {_place(problem['line'])}: {names[problem['severity']]}: {problem['text']} ({problem['code']})"
              for problem in report["problems"]]
    return "\n".join(lines)


def _place(line: int) -> str:
    return _("line %(line)d") % {"line": line} if line else _("file")
