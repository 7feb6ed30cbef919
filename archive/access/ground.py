"""Ground and sky as a viewer may see them: places with what is told there, figures that can be drawn."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ..models import Item, Kind, Level, Tie, TieKind
from . import showing
from .gate import Gate
from .showing import FigureShown, Label, PlaceShown, SegmentCard


@dataclass(frozen=True)
class PlaceOnMap:
    """A place, the segments that belong to it, and the figures that it stands for in a mirror met in full."""

    place: PlaceShown
    segments: tuple[SegmentCard, ...]
    figures: tuple[Label, ...]


def places_on_map(gate: Gate, about: int | None = None) -> list[PlaceOnMap]:
    """Every place met, by name. With `about`, those alone that are tied to that item, directly or by a segment."""
    numbers = [int(number) for number in gate.numbers(Kind.PLACE)]
    told = _told_at(gate, numbers)
    mirrored = _mirrored(gate, numbers)
    cards = {card.label.number: card for card in showing.segment_cards(gate, {s for ss in told.values() for s in ss})}
    shown = []
    for place in showing.places(gate, numbers):
        number = place.label.number
        segments = [cards[one] for one in told.get(number, ()) if one in cards]
        figures = mirrored.get(number, ())
        if about is None or _is_about(about, place, segments, figures):
            shown.append(PlaceOnMap(place, tuple(sorted(segments, key=_by_time)), tuple(figures)))
    return shown


def _by_time(card: SegmentCard) -> tuple[str, int, str]:
    return card.recorded_on, card.start_ms, card.label.ref


def _told_at(gate: Gate, places: list[int]) -> dict[int, list[int]]:
    found: dict[int, list[int]] = {}
    for place, segment in Tie.ungated.filter(target__in=places, kind=TieKind.BELONGS_TO).values_list(
        "target_id", "source_id"
    ):
        if gate.meets(segment, Level.DESCRIPTION):
            found.setdefault(place, []).append(segment)
    return found


def _mirrored(gate: Gate, places: list[int]) -> dict[int, list[Label]]:
    """Figures of the mirrors that a place stands in; the pair shows only where all three are met in full."""
    mirrors = {int(number) for number in gate.numbers(Kind.MIRROR, Level.OPEN)}
    figure_of = dict(
        Tie.ungated.filter(source__in=mirrors, kind=TieKind.MIRRORS).values_list("source_id", "target_id")
    )
    named = showing.labels(gate, figure_of.values())
    found: dict[int, list[Label]] = {}
    for place, mirror in Tie.ungated.filter(
        target__in=places, source__in=mirrors, kind=TieKind.STANDS_AT
    ).values_list("target_id", "source_id"):
        figure = named.get(figure_of.get(mirror, 0))
        if figure is not None and gate.meets(place) and figure not in found.setdefault(place, []):
            found[place].append(figure)
    return found


def _is_about(about: int, place: PlaceShown, segments: Iterable[SegmentCard], figures: Iterable[Label]) -> bool:
    if place.label.number == about or any(one.number == about for one in figures):
        return True
    return any(
        one.number == about
        for card in segments
        for one in (card.label, *card.speakers, *card.topics, *card.figures, *(filter(None, [card.recording])))
    )


def figures_to_draw(gate: Gate) -> list[FigureShown]:
    """The figures whose stars the viewer may see."""
    return showing.figures(gate, [int(number) for number in gate.numbers(Kind.FIGURE, Level.OPEN)])


def about_what(gate: Gate, ref: str) -> Label | None:
    """The label of the item at this address, of whatever kind, if it is met."""
    item = Item.ungated.filter(ref=ref).first()
    return showing.label(gate, item.pk) if item is not None else None
