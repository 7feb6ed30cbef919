"""The sun, the moon and the planets seen without a glass.

All places are geocentric vectors in ICRS axes, in astronomical units; ``apparent_direction`` adds aberration.
Largest errors in arcsec, measured geocentrically against JPL's DE421 for 1900-2050 (see the tests) and DE406 for
-2990 to 2990:

            1900-2050   -2990 to 2990
  sun          0.02         11   1900-2100 ERFA ``epv00``; other years ``planets`` (``plan94`` corrected), with the
                                 Earth's offset from the Earth-Moon barycentre, and the latitude to the moving
                                 ecliptic set to zero; beyond +-3000 uncorrected, about 180 at -10000
  moon           14        209   ERFA ``moon98`` (Meeus, Astronomical Algorithms, 2nd edition, chapter 47)
  mercury         2         15   ``planets``, with ``epv00`` for the Earth where that holds
  venus          11         40
  mars           27         80
  jupiter        11        178   178 in the last 20 years at either end, else 83
  saturn         43        157

The moon and the planets are given for the years -3000 to 3000 only.  Against the same DE421 plain ``plan94`` is off by
2, 11, 63, 82 and 98 arcsec.

Never look at the sun, nor near it through any glass, without a proper filter.
"""

import numpy as np
from erfa import ufunc

from .errors import SkyError
from .frames import DAYS_PER_LIGHT_AU, aberrate, ecliptic_matrix, nutation
from .planets import heliocentric
from .times import epoch_of_jd
from .vectors import Floats, Number, as_floats, normalise, rotate, rotate_back

PLANETS = ("mercury", "venus", "mars", "jupiter", "saturn")
BODIES = ("sun", "moon", *PLANETS)
AU_KM = 149597870.7
EARTH_RADIUS_AU = 6378.137 / AU_KM
MOON_SHARE = 1 / 82.30057
"""The Moon's share of the mass of Earth and Moon together (IAU 2009: ratio 81.30057)."""

NEAR_YEARS = (1900.0, 2100.0)
BODY_YEARS = (-3000.0, 3000.0)


def _split(jd_tt: Number) -> tuple[Floats, Floats]:
    jd = as_floats(jd_tt)
    whole = np.floor(jd)
    return whole, jd - whole


def moon_vector(jd_tt: Number) -> Floats:
    """Geocentric Moon, au, ICRS axes.  Far dates: the IAU 2006 ecliptic of ``moon98`` is swapped for ours."""
    day, part = _split(jd_tt)
    moon = as_floats(ufunc.moon98(day, part)["p"])
    year = epoch_of_jd(jd_tt)
    if np.all(np.abs(year - 2000) <= 100):
        return moon
    of_date = rotate(as_floats(ufunc.ecm06(day, part)), moon)
    return rotate_back(ecliptic_matrix(year), of_date)


def _far_earth(jd_tt: Floats) -> tuple[Floats, Floats]:
    """Heliocentric Earth from ``plan94``, its latitude on the ecliptic of date set to zero."""
    barycentre, velocity = heliocentric("earthmoon", jd_tt)
    earth = barycentre - MOON_SHARE * moon_vector(jd_tt)
    matrix = ecliptic_matrix(epoch_of_jd(jd_tt))
    on_ecliptic = rotate(matrix, earth)
    on_ecliptic[..., 2] = 0.0
    return rotate_back(matrix, on_ecliptic), velocity


def earth_state(jd_tt: Number) -> tuple[Floats, Floats]:
    """Heliocentric position (au) and barycentric velocity (au/day) of the Earth, ICRS axes.

    Outside 1900-2100 the velocity is heliocentric (aberration wrong by at most 0.01 arcsec) and that of the
    Earth-Moon barycentre.
    """
    jd = as_floats(jd_tt)
    year = epoch_of_jd(jd)
    near = (year >= NEAR_YEARS[0]) & (year <= NEAR_YEARS[1])
    if not np.any(near):
        return _far_earth(jd)
    day, part = _split(jd)
    helio, bary, _ = ufunc.epv00(day, part)
    position, velocity = as_floats(helio["p"]), as_floats(bary["v"])
    if np.all(near):
        return position, velocity
    far_position, far_velocity = _far_earth(jd)
    return (np.where(near[..., None], position, far_position),
            np.where(near[..., None], velocity, far_velocity))


