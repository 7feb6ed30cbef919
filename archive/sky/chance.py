"""How often does chance do as well as a mirror's fit?

Three questions, each over the better of both handednesses, as the fit itself is:

  pairings   the same places and stars paired in every way (exactly up to nine pairs, else drawn at random)
  places     places thrown anywhere within the same circle of ground
  stars      stars of the same brightness drawn from the same circle of sky

Whatever was chosen to make the fit good is chosen anew in every draw: where the pairing was the best of all, or the
stars the best of more, each draw takes its own best (``searched``).  Fits of two points are always exact.  By chance
alone the better of both fits reaches R**2 = 0.97 with three points, 0.84 with four, 0.71 with five and 0.52 with
seven (95 % level), so that no claim is made below five points.

A drawn share p of m draws is (hits + 1) / (m + 1) (Davison and Hinkley, Bootstrap Methods, 1997, equation 4.11) with a
standard error of sqrt(p (1 - p) / m).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations, permutations
from math import comb, factorial, perm, sqrt

import numpy as np
import numpy.typing as npt

from .catalogue import load_catalogue
from .errors import SkyError
from .frames import star_vectors
from .mirror import Complexes, complexes, on_chart
from .vectors import DEGREE, Floats, as_floats, normalise

MOST_EXACT = 9
MOST_PAIRINGS = factorial(MOST_EXACT)
DRAWS = 2000
SEARCH_WORK = 8_000_000
"""Pairings looked at in all, over all draws of a search: about half a second."""
FEWEST_DRAWS, MOST_DRAWS = 19, 499
TIE = 1e-9  # a share of R**2 below which two fits count as equally good


@dataclass(frozen=True)
class Chance:
    """``share`` of the ``tried`` that do at least as well; ``error`` is its standard error, 0 where all were tried."""

    share: float
    tried: int
    error: float

    @property
    def is_exact(self) -> bool:
        return self.error == 0


@dataclass(frozen=True)
class Pairing:
    """For each place in order, which of the stars (position in the list given) it is paired with."""

    stars: tuple[int, ...]
    reflected: bool
    r_squared: float


def _drawn(hits: int, draws: int) -> Chance:
    share = (hits + 1) / (draws + 1)
    return Chance(share, draws, sqrt(share * (1 - share) / draws) or 1 / (draws + 1))


def r_squared(z: Complexes, w: Complexes) -> Floats:
    """The better of both fits of points z onto w, pair by pair, (...,) for arrays (..., n)."""
    dz, dw = z - z.mean(axis=-1, keepdims=True), w - w.mean(axis=-1, keepdims=True)
    both = np.maximum(np.abs((dz * dw).sum(axis=-1)), np.abs((np.conj(dz) * dw).sum(axis=-1))) ** 2
    return as_floats(both / ((np.abs(dz) ** 2).sum(axis=-1) * (np.abs(dw) ** 2).sum(axis=-1)))


# --- every pairing ---


@lru_cache(maxsize=16)
def _orders(n: int) -> npt.NDArray[np.int64]:
    return np.array(list(permutations(range(n))), dtype=np.int64).reshape(-1, n)


@lru_cache(maxsize=16)
def _halves(n: int) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Every choice of the first half of n positions, and what it leaves."""
    first = np.array(list(combinations(range(n), n // 2)), dtype=np.int64).reshape(-1, n // 2)
    rest = np.array([np.setdiff1d(np.arange(n), row) for row in first], dtype=np.int64)
    return first, rest


def _all_sums(dz: Complexes, dw: Complexes) -> Complexes:
    """Sums of dw over every order of dz: (choices of half, orders of it, orders of the rest).

    A sum over n is one over the first half and one over the rest, each of which is shared by many orders: 9! sums
    cost 9! additions rather than nine times as many products.
    """
    n, half = len(dz), len(dz) // 2
    first, rest = _halves(n)
    head = dz[first[:, _orders(half)]] @ dw[:half]
    tail = dz[rest[:, _orders(n - half)]] @ dw[half:]
    return np.asarray(head[:, :, None] + tail[:, None, :])


def _all_fits(dz: Complexes, dw: Complexes) -> tuple[Floats, Floats]:
    """R**2 of every order of dz against dw (both about their means): proper, reflected; shapes of ``_all_sums``."""
    spread = float((np.abs(dz) ** 2).sum() * (np.abs(dw) ** 2).sum())
    sums = (_all_sums(np.conj(dz), dw), _all_sums(dz, dw))
    proper, reflected = (as_floats(one.real**2 + one.imag**2) / spread for one in sums)
    return proper, reflected


def by_pairing(stars: npt.ArrayLike, places: npt.ArrayLike, draws: int = 20000, seed: int = 1) -> Chance:
    """The share of ways to pair these stars with these places that fit at least as well as the order given.

    Exact up to MOST_EXACT pairs (the given order is one of them), else over random orders.
    """
    z, w = complexes(stars, "stars"), complexes(places, "places")
    own = float(r_squared(z, w)) * (1 - TIE)
    if len(z) <= MOST_EXACT:
        proper, reflected = _all_fits(z - z.mean(), w - w.mean())
        hits = int(np.count_nonzero(np.maximum(proper, reflected) >= own))
        return Chance(hits / proper.size, proper.size, 0.0)
    random = np.random.default_rng(seed)
    shuffled = z[np.argsort(random.random((draws, len(z))), axis=1)]
    return _drawn(int(np.count_nonzero(r_squared(shuffled, w) >= own)), draws)


# --- other places, other stars ---


def thrown_places(places: npt.ArrayLike, draws: int, seed: int) -> Complexes:
    """Places at random in the circle about the middle that reaches the farthest place, (draws, n)."""
    w = complexes(places, "places")
    reach = float(np.abs(w - w.mean()).max())
    random = np.random.default_rng(seed)
    shape = (draws, len(w))
    return np.asarray(reach * np.sqrt(random.random(shape)) * np.exp(2j * np.pi * random.random(shape)))


@dataclass(frozen=True)
class Field:
    """The circle of sky about a figure: all stars in it down to the figure's faintest, as (right, up) in degrees."""

    hips: tuple[int, ...]
    points: Floats
    radius_deg: float
    faintest: float


def field_of(hips: Sequence[int], year: float = 2000.0) -> Field:
    """The circle about the mean direction that reaches the farthest of these stars, and the stars in it."""
    stars = load_catalogue()
    rows = stars.indices(list(hips))
    own = star_vectors(stars, rows, year)
    middle = normalise(own.mean(axis=0))
    reach = float((own @ middle).min()) - 1e-12
    faintest = float(stars.v_mag[rows].max())
    near = stars.brighter(faintest)
    near = near[star_vectors(stars, near, year) @ middle >= reach]
    points = on_chart(star_vectors(stars, near, year))
    return Field(tuple(stars.hip[near].tolist()), points, float(np.arccos(reach) / DEGREE), faintest)


def by_places(stars: npt.ArrayLike, places: npt.ArrayLike, draws: int = DRAWS, seed: int = 2) -> Chance:
    """The share of random places in the same circle of ground that fit these stars, in this order, as well."""
    z = complexes(stars, "stars")
    own = float(r_squared(z, complexes(places, "places"))) * (1 - TIE)
    return _drawn(int(np.count_nonzero(r_squared(z, thrown_places(places, draws, seed)) >= own)), draws)


def by_stars(stars: npt.ArrayLike, places: npt.ArrayLike, field: Field, draws: int = DRAWS,
             seed: int = 3) -> Chance | None:
    """The share of random stars of the field, as many, that fit these places as well.

    None where the field holds hardly more stars than the figure: there is nothing else to draw.
    """
    z, w = complexes(stars, "stars"), complexes(places, "places")
    if len(field.hips) < len(z) + 2:
        return None
    own = float(r_squared(z, w)) * (1 - TIE)
    random = np.random.default_rng(seed)
    drawn = np.argsort(random.random((draws, len(field.hips))), axis=1)[:, : len(z)]
    points = field.points[:, 0] + 1j * field.points[:, 1]
    return _drawn(int(np.count_nonzero(r_squared(points[drawn], w) >= own)), draws)


# --- looking for the best pairing ---


def _check_search(places: int, stars: int) -> None:
    if places < 3:
        raise SkyError("Two places fit any two stars exactly, so no pairing is better than another. Choose three.")
    if stars < places:
        raise SkyError(f"There are {places} places but {stars} stars. Choose as many stars, or more.")
    if perm(stars, places) > MOST_PAIRINGS:
        raise SkyError(f"{places} places and {stars} stars can be paired in {perm(stars, places):,} ways, more than "
                       f"{MOST_PAIRINGS:,}. Choose fewer places or fewer stars.")


def _best_r_squared(z: Complexes, w: Complexes) -> float:
    """The best of all ways to pair all of w with some of z."""
    dw = w - w.mean()
    return max(float(max(fits.max() for fits in _all_fits(z[list(some)] - z[list(some)].mean(), dw)))
               for some in combinations(range(len(z)), len(w)))


def propose(stars: npt.ArrayLike, places: npt.ArrayLike, count: int = 5) -> list[Pairing]:
    """The pairings that fit best, best first: every place with a star of its own, of as many stars or more."""
    z, w = complexes(stars, "stars"), complexes(places, "places")
    _check_search(len(w), len(z))
    found: list[Pairing] = []
    for some in combinations(range(len(z)), len(w)):
        found += _best_of(z, w, some, count)
    return sorted(found, key=lambda one: (-round(one.r_squared, 9), one.stars, one.reflected))[:count]


def _best_of(z: Complexes, w: Complexes, some: tuple[int, ...], count: int) -> list[Pairing]:
    chosen = z[list(some)]
    found = []
    for reflected, fits in enumerate(_all_fits(chosen - chosen.mean(), w - w.mean())):
        best = np.argpartition(fits.ravel(), -min(count, fits.size))[-count:]
        found += [Pairing(tuple(some[at] for at in _order_at(fits.shape, int(one), len(w))), bool(reflected),
                          float(fits.ravel()[one])) for one in best]
    return found


def _order_at(shape: tuple[int, ...], flat: int, n: int) -> list[int]:
    """The order of stars that stands at a flat position of ``_all_sums``."""
    choice, head, tail = (int(one) for one in np.unravel_index(flat, shape))
    first, rest = _halves(n)
    half = n // 2
    return [*first[choice][_orders(half)[head]].tolist(), *rest[choice][_orders(n - half)[tail]].tolist()]


def searched(stars: npt.ArrayLike, places: npt.ArrayLike, own: float, seed: int = 4) -> Chance:
    """The share of random places in the same circle whose BEST pairing with these stars reaches R**2 = ``own``.

    For a fit that was found by looking through all pairings, or through a choice among more stars than places.
    """
    z, w = complexes(stars, "stars"), complexes(places, "places")
    _check_search(len(w), len(z))
    draws = _draws_for(comb(len(z), len(w)) * factorial(len(w)))
    hits = sum(_best_r_squared(z, drawn) >= own * (1 - TIE) for drawn in thrown_places(places, draws, seed))
    return _drawn(hits, draws)


def _draws_for(work: int) -> int:
    return int(np.clip(SEARCH_WORK // work, FEWEST_DRAWS, MOST_DRAWS))
