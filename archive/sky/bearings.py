"""From a bearing along the ground to the sky: what rises or sets behind that notch in the skyline?

    sin dec = sin phi sin h + cos phi cos h cos A

phi the latitude, A the azimuth from north through east, h the TRUE altitude of the skyline: the measured
(apparent) altitude less the refraction (Bennett).  A match says that the two directions agree, not that
anyone ever meant it: among a few thousand stars some always fit.  Measure with a theodolite or a compass
corrected for magnetic north, and visit a site only with the permission of the people of the place.
Never look at the sun without a proper filter.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .altaz import hour_angle_dec, refraction_of_apparent
from .bodies import solar_longitude
from .catalogue import load_catalogue
from .errors import SkyError
from .frames import obliquity, precession, star_vectors
from .times import calendar_date, check_year, format_date, tt_of_ut, year_start
from .vectors import DEGREE, TAU, Floats, as_floats, ra_dec, rotate, wrap

MOON_TILT_DEG = 5.145
"""Mean tilt of the moon's path to the ecliptic (Meeus, Astronomical Algorithms, chapter 47)."""
MOON_PARALLAX_DEG = 0.951
"""Mean horizontal parallax of the moon, 57' 3" (Meeus, chapter 47); 54' to 61.5'.  Seen from the ground the moon
stands that much lower than from the Earth's middle, which its declination is told for."""


@dataclass(frozen=True)
class BearingMatch:
    """Something whose declination fits.  ``kind``: "star", "sun" or "moon"; ``what`` a name or a code
    ("june solstice", "december solstice", "equinox", "dates", "major north", "minor south", ...);
    ``off_deg`` is the match's declination less the bearing's (for the moon, with its parallax)."""

    kind: str
    what: str
    declination_deg: float
    off_deg: float
    hip: int | None = None
    v_mag: float | None = None
    dates: tuple[str, ...] = ()


@dataclass(frozen=True)
class Bearing:
    """``event`` is "rises" for bearings in the eastern half, "sets" in the western."""

    declination_deg: float
    true_altitude_deg: float
    event: str
    year: int
    matches: tuple[BearingMatch, ...]


def declination_deg(lat_deg: float, azimuth_deg: float, true_altitude_deg: float) -> float:
    """Declination in degrees at an azimuth and TRUE altitude."""
    return float(hour_angle_dec(true_altitude_deg * DEGREE, azimuth_deg * DEGREE, lat_deg * DEGREE)[1] / DEGREE)


def _stars(dec_deg: float, year: int, v_limit: float, within_deg: float, also: Sequence[int]) -> list[BearingMatch]:
    stars = load_catalogue()
    rows = np.union1d(stars.brighter(v_limit), stars.indices(list(also)))
    dec = ra_dec(rotate(precession(float(year)), star_vectors(stars, rows, float(year))))[1] / DEGREE
    near = np.flatnonzero(np.abs(dec - dec_deg) <= within_deg)
    return [BearingMatch("star", stars.label(int(stars.hip[rows[i]])), float(dec[i]), float(dec[i] - dec_deg),
                         int(stars.hip[rows[i]]), float(stars.v_mag[rows[i]])) for i in near]


def sun_dates(dec_deg: float, year: int) -> tuple[str, ...]:
    """The days of a calendar year on which the sun's declination passes a value (none, one or two)."""
    start = year_start(year)
    eps = float(obliquity(float(year)))
    if abs(dec_deg * DEGREE) > eps:
        return ()
    rising = float(np.arcsin(np.sin(dec_deg * DEGREE) / np.sin(eps)))
    days = sorted(day_of_longitude(start, wanted) for wanted in {rising, np.pi - rising})
    return tuple(format_date(jd) for jd in days if calendar_date(jd)[0].year == year)


def days_of_longitudes(start_jd: float, wanted: Floats) -> Floats:
    """First instants after the start at which the sun stands at ecliptic longitudes (radians)."""
    ahead = (wanted - solar_longitude(tt_of_ut(start_jd))) % TAU
    jd = start_jd + ahead / TAU * 365.2422
    for _ in range(4):
        jd = jd + wrap(wanted - solar_longitude(tt_of_ut(jd))) / TAU * 365.2422
    return as_floats(jd)


def day_of_longitude(start_jd: float, wanted: float) -> float:
    """The same for one longitude."""
    return float(days_of_longitudes(start_jd, np.array([wanted]))[0])


def _sun(dec_deg: float, year: int, within_deg: float) -> list[BearingMatch]:
    eps = float(obliquity(float(year))) / DEGREE
    for code, dec in (("june solstice", eps), ("december solstice", -eps), ("equinox", 0.0)):
        if abs(dec - dec_deg) <= within_deg:
            return [BearingMatch("sun", code, dec, dec - dec_deg, dates=sun_dates(dec, year))]
    dates = sun_dates(dec_deg, year)
    return [BearingMatch("sun", "dates", dec_deg, 0.0, dates=dates)] if dates else []


def standstills_deg(year: int) -> dict[str, float]:
    """Declinations (geocentric, centre of the disc) of the moon's furthest risings in its 18.6-year round, by code."""
    eps = float(obliquity(float(year))) / DEGREE
    return {f"{size} {side}": sign * (eps + tilt)
            for size, tilt in (("major", MOON_TILT_DEG), ("minor", -MOON_TILT_DEG))
            for side, sign in (("north", 1), ("south", -1))}


def _moon(dec_deg: float, year: int, within_deg: float) -> list[BearingMatch]:
    return [BearingMatch("moon", code, dec, dec - dec_deg) for code, dec in standstills_deg(year).items()
            if abs(dec - dec_deg) <= within_deg]


def read_bearing(lat_deg: float, azimuth_deg: float, altitude_deg: float = 0.0, year: int = 2000,
                 refraction: bool = True, v_limit: float = 2.5, within_deg: float = 0.5,
                 also: Sequence[int] = ()) -> Bearing:
    """Declination behind a bearing and what has it in a year; ``altitude_deg`` is the skyline as measured.

    With ``refraction`` off the altitude is taken as true.  ``within_deg`` is how far a match may be off (half a
    degree is about the width of the sun).  Stars down to ``v_limit`` are looked at, and those of ``also``.
    """
    check_year(year)
    if not -90 <= lat_deg <= 90 or not -90 <= altitude_deg <= 90 or not -360 <= azimuth_deg <= 360:
        raise SkyError("A bearing needs a latitude and an altitude from -90 to 90 and an azimuth from 0 to 360.")
    if abs(lat_deg) == 90:
        raise SkyError("At a pole nothing rises or sets along a line: the stars go round level. Stand somewhere else.")
    true = altitude_deg - (float(refraction_of_apparent(altitude_deg)) if refraction else 0.0)
    dec = declination_deg(lat_deg, azimuth_deg, true)
    stars = sorted(_stars(dec, year, v_limit, within_deg, also), key=lambda m: (abs(m.off_deg), m.hip or 0))
    lifted = true + MOON_PARALLAX_DEG * float(np.cos(true * DEGREE))
    moon = _moon(declination_deg(lat_deg, azimuth_deg, lifted), year, within_deg)
    matches = _sun(dec, year, within_deg) + moon + stars
    return Bearing(dec, true, "rises" if 0 < azimuth_deg % 360 < 180 else "sets", year, tuple(matches))
