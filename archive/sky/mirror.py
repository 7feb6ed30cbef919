"""Does a pattern of places match a pattern of stars, turned, scaled and shifted, perhaps mirrored?

Ground points are (east, north) on a map, looked down on.  Star points are (right, up) on a chart of the sky
as seen looking up, where east is LEFT when north is up.  So a sky laid faithfully on the ground, east to
east, shows here as ``reflected`` (determinant -1): a faithful chart of the sky is a reflected map.

Least squares after S. Umeyama, IEEE PAMI 13, 376 (1991), written with complex numbers: proper w = a z + b,
reflected w = a conj(z) + b.  R**2 = 1 - residual / spread of w.

How far to trust it: two points always fit exactly, both ways.  By chance alone the better of both fits
reaches R**2 = 0.97 with three points, 0.84 with four, 0.71 with five, 0.52 with seven (95 % level).  So a
p-value is given from permuting which place goes with which star (the choice proper/reflected repeated inside
every permutation), and no claim is made below five points.  If the stars were themselves chosen from many to fit,
the p-value is too small: only those who chose can say so.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations
from math import factorial

import numpy as np
import numpy.typing as npt

from .catalogue import load_catalogue
from .errors import SkyError
from .frames import star_vectors
from .vectors import DEGREE, Floats, as_floats, normalise, ra_dec, tangents, unit

FEWEST_FOR_A_CLAIM = 5
_MOST_LISTED = 5040

Complexes = npt.NDArray[np.complex128]


@dataclass(frozen=True)
class Fit:
    """One similarity fit.  ``scale`` is star units per ground unit, ``turn_deg`` counterclockwise.

    ``mean_square`` is the mean squared distance of the moved ground points from their stars, in star units.
    """

    reflected: bool
    scale: float
    turn_deg: float
    shift: tuple[float, float]
    r_squared: float
    mean_square: float


@dataclass(frozen=True)
class MirrorMatch:
    """The better fit, the other one, and how likely chance does as well.

    ``p_value`` is None and ``claim`` "too few points" below five points.  ``claim`` else: "by chance" (p above
    0.05) or "better than chance".  ``collinear``: points along a line cannot tell a mirror from a turn.
    """

    best: Fit
    other: Fit
    points: int
    p_value: float | None
    claim: str
    collinear: bool


def _complex(points: npt.ArrayLike, what: str) -> Complexes:
    xy = as_floats(points)
    if xy.ndim != 2 or xy.shape[1] != 2 or len(xy) < 2 or not np.all(np.isfinite(xy)):
        raise SkyError(f"The {what} must be at least two points, each with two numbers.")
    z = xy[:, 0] + 1j * xy[:, 1]
    if np.allclose(z, z[0]):
        raise SkyError(f"The {what} all lie on one spot; there is no pattern to compare.")
    return np.asarray(z, dtype=np.complex128)


def fit(ground: npt.ArrayLike, sky: npt.ArrayLike, reflected: bool) -> Fit:
    """The best similarity of one handedness taking ground points (n, 2) to star points (n, 2)."""
    z, w = _complex(ground, "places"), _complex(sky, "stars")
    if len(z) != len(w):
        raise SkyError(f"There are {len(z)} places but {len(w)} stars; each place needs one star.")
    z = np.conj(z) if reflected else z
    z_mid, w_mid = z.mean(), w.mean()
    dz, dw = z - z_mid, w - w_mid
    a = np.vdot(dz, dw) / np.vdot(dz, dz)
    b = w_mid - a * z_mid
    error = float(np.mean(np.abs(a * z + b - w) ** 2))
    return Fit(reflected, float(abs(a)), float(np.angle(a) / DEGREE), (float(b.real), float(b.imag)),
               1 - error / float(np.mean(np.abs(dw) ** 2)), error)


def _orders(n: int, draws: int, seed: int) -> npt.NDArray[np.int64]:
    """All orders of n points where they are few, else random ones (the same for the same seed)."""
    if factorial(n) <= _MOST_LISTED:
        return np.array(list(permutations(range(n))), dtype=np.int64)
    random = np.random.default_rng(seed)
    return np.argsort(random.random((draws, n)), axis=1)


def p_value(ground: npt.ArrayLike, sky: npt.ArrayLike, draws: int = 20000, seed: int = 1) -> float:
    """Share of matchings of places with stars whose better fit is at least as good as the given one."""
    z, w = _complex(ground, "places"), _complex(sky, "stars")
    dz, dw = z - z.mean(), w - w.mean()
    shuffled = dz[_orders(len(z), draws, seed)]
    best = np.maximum(np.abs(np.conj(shuffled) @ dw), np.abs(shuffled @ dw))
    own = max(abs(np.vdot(dz, dw)), abs(np.dot(dz, dw)))
    hits = int(np.count_nonzero(best >= own * (1 - 1e-9)))
    listed = len(shuffled) if factorial(len(z)) <= _MOST_LISTED else 0
    return hits / listed if listed else (hits + 1) / (len(shuffled) + 1)


def _collinear(points: npt.ArrayLike) -> bool:
    xy = as_floats(points) - as_floats(points).mean(axis=0)
    sizes = np.linalg.svd(xy, compute_uv=False)
    return bool(sizes[1] < 0.02 * sizes[0])


def match(ground: npt.ArrayLike, sky: npt.ArrayLike) -> MirrorMatch:
    """Compares places with stars in the order given, both handednesses."""
    fits = sorted((fit(ground, sky, reflected) for reflected in (False, True)), key=lambda f: -f.r_squared)
    n = len(as_floats(ground))
    chance = p_value(ground, sky) if n >= FEWEST_FOR_A_CLAIM else None
    claim = "too few points" if chance is None else ("better than chance" if chance <= 0.05 else "by chance")
    return MirrorMatch(fits[0], fits[1], n, chance, claim, _collinear(ground) or _collinear(sky))


def stars_on_chart(hips: Sequence[int], year: float = 2000.0) -> Floats:
    """Stars as (right, up) in degrees on a small chart, north up, east left, about their middle (n, 2).

    Azimuthal equidistant about the mean direction; distances from the middle are true.
    """
    stars = load_catalogue()
    return on_chart(star_vectors(stars, stars.indices(list(hips)), year))


def on_chart(directions: Floats) -> Floats:
    """Unit vectors (n, 3) as (right, up) in degrees, seen looking up with north up: right is WEST."""
    middle = normalise(directions.mean(axis=0))
    ra, dec = ra_dec(middle)
    east, north = tangents(ra, dec)
    x, y, z = directions @ east, directions @ north, directions @ middle
    away, across = np.arctan2(np.hypot(x, y), z), np.maximum(np.hypot(x, y), 1e-15)
    return np.stack([-x, y], axis=1) * (away / across / DEGREE)[:, None]


def places_on_map(lat_deg: npt.ArrayLike, lon_deg: npt.ArrayLike) -> Floats:
    """Places as (east, north) in km about their middle (n, 2), on a sphere of 6371 km (0.3 % error)."""
    found = on_chart(unit(as_floats(lon_deg) * DEGREE, as_floats(lat_deg) * DEGREE))
    return as_floats(found * np.array([-1.0, 1.0]) * DEGREE * 6371.0)
