"""Content cautions: what the council would have said before something is played."""

from __future__ import annotations

from collections.abc import Iterable

from django.db import transaction

from ..models import Account, ContentCaution, Item, ItemCaution, Kind, Level, Segment, TopicTie
from . import decisions, ledger, wordbook
from .gate import Gate

KINDS = (Kind.RECORDING, Kind.SEGMENT, Kind.TOPIC)


def of(number: int) -> list[str]:
    """The cautions chosen for the item itself."""
    return list(ItemCaution.ungated.filter(item=number).values_list("kind", flat=True))


def words_for(gate: Gate, number: int) -> tuple[str, ...]:
    """What is said before this recording or segment is played: its own, and those of what it belongs to or holds.

    Whatever the viewer does not meet says nothing here either.
    """
    around = {number}
    around |= set(Segment.ungated.filter(recording=number).values_list("pk", flat=True))
    around |= set(Segment.ungated.filter(pk=number).values_list("recording_id", flat=True))
    segments = Segment.ungated.filter(pk__in=gate.keep(around)).values_list("pk", flat=True)
    around |= set(TopicTie.ungated.filter(content_object__in=list(segments)).values_list("tag_id", flat=True))
    return _said(gate.keep(around, Level.DESCRIPTION))


def _said(numbers: Iterable[int]) -> tuple[str, ...]:
    held = set(ItemCaution.ungated.filter(item__in=list(numbers)).values_list("kind", flat=True))
    return tuple(wordbook.say(kind) for kind in ContentCaution.values if kind in held)


@transaction.atomic
def choose(by: Account, item: Item, kinds: Iterable[str]) -> None:
    """Set the item's cautions to these."""
    decisions.require(by, "is_council")
    wanted = {kind for kind in kinds if kind in ContentCaution.values}
    ItemCaution.ungated.filter(item=item).exclude(kind__in=wanted).delete()
    for kind in sorted(wanted - set(of(item.pk))):
        ItemCaution.ungated.create(item=item, kind=kind)
    ledger.write("cautions chosen", by, item.ref, words=", ".join(sorted(wanted)))
