"""The sky on the command line; the answers themselves are made in ``archive.sky.verbs``."""

import argparse
import json
import sys
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from archive.sky import SkyError
from archive.sky.verbs import ARGUMENTS, VERBS, answer, answer_lines

_NUMBERS = ("hip", "year", "lat", "lon", "altitude", "azimuth", "limit", "skyline", "extinction")
_FLAGS = ("no_refraction", "south")
_HELP = {
    "hip": "Hipparcos number of a star", "body": "sun, moon, mercury, venus, mars, jupiter or saturn",
    "year": "astronomical year (0 is 1 BC)", "lat": "latitude in degrees, north positive",
    "lon": "longitude in degrees, east positive", "at": "instant, ISO 8601 UTC, like 2025-06-21T22:30:00Z",
    "date": "day, like 2025-06-21", "altitude": "degrees; for rise the TRUE altitude taken as the horizon, for "
    "bearing the skyline as measured", "azimuth": "degrees from north through east",
    "frame": "icrs, mean, true or apparent", "limit": "faintest magnitude", "skyline": "true altitude in degrees",
    "horizon": "a file of the skyline, azimuth and altitude as measured in each line", "extinction": "magnitudes "
    "that the air takes overhead, like 0.25: a star then counts from where it is seen",
    "no_refraction": "take measured altitudes as true", "south": "the south pole"}


class Command(BaseCommand):
    """``manage.py sky VERB ... [--json]`` and ``manage.py sky batch`` (one JSON object a line, both ways)."""

    help = ("Answers questions about the sky: where a star or the pole stands in any year from -10000 to 10000, "
            "when and where something rises, what a bearing points at, a star's first and last nights. Angles "
            "are degrees, times UTC. 'batch' reads one JSON object a line and writes one answer a line.")

    def add_arguments(self, parser: CommandParser) -> None:
        """One sub-command per verb."""
        verbs = parser.add_subparsers(dest="verb", required=True, metavar="VERB")
        for verb, function in VERBS.items():
            sub = verbs.add_parser(verb, help=(function.__doc__ or "").strip(), description=function.__doc__)
            for name in ARGUMENTS[verb]:
                self._add(sub, name)
            sub.add_argument("--json", action="store_true", help="answer as one JSON object")
        batch = verbs.add_parser("batch", help="many requests, one JSON object a line on standard input")
        batch.add_argument("--json", action="store_true", help="accepted for likeness; batch always writes JSON")

    @staticmethod
    def _add(parser: argparse.ArgumentParser, name: str) -> None:
        option = "--" + name.replace("_", "-")
        if name in _FLAGS:
            parser.add_argument(option, action="store_true", help=_HELP[name])
        else:
            parser.add_argument(option, type=float if name in _NUMBERS else str, help=_HELP[name])

    def handle(self, *args: Any, **options: Any) -> None:
        """Prints one answer, or one for each line of input."""
        if options["verb"] == "batch":
            for line in answer_lines(sys.stdin):
                self.stdout.write(line)
            return
        names = ARGUMENTS[options["verb"]]
        request = {"verb": options["verb"], **{k: options[k] for k in names if options.get(k) is not None}}
        try:
            result = answer(request)
        except SkyError as problem:
            raise CommandError(str(problem)) from None
        self.stdout.write(json.dumps(result, ensure_ascii=False) if options["json"] else _plain(result))


def _plain(result: dict[str, Any], indent: str = "") -> str:
    """An answer as indented lines for people."""
    lines = []
    for key, value in result.items():
        if isinstance(value, dict):
            lines += [f"{indent}{key}:", _plain(value, indent + "  ")]
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            lines.append(f"{indent}{key}:")
            lines += [f"{indent}  - " + ", ".join(f"{k} {v}" for k, v in item.items()) for item in value]
        else:
            shown = ", ".join(map(str, value)) if isinstance(value, list) else value
            lines.append(f"{indent}{key}: {'-' if shown is None or shown == '' else shown}")
    return "\n".join(lines)
