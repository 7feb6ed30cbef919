"""Entrusting: who may meet an item whatever its conditions say, since when, by whom, and why."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone

from ..models import Account, Entrustment, Item
from . import decisions
from .gate import Gate


@dataclass(frozen=True)
class TrustShown:
    number: int
    name: str
    account_ref: str
    starts_at: datetime
    ends_at: datetime | None
    granted_by: str
    reason: str
    is_over: bool


def of(gate: Gate, item: int) -> list[TrustShown]:
    """Everybody ever entrusted with the item itself; those whose trust is over come last."""
    decisions.require(gate.account, "is_council")
    rows = Entrustment.ungated.filter(item=item).select_related("account", "granted_by").order_by("starts_at", "pk")
    shown = [
        TrustShown(
            row.pk, str(row.account), row.account.ref, row.starts_at, row.ends_at, str(row.granted_by or ""),
            gate.mask.text(row.reason), row.ends_at is not None and row.ends_at <= gate.moment,
        )
        for row in rows
    ]
    return sorted(shown, key=lambda one: one.is_over)


def end(by: Account, item: Item, number: int) -> bool:
    """End a trust in this item; False where there is none (any more)."""
    row = Entrustment.ungated.filter(pk=number, item=item).first()
    if row is None or (row.ends_at is not None and row.ends_at <= timezone.now()):
        return False
    decisions.end_trust(by, row)
    return True
