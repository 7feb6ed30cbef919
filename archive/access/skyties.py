"""Which stars make which figure, and which places stand for which stars, as arrays; for answering questions only.

Like `layout`, this is read ungated and kept for one policy: `archive.search` asks the viewer's levels about every row
before it counts anything. A star of a figure counts only where the figure is met in full, a pair of place and star
only where mirror, place and figure are, and the star of a place only where the mirror tells it (`showing.starred`).
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np

from ..models import Figure, Level, Place, Tie, TieKind
from . import layout, showing
from .cells import cell_of
from .gate import Gate
from .judging import Policy
from .layout import Numbers

Read = TypeVar("Read")


class _ForPolicy(Generic[Read]):
    """What was read under the policy that stands, and is read anew under the next."""

    def __init__(self, read: Callable[[], Read]) -> None:
        self._read = read
        self._lock = threading.Lock()
        self._held: tuple[Policy, Read] | None = None

    def under(self, standing: Policy) -> Read:
        held = self._held
        if held is not None and held[0] is standing:
            return held[1]
        with self._lock:
            made = self._read()
            self._held = (standing, made)
        return made


@dataclass(frozen=True)
class Stars:
    """Side by side: a figure's number and the Hipparcos number of one of its stars."""

    figures: Numbers
    hips: Numbers


@dataclass(frozen=True)
class Pairs:
    """Side by side: a mirror, a place that stands in it, the star it is (0: none, or not told), the mirrored figure."""

    mirrors: Numbers
    places: Numbers
    hips: Numbers
    figures: Numbers


@dataclass(frozen=True)
class Spots:
    """Side by side: a place's number, and the area it is known to lie in, in degrees; a point where the spot is met."""

    places: Numbers
    south: np.ndarray
    west: np.ndarray
    north: np.ndarray
    east: np.ndarray


def _table(rows: Sequence[tuple[int, ...]], columns: int) -> Numbers:
    return np.array(rows, dtype=np.int64).reshape(-1, columns)


def _read_stars() -> Stars:
    rows = [
        (number, int(hip))
        for number, hips in Figure.ungated.order_by("pk").values_list("pk", "stars")
        for hip in sorted({hip for hip in hips if isinstance(hip, int)})
    ]
    figures, hips = _table(rows, 2).T
    return Stars(figures, hips)


def _read_pairs() -> Pairs:
    figure_of: dict[int, list[int]] = {}
    for mirror, figure in Tie.ungated.filter(kind=TieKind.MIRRORS).values_list("source_id", "target_id"):
        figure_of.setdefault(mirror, []).append(figure)
    ties = Tie.ungated.filter(kind=TieKind.STANDS_AT).values_list("source_id", "target_id", "hip")
    rows = [
        (mirror, place, hip or 0, figure) for mirror, place, hip in ties for figure in figure_of.get(mirror, ())
    ]
    return Pairs(*_table(rows, 4).T)


def _read_places() -> np.ndarray:
    """A row a place: its number, latitude, longitude, and its cell's south, west, north, east."""
    columns = ("pk", "latitude_deg", "longitude_deg", "cell_deg")
    found = Place.ungated.order_by("pk").values_list(*columns)
    rows = [(number, lat, lon, *cell_of(lat, lon, size)) for number, lat, lon, size in found]
    return np.array(rows, dtype=np.float64).reshape(-1, 7)


_stars, _pairs, _places = _ForPolicy(_read_stars), _ForPolicy(_read_pairs), _ForPolicy(_read_places)


def stars(gate: Gate) -> Stars:
    """The stars of the figures that this viewer meets in full."""
    held = _stars.under(gate.policy)
    met = layout.levels_at(gate.levels, held.figures) >= Level.OPEN
    return Stars(held.figures[met], held.hips[met])


def pairs(gate: Gate) -> Pairs:
    """The pairs of which this viewer meets mirror and place in full, and the figure at least by its description."""
    held = _pairs.under(gate.policy)
    met = layout.levels_at(gate.levels, held.mirrors) >= Level.OPEN
    met &= layout.levels_at(gate.levels, held.places) >= Level.OPEN
    met &= layout.levels_at(gate.levels, held.figures) >= Level.DESCRIPTION
    told = list(showing.starred(gate, set(held.mirrors[met].tolist())))
    hips = np.where(np.isin(held.mirrors, told), held.hips, 0)
    return Pairs(held.mirrors[met], held.places[met], hips[met], held.figures[met])


def spots(gate: Gate) -> Spots:
    """Where every place met is known to lie: its spot, or the cell of the fixed grid that the map shows."""
    held = _places.under(gate.policy)
    levels = layout.levels_at(gate.levels, held[:, 0].astype(np.int64))
    met = levels >= Level.DESCRIPTION
    numbers, latitude, longitude, *cell = held[met].T
    exact = levels[met] >= Level.OPEN
    spot = (latitude, longitude, latitude, longitude)
    return Spots(numbers.astype(np.int64), *(np.where(exact, own, edge) for own, edge in zip(spot, cell, strict=True)))
