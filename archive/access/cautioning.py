"""Content cautions: what the council would have said before something is played."""

from __future__ import annotations

from collections.abc import Iterable

from django.db import transaction

from ..models import Account, ContentCaution, Item, ItemCaution, Kind, Level, Segment, TopicTie
from . import decisions, ledger, wordbook
from .closure import batches
from .gate import Gate

KINDS = (Kind.RECORDING, Kind.SEGMENT, Kind.TOPIC)


def of(number: int) -> list[str]:
    """The cautions chosen for the item itself."""
    return list(ItemCaution.ungated.filter(item=number).values_list("kind", flat=True))


def chosen(numbers: Iterable[int]) -> dict[int, set[str]]:
    """The cautions chosen for each of these items, which the viewer meets; items without any are left out."""
    found: dict[int, set[str]] = {}
    for part in batches(sorted(numbers)):
        for item, kind in ItemCaution.ungated.filter(item__in=part).values_list("item_id", "kind"):
            found.setdefault(item, set()).add(kind)
    return found


def said(kinds: Iterable[str]) -> tuple[str, ...]:
    """The community's words for these cautions, always in the same order."""
    held = set(kinds)
    return tuple(wordbook.say(kind) for kind in ContentCaution.values if kind in held)


def words_for(gate: Gate, recording: int) -> tuple[str, ...]:
    """What is said before a recording is played: its own, and those of its segments and their topics.

    Whatever the viewer does not meet says nothing here either. A segment's words are on its card.
    """
    segments = gate.keep(Segment.ungated.filter(recording=recording).values_list("pk", flat=True))
    topics = TopicTie.ungated.filter(content_object__in=segments).values_list("tag_id", flat=True)
    met = gate.keep({recording, *segments, *topics}, Level.DESCRIPTION)
    return said(kind for kinds in chosen(met).values() for kind in kinds)


@transaction.atomic
def choose(by: Account, item: Item, kinds: Iterable[str]) -> None:
    """Set the item's cautions to these."""
    decisions.require(by, "is_council")
    wanted = {kind for kind in kinds if kind in ContentCaution.values}
    ItemCaution.ungated.filter(item=item).exclude(kind__in=wanted).delete()
    for kind in sorted(wanted - set(of(item.pk))):
        ItemCaution.ungated.create(item=item, kind=kind)
    ledger.write("cautions chosen", by, item.ref, words=", ".join(sorted(wanted)))
