"""Copies that left the house: to whom, when; and, once consent is taken back, who has yet to be told."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from ..models import Account, CopyGiven, Item, Segment
from . import chamber, decisions, ledger
from .gate import Gate
from .showing import Label


@dataclass(frozen=True)
class CopyShown:
    ref: str
    item: Label
    to_whom: str
    what: str
    given_on: date
    given_by: str
    told_at: datetime | None


@transaction.atomic
def note(by: Account | None, items: Iterable[Item], to_whom: str, what: str, given_on: date | None = None) -> None:
    """Write down that a copy of these was handed out (whoever makes take-home copies calls this)."""
    if not to_whom.strip():
        raise ValidationError({"to_whom": _("Write who has the copy, so that they can be told.")})
    day = given_on or timezone.localdate()
    for item in items:
        made = CopyGiven.ungated.create(
            item=item, to_whom=to_whom.strip(), what=what.strip(), given_on=day, given_by=by
        )
        ledger.write("copy given", by, item.ref, to_whom=made.to_whom, words=made.what)


def of(gate: Gate, recording: int) -> list[CopyShown]:
    """Copies of a recording or of what lies in it; those who have yet to be told come first."""
    decisions.require(gate.account, "is_council")
    inside = {recording, *Segment.ungated.filter(recording=recording).values_list("pk", flat=True)}
    rows = list(CopyGiven.ungated.filter(item__in=inside).select_related("given_by"))
    named = chamber.labels(gate, {row.item_id for row in rows})
    said = gate.mask.text
    shown = [
        CopyShown(
            row.ref, named[row.item_id], said(row.to_whom), said(row.what), row.given_on, str(row.given_by or ""),
            row.told_at,
        )
        for row in rows
    ]
    return sorted(shown, key=lambda one: (one.told_at is not None, one.given_on, one.ref))


@transaction.atomic
def tell(by: Account, ref: str) -> bool:
    """Write down that whoever has the copy was told; False where that is written already."""
    decisions.require(by, "is_council")
    row = CopyGiven.ungated.select_for_update().filter(ref=ref, told_at__isnull=True).first()
    if row is None:
        return False
    row.told_at, row.told_by = timezone.now(), by
    row.save(update_fields=["told_at", "told_by"])
    ledger.write("copy told", by, row.item.ref, to_whom=row.to_whom)
    return True
