"""Ground and sky as a viewer may see them: places with what is told of them and there, figures that can be drawn.

A telling is a pair of a place and a segment: the segment belongs to the place, or lies in a recording made there.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable
from dataclasses import dataclass, fields

import numpy as np
from django.utils.translation import get_language
from numpy.typing import NDArray

from ..models import Condition, Item, Kind, Level, Reach, Season, Tie, TieKind
from ..sky.mirror import stretches
from . import details, judging, layout, ledger, masks, policy, showing
from .gate import Gate
from .showing import FigureShown, Label, PlaceShown, SegmentCard

Numbers = NDArray[np.int64]


@dataclass(frozen=True)
class PlaceOnMap:
    """A place, what is told of it and what was told there, and the figures it stands for in a mirror met in full."""

    place: PlaceShown
    segments: tuple[SegmentCard, ...]
    told_there: tuple[SegmentCard, ...]
    figures: tuple[Label, ...]


@dataclass(frozen=True)
class PlaceCounted:
    """A place, and how many segments are told of it or there."""

    place: PlaceShown
    told: int


@dataclass(frozen=True)
class MirrorDrawn:
    """The figure's own lines between the spots of a mirror: runs of (latitude, longitude) in degrees, WGS 84."""

    figure: Label
    mirror: Label
    runs: tuple[tuple[tuple[float, float], ...], ...]


@dataclass(frozen=True)
class Wanted:
    """What the map is narrowed to: labels of things that are met, a season's row number, a kind of place."""

    about: Label | None = None
    figure: Label | None = None
    speaker: Label | None = None
    topic: Label | None = None
    season: int | None = None
    nature: str = ""

    @property
    def is_narrowed(self) -> bool:
        return any(getattr(self, one.name) for one in fields(self))


@dataclass(frozen=True)
class Choices:
    """What the map can be narrowed to: only what leaves something to see. Seasons are (ref, name)."""

    figures: tuple[Label, ...]
    speakers: tuple[Label, ...]
    topics: tuple[Label, ...]
    seasons: tuple[tuple[str, str], ...]
    natures: tuple[str, ...]


@dataclass(frozen=True)
class _Tellings:
    """Arrays side by side, each pair once; `is_there` says that it was recorded at the place."""

    place: Numbers
    segment: Numbers
    is_there: NDArray[np.bool_]

    def only(self, kept: NDArray[np.bool_]) -> _Tellings:
        return _Tellings(self.place[kept], self.segment[kept], self.is_there[kept])


@dataclass(frozen=True)
class _Read:
    """What is the same whatever is asked: the places met by name, what is told at them, and which mirror what."""

    shown_places: dict[int, PlaceShown]
    told: _Tellings
    mirrored: list[tuple[int, int, int, int]]


@dataclass(frozen=True)
class _Kept:
    """What was read, and all that decides what may stand in it. The two arrays and policies are the very same ones.

    A policy is another after every write that can change a level, a name, a place or a tie; the levels of a viewer are
    others after every edge in time; names at rest begin and end by time alone; words are said in the page's language.
    """

    under: judging.Policy
    levels: judging.Levels
    mask: masks.Mask
    language: str | None
    read: _Read

    def serves(self, gate: Gate) -> bool:
        is_same = self.under is gate.policy and self.levels is gate.levels
        return is_same and self.mask == gate.mask and self.language == get_language()


MOST_KEPT = 8  # viewers; a map is a page, its frame and its places: three questions about the same ground
_lock = threading.Lock()
_kept: list[_Kept] = []


def _keep(gate: Gate, read: _Read) -> None:
    """Of one policy only, and nothing that was read where a transaction may yet be taken back."""
    if not (gate.policy.is_firm and policy.is_alone()) or gate.is_looking:
        return
    with _lock:
        others = [one for one in _kept if one.under is gate.policy and not one.serves(gate)]
        made = _Kept(gate.policy, gate.levels, gate.mask, get_language(), read)
        _kept[:] = [made, *others][:MOST_KEPT]


