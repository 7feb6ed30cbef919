"""The geometry of a star wheel: a disc of stars that turns behind a mask with a window the shape of the sky.

The disc is an azimuthal equidistant map about a celestial pole, drawn as seen looking up (see ``projection``): a
star at hour angle H and distance p from the pole lies at the angle H from the line that points down (toward the
equator's meridian), to the right for west in the north, to the left in the south.  The date ring holds the 365
days at the right ascension of the sun; the hours of the mask stand at the sun's hour angle.  With a date against
an hour, the stars in the window are those above the horizon.

The sun meant is the mean one, whose right ascension grows evenly, so that the hours are those of a clock (local
mean time) and not of a sundial, which strays up to 16 minutes from it.  Its place is that of noon on each date in
the middle of the leap-year round; the 29th of February stands between its neighbours.

Error: the turn is wrong by at most 0.5 degree for the hour of the day (noon stands for the day), 0.4 for the place
in the leap-year round, 0.25 for 29 February alone, and 0.2 for nutation, aberration and equinox within the year;
``TOLERANCE_DEG`` covers them.  Fifty years move a star by up to 0.7 degree more: draw a new disc.

Near the equator one map about one pole would be stretched past use: below ``TWO_FACES_BELOW_DEG`` of latitude there
are two discs, each reaching ``FACE_REACH_DEG`` from its own pole.
"""

from dataclasses import dataclass

import numpy as np

from .catalogue import load_catalogue
from .errors import SkyError
from .frames import ecliptic_matrix, precession, star_vectors
from .horizon import POINT_HORIZON_DEG
from .milkyway import STRIPS, band_edges
from .times import check_year, julian_day, sidereal_time, tt_of_ut
from .vectors import DEGREE, TAU, Flags, Floats, Ints, as_floats, ra_dec, rotate, rotate_back, unit

TOLERANCE_DEG = 1.5
TWO_FACES_BELOW_DEG = 30.0
FACE_REACH_DEG = 115.0
MARGIN_DEG = 1.5
DAYS, TROPICAL_YEAR_DAYS = 365, 365.2422
FEBRUARY_29_AT = 58.5
"""Place of 29 February among the days of the ring counted from 0: halfway from 28 February (58) to 1 March (59)."""


@dataclass(frozen=True)
class Face:
    """One disc and its mask.  ``south``: the map is about the south pole.  ``reach`` is the angle from pole to rim.

    ``lat`` is the latitude counted toward this face's pole (negative where that pole is below the horizon);
    ``altitude`` the true altitude taken as the horizon.  Radians.
    """

    south: bool
    lat: float
    reach: float
    altitude: float
    year: int


def faces(lat_deg: float, year: int, altitude_deg: float = POINT_HORIZON_DEG) -> tuple[Face, ...]:
    """The one disc for a latitude, or the two near the equator (the northern first)."""
    check_year(year)
    if not -90 <= lat_deg <= 90:
        raise SkyError(f"The latitude {lat_deg} is not between -90 (south pole) and 90 (north pole).")
    if not -2 <= altitude_deg <= 30:
        raise SkyError(f"The horizon of a wheel lies between -2 and 30 degrees; {altitude_deg:g} does not.")
    lat, level = lat_deg * DEGREE, altitude_deg * DEGREE
    if abs(lat_deg) >= TWO_FACES_BELOW_DEG:
        reach = min(np.pi - abs(lat) - level + MARGIN_DEG * DEGREE, np.pi)
        return (Face(lat < 0, abs(lat), float(reach), level, year),)
    return tuple(Face(south, -lat if south else lat, FACE_REACH_DEG * DEGREE, level, year) for south in (False, True))


# --- the disc ---


def on_disc(face: Face, right_ascension: Floats, declination: Floats) -> tuple[Floats, Flags]:
    """Places (..., 2) on the disc (rim 1, x right, y DOWN, right ascension 0 pointing down), and which lie on it."""
    away = np.pi / 2 - (-declination if face.south else declination)
    return at_angle(face, -as_floats(right_ascension), away / face.reach), away <= face.reach


def at_angle(face: Face, hour_angle: Floats, radius: Floats | float) -> Floats:
    """Page places (..., 2) at an hour angle: 0 points down, west is right in the north and left in the south."""
    side = -1.0 if face.south else 1.0
    across, down = side * radius * np.sin(hour_angle), radius * np.cos(hour_angle)
    return np.stack(np.broadcast_arrays(as_floats(across), as_floats(down)), axis=-1)


def stars_on_disc(face: Face, v_limit: float, hips: list[int]) -> tuple[Ints, Floats, Floats]:
    """Hipparcos numbers, places and magnitudes of the stars on the disc: the bright ones, and those of ``hips``."""
    stars = load_catalogue()
    rows = np.union1d(stars.brighter(v_limit), stars.indices(hips) if hips else np.zeros(0, dtype=np.int64))
    places, shown = on_disc(face, *of_date(face, star_vectors(stars, rows, float(face.year))))
    return stars.hip[rows[shown]], places[shown], stars.v_mag[rows[shown]]


def of_date(face: Face, fixed: Floats) -> tuple[Floats, Floats]:
    """Right ascension and declination, mean equator of the face's year, of ICRS directions."""
    return ra_dec(rotate(precession(float(face.year)), fixed))


