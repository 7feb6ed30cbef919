"""A sky figure drawn by itself: its stars and lines, and the other stars about it, north up and east to the left.

Azimuthal equidistant projection about the middle of the figure (Snyder 1987, USGS Professional Paper 1395, section
25): distances from the middle are true, so that even a path over half the sky keeps its form. Places are ICRS at
epoch 1991.25, as in the star table under the drawing.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ...access.showing import FigureShown
from ...models import Shape
from ...sky.catalogue import Catalogue, load_catalogue
from ...sky.vectors import DEGREE, Floats, Ints, normalise

WIDTH, MIDDLE, MARGIN = 640.0, 320.0, 40.0
LEAST_RADIUS_DEG = 6.0  # a single light is shown with this much sky about it
WIDE_DEG = 20.0  # from this radius on, only the brighter stars are drawn about a figure
ABOUT_LIMIT, WIDE_LIMIT = 6.5, 5.0  # magnitude of the faintest star drawn that is not of the figure
HUES = ("blue", "white", "yellow", "orange", "red")
HUE_EDGES = (0.0, 0.4, 0.8, 1.4)  # B-V; common practice, as chart.css says


@dataclass(frozen=True)
class Dot:
    x: float
    y: float
    radius: float
    hue: str
    name: str = ""

    @property
    def label_anchor(self) -> str:
        """Names near the right edge stand to the left of their star."""
        return "end" if self.x > WIDTH * 0.72 else "start"

    @property
    def label_x(self) -> float:
        gap = self.radius + 6
        return self.x - gap if self.label_anchor == "end" else self.x + gap

    @property
    def label_y(self) -> float:
        return self.y + 9


@dataclass(frozen=True)
class Sketch:
    """Coordinates of an SVG of `size` units to a side; `runs` are points attributes of its lines."""

    size: float
    across_deg: int
    own: list[Dot]
    about: list[Dot]
    runs: list[str] = field(default_factory=list)
    is_region: bool = False


def of(figure: FigureShown) -> Sketch | None:
    """None where there is nothing to draw: no stars are met, or none is in the star list."""
    stars = load_catalogue()
    hips = [hip for hip in figure.stars if hip in stars.listed]
    if not hips:
        return None
    own = stars.indices(hips)
    middle = _middle(stars.position[own])
    if middle is None:
        return None
    flat = _flatten(stars.position[own], middle)
    radius = max(LEAST_RADIUS_DEG * DEGREE, float(np.hypot(*flat.T).max()) * 1.1)
    scale = (MIDDLE - MARGIN) / radius
    at = dict(zip(hips, _to_page(flat, scale), strict=True))
    return Sketch(
        size=WIDTH,
        across_deg=round(2 * (MIDDLE / scale) / DEGREE),
        own=dots(stars, own, _to_page(flat, scale), with_names=True),
        about=_about(stars, own, middle, scale),
        runs=[points([at[hip] for hip in run if hip in at]) for run in figure.lines],
        is_region=figure.shape == Shape.REGION,
    )


def _middle(positions: Floats) -> Floats | None:
    total = positions.sum(axis=0)
    if np.linalg.norm(total) < 1e-6:  # stars all round the sky have no middle
        return None
    middle: Floats = normalise(total)
    return middle


def _flatten(positions: Floats, middle: Floats) -> Floats:
    """(n, 2): radians from the middle to the right (west) and down (south)."""
    pole = np.array([0.0, 0.0, 1.0]) if abs(middle[2]) < 1 - 1e-12 else np.array([1.0, 0.0, 0.0])
    east = normalise(np.cross(pole, middle))
    north = np.cross(middle, east)
    side, up, along = positions @ east, positions @ north, positions @ middle
    away = np.arctan2(np.hypot(side, up), along)
    length = np.hypot(side, up)
    factor = np.divide(away, length, out=np.ones_like(away), where=length > 1e-12)
    flat: Floats = np.stack([-side * factor, -up * factor], axis=1)
    return flat


def _to_page(flat: Floats, scale: float) -> Floats:
    page: Floats = MIDDLE + flat * scale
    return page


def _about(stars: Catalogue, own: Ints, middle: Floats, scale: float) -> list[Dot]:
    is_wide = (MIDDLE - MARGIN) / scale > WIDE_DEG * DEGREE
    rows = np.setdiff1d(stars.brighter(WIDE_LIMIT if is_wide else ABOUT_LIMIT), own)
    rows = rows[stars.position[rows] @ middle > -0.9]
    page = _to_page(_flatten(stars.position[rows], middle), scale)
    inside = np.all((page > 0) & (page < WIDTH), axis=1)
    return dots(stars, rows[inside], page[inside])


def dots(stars: Catalogue, rows: Ints, page: Floats, with_names: bool = False) -> list[Dot]:
    hues = np.digitize(stars.b_v[rows], HUE_EDGES)
    radii = np.clip(5.6 - 0.8 * stars.v_mag[rows], 1.0, 8.0) + (1.8 if with_names else 0.0)
    known = [stars.names.get(int(hip)) for hip in stars.hip[rows]]
    names = [one.name if one and with_names else "" for one in known]
    return [
        Dot(round(float(x), 1), round(float(y), 1), round(float(radius), 1), HUES[hue], name)
        for (x, y), radius, hue, name in zip(page, radii, hues, names, strict=True)
    ]


def points(spots: list[Floats]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in spots)
