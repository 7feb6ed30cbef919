"""The engine against the test values of ERFA's own suite (t_erfa_c.c, release 2.0), tolerances as there."""

import erfa
import numpy as np
import pytest

from archive.sky.altaz import altitude_azimuth, hour_angle_dec
from archive.sky.catalogue import space_motion
from archive.sky.frames import ecliptic_pole, obliquity, precession
from archive.sky.times import ut1_of_utc
from archive.sky.vectors import ARCSEC, normalise, ra_dec, separation, unit


def test_long_term_precession_matrix() -> None:
    # t_ltp: epoch 1666.666, element r12, 1e-14; ``ltpb`` adds the frame bias of IERS Conventions (2003) 5.4.4
    matrix = erfa.ltp(1666.666)
    assert matrix[0, 1] == pytest.approx(0.07437801893193211, abs=1e-14)
    dx, de, dr = -0.016617 * ARCSEC, -0.0068192 * ARCSEC, -0.0146 * ARCSEC
    bias = np.array([[1, dr, -dx], [-dr, 1, -de], [dx, de, 1]])
    assert np.allclose(precession(1666.666), matrix @ bias, atol=2e-14)


def test_ecliptic_pole_of_minus_1500() -> None:
    # t_ltpecl: epoch -1500, 1e-14; ours is ICRS, off by the frame bias (below 0.03 arcsec)
    expected = np.array([0.4768625676477096525e-3, -0.4052259533091875112, 0.9142164401096448012])
    assert np.allclose(erfa.ltpecl(-1500.0), expected, atol=1e-14)
    assert separation(ecliptic_pole(-1500.0), expected) < 0.03 * ARCSEC


def test_obliquity_is_the_angle_between_the_long_term_poles() -> None:
    for year in (-10000.0, -1500.0, 2000.0, 10000.0):
        dot = float(np.dot(erfa.ltpecl(year), erfa.ltpequ(year)))
        assert float(obliquity(year)) == pytest.approx(np.arccos(dot), abs=1e-12)


def test_uniform_motion_follows_the_rigorous_one() -> None:
    # t_pmsafe: 1e-12 there for the same model; ours leaves out light-time of the motion, allowed 1e-9 rad
    pm_ra, pm_dec, parallax = 1e-5, -2e-5, 1e-2
    years = (51544.5 - 48348.5625) / 365.25
    mas = ARCSEC / 1000
    motion = space_motion(np.array([1.234]), np.array([0.789]), np.array([pm_ra * np.cos(0.789) / mas]),
                          np.array([pm_dec / mas]), np.array([parallax * 1000]), np.array([10.0]))
    ra, dec = ra_dec(normalise(unit(1.234, 0.789) + years * motion[0]))
    assert float(ra) == pytest.approx(1.234087484501017061, abs=1e-9)
    assert float(dec) == pytest.approx(0.7888249982450468567, abs=1e-9)
    safe = erfa.pmsafe(1.234, 0.789, pm_ra, pm_dec, parallax, 10.0, 2400000.5, 48348.5625, 2400000.5, 51544.5)
    assert float(safe[0]) == pytest.approx(1.234087484501017061, abs=1e-12)


def test_hour_angle_to_azimuth() -> None:
    # t_hd2ae, 1e-13
    altitude, azimuth = altitude_azimuth(1.1, 1.2, 0.3)
    assert float(azimuth) == pytest.approx(5.916889243730066194, abs=1e-13)
    assert float(altitude) == pytest.approx(0.4472186304990486228, abs=1e-13)


def test_azimuth_to_hour_angle() -> None:
    # t_ae2hd, 1e-13 (azimuth 5.5, altitude 1.1, latitude 0.7)
    hour, dec = hour_angle_dec(1.1, 5.5, 0.7)
    assert float(hour) == pytest.approx(0.5933291115507309663, abs=1e-13)
    assert float(dec) == pytest.approx(0.9613934761647817620, abs=1e-13)


def test_mean_sidereal_time() -> None:
    # t_gmst06: UT1 = TT = MJD 53736.0, 1e-12
    assert erfa.gmst06(2400000.5, 53736.0, 2400000.5, 53736.0) == pytest.approx(1.754174971870091203, abs=1e-12)


def test_sidereal_time_uses_ut1() -> None:
    # IERS Bulletin B: UT1-UTC was +0.339 s on 2006-01-01 (MJD 53736), just after a leap second
    assert float((ut1_of_utc(2453736.5) - 2453736.5) * 86400) == pytest.approx(0.339, abs=0.03)
