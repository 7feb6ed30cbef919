# ruff: noqa: N999 - Django finds a command by the name of its file, and this one is called suggest-cuts.
"""Where a transcript might be cut, on the command line; reckoned in ``archive.timecode``."""

import json
import sys
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.translation import gettext as _

from archive.timecode.readers import read_transcript
from archive.timecode.reports import cuts_report
from archive.timecode.times import format_clock


class Command(BaseCommand):
    """``manage.py suggest-cuts FILE [--segments N] [--encoding E] [--json]``."""

    help = ("Suggests where a transcript, or a text with one sentence a line, passes to another topic: the numbers "
            "of the cues, from 1, after which a cut falls. From the words alone; a person decides.")
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE")
        parser.add_argument("--segments", type=int, help="how many segments to make; found from the words if not given")
        parser.add_argument("--encoding", help="how the file was saved, such as windows-1252")
        parser.add_argument("--json", action="store_true", help='print {"boundaries": […], "segments": […], …}')

    def handle(self, *args: Any, **options: Any) -> None:
        file = options["file"]
        if options["segments"] is not None and options["segments"] < 1:
            raise CommandError(_("--segments must be 1 or more."))
        try:
            data = Path(file).read_bytes()
        except (OSError, ValueError) as error:
            raise CommandError(_("%(file)s cannot be opened: %(why)s. Check its name.") % {
                "file": file, "why": getattr(error, "strerror", None) or error}) from None
        transcript = read_transcript(data, Path(file).name, options["encoding"])
        refused = [problem for problem in transcript.problems if problem.severity == "refused"]
        for problem in refused:
            where = _("line %(line)d") % {"line": problem.line} if problem.line else _("file")
            self.stderr.write(f"{where}: {problem.text}")
        if not transcript.cues and refused:
            sys.exit(1)
        report = cuts_report(file, transcript.cues, options["segments"])
        self.stdout.write(json.dumps(report, ensure_ascii=False) if options["json"] else _plain(report))


def _plain(report: dict[str, Any]) -> str:
    if not report["boundaries"]:
        return _("No cut is suggested.")
    return "\n".join(_segment_line(segment) for segment in report["segments"])


def _segment_line(segment: dict[str, Any]) -> str:
    times = "".join(f"  {format_clock(segment[name])}" for name in ("start_ms", "end_ms") if segment[name] is not None)
    cues = _("cues %(first)d to %(last)d") % {"first": segment["first_cue"], "last": segment["last_cue"]}
    return cues + times
