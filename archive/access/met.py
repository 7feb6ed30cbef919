"""What was shown to whom: pages, sound and copies of things that are not simply open to everyone."""

from __future__ import annotations

from ..models import Condition, Item, Reach
from . import ledger
from .gate import Gate


def note(gate: Gate, item: Item, surface: str) -> None:
    """Write that this viewer met the item, where anything restricts it or it was met by trust."""
    if is_restricted(item):
        ledger.write("met", gate.hearer, item.ref, surface=surface)


def is_restricted(item: Item) -> bool:
    if Reach.ungated.filter(item=item.pk, condition__in=Condition.ungated.filter(lifted_by__isnull=True)).exists():
        return True
    holder = getattr(item, "recording", item)
    return holder.decision_id is None
