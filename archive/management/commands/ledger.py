"""`manage.py ledger verify`: walk the hash chain and name the first broken row."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _

from archive.access import ledger


class Command(BaseCommand):
    help = (
        "Verify the ledger: every row must follow the one before it, unchanged. Prints how many rows hold and the "
        "newest digest (write it down outside this machine: a chain rebuilt from some row on shows against it). Ends "
        "with status 1 and names the first broken row where one is broken."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("what", choices=["verify"])
        parser.add_argument("--head", help="a digest noted earlier, which the chain must still hold")

    def handle(self, *args: Any, **options: Any) -> None:
        count, broken = ledger.check()
        if broken is not None:
            raise CommandError(self._where(count, broken))
        head = options["head"]
        if head and not ledger.holds(head):
            raise CommandError(
                _("The chain holds in itself, but the noted digest %(head)s is no longer in it: rows were taken off "
                  "its end, or it was written anew. Compare with a backup.") % {"head": head}
            )
        self.stdout.write(_("%(count)d rows, all whole. Newest digest: %(digest)s")
                          % {"count": count, "digest": ledger.newest_digest() or "–"})

    def _where(self, count: int, broken: ledger.Broken) -> str:
        return _(
            "Row %(row)d is the first broken one (%(event)s, %(at)s, after %(count)d whole rows): %(why)s. Compare "
            "this row and those after it with a backup."
        ) % {
            "row": broken.row,
            "event": broken.event,
            "at": broken.at.isoformat(timespec="seconds"),
            "count": count,
            "why": broken.why,
        }
