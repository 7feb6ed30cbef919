"""`manage.py reindex`: build the search index anew, whole, beside the one in use."""

from __future__ import annotations

import time
from typing import Any

from django.core.management.base import BaseCommand

from archive.search import engine


class Command(BaseCommand):
    help = (
        "Build a new search index from everything that is kept, and put it in use when it is whole. "
        "Searches go on in the old one meanwhile; if this is broken off, the old one stays."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        began = time.monotonic()
        self._told = -1
        made = engine.rebuild(self._tell)
        self.stdout.write(f"{made} texts indexed in {time.monotonic() - began:.1f} s.")

    def _tell(self, done: int, total: int) -> None:
        percent = 100 * done // max(total, 1)
        if percent // 5 > self._told // 5:
            self._told = percent
            self.stdout.write(f"{percent} %")
            self.stdout.flush()