class Ground:
    """What one viewer meets of the ground, read once for all that is asked of it."""

    def __init__(self, gate: Gate) -> None:
        self.gate = gate
        self.board = layout.current(gate.policy)
        read = next((one.read for one in list(_kept) if one.serves(gate)), None)
        if read is None:
            read = self._read()
            _keep(gate, read)
        self.shown_places, self.told, self.mirrored = read.shown_places, read.told, read.mirrored

    def _read(self) -> _Read:
        places = self.gate.numbers(Kind.PLACE)
        shown = {one.label.number: one for one in showing.places(self.gate, places.tolist())}
        return _Read(shown, self._tellings(places), _mirrored(self.gate, places.tolist()))

    # --- what is told where ---

    def _tellings(self, met_places: Numbers) -> _Tellings:
        of = self._ties(TieKind.BELONGS_TO)
        at = self._ties(TieKind.RECORDED_AT)
        segments = self.board.of_kind(Kind.SEGMENT)
        holders = self.board.holder[segments]
        places, inside = _joined(at[1], at[0], segments, holders)
        made = np.stack([np.concatenate([of[1], places]), np.concatenate([of[0], inside])])
        is_there = np.repeat([False, True], [len(of[0]), len(inside)])
        seen = self._met(made[1]) & np.isin(made[0], met_places)
        _, first = np.unique(made[:, seen], axis=1, return_index=True)  # told of a place goes before told there
        return _Tellings(made[0][seen][first], made[1][seen][first], is_there[seen][first])

    def _ties(self, *kinds: str) -> tuple[Numbers, Numbers]:
        return layout.met_ties(self.board, self.gate.levels, *kinds)

    def _met(self, numbers: Numbers, at_least: Level = Level.DESCRIPTION) -> NDArray[np.bool_]:
        return layout.levels_at(self.gate.levels, numbers) >= at_least

    # --- narrowing ---

    def narrowed(self, wanted: Wanted) -> tuple[list[int], _Tellings]:
        """The places left, by name, and the tellings left at them."""
        told = self.told
        kept = np.ones(len(told.segment), dtype=np.bool_)
        for kind, label in ((TieKind.NAMES_FIGURE, wanted.figure), (TieKind.TOLD_BY, wanted.speaker),
                            ("topic", wanted.topic)):
            if label is not None:
                sources, targets = self._ties(kind)
                kept &= np.isin(told.segment, sources[targets == label.number])
        if wanted.season is not None:
            kept &= np.isin(told.segment, _held_to(self.gate, wanted.season))
        if wanted.about is not None:
            kept &= self._about(wanted.about)
        left = told.only(kept)
        places = self._left(wanted, left)
        return places, left.only(np.isin(left.place, places))

    def _about(self, about: Label) -> NDArray[np.bool_]:
        told = self.told
        if about.kind == Kind.PLACE:
            return told.place == about.number
        sources, targets = self._ties(*layout.TIES)
        own = sources[targets == about.number]
        inside = self.board.holder[told.segment] == about.number
        return np.isin(told.segment, own) | (told.segment == about.number) | inside

    def _left(self, wanted: Wanted, left: _Tellings) -> list[int]:
        """Places with a telling left; by a figure or its mirror alone also those that mirror it without a telling."""
        places = set(self.shown_places)
        if any((wanted.about, wanted.figure, wanted.speaker, wanted.topic, wanted.season)):
            places = set(left.place.tolist())
            if not any((wanted.speaker, wanted.topic, wanted.season)):
                places |= self._mirroring([one for one in (wanted.about, wanted.figure) if one is not None])
        shown = self.shown_places.items()
        return [number for number, one in shown if number in places and wanted.nature in ("", one.nature)]

    def _mirroring(self, labels: list[Label]) -> set[int]:
        found = [
            {place for mirror, figure, place, _hip in self.mirrored if label.number in (mirror, figure, place)}
            | ({label.number} & set(self.shown_places))
            for label in labels
        ]
        return set.intersection(*found) if found else set()

    def choices(self) -> Choices:
        natures = {one.nature for one in self.shown_places.values() if one.nature}
        figures = set(self._tied_to(TieKind.NAMES_FIGURE)) | {figure for _m, figure, _p, _h in self.mirrored}
        return Choices(
            figures=self._labels(figures),
            speakers=self._labels(self._tied_to(TieKind.TOLD_BY)),
            topics=self._labels(self._tied_to("topic")),
            seasons=_seasons_of(self.gate, self.told.segment),
            natures=tuple(sorted(natures, key=str.casefold)),
        )

    def _tied_to(self, kind: str) -> list[int]:
        sources, targets = self._ties(kind)
        found: list[int] = np.unique(targets[np.isin(sources, self.told.segment)]).tolist()
        return found

    def _labels(self, numbers: Iterable[int]) -> tuple[Label, ...]:
        return tuple(sorted(showing.labels(self.gate, numbers).values(), key=details.by_name))

    # --- what is shown ---

    def counted(self, wanted: Wanted) -> list[PlaceCounted]:
        """Every place left, by name, with the number of its tellings left."""
        places, told = self.narrowed(wanted)
        counts = dict(zip(*(each.tolist() for each in np.unique(told.place, return_counts=True)), strict=True))
        return [PlaceCounted(self.shown_places[number], counts.get(number, 0)) for number in places]

    def shown(self, wanted: Wanted, only: Iterable[int] | None = None) -> list[PlaceOnMap]:
        """The places left, or those of them that `only` names, by name, with their segments by date and time."""
        places, told = self.narrowed(wanted)
        if only is not None:
            chosen = set(only)
            places = [number for number in places if number in chosen]
            told = told.only(np.isin(told.place, places))
        cards = {card.label.number: card for card in showing.segment_cards(self.gate, np.unique(told.segment).tolist())}
        named = showing.labels(self.gate, {figure for _m, figure, _p, _h in self.mirrored})
        return [
            PlaceOnMap(
                self.shown_places[number],
                _cards(told, cards, number, False),
                _cards(told, cards, number, True),
                tuple(dict.fromkeys(
                    named[figure] for _m, figure, place, _h in self.mirrored if place == number and figure in named
                )),
            )
            for number in places
        ]

    def mirrors_drawn(self, wanted: Wanted) -> list[MirrorDrawn]:
        """The mirrors whose figure's lines can be drawn between places left on the map."""
        left = (self.shown_places[number] for number in self.narrowed(wanted)[0])
        spots = {one.label.number: one.at for one in left if one.at is not None}
        mirrors = sorted({(mirror, figure) for mirror, figure, _p, _h in self.mirrored})
        figures = {one.label.number: one for one in showing.figures(self.gate, {figure for _m, figure in mirrors})}
        named = showing.labels(self.gate, [mirror for mirror, _figure in mirrors])
        drawn = [
            MirrorDrawn(figures[figure].label, named[mirror], self._runs(mirror, figures[figure], spots))
            for mirror, figure in mirrors
            if figure in figures and mirror in named
        ]
        kept = (one for one in drawn if one.runs)
        return sorted(kept, key=lambda one: (*details.by_name(one.figure), one.mirror.ref))

    def _runs(
        self, mirror: int, figure: FigureShown, spots: dict[int, tuple[float, float]]
    ) -> tuple[tuple[tuple[float, float], ...], ...]:
        """The parts of the figure's lines whose stars all stand at a spot that is met."""
        at = {hip: spots[place] for each, _f, place, hip in self.mirrored if hip and each == mirror and place in spots}
        return tuple(tuple(run) for run in stretches(figure.lines, at))


