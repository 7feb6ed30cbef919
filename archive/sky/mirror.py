"""Does a pattern of places match a pattern of stars, turned, scaled and shifted, perhaps mirrored?

Ground points are (east, north) in km on a map, looked down on.  Star points are (right, up) in degrees on a chart
of the sky as seen looking up, where east is LEFT when north is up.  So a sky laid faithfully on the ground, east to
east, shows here as ``reflected`` (determinant -1): a faithful chart of the sky is a reflected map.

The stars are laid on the ground, so that what is made least is how far the stars fall from their places in km.
Least squares after S. Umeyama, IEEE PAMI 13, 376 (1991), written with complex numbers: proper w = a z + b,
reflected w = a conj(z) + b.  R**2 = 1 - residual / spread of w; it is the same whichever is laid on the other.

A fit is arithmetic, and says nothing of what anyone meant.  How often chance does as well: see ``chance``.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from .altaz import FLATTENING
from .catalogue import load_catalogue
from .errors import SkyError
from .frames import precession, star_vectors
from .times import check_year
from .vectors import DEGREE, Floats, as_floats, normalise, ra_dec, rotate, separation, tangents, unit, wrap

FEWEST_FOR_A_CLAIM = 5
WIDE_DEG = 30.0
"""From this radius on a flat chart stretches its outer parts by more than a twentieth (angle / sine, 4.7 %)."""
POLE_MARGIN_DEG = 0.01

EQUATOR_KM, ECCENTRICITY_SQUARED = 6378.137, FLATTENING * (2 - FLATTENING)
"""The ellipsoid of WGS 84 (NIMA TR8350.2, 2000, table 3.1)."""
SAME_SPOT_KM = 0.001

Complexes = npt.NDArray[np.complex128]
T = TypeVar("T")


@dataclass(frozen=True)
class Fit:
    """One similarity fit of points onto others, in the others' units.

    ``scale`` is the others' units per own unit, ``turn_deg`` counterclockwise; ``mean_square`` is the mean squared
    distance of the moved points from the others.
    """

    reflected: bool
    scale: float
    turn_deg: float
    shift: tuple[float, float]
    r_squared: float
    mean_square: float

    def move(self, points: npt.ArrayLike) -> Floats:
        """Points (n, 2) of the first pattern laid over the second."""
        xy = as_floats(points)
        z = xy[:, 0] + (-1j if self.reflected else 1j) * xy[:, 1]
        moved = self.scale * np.exp(1j * self.turn_deg * DEGREE) * z + complex(*self.shift)
        return np.stack([moved.real, moved.imag], axis=1)


@dataclass(frozen=True)
class Laid:
    """Stars laid on the ground in one year, both ways.

    ``places_km`` (n, 2) east and north of the places' ``middle`` (latitude, longitude); ``stars_deg`` (n, 2) right and
    up of the stars' middle, north of date up; ``best`` and ``other`` lay the second on the first.  ``collinear``: what
    lies along a line cannot tell a mirror from a turn.  ``sky_radius_deg`` is from the middle to the farthest star.
    ``round_pole``: the pole of date lies inside the figure, so that north is another way at each of its stars.
    """

    year: float
    middle: tuple[float, float]
    places_km: Floats
    stars_deg: Floats
    best: Fit
    other: Fit
    collinear: bool
    sky_radius_deg: float
    round_pole: bool

    @property
    def points(self) -> int:
        return len(self.places_km)

    @property
    def stars_km(self) -> Floats:
        """Where the stars fall on the ground, (n, 2), by the better fit."""
        return self.best.move(self.stars_deg)

    @property
    def residuals_km(self) -> Floats:
        """How far each star falls from its place, (n,)."""
        return as_floats(np.hypot(*(self.stars_km - self.places_km).T))

    @property
    def residuals_deg(self) -> Floats:
        """The same on the sky; infinite where the fit shrinks the sky to a point."""
        scale = self.best.scale
        return self.residuals_km / scale if scale > 0 else np.full(self.points, np.inf)

    @property
    def north_bearing_deg(self) -> float:
        """The ground bearing, from true north through east, that the sky's north at the middle is laid along."""
        turn = self.best.turn_deg
        return (180 - turn if self.best.reflected else -turn) % 360


# --- the fit ---


def complexes(points: npt.ArrayLike, what: str) -> Complexes:
    """Points (n, 2) as complex numbers, or words on what is wrong with them."""
    xy = as_floats(points)
    if xy.ndim != 2 or xy.shape[1] != 2 or len(xy) < 2 or not np.all(np.isfinite(xy)):
        raise SkyError(f"The {what} must be at least two points, each with two numbers.")
    z = xy[:, 0] + 1j * xy[:, 1]
    if np.allclose(z, z[0]):
        raise SkyError(f"The {what} all lie on one spot; there is no pattern to compare.")
    return np.asarray(z, dtype=np.complex128)


