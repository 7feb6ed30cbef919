"""Transcript files looked through on the command line; they are read in ``archive.timecode``."""

import json
import sys
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from archive.timecode.readers import read_transcript
from archive.timecode.reports import transcript_report, unreadable_report


class Command(BaseCommand):
    """``manage.py transcript check FILE... [--encoding E] [--json]``."""

    help = ("Looks through transcripts (SubRip, WebVTT, plain text, tables) without taking them in, and lists "
            "every problem by line. Ends with 1 if anything in them was refused.")
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        verbs = parser.add_subparsers(dest="verb", required=True, metavar="VERB")
        check = verbs.add_parser("check", help="list the problems of transcript files by line")
        check.add_argument("files", nargs="+", metavar="FILE")
        check.add_argument("--encoding", help="how the files were saved, such as windows-1252")
        check.add_argument("--json", action="store_true", help="one object a file, one a line")

    def handle(self, *args: Any, **options: Any) -> None:
        refused = False
        for file in options["files"]:
            report = _report(file, options["encoding"])
            self.stdout.write(json.dumps(report, ensure_ascii=False) if options["json"] else _plain(report))
            refused = refused or any(problem["severity"] == "refused" for problem in report["problems"])
        if refused:
            sys.exit(1)


def _report(file: str, encoding: str | None) -> dict[str, Any]:
    try:
        data = Path(file).read_bytes()
    except (OSError, ValueError) as error:
        return unreadable_report(file, getattr(error, "strerror", None) or str(error))
    return transcript_report(file, read_transcript(data, Path(file).name, encoding))


def _plain(report: dict[str, Any]) -> str:
    count = len(report["cues"])
    cues = ngettext("%(count)d cue", "%(count)d cues", count) % {"count": count}
    lines = [f"{report['file']}: {report['format'] or '-'}, {report['encoding'] or '-'}, {cues}"]
    names = {"note": _("note"), "warning": _("warning"), "refused": _("refused")}
    lines += [f"  {_place(problem['line'])}: {names[problem['severity']]}: {problem['text']} ({problem['code']})"
              for problem in report["problems"]]
    return "\n".join(lines)


def _place(line: int) -> str:
    return _("line %(line)d") % {"line": line} if line else _("file")
