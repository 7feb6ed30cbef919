"""Labels in columns with lines between: a web or a line of teachers as an SVG."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ...access.showing import Label
from ..pages import parts

COLUMN, ROW, TOP, LEFT = 280.0, 40.0, 34.0, 16.0
MOST_LETTERS = 22


@dataclass(frozen=True)
class Knot:
    x: float
    y: float
    text: str
    label: Label
    url: str
    is_middle: bool


@dataclass(frozen=True)
class Picture:
    """`lines` are paths; `headings` stand over the columns."""

    width: float
    height: float
    knots: list[Knot]
    lines: list[str]
    headings: list[tuple[float, str]]


def draw(columns: Sequence[tuple[str, Sequence[Label]]], middle: int, joined: Iterable[tuple[int, int]]) -> Picture:
    """Columns of labels under a heading each, from left to right; `joined` are pairs of their numbers."""
    most = max(len(labels) for _heading, labels in columns)
    knots: dict[int, Knot] = {}
    for at, (_heading, labels) in enumerate(columns):
        gap = ROW * most / max(len(labels), 1)
        for row, label in enumerate(labels):
            spot = (LEFT + at * COLUMN, TOP + 30 + gap * (row + 0.5))
            knots[label.number] = Knot(*spot, _short(label.text), label, parts.address(label), label.number == middle)
    pairs = sorted({tuple(sorted(pair)) for pair in joined if all(one in knots for one in pair)})
    return Picture(
        LEFT + COLUMN * len(columns), TOP + 50 + ROW * most, list(knots.values()),
        [_line(knots[of], knots[to]) for of, to in pairs],
        [(LEFT + at * COLUMN, heading) for at, (heading, _labels) in enumerate(columns)],
    )


def _short(text: str) -> str:
    return text if len(text) <= MOST_LETTERS else text[: MOST_LETTERS - 1].rstrip() + "…"


def _line(of: Knot, to: Knot) -> str:
    """A bow from one to another; along the left side where both stand in one column."""
    if of.x > to.x:
        of, to = to, of
    if of.x == to.x:
        return f"M{of.x:.0f} {of.y:.0f}C{of.x - 16:.0f} {of.y:.0f} {to.x - 16:.0f} {to.y:.0f} {to.x:.0f} {to.y:.0f}"
    bend = COLUMN / 3
    start = min(of.x + 11.0 * len(of.text) + 24, to.x - 30)
    return (f"M{of.x:.0f} {of.y:.0f}M{start:.0f} {of.y:.0f}C{start + bend / 2:.0f} {of.y:.0f} {to.x - bend:.0f}"
            f" {to.y:.0f} {to.x - 8:.0f} {to.y:.0f}")
