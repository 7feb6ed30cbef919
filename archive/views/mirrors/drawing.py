"""A mirror drawn: the places on their ground, the stars in their sky, and the sky laid over the ground.

Plain coordinates for the template, in a square of SIZE units with north at the top. Pairs carry the same number
everywhere.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from ...access.showing import FigureShown, MirrorPair
from ...maps import outline
from ...sky import load_catalogue, stars_on_chart
from ...sky.mirror import stretches
from ...sky.vectors import Floats
from ..pages import sketch
from .measured import Measured

SIZE, MARGIN = 640.0, 96.0
NUMBER_RADIUS = 17.0  # of the disc about a place's number
LETTER = 14.0  # about the width of a letter of a name
LEAST_GAP = 34.0  # between the middles of two labels, one above the other


@dataclass
class Mark:
    """A place or a star. `number` is that of its pair, 0 for a star of the figure that is no place here."""

    x: float
    y: float
    number: int
    name: str = ""
    lang: str = ""
    hue: str = "white"
    radius: float = 8.0
    label_y: float = 0.0
    is_left: bool = False

    @property
    def label_x(self) -> float:
        return self.x - self.gap if self.is_left else self.x + self.gap

    @property
    def gap(self) -> float:
        """From the middle of the mark to where its name begins."""
        return self.radius + 12


@dataclass(frozen=True)
class Miss:
    """From where a star falls to its place."""

    x1: float
    y1: float
    x2: float
    y2: float


@dataclass(frozen=True)
class Panel:
    """`lines` and `laid` are the points of polylines, `coast` the path of the land; `north` ends an arrow."""

    marks: list[Mark]
    lines: list[str]
    coast: str = ""
    fallen: list[Mark] = field(default_factory=list)
    misses: list[Miss] = field(default_factory=list)
    laid: list[str] = field(default_factory=list)
    bar: Bar | None = None
    north: tuple[float, float] | None = None


@dataclass(frozen=True)
class Bar:
    """A bar of scale: its length in the drawing, and in words of `amount` km or degrees."""

    length: float
    amount: float

    @property
    def end(self) -> float:
        return 24 + self.length

    @property
    def middle(self) -> float:
        return 24 + self.length / 2


@dataclass(frozen=True)
class Frame:
    """From (right, up) in km or degrees to the square."""

    middle: Floats
    scale: float

    def at(self, points: Floats) -> Floats:
        page: Floats = SIZE / 2 + (points - self.middle) * self.scale * [1, -1]
        return page

    def bar(self) -> Bar:
        """The largest of 1, 2, 5, 10, … that is no longer than a fourth of the square."""
        longest = SIZE / 4 / self.scale
        power = 10.0 ** np.floor(np.log10(longest))
        amount = max(step * power for step in (1, 2, 5) if step * power <= longest)
        return Bar(float(amount * self.scale), float(amount))


def frame_of(points: Floats) -> Frame:
    low, high = points.min(axis=0), points.max(axis=0)
    middle: Floats = (low + high) / 2
    return Frame(middle, (SIZE / 2 - MARGIN) / max(float((high - low).max()) / 2, 1e-9))


def ground(found: Measured, pairs: Sequence[MirrorPair], runs: Iterable[Sequence[int]], invented: bool) -> Panel:
    """The places, with the figure's lines between those whose stars the lines join."""
    frame = frame_of(found.laid.places_km)
    spots = frame.at(found.laid.places_km)
    return Panel(_spread(_places(pairs, spots)), _runs(pairs, spots, runs), _coast(found, frame, invented),
                 bar=frame.bar())


def sky(found: Measured, pairs: Sequence[MirrorPair], figure: FigureShown | None) -> Panel:
    """The stars of the pairs, and the others of their figure, as seen looking up in the year asked."""
    paired = [pair.hip for pair in pairs]
    known = load_catalogue().listed
    rest = [hip for hip in (figure.stars if figure else ()) if hip not in paired and hip in known]
    points = stars_on_chart([*paired, *rest], found.laid.year, about=paired)
    frame = frame_of(points)
    spots = frame.at(points)
    drawn = sketch.dots(load_catalogue(), load_catalogue().indices([*paired, *rest]), spots, with_names=True)
    marks = [
        Mark(dot.x, dot.y, at + 1 if at < len(paired) else 0, dot.name,
             hue=dot.hue, radius=dot.radius)
        for at, (dot, hip) in enumerate(zip(drawn, [*paired, *rest], strict=True))
    ]
    where = dict(zip([*paired, *rest], spots, strict=True))
    lines = [sketch.points([where[hip] for hip in run if hip in where]) for run in (figure.lines if figure else ())]
    return Panel(_spread(marks), lines, bar=frame.bar())


def over(found: Measured, pairs: Sequence[MirrorPair], runs: Sequence[Sequence[int]], invented: bool) -> Panel:
    """The sky laid over the ground by the better fit: where each star falls, and how far that is from its place."""
    places, fallen = found.laid.places_km, found.laid.stars_km
    frame = frame_of(np.concatenate([places, fallen]))
    spots, falls = frame.at(places), frame.at(fallen)
    misses = [Miss(*fall, *spot) for fall, spot in zip(falls.tolist(), spots.tolist(), strict=True)]
    marks = [Mark(x, y, at) for at, (x, y) in enumerate(spots.tolist(), 1)]
    turn = np.radians(found.laid.north_bearing_deg)
    return Panel(
        _spread(marks), [], _coast(found, frame, invented),
        fallen=[Mark(x, y, at) for at, (x, y) in enumerate(falls.tolist(), 1)],
        misses=misses, laid=_runs(pairs, falls, runs), bar=frame.bar(),
        north=(float(40 * np.sin(turn)), float(-40 * np.cos(turn))),
    )


def _places(pairs: Sequence[MirrorPair], spots: Floats) -> list[Mark]:
    return [
        Mark(x, y, at, pair.place.label.text, pair.place.label.language, radius=NUMBER_RADIUS)
        for at, (pair, (x, y)) in enumerate(zip(pairs, spots.tolist(), strict=True), 1)
    ]


def _spread(marks: list[Mark]) -> list[Mark]:
    """Names on the side away from the nearest other mark, and one under another, so that none covers the next."""
    for mark in marks:
        mark.is_left = _stands_left(mark, marks)
    for side in (False, True):
        before = -SIZE
        for mark in sorted((one for one in marks if one.is_left is side and one.number), key=lambda one: one.y):
            mark.label_y = before = max(mark.y, before + LEAST_GAP)
    return marks


def _stands_left(mark: Mark, marks: list[Mark]) -> bool:
    length = mark.gap + (len(mark.name) + 2) * LETTER
    fits_left, fits_right = mark.x > length, mark.x + length < SIZE
    if fits_left != fits_right:
        return fits_left
    rest = [one for one in marks if one is not mark]
    nearest = min(rest, key=lambda one: abs(one.y - mark.y) + abs(one.x - mark.x), default=mark)
    return nearest.x > mark.x


def _runs(pairs: Sequence[MirrorPair], spots: Floats, runs: Iterable[Sequence[int]]) -> list[str]:
    """Lines through the spots of stars that stand beside one another in a run; a star without a place breaks it."""
    at = {pair.hip: spot for pair, spot in zip(pairs, spots, strict=True)}
    return [sketch.points(part) for part in stretches(runs, at)]


def _coast(found: Measured, frame: Frame, invented: bool) -> str:
    rings = outline.near(invented, found.laid.middle, SIZE / frame.scale)
    return "".join("M" + "L".join(f"{x:.0f} {y:.0f}" for x, y in frame.at(ring)) + "Z" for ring in rings)
