"""How far a mirror is off in every year, as a line over the years."""

from __future__ import annotations

from dataclasses import dataclass

from ...sky.mirroryears import FIRST_YEAR, LAST_YEAR
from ..sky.words import year as year_words
from . import saying
from .measured import Measured

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 640, 320, 120, 12, 16, 56
TICKS = (-10000, 0, 10000)


@dataclass(frozen=True)
class Tick:
    at: float
    words: str
    anchor: str = "middle"


@dataclass(frozen=True)
class Graph:
    """Coordinates of an SVG of WIDTH by HEIGHT; from `flat_x` on for `flat_width` no year is worse beyond doubt."""

    points: str
    flat_x: float
    flat_width: float
    here: float
    ticks: list[Tick]
    heights: list[Tick]
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = WIDTH - RIGHT
    top: int = TOP
    bottom: int = HEIGHT - BOTTOM
    tall: int = HEIGHT - BOTTOM - TOP


def of(found: Measured) -> Graph:
    held = found.years
    most = max(float(held.rms_km.max()), 1e-6) * 1.05
    spots = zip(held.years.tolist(), held.rms_km.tolist(), strict=True)
    flat = (_x(held.flat_from), _x(held.flat_to))
    return Graph(
        points=" ".join(f"{_x(year):.1f},{_y(miss, most):.1f}" for year, miss in spots),
        flat_x=flat[0], flat_width=max(flat[1] - flat[0], 2), here=_x(found.laid.year),
        ticks=[Tick(_x(year), year_words(year), _anchor(year)) for year in TICKS],
        heights=[Tick(_y(miss, most), saying.km(miss) if miss else "0") for miss in (0.0, most / 2, most)],
    )


def _anchor(year: int) -> str:
    return {FIRST_YEAR: "start", LAST_YEAR: "end"}.get(year, "middle")


def _x(year: float) -> float:
    return LEFT + (year - FIRST_YEAR) / (LAST_YEAR - FIRST_YEAR) * (WIDTH - LEFT - RIGHT)


def _y(miss_km: float, most_km: float) -> float:
    return HEIGHT - BOTTOM - miss_km / most_km * (HEIGHT - BOTTOM - TOP)
