"""The geometry of the two charts: which sky is shown, and where on the page each direction falls.

Both charts show the sky as seen looking UP: with north at the top, EAST IS ON THE LEFT.  (On a map, which is
looked down on, east is on the right: a faithful chart of the sky is a reflected map of the ground.)

Page coordinates: x grows to the right, y grows DOWN, the chart's rim is the circle of radius 1 about (0, 0).

  pole chart    azimuthal equidistant about the celestial pole of date that stands above the horizon (the
                south pole south of the equator).  The meridian toward the equator points down.  North of the
                equator: north horizon up, east left.  South of it: south horizon up, east right.
  zenith chart  azimuthal equidistant about the zenith, north up, east left, the horizon as its rim.

Distances from the centre are true to scale; shapes stretch toward the rim.  No refraction is applied.
"""

from dataclasses import dataclass

import numpy as np

from .altaz import Place, body_hour_angle
from .bodies import solar_longitude
from .errors import SkyError
from .frames import obliquity, precession, true_matrix
from .times import check_year, epoch_of_jd, sidereal_time, tt_of_ut
from .vectors import DEGREE, TAU, Flags, Floats, as_floats, rotate

KINDS = ("pole", "zenith")
WIDEST_RIM_DEG = 150.0
"""The pole chart never reaches further from its pole than this: beyond, shapes are stretched past use."""


@dataclass(frozen=True)
class Sky:
    """The sky over a place at one moment: ICRS -> equator of date, local sidereal time, latitude (radians)."""

    year: float
    matrix: Floats
    sidereal: float
    lat: float


@dataclass(frozen=True)
class View:
    """One chart's projection.  ``rim`` is the angle from centre to rim in radians."""

    kind: str
    sky: Sky
    rim: float


def sky_at(place: Place, jd_ut: float, year: int | None = None) -> Sky:
    """The sky at an instant, or the like night of another year.

    With ``year``: the stars of that year, on the night when the sun stands at the same longitude along the
    ecliptic (the same distance from solstice and equinox), at the same hour by the sun: the sidereal time is
    the sun's right ascension then plus its hour angle now.  That needs neither a calendar nor the unknown
    slowing of the Earth's turning, which are lost in deep time.
    """
    tt = float(tt_of_ut(jd_ut))
    lat, lon = place.lat_deg * DEGREE, place.lon_deg * DEGREE
    if year is None:
        check_year(float(epoch_of_jd(tt)))
        matrix, equinoxes = true_matrix(tt)
        sidereal = float(sidereal_time(jd_ut, tt, equinoxes)) + lon
        return Sky(float(epoch_of_jd(tt)), matrix, sidereal % TAU, lat)
    check_year(year)
    longitude, eps = float(solar_longitude(tt)), float(obliquity(year))
    sun_ra = np.arctan2(np.sin(longitude) * np.cos(eps), np.cos(longitude))
    hour = float(body_hour_angle("sun", jd_ut, lat, lon)[0])
    return Sky(float(year), precession(year), float((sun_ra + hour) % TAU), lat)


def make_view(kind: str, sky: Sky) -> View:
    """The projection for one of KINDS."""
    if kind not in KINDS:
        raise SkyError(f"The chart kind {kind!r} is not known. Choose one of: {', '.join(KINDS)}.")
    rim = np.pi / 2 if kind == "zenith" else min(np.pi - abs(sky.lat) + 2 * DEGREE, WIDEST_RIM_DEG * DEGREE)
    return View(kind, sky, float(rim))


def horizontal(sky: Sky, fixed: Floats) -> Floats:
    """ICRS directions turned to (north, east, up) at the place; shape (..., 3)."""
    phi, theta = sky.lat, sky.sidereal
    rows = np.array([[-np.sin(phi) * np.cos(theta), -np.sin(phi) * np.sin(theta), np.cos(phi)],
                     [-np.sin(theta), np.cos(theta), 0.0],
                     [np.cos(phi) * np.cos(theta), np.cos(phi) * np.sin(theta), np.sin(phi)]])
    return rotate(rows @ sky.matrix, fixed)


def _page(view: View, away: Floats, turn: Floats) -> Floats:
    radius = away / view.rim
    return np.stack([radius * np.sin(turn), radius * np.cos(turn)], axis=-1)


def project_horizontal(view: View, vector: Floats) -> tuple[Floats, Flags]:
    """Page places (..., 2) of (north, east, up) directions, and whether each lies inside the rim."""
    north, east, up = (as_floats(vector)[..., i] for i in range(3))
    if view.kind == "zenith":
        away = np.arctan2(np.hypot(north, east), up)
        return _page(view, away, np.arctan2(-east, -north)), away <= view.rim + 1e-9
    side = 1.0 if view.sky.lat >= 0 else -1.0
    sin_lat, cos_lat = np.sin(view.sky.lat), np.cos(view.sky.lat)
    poleward = side * (north * cos_lat + up * sin_lat)
    equatorward = up * cos_lat - north * sin_lat
    away = np.arctan2(np.hypot(equatorward, east), poleward)
    return _page(view, away, np.arctan2(-side * east, equatorward)), away <= view.rim + 1e-9


def project(view: View, fixed: Floats) -> tuple[Floats, Flags]:
    """Page places (..., 2) of ICRS directions, and whether each lies inside the rim."""
    return project_horizontal(view, horizontal(view.sky, fixed))


def horizon_circle(altitude_deg: float = 0.0, step_deg: float = 2.0) -> Floats:
    """(north, east, up) directions along the horizon, closed, starting in the north."""
    azimuth = np.arange(0, 360 + step_deg / 2, step_deg) * DEGREE
    h = np.full_like(azimuth, altitude_deg * DEGREE)
    return np.stack([np.cos(h) * np.cos(azimuth), np.cos(h) * np.sin(azimuth), np.sin(h)], axis=-1)


def arcs(start: Floats, stop: Floats, points: int = 13) -> Floats:
    """Great-circle arcs (k, points, 3) between directions (k, 3) and (k, 3) (evenly spaced by angle)."""
    cosine = np.clip(np.einsum("ki,ki->k", start, stop), -1, 1)
    angle = np.maximum(np.arccos(cosine), 1e-9)[:, None, None]
    share = np.linspace(0, 1, points)[None, :, None]
    near, far = np.sin((1 - share) * angle), np.sin(share * angle)
    return as_floats((near * start[:, None] + far * stop[:, None]) / np.sin(angle))
