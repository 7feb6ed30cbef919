"""Altitude and azimuth, refraction, and the sidereal time that ties the sky to the clock.

Azimuth runs from north (0) through east (90).  Longitudes are east positive.  Altitudes are TRUE
(without refraction) unless a name says "apparent".  Places are geodetic; heights above sea are left out.
Sun, moon and planets are seen from the place itself (parallax applied).  Daily aberration (at most 0.32 arcsec)
is applied to stars' altitudes and left out elsewhere.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from .bodies import EARTH_RADIUS_AU, apparent_direction, check_body
from .catalogue import load_catalogue
from .errors import SkyError
from .frames import true_matrix
from .places import apparent_of_date
from .times import sidereal_time, tt_of_ut
from .vectors import ARCSEC, DEGREE, TAU, Floats, Number, as_floats, ra_dec, rotate

FLATTENING = 1 / 298.257223563
"""WGS 84."""


@dataclass(frozen=True)
class Place:
    """A point of the ground: geodetic latitude (north positive) and longitude (east positive), degrees."""

    lat_deg: float
    lon_deg: float

    def __post_init__(self) -> None:
        """Refuses what is not on the Earth."""
        if not -90 <= self.lat_deg <= 90:
            raise SkyError(f"The latitude {self.lat_deg} is not between -90 (south pole) and 90 (north pole).")
        if not -360 <= self.lon_deg <= 360:
            raise SkyError(f"The longitude {self.lon_deg} is not between -180 and 180 degrees.")


def refraction_of_true(altitude_deg: Number) -> Floats:
    """Lift in degrees at a TRUE altitude: Saemundsson's formula (Meeus, Astronomical Algorithms, 16.4).

    For 1010 hPa and 10 C.  Error below 4 arcsec above 5 degrees, some arcmin at the horizon, where real air
    varies by as much.  Held below -1.5 degrees at its value there (0.7 degrees); zero at the zenith.
    """
    h = np.clip(as_floats(altitude_deg), -1.5, 90)
    return np.maximum(1.02 / np.tan((h + 10.3 / (h + 5.11)) * DEGREE) / 60 + 0.0019279 / 60, 0.0)


def refraction_of_apparent(altitude_deg: Number) -> Floats:
    """Lift in degrees at an APPARENT altitude: Bennett's formula (Meeus, Astronomical Algorithms, 16.3)."""
    h = np.clip(as_floats(altitude_deg), -1.0, 90)
    return np.maximum(1 / np.tan((h + 7.31 / (h + 4.4)) * DEGREE) / 60 + 0.0013515 / 60, 0.0)


def altitude_azimuth(hour_angle: Number, dec: Number, lat: Number) -> tuple[Floats, Floats]:
    """True altitude and azimuth from hour angle (west positive), declination and latitude, all radians."""
    h, d, phi = as_floats(hour_angle), as_floats(dec), as_floats(lat)
    east = -np.cos(d) * np.sin(h)
    north = np.sin(d) * np.cos(phi) - np.cos(d) * np.cos(h) * np.sin(phi)
    up = np.sin(d) * np.sin(phi) + np.cos(d) * np.cos(h) * np.cos(phi)
    return np.arctan2(up, np.hypot(east, north)), np.arctan2(east, north) % TAU


def hour_angle_dec(altitude: Number, azimuth: Number, lat: Number) -> tuple[Floats, Floats]:
    """Hour angle (west positive) and declination from true altitude, azimuth and latitude, all radians."""
    h, a, phi = as_floats(altitude), as_floats(azimuth), as_floats(lat)
    x = np.sin(h) * np.cos(phi) - np.cos(h) * np.cos(a) * np.sin(phi)
    y = -np.cos(h) * np.sin(a)
    z = np.sin(h) * np.sin(phi) + np.cos(h) * np.cos(a) * np.cos(phi)
    return np.arctan2(y, x), np.arctan2(z, np.hypot(x, y))


def observer_vector(lat: Number, sidereal: Number) -> Floats:
    """Geocentric place of an observer at sea level, au, true equator of date (WGS 84 ellipsoid)."""
    phi, theta = np.broadcast_arrays(as_floats(lat), as_floats(sidereal))
    c = 1 / np.sqrt(np.cos(phi) ** 2 + (1 - FLATTENING) ** 2 * np.sin(phi) ** 2)
    s = (1 - FLATTENING) ** 2 * c
    return EARTH_RADIUS_AU * np.stack(
        [c * np.cos(phi) * np.cos(theta), c * np.cos(phi) * np.sin(theta), s * np.sin(phi)], axis=-1)


def body_of_date(body: str, jd_ut: Number) -> tuple[Floats, Floats]:
    """Apparent geocentric vector (au, true equator of date) and Greenwich apparent sidereal time."""
    tt = tt_of_ut(jd_ut)
    matrix, equinoxes = true_matrix(tt)
    direction, distance = apparent_direction(body, tt)
    return rotate(matrix, direction) * distance[..., None], sidereal_time(jd_ut, tt, equinoxes)


def body_hour_angle(body: str, jd_ut: Number, lat: Number, lon: Number) -> tuple[Floats, Floats]:
    """Hour angle and declination (radians) of a body seen from places on the ground (radians)."""
    vector, greenwich = body_of_date(body, jd_ut)
    local = greenwich + as_floats(lon)
    ra, dec = ra_dec(vector - observer_vector(lat, local))
    return (local - ra + np.pi) % TAU - np.pi, dec


def greenwich_sidereal(jd_ut: Number) -> Floats:
    """Greenwich apparent sidereal time in radians."""
    tt = tt_of_ut(jd_ut)
    return sidereal_time(jd_ut, tt, true_matrix(tt)[1])


def star_altaz(hips: Iterable[int], place: Place, jd_ut: Number) -> tuple[Floats, Floats]:
    """True altitude and azimuth in degrees, each (..., k), of stars at instants (...) of universal time.

    Error: 0.5 arcsec (1972 to mid-2026); afterwards UTC is taken for UT1, and before 1972 the time is UT1.
    """
    stars = load_catalogue()
    ra, dec = apparent_of_date(stars.indices(list(hips)), tt_of_ut(jd_ut))
    local = greenwich_sidereal(jd_ut)[..., None] + place.lon_deg * DEGREE
    altitude, azimuth = altitude_azimuth(local - ra, dec, place.lat_deg * DEGREE)
    altitude, azimuth = _toward_east(altitude, azimuth, place.lat_deg * DEGREE)
    return altitude / DEGREE, azimuth / DEGREE


def _toward_east(altitude: Floats, azimuth: Floats, lat: float) -> tuple[Floats, Floats]:
    """Daily aberration: directions drawn toward east, at most 0.319 arcsec (at the equator)."""
    east, north = np.cos(altitude) * np.sin(azimuth), np.cos(altitude) * np.cos(azimuth)
    east = east + 0.3192 * ARCSEC * np.cos(lat)
    return np.arctan2(np.sin(altitude), np.hypot(east, north)), np.arctan2(east, north) % TAU


def body_altaz(body: str, place: Place, jd_ut: Number) -> tuple[Floats, Floats]:
    """True altitude and azimuth in degrees of the sun, the moon or a planet."""
    check_body(body)
    hour, dec = body_hour_angle(body, jd_ut, place.lat_deg * DEGREE, place.lon_deg * DEGREE)
    altitude, azimuth = altitude_azimuth(hour, dec, place.lat_deg * DEGREE)
    return altitude / DEGREE, azimuth / DEGREE
