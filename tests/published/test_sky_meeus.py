"""Worked examples of J. Meeus, Astronomical Algorithms, 2nd edition (1998), recalled and recomputed."""

import erfa
import numpy as np
import pytest

from archive.sky.altaz import altitude_azimuth, refraction_of_apparent, refraction_of_true
from archive.sky.bodies import apparent_direction
from archive.sky.catalogue import separation_deg
from archive.sky.frames import nutation, precession, true_matrix
from archive.sky.places import star_places
from archive.sky.times import calendar_date, jd_of_epoch, julian_day, parse_time, sidereal_time, ut1_of_utc
from archive.sky.vectors import ARCSEC, DEGREE, normalise, ra_dec, rotate, separation, tangents, unit


def _hms(h: float, m: float, s: float) -> float:
    return (h + m / 60 + s / 3600) * 15 * DEGREE


def _utc_of_ut1(jd: float) -> float:
    """Meeus's UT is UT1; the functions take UTC."""
    return jd + (jd - float(ut1_of_utc(jd)))


def _dms(d: float, m: float, s: float) -> float:
    return (d + m / 60 + s / 3600) * DEGREE


@pytest.mark.parametrize(("year", "month", "day", "jd"), [
    (333, 1, 27.5, 1842713.0), (-1000, 7, 12.5, 1356001.0), (1957, 10, 4.81, 2436116.31),
    (2000, 1, 1.5, 2451545.0), (-4712, 1, 1.5, 0.0), (-1000, 2, 29.0, 1355866.5), (837, 4, 10.3, 2026871.8)])
def test_julian_days(year: int, month: int, day: float, jd: float) -> None:
    # chapter 7, examples 7.a, 7.b and the list after them; exact but for the rounding of tenths
    assert julian_day(year, month, day) == pytest.approx(jd, abs=1e-6)
    date, part = calendar_date(jd)
    assert (date.year, date.month, date.day) == (year, month, int(day))
    assert part == pytest.approx(day % 1, abs=1e-6)


def test_sidereal_time_of_1987() -> None:
    # example 12.a: 1987 April 10, 0h UT, 13h10m46.3668s by the 1982 formula; 0.005 s
    jd = 2446895.5
    mean = float(sidereal_time(_utc_of_ut1(jd), jd + 55.4 / 86400))
    assert mean / DEGREE / 15 * 3600 == pytest.approx(13 * 3600 + 10 * 60 + 46.3668, abs=0.005)


def test_altitude_of_venus() -> None:
    # example 13.b: H 64.352133, azimuth 68.0337 from SOUTH, altitude 15.1249; 3e-4 degree
    altitude, azimuth = altitude_azimuth(64.352133 * DEGREE, -_dms(6, 43, 11.61), _dms(38, 55, 17))
    assert float(azimuth) / DEGREE == pytest.approx(248.0337, abs=3e-4)
    assert float(altitude) / DEGREE == pytest.approx(15.1249, abs=3e-4)


def test_hour_angle_of_venus() -> None:
    # example 13.b: 1987 April 10, 19:21 UT, longitude 77 03 56 W; apparent sidereal time; 3e-4 degree
    jd = parse_time("1987-04-10T19:21:00Z")
    tt = jd + 55.4 / 86400
    local = float(sidereal_time(_utc_of_ut1(jd), tt, true_matrix(tt)[1])) - _dms(77, 3, 56)
    hour = (local - _hms(23, 9, 16.641)) / DEGREE % 360
    assert hour == pytest.approx(64.352133, abs=3e-4)


def test_separation_of_arcturus_and_spica() -> None:
    # example 17.a: 32.7930 degrees from the FK5 places of J2000
    found = separation(unit(_hms(14, 15, 39.7), _dms(19, 10, 57)), unit(_hms(13, 25, 11.6), -_dms(11, 9, 41)))
    assert float(found) / DEGREE == pytest.approx(32.7930, abs=1e-4)
    # the star list's places are of 1991.25: Arcturus moved 20 arcsec since
    assert separation_deg(69673, 65474) == pytest.approx(32.7930, abs=0.006)


