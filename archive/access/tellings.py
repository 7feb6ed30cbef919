"""A story's tellings: the segments that share a figure, a topic or a place, and the words of two of them."""

from __future__ import annotations

from dataclasses import dataclass

from ..models import Segment
from . import details, showing
from .gate import Gate
from .showing import Label, SegmentCard

MOST_TELLINGS = 40
MOST_LINES = 200


@dataclass(frozen=True)
class Telling:
    """`alone` are the people, places, figures and topics that no other of these tellings is tied to."""

    card: SegmentCard
    alone: tuple[Label, ...]


def of(gate: Gate, number: int) -> list[Telling]:
    """The tellings that are met, by the day they were told; at most MOST_TELLINGS."""
    cards, _page = details.segments_page(gate, details.segments_tied(gate, number), 1, MOST_TELLINGS)
    ties = [{*card.figures, *card.places, *card.topics, *card.told_of, *card.had_from} for card in cards]
    counts: dict[Label, int] = {}
    for tied in ties:
        for one in tied:
            counts[one] = counts.get(one, 0) + 1
    return [
        Telling(card, tuple(sorted((one for one in tied if counts[one] == 1), key=details.by_name)))
        for card, tied in zip(cards, ties, strict=True)
    ]


def words(gate: Gate, segment: Segment) -> dict[str, list[str]]:
    """The lines that may be read of a segment met in full, by language; empty where it is not."""
    if not gate.meets(segment.pk):
        return {}
    shown = showing.transcripts(gate, segment.recording, segment.start_ms, segment.end_ms)
    return {one.language: [cue.text for cue in one.cues[:MOST_LINES]] for one in shown}
