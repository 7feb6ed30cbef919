"""The wobble of the Earth's axis and a figure: when a pole stands inside it, and which of its stars marked one.

Inside means within the smallest shape without dents that holds all of a figure's stars (three or more, all in one
half of the sky).  The poles are those of ``frames``, the stars keep their own motion; years -10000 to 10000, every
twentieth, so that a span's ends are good to 20 years and the model itself to a few decades far out.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .catalogue import load_catalogue
from .errors import SkyError
from .frames import celestial_pole, ecliptic_matrix, ecliptic_pole, star_vectors
from .times import FIRST_YEAR, LAST_YEAR, check_year
from .vectors import (
    DEGREE,
    TAU,
    Flags,
    Floats,
    as_floats,
    normalise,
    ra_dec,
    rotate,
    rotate_back,
    runs,
    separation,
    unit,
    wrap,
)

STEP_YEARS = 20


@dataclass(frozen=True)
class NearestToPole:
    """A star's closest stand to a pole: ``side`` "north" or "south", the year and the distance."""

    hip: int
    side: str
    year: int
    separation_deg: float


@dataclass(frozen=True)
class FigureWobble:
    """``spans`` are the years (first, last) in which each pole stands inside the figure, by side.

    ``ecliptic_pole`` is the side whose ecliptic pole stands inside it in the year asked for, or empty.
    ``has_shape`` is False for fewer than three stars, which hold nothing inside.
    """

    has_shape: bool
    spans: dict[str, tuple[tuple[int, int], ...]]
    ecliptic_pole: str
    nearest: NearestToPole

    def holds_pole(self, year: int) -> str:
        """The side whose pole stands inside it in a year, or empty."""
        return next((side for side, spans in self.spans.items() for a, b in spans if a <= year <= b), "")


def turn_years(year: float) -> float:
    """How long a whole turn of the pole about the moving ecliptic pole would take at a year's pace, in years.

    From the mean drift of ecliptic longitudes of date over a century; 25,772 years in 2000.
    """
    check_year(year)
    around = unit(as_floats(np.arange(0, 360, 30)) * DEGREE, 0.0)
    fixed = rotate_back(ecliptic_matrix(year), around)
    before, after = (ra_dec(rotate(ecliptic_matrix(year + shift), fixed))[0] for shift in (-50.0, 50.0))
    return float(TAU / (wrap(after - before).mean() / 100))


def holds(stars: Floats, points: Floats) -> Flags:
    """Whether points (n, 3) lie inside the shapes of stars (n, k, 3) or (k, 3): seen from inside, stars stand all
    round, with no gap of half a turn between two."""
    many = np.broadcast_to(stars, (len(points), *stars.shape[-2:]))
    if many.shape[1] < 3:
        return np.zeros(len(points), dtype=bool)
    aside = np.where(np.abs(points[:, 2:3]) < 0.9, np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0]))
    east = normalise(np.cross(aside, points))
    north = np.cross(points, east)
    x, y = (np.einsum("nki,ni->nk", many, axis) for axis in (east, north))
    angle = np.sort(np.arctan2(y, x), axis=1)
    gaps = np.concatenate([np.diff(angle, axis=1), angle[:, :1] + TAU - angle[:, -1:]], axis=1)
    near = (np.einsum("nki,ni->nk", many, points) > 0).all(axis=1)
    return np.asarray(near & (gaps.max(axis=1) < np.pi))


def _spans(inside: Flags, years: Floats) -> tuple[tuple[int, int], ...]:
    return tuple((int(years[a]), int(years[b - 1])) for a, b in runs(inside))


def figure_wobble(hips: Sequence[int], year: int = 2000) -> FigureWobble:
    """How a figure stands to the poles' paths from -10000 to 10000, and to the ecliptic poles of a year."""
    check_year(year)
    catalogue = load_catalogue()
    known = sorted(set(hips))
    if not known:
        raise SkyError("The figure has no star. Give at least one Hipparcos number.")
    years = as_floats(np.arange(FIRST_YEAR, LAST_YEAR + 1, STEP_YEARS))
    stars = star_vectors(catalogue, catalogue.indices(known), years)
    pole = celestial_pole(years)
    spans = {side: _spans(holds(stars, sign * pole), years) for side, sign in (("north", 1), ("south", -1))}
    now, middle = stars[int(np.argmin(np.abs(years - year)))], ecliptic_pole(float(year))[None, :]
    side = next((name for name, sign in (("north", 1), ("south", -1)) if holds(now, sign * middle)[0]), "")
    return FigureWobble(len(known) >= 3, spans, side, _nearest(known, stars, pole, years))


def _nearest(hips: Sequence[int], stars: Floats, pole: Floats, years: Floats) -> NearestToPole:
    away = separation(stars, np.broadcast_to(pole[:, None, :], stars.shape))
    both = {"north": away, "south": np.pi - away}
    side = min(both, key=lambda name: float(both[name].min()))
    at, star = np.unravel_index(int(np.argmin(both[side])), away.shape)
    return NearestToPole(hips[int(star)], side, int(years[at]), float(both[side][at, star] / DEGREE))