def check_body(body: object) -> None:
    """A SkyError for what is not of BODIES."""
    if body not in BODIES:
        raise SkyError(f"The body {body!r} is not known. Choose one of: {', '.join(BODIES)}.")


def beyond_body_years(body: str) -> SkyError:
    """Words for a year outside BODY_YEARS."""
    return SkyError(f"The place of {body} is only given for the years {BODY_YEARS[0]:.0f} to "
                    f"{BODY_YEARS[1]:.0f}: the formulas do not hold further away.")


def are_known(jd_tt: Number) -> bool:
    """Whether all of these instants lie in BODY_YEARS, so that the moon and the planets are given."""
    year = epoch_of_jd(jd_tt)
    return bool(np.all((year >= BODY_YEARS[0]) & (year <= BODY_YEARS[1])))


def _check_body_years(jd_tt: Floats, body: str) -> None:
    if not are_known(jd_tt):
        raise beyond_body_years(body)


def _planet(name: str, jd_tt: Floats, earth: Floats) -> Floats:
    """Geocentric planet with one correction for light-time (the rest is below 0.1 arcsec)."""
    gone = np.sqrt(np.sum((heliocentric(name, jd_tt)[0] - earth) ** 2, axis=-1)) * DAYS_PER_LIGHT_AU
    return heliocentric(name, jd_tt - gone)[0] - earth


def body_vector(body: str, jd_tt: Number) -> Floats:
    """Geocentric vector (..., 3) in au, ICRS axes, light-time taken off for planets; ``body`` of BODIES."""
    check_body(body)
    if body == "moon":
        _check_body_years(as_floats(jd_tt), "the moon")
        return moon_vector(jd_tt)
    return _seen_from(body, as_floats(jd_tt), earth_state(jd_tt)[0])


def _seen_from(body: str, jd_tt: Floats, earth: Floats) -> Floats:
    if body == "sun":
        return -earth
    _check_body_years(jd_tt, body.capitalize())
    return _planet(body, jd_tt, earth)


def apparent_direction(body: str, jd_tt: Number) -> tuple[Floats, Floats]:
    """Apparent geocentric direction (unit vector, ICRS axes) and distance in au.

    The moon moves with the Earth, so that no annual aberration is applied to it (error 0.7 arcsec).
    """
    if body == "moon" or body not in BODIES:
        vector = body_vector(body, jd_tt)
        return normalise(vector), np.sqrt(np.einsum("...i,...i->...", vector, vector))
    earth, velocity = earth_state(jd_tt)
    vector = _seen_from(body, as_floats(jd_tt), earth)
    return aberrate(normalise(vector), velocity), np.sqrt(np.einsum("...i,...i->...", vector, vector))


def moon_phase(jd_tt: Number) -> tuple[Floats, Floats]:
    """Lit share of the moon's disc (0..1) and its elongation in longitude from the sun (radians; pi is full)."""
    year = epoch_of_jd(jd_tt)
    matrix = ecliptic_matrix(year)
    moon, sun = rotate(matrix, moon_vector(jd_tt)), rotate(matrix, -earth_state(jd_tt)[0])
    elongation = np.arctan2(moon[..., 1], moon[..., 0]) - np.arctan2(sun[..., 1], sun[..., 0])
    cosine = np.einsum("...i,...i->...", normalise(moon), normalise(sun))
    return (1 - cosine) / 2, elongation % (2 * np.pi)


def solar_longitude(jd_tt: Number) -> Floats:
    """Apparent longitude of the sun on the true ecliptic of date, radians 0..2 pi.

    Nutation (17 arcsec) is left out more than a thousand years from 2000, where its series no longer holds.
    """
    direction, _ = apparent_direction("sun", jd_tt)
    year = epoch_of_jd(jd_tt)
    on_ecliptic = rotate(ecliptic_matrix(year), direction)
    shift = np.where(np.abs(year - 2000) < 1000, nutation(jd_tt)[0], 0.0)
    return as_floats((np.arctan2(on_ecliptic[..., 1], on_ecliptic[..., 0]) + shift) % (2 * np.pi))