def line_on_disc(face: Face, fixed: Floats) -> list[Floats]:
    """ICRS points (k, 3) along a line as the stretches of it that lie on the disc, each (m, 2)."""
    places, shown = on_disc(face, *of_date(face, fixed))
    cuts = np.flatnonzero(np.diff(shown.astype(np.int8))) + 1
    return [part for part, up in zip(np.split(places, cuts), np.split(shown, cuts), strict=True)
            if up.all() and len(part) > 1]


def ecliptic_on_disc(face: Face) -> list[Floats]:
    """The sun's path among the stars."""
    around = unit(as_floats(np.arange(0, 361, 2)) * DEGREE, 0.0)
    return line_on_disc(face, rotate_back(ecliptic_matrix(float(face.year)), around))


def milky_way_on_disc(face: Face) -> list[Floats]:
    """The band's strips as closed four-cornered pieces (k, 4, 2), one array a strip, the widest first."""
    found = []
    for share in STRIPS:
        (upper, up_in), (lower, low_in) = (on_disc(face, *of_date(face, edge)) for edge in band_edges(share))
        pieces = np.stack([upper[:-1], upper[1:], lower[1:], lower[:-1]], axis=1)
        shown = up_in[:-1] | up_in[1:] | low_in[1:] | low_in[:-1]
        away = np.hypot(pieces[..., 0], pieces[..., 1])
        inside = pieces / np.maximum(away, 1.0)[..., None]
        found.append(inside[shown])
    return found


# --- the rings ---


def mean_sun(year: int, day: Floats | float) -> Floats:
    """Right ascension of the mean sun (radians) at noon of a day counted from 0 (1 January); see the module's error.

    It is the sidereal time at noon, since then the mean sun stands on the meridian; of four years one after
    another the mean, each on the day that the ring counts.
    """
    noons = [_noon_of_ring(first) for first in range(year - 1, year + 3)]
    at_new_year = np.mean([np.exp(1j * noon) for noon in noons])
    return as_floats((np.angle(at_new_year) + as_floats(day) * TAU / TROPICAL_YEAR_DAYS) % TAU)


def _noon_of_ring(year: int) -> float:
    """Right ascension at noon of 1 January of a year as told by its 1 July, which lies past any 29 February."""
    jd = julian_day(year, 7, 1) + 0.5
    return float(sidereal_time(jd, tt_of_ut(jd))) - 181 * TAU / TROPICAL_YEAR_DAYS


def date_angles(face: Face, days: Floats) -> Floats:
    """Hour angles (radians) on the unturned disc of days of the ring, as ``at_angle`` takes them."""
    return -mean_sun(face.year, days)


def hour_angles(hours: Floats, clock_ahead_h: float = 0.0) -> Floats:
    """Hour angles of the mask's hours; ``clock_ahead_h`` is how far the clock is ahead of local mean time."""
    return (as_floats(hours) - clock_ahead_h - 12.0) * TAU / 24


# --- the mask ---


def window(face: Face, step_deg: float = 1.0) -> Floats:
    """The edge of the mask's window (k, 2), closed: the horizon, and the rim where the horizon lies beyond it."""
    last = _azimuth_at_rim(face)
    azimuth = np.linspace(-last, last, int(np.ceil(2 * last / (step_deg * DEGREE))) + 1)
    hour, away = _from_horizon(face, azimuth)
    edge = at_angle(face, hour, away / face.reach)
    if last >= np.pi:
        return edge
    along = np.linspace(hour[-1], hour[0], int(np.ceil(abs(hour[-1] - hour[0]) / (step_deg * DEGREE))) + 1)
    return np.concatenate([edge, at_angle(face, along, 1.0)])


def _azimuth_at_rim(face: Face) -> float:
    """Azimuth (0..pi from below the pole) where the horizon passes the rim; pi where it stays inside."""
    top = np.cos(face.reach) - np.sin(face.altitude) * np.sin(face.lat)
    across = np.cos(face.altitude) * np.cos(face.lat)
    return float(np.arccos(top / across)) if abs(top) < across else float(np.pi)


def direction_on_mask(face: Face, azimuth_deg: float) -> tuple[Floats, bool]:
    """Where the horizon has an azimuth (2,), and whether that point lies on the disc; else a point on its rim.

    ``azimuth_deg`` runs from true north through east for both hemispheres.
    """
    toward = 180.0 - azimuth_deg if face.south else azimuth_deg
    hour, away = _from_horizon(face, as_floats(toward * DEGREE))
    return at_angle(face, hour, np.minimum(away / face.reach, 1.0)), bool(away <= face.reach)


def _from_horizon(face: Face, azimuth: Floats) -> tuple[Floats, Floats]:
    """Hour angle (west positive) and distance from the face's pole of points of the horizon.

    The azimuth runs from the point below the pole, through east in both hemispheres.
    """
    sin_h, cos_h = np.sin(face.altitude), np.cos(face.altitude)
    poleward = sin_h * np.sin(face.lat) + cos_h * np.cos(azimuth) * np.cos(face.lat)
    equatorward = sin_h * np.cos(face.lat) - cos_h * np.cos(azimuth) * np.sin(face.lat)
    west = -cos_h * np.sin(azimuth)
    return np.arctan2(west, equatorward), np.arctan2(np.hypot(west, equatorward), poleward)