def test_theta_persei_mean_place() -> None:
    # example 21.b: mean equator of 2028 November 13.19, 41.547214 and 49.348483 degrees, 0.1 arcsec
    year = 2000 + (2462088.69 - 2451545.0) / 365.25
    ra = _hms(2, 44, 11.986) + 0.03425 * (year - 2000) * 15 * ARCSEC
    dec = _dms(49, 13, 42.48) - 0.0895 * (year - 2000) * ARCSEC
    found = ra_dec(rotate(precession(year), unit(ra, dec)))
    assert float(separation(unit(*found), unit(41.547214 * DEGREE, 49.348483 * DEGREE))) < 0.1 * ARCSEC


def test_polaris_mean_place_of_2050() -> None:
    # example 21.c and exercise: J2050 3h48m16.43s, +89 27 15.38; IAU 1976 there, so 0.4 s, 0.1 arcsec
    ra, dec = _hms(2, 31, 48.704), _dms(89, 15, 50.72)
    east, north = tangents(np.array(ra), np.array(dec))
    shift = 50 * (0.19877 * 15 * np.cos(dec) * east - 0.0152 * north) * ARCSEC
    found_ra, found_dec = ra_dec(rotate(precession(2050.0), normalise(unit(ra, dec) + shift)))
    assert float(found_ra) / DEGREE / 15 * 3600 == pytest.approx(3 * 3600 + 48 * 60 + 16.43, abs=0.4)
    assert float(found_dec) / ARCSEC == pytest.approx(_dms(89, 27, 15.38) / ARCSEC, abs=0.1)


def test_nutation_of_1987() -> None:
    # example 22.a: -3.788 and 9.443 arcsec by IAU 1980 (0.001); ours is IAU 2000B, which differs by a few mas
    day, part = 2446895.0, 0.5
    old = np.array(erfa.nut80(day, part)) / ARCSEC
    assert old == pytest.approx([-3.788, 9.443], abs=0.001)
    assert np.array(nutation(day + part)) / ARCSEC == pytest.approx(old, abs=0.02)


def test_apparent_sun_of_1992() -> None:
    # example 25.b (complete VSOP87): 1992 October 13.0 TD, 13h13m30.749s, -7 47 01.74; 0.1 arcsec
    tt = 2448908.5
    found = rotate(true_matrix(tt)[0], apparent_direction("sun", tt)[0])
    assert float(separation(found, unit(_hms(13, 13, 30.749), -_dms(7, 47, 1.74)))) < 0.1 * ARCSEC


def test_moon_of_1992() -> None:
    # example 47.a: 1992 April 12.0 TD, apparent 134.688470, +13.768368 degrees, 368409.7 km (the same theory)
    tt = 2448724.5
    direction, distance = apparent_direction("moon", tt)
    found = rotate(true_matrix(tt)[0], direction)
    assert float(separation(found, unit(134.688470 * DEGREE, 13.768368 * DEGREE))) < 1.5 * ARCSEC
    assert float(distance) * 149597870.7 == pytest.approx(368409.7, abs=2)


def test_refraction_formulas() -> None:
    # chapter 16: Bennett 34.5' at apparent 0, Saemundsson 29' at true 0; both nothing at the zenith
    assert float(refraction_of_apparent(0.0)) * 60 == pytest.approx(34.5, abs=0.1)
    assert float(refraction_of_true(0.0)) * 60 == pytest.approx(29.0, abs=0.1)
    assert float(refraction_of_apparent(90.0)) == pytest.approx(0.0, abs=1e-4)
    assert float(refraction_of_true(90.0)) == pytest.approx(0.0, abs=1e-4)
    # example 16.a: apparent 0.5 degrees is lifted by 28.754 arcmin
    assert float(refraction_of_apparent(0.5)) * 60 == pytest.approx(28.754, abs=0.05)


def test_polaris_comes_nearest_to_the_apparent_pole_in_march_2100() -> None:
    # Meeus, Mathematical Astronomy Morsels (1997), from memory: 27 09 on 2100 March 24; 2 arcsec, 1 day
    days = np.arange(julian_day(2099, 6, 1), julian_day(2101, 1, 1), 1.0)
    years = 2000 + (days - 2451545) / 365.25
    away = np.array([90 - float(star_places([11767], float(y), "apparent")[1][0]) for y in years])
    nearest = days[int(np.argmin(away))]
    assert away.min() * 3600 == pytest.approx(27 * 60 + 9, abs=2)
    assert abs(nearest - julian_day(2100, 3, 24)) <= 1.5
    assert float(jd_of_epoch(years[0])) == pytest.approx(days[0], abs=1e-6)
