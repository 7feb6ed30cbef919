"""Times on the command line; they are read in ``archive.timecode``."""

import json
import re
import sys
from collections.abc import Iterable, Iterator
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.translation import gettext as _

from archive.timecode.reports import time_answer
from archive.timecode.times import format_clock


class Command(BaseCommand):
    """``manage.py timecode TEXT [--rate R] [--json]`` and ``manage.py timecode --batch``."""

    help = ("Reads a time and says it in milliseconds: 1:02:03.5, 0:07, 01:02:03,500, PT1H2M3.5S, frame labels "
            "such as 00:01:00;02 with --rate, and Media Fragments such as #t=10,20. Ends with 1 if it cannot.")
    requires_system_checks: list[str] = []

    def run_from_argv(self, argv: list[str]) -> None:
        """Let a time with a minus sign through, so that its refusal is ours and not that of the options."""
        super().run_from_argv([f" {part}" if re.match(r"-[0-9]", part) else part for part in argv])

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("text", nargs="?", help="the time to read")
        parser.add_argument("--rate", help="frames a second: 25, 29.97, 30000/1001; only for frame labels")
        parser.add_argument("--json", action="store_true", help='print {"ms": …} or {"error": …}')
        parser.add_argument("--batch", action="store_true",
                            help='read objects {"text", "rate"} from standard input, one a line, and answer so')

    def handle(self, *args: Any, **options: Any) -> None:
        if options["batch"]:
            for answer in _answers(sys.stdin):
                self.stdout.write(json.dumps(answer, ensure_ascii=False))
            return
        if options["text"] is None:
            raise CommandError(_("Give a time, such as 1:02:03.5, or --batch."))
        answer = time_answer(options["text"], options["rate"])
        if options["json"]:
            self.stdout.write(json.dumps(answer, ensure_ascii=False))
        elif "error" in answer:
            raise CommandError(answer["error"])
        else:
            self.stdout.write(_plain(answer))
        if "error" in answer:
            sys.exit(1)


def _answers(lines: Iterable[str]) -> Iterator[dict[str, Any]]:
    for line in lines:
        if line.strip():
            yield _batch_answer(line)


def _batch_answer(line: str) -> dict[str, Any]:
    try:
        asked = json.loads(line)
    except (ValueError, RecursionError):
        asked = None
    if not isinstance(asked, dict):
        return {"error": _('This line is not an object such as {"text": "0:07"}.')}
    return time_answer(asked.get("text"), asked.get("rate"))


def _plain(answer: dict[str, Any]) -> str:
    if "ms" in answer:
        return _("%(ms)d ms (%(clock)s)") % {"ms": answer["ms"], "clock": format_clock(answer["ms"])}
    if answer["end_ms"] is None:
        return _("from %(start)d ms to the end") % {"start": answer["start_ms"]}
    return _("from %(start)d ms to %(end)d ms") % {"start": answer["start_ms"], "end": answer["end_ms"]}