def _joined(places: Numbers, recordings: Numbers, segments: Numbers, holders: Numbers) -> tuple[Numbers, Numbers]:
    """Each place of a recording with each segment in it."""
    order = np.argsort(holders, kind="stable")
    first = np.searchsorted(holders[order], recordings, side="left")
    counts = np.searchsorted(holders[order], recordings, side="right") - first
    return np.repeat(places, counts), segments[order][layout.runs(first, counts)]


def _cards(told: _Tellings, cards: dict[int, SegmentCard], place: int, is_there: bool) -> tuple[SegmentCard, ...]:
    numbers = told.segment[(told.place == place) & (told.is_there == is_there)].tolist()
    return tuple(sorted((cards[one] for one in numbers if one in cards), key=_by_time))


def _by_time(card: SegmentCard) -> tuple[str, int, str]:
    return card.recorded_on, card.start_ms, card.label.ref


def _mirrored(gate: Gate, places: list[int]) -> list[tuple[int, int, int, int]]:
    """Mirror, figure, place and star (Hipparcos number) of each pair: only where mirror and place are met in full.

    The star is 0 where the mirror tells none: lines between the places would tell them.
    """
    mirrors = {int(number) for number in gate.numbers(Kind.MIRROR, Level.OPEN)}
    figures = dict(Tie.ungated.filter(source__in=mirrors, kind=TieKind.MIRRORS).values_list("source_id", "target_id"))
    met, told = set(gate.keep(places, Level.OPEN)), showing.starred(gate, mirrors)
    pairs = Tie.ungated.filter(source__in=mirrors, kind=TieKind.STANDS_AT).order_by("source_id", "position", "pk")
    return [
        (mirror, figures[mirror], place, hip if mirror in told else 0)
        for mirror, place, hip in pairs.values_list("source_id", "target_id", "hip")
        if hip and place in met and gate.meets(figures.get(mirror, 0), Level.DESCRIPTION)
    ]