def fit(points: npt.ArrayLike, onto: npt.ArrayLike, reflected: bool) -> Fit:
    """The best similarity of one handedness taking points (n, 2) onto others (n, 2), in the order given."""
    z, w = complexes(points, "stars"), complexes(onto, "places")
    if len(z) != len(w):
        raise SkyError(f"There are {len(w)} places but {len(z)} stars; each place needs one star.")
    z = np.conj(z) if reflected else z
    z_mid, w_mid = z.mean(), w.mean()
    dz, dw = z - z_mid, w - w_mid
    a = np.vdot(dz, dw) / np.vdot(dz, dz)
    b = w_mid - a * z_mid
    error = float(np.mean(np.abs(a * z + b - w) ** 2))
    return Fit(reflected, float(abs(a)), float(np.angle(a) / DEGREE), (float(b.real), float(b.imag)),
               1 - error / float(np.mean(np.abs(dw) ** 2)), error)


def is_collinear(points: npt.ArrayLike) -> bool:
    """Whether the spread across the points' main line is below a fiftieth of the spread along it."""
    xy = as_floats(points) - as_floats(points).mean(axis=0)
    sizes = np.linalg.svd(xy, compute_uv=False)
    return bool(sizes[1] < 0.02 * sizes[0])


def lay(lat_deg: npt.ArrayLike, lon_deg: npt.ArrayLike, hips: Sequence[int], year: float = 2000.0) -> Laid:
    """Lays stars on places, pair by pair in the order given.  A SkyError says what cannot be compared and why."""
    check_year(year)
    _check_pairs(lat_deg, lon_deg, hips)
    spot, middle = map_middle(lat_deg, lon_deg), _middle_of_date(hips, year)
    ground, sky = on_map(lat_deg, lon_deg, spot), on_chart(_of_date(hips, year), middle)
    _check_spots(ground)
    best, other = sorted((fit(sky, ground, reflected) for reflected in (False, True)), key=lambda one: -one.r_squared)
    radius = float(np.hypot(*sky.T).max())
    pole = float(separation(middle, np.array([0.0, 0.0, 1.0])) / DEGREE)
    return Laid(float(year), spot, ground, sky, best, other, is_collinear(ground) or is_collinear(sky), radius,
                min(pole, 180 - pole) < max(radius, POLE_MARGIN_DEG))


def _check_pairs(lat_deg: npt.ArrayLike, lon_deg: npt.ArrayLike, hips: Sequence[int]) -> None:
    lat, lon = as_floats(lat_deg), as_floats(lon_deg)
    if not len(lat) == len(lon) == len(hips):
        raise SkyError(f"There are {len(lat)} places but {len(hips)} stars; each place needs one star.")
    if len(lat) < 2:
        raise SkyError("One pair is no pattern. A mirror needs at least two places with their stars.")
    twice = [hip for at, hip in enumerate(hips) if hip in hips[:at]]
    if twice:
        raise SkyError(f"HIP {twice[0]} stands for two places. Each star can be one place only.")


def _check_spots(ground: Floats) -> None:
    """Two places on one spot cannot be two stars."""
    apart = np.hypot(*(ground[:, None] - ground[None, :]).transpose(2, 0, 1))
    if np.all(apart < SAME_SPOT_KM):
        raise SkyError("The places all lie on one spot; there is no pattern to compare.")
    near = np.argwhere(np.triu(apart < SAME_SPOT_KM, 1))
    if len(near):
        first, second = near[0] + 1
        raise SkyError(f"Places {first} and {second} lie on the same spot. Give each star a place of its own.")


# --- laying the sky and the ground flat ---


def stars_on_chart(hips: Sequence[int], year: float = 2000.0, about: Sequence[int] = ()) -> Floats:
    """Stars as (right, up) in degrees on a small chart, north of date up, east left, (n, 2).

    Azimuthal equidistant about the mean direction of the stars ``about``, else of these themselves; distances from
    the middle are true.
    """
    return on_chart(_of_date(hips, year), _middle_of_date(about or hips, year))


def _of_date(hips: Sequence[int], year: float) -> Floats:
    stars = load_catalogue()
    return rotate(precession(year), star_vectors(stars, stars.indices(list(hips)), year))


def _middle_of_date(hips: Sequence[int], year: float) -> Floats:
    return middle_of(_of_date(hips, year), "stars")


