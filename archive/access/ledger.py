"""The ledger: an append-only, hash-chained record of decisions and of what was shown to whom.

Each row's digest is SHA-256 (FIPS 180-4) over the canonical JSON of the row and the digest before it, so that a row
changed, removed or slipped in breaks the chain at that row.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import connection, transaction
from django.utils import timezone

from ..models import Account, LedgerRow

FIRST = "0" * 64


def digest(previous: str, at: datetime, actor: str, event: str, item: str, detail: str) -> str:
    body = json.dumps(
        [previous, at.isoformat(), actor, event, item, detail], ensure_ascii=False, separators=(",", ":")
    )
    return hashlib.sha256(body.encode()).hexdigest()


def write(event: str, actor: Account | None, item: str = "", **detail: Any) -> LedgerRow:
    """Append one row. Within a transaction it stands or falls with the rest of it."""
    with transaction.atomic():
        _one_writer_at_a_time()
        last = LedgerRow.objects.order_by("-id").only("digest").first()
        previous = last.digest if last else FIRST
        at = timezone.now()
        text = json.dumps(detail, ensure_ascii=False, sort_keys=True, default=str)
        who = actor.ref if actor is not None and actor.pk else ""
        return LedgerRow.objects.create(
            at=at,
            actor=who,
            event=event,
            item=item,
            detail=text,
            previous=previous,
            digest=digest(previous, at, who, event, item, text),
        )


def _one_writer_at_a_time() -> None:
    """SQLite has one writer as it is (BEGIN IMMEDIATE); PostgreSQL is asked to queue until commit."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(704210)")


@dataclass(frozen=True)
class Broken:
    """The first row that does not hold: its number, what it says it is, and what is wrong with it."""

    row: int
    event: str
    at: datetime
    why: str


def newest_digest() -> str:
    """The digest of the newest row; empty for an empty ledger."""
    last = LedgerRow.objects.order_by("-id").only("digest").first()
    return last.digest if last is not None else ""


def holds(digest: str) -> bool:
    """Whether a row with this digest stands in the ledger."""
    return LedgerRow.objects.filter(digest=digest).exists()


def check(rows: Iterator[LedgerRow] | None = None) -> tuple[int, Broken | None]:
    """Walk the chain; returns how many rows hold and the first that does not."""
    previous, count = FIRST, 0
    for row in rows if rows is not None else LedgerRow.objects.order_by("id").iterator():
        if row.previous != previous:
            return count, _broken(row, "it does not follow the row before it; one is missing or was slipped in")
        if row.digest != digest(previous, row.at, row.actor, row.event, row.item, row.detail):
            return count, _broken(row, "its words are not those that were written")
        previous, count = row.digest, count + 1
    return count, None


def _broken(row: LedgerRow, why: str) -> Broken:
    return Broken(row.pk, row.event, row.at, why)
