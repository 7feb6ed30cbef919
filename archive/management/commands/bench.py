"""`manage.py bench NAME`: speed and memory, side by side with a peer in the same run, as ratios."""

from __future__ import annotations

import importlib
import json
import pkgutil
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from archive.management import bench

# What every figure says of itself; `ratio` is in the sense of its goal, and `unit` says which.
COLUMNS = ("name", "ours", "peer", "ratio", "unit", "goal", "holds")


def names() -> list[str]:
    return sorted(module.name for module in pkgutil.iter_modules(bench.__path__) if not module.name.startswith("_"))


class Command(BaseCommand):
    help = "Measure. Machines are noisy: both sides of a ratio are measured in one run, medians of several rounds."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", nargs="?", help="one of: " + ", ".join(names()))
        parser.add_argument("--json", action="store_true", help="a JSON object a figure, one a line")
        parser.add_argument("--worlds", type=int, help="how many random worlds (twin, oracle)")

    def handle(self, *args: Any, **options: Any) -> None:
        name = options["name"]
        if name not in names():
            raise CommandError("Name one of: " + ", ".join(names()))
        module = importlib.import_module(f"archive.management.bench.{name}")
        given = {"worlds": options["worlds"]} if options["worlds"] else {}
        for row in module.rows(**given):
            self._show({column: row.get(column) for column in COLUMNS}, options["json"])

    def _show(self, row: dict[str, Any], as_json: bool) -> None:
        if as_json:
            self.stdout.write(json.dumps(row, ensure_ascii=False))
        else:
            held = {True: "holds", False: "DOES NOT HOLD", None: ""}[row["holds"]]
            self.stdout.write(
                f"{row['name']:<26} ours {_figure(row['ours']):>12}  peer {_figure(row['peer']):>12}  "
                f"ratio {_figure(row['ratio']):>10}  {row['unit'] or ''}  goal {row['goal'] or '–'}  {held}"
            )
        self.stdout.flush()


def _figure(value: Any) -> str:
    return f"{value:,.4g}" if isinstance(value, (int, float)) and not isinstance(value, bool) else str(value or "–")