def middle_of(directions: Floats, what: str) -> Floats:
    """The mean direction of unit vectors (..., n, 3); words where they lie all round and have none."""
    total = directions.mean(axis=-2)
    if np.any(np.sqrt(np.einsum("...i,...i->...", total, total)) < 0.02):
        raise SkyError(f"The {what} lie all round and have no middle. Choose {what} of one side.")
    return normalise(total)


def on_chart(directions: Floats, about: Floats | None = None) -> Floats:
    """Unit vectors (..., n, 3) as (right, up) in degrees, seen looking up with north up: right is WEST.

    About a direction, else about their own mean.
    """
    middle = middle_of(directions, "stars") if about is None else about
    east, north = tangents(*ra_dec(middle))
    x, y, z = (np.einsum("...ni,...i->...n", directions, axis) for axis in (east, north, middle))
    away, across = np.arctan2(np.hypot(x, y), z), np.maximum(np.hypot(x, y), 1e-15)
    return as_floats(np.stack([-x, y], axis=-1) * (away / across / DEGREE)[..., None])


def places_on_map(lat_deg: npt.ArrayLike, lon_deg: npt.ArrayLike) -> Floats:
    """Places (WGS 84) as (east, north) in km about their middle (n, 2)."""
    return on_map(lat_deg, lon_deg, map_middle(lat_deg, lon_deg))


def map_middle(lat_deg: npt.ArrayLike, lon_deg: npt.ArrayLike) -> tuple[float, float]:
    """Latitude and longitude in degrees of the middle of places, n of each."""
    lat, lon = as_floats(lat_deg), as_floats(lon_deg)
    if not np.all(np.isfinite(lat) & (np.abs(lat) <= 90) & np.isfinite(lon)):
        raise SkyError("A place needs a latitude from -90 to 90 and a longitude, in degrees.")
    mid_lon, mid_lat = ra_dec(middle_of(unit(lon * DEGREE, lat * DEGREE), "places"))
    return float(mid_lat / DEGREE), float(wrap(mid_lon) / DEGREE)


def on_map(lat_deg: npt.ArrayLike, lon_deg: npt.ArrayLike, middle: tuple[float, float]) -> Floats:
    """Points (WGS 84, degrees) as (east, north) in km of a middle (latitude, longitude), (n, 2).

    Directions at the middle from the chord on the ellipsoid, distances along an arc of its curvature there.  Against
    geodesics: below 1 m at 50 km and below 0.2 % at 2,000 km from the middle (the tests measure it).
    """
    lat, lon = as_floats(lat_deg) * DEGREE, as_floats(lon_deg) * DEGREE
    mid_lat, mid_lon = (as_floats(one * DEGREE) for one in middle)
    east, north = tangents(mid_lon, mid_lat)
    chord = _ellipsoid_km(lat, lon) - _ellipsoid_km(mid_lat, mid_lon)
    side, along = chord @ east, chord @ north
    length, across = np.sqrt(np.einsum("ni,ni->n", chord, chord)), np.maximum(np.hypot(side, along), 1e-15)
    radius = _curvature_km(float(mid_lat), np.arctan2(side, along))
    arc = 2 * radius * np.arcsin(np.clip(length / (2 * radius), 0, 1))
    return as_floats(np.stack([side, along], axis=1) * (arc / across)[:, None])


def _ellipsoid_km(lat: Floats, lon: Floats) -> Floats:
    """Geocentric positions (..., 3) in km of points on the ellipsoid."""
    across = EQUATOR_KM / np.sqrt(1 - ECCENTRICITY_SQUARED * np.sin(lat) ** 2)
    return unit(lon, lat) * np.stack([across, across, across * (1 - ECCENTRICITY_SQUARED)], axis=-1)


def _curvature_km(lat: float, azimuth: Floats) -> Floats:
    """Radius of curvature at a latitude along azimuths, all radians (Euler's formula)."""
    root = 1 - ECCENTRICITY_SQUARED * np.sin(lat) ** 2
    across, along = EQUATOR_KM / np.sqrt(root), EQUATOR_KM * (1 - ECCENTRICITY_SQUARED) / root**1.5
    return as_floats(1 / (np.cos(azimuth) ** 2 / along + np.sin(azimuth) ** 2 / across))


def stretches(runs: Iterable[Sequence[int]], at: Mapping[int, T]) -> list[list[T]]:
    """What stands at stars that follow one another in a run, two or more; a star where nothing stands breaks it."""
    return [
        held
        for run in runs
        for stands, part in groupby(run, key=at.__contains__)
        if stands and len(held := [at[hip] for hip in part]) > 1
    ]