# --- seasons ---


def season_at(ref: str) -> int | None:
    return Season.objects.filter(ref=ref).values_list("pk", flat=True).first()


def _held_to(gate: Gate, season: int) -> Numbers:
    return np.array([segment for segment, each in _held(gate) if each == season], dtype=np.int64)


def _held(gate: Gate) -> list[tuple[int, int]]:
    """(segment, season) for each condition with a season that reaches a segment met in full.

    Only conditions on what is met count: another's would tell that there is something else.
    """
    rows = Condition.ungated.filter(lifted_by__isnull=True, season__isnull=False)
    seasons = {
        condition: season
        for condition, target, season in rows.values_list("pk", "target_id", "season_id")
        if gate.meets(target, Level.DESCRIPTION)
    }
    reached = Reach.ungated.filter(condition__in=seasons, item__kind=Kind.SEGMENT).values_list("condition", "item")
    return [(segment, seasons[condition]) for condition, segment in reached if gate.meets(segment)]


def _seasons_of(gate: Gate, segments: Numbers) -> tuple[tuple[str, str], ...]:
    told = set(segments.tolist())
    numbers = {season for segment, season in _held(gate) if segment in told}
    rows = Season.objects.filter(pk__in=numbers).values_list("ref", "name")
    return tuple(sorted(rows, key=lambda row: (row[1].casefold(), row[0])))


# --- files ---


def met_by_everybody(gate: Gate) -> set[int]:
    """The places met in full by this viewer and by a visitor alike."""
    visitor = Gate(None, gate.moment)
    return set(gate.keep(visitor.numbers(Kind.PLACE, Level.OPEN).tolist(), Level.OPEN))


def note_given(gate: Gate, places: Iterable[Label]) -> None:
    """Write down, in one row, which places that not everybody meets in full were given in a file."""
    refs = sorted(place.ref for place in places if place.level == Level.OPEN)
    if refs:
        ledger.write("met", gate.hearer, surface="file of places", places=refs)


# --- others ---


def figures_to_draw(gate: Gate) -> list[FigureShown]:
    """The figures whose stars the viewer may see."""
    return showing.figures(gate, [int(number) for number in gate.numbers(Kind.FIGURE, Level.OPEN)])


def exact_places(gate: Gate) -> list[PlaceShown]:
    """The places whose spot the viewer meets."""
    return [one for one in showing.places(gate, gate.numbers(Kind.PLACE, Level.OPEN).tolist()) if one.at]


def item_at(gate: Gate, ref: str, kind: str = "") -> Label | None:
    """The label of the item at this address, of this kind or of any, if it is met."""
    item = Item.ungated.filter(ref=ref).first()
    found = showing.label(gate, item.pk) if item is not None else None
    return found if found is None or kind in ("", found.kind) else None
