"""Places of stars against Astropy with the same star data: 10,000 apparent places and 5,000 altitudes.

Offline: Astropy's bundled Earth orientation.  Goal: 1 arcsec, 1950 to 2050.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from astropy import units as u
from astropy.coordinates import TETE, AltAz, EarthLocation, SkyCoord, get_body
from astropy.time import Time
from astropy.utils import iers

from archive.sky import planets
from archive.sky.altaz import Place, body_altaz, star_altaz
from archive.sky.catalogue import load_catalogue
from archive.sky.places import apparent_of_date
from archive.sky.times import parse_time
from archive.sky.vectors import ARCSEC, DEGREE, separation, unit
from tests.sky_peers import star_columns

pytestmark = pytest.mark.filterwarnings("ignore")  # ERFA's "dubious year" and stale Earth orientation notes


@pytest.fixture(autouse=True)
def _offline() -> Iterator[None]:
    with iers.conf.set_temp("auto_download", False), iers.conf.set_temp("auto_max_age", None):
        yield


@pytest.fixture(scope="module")
def picked() -> tuple[Any, Any]:
    """2,000 rows of the list, the nearest 100 stars among them, and the same stars for Astropy."""
    data = star_columns()
    rows = np.random.default_rng(20).choice(len(data["hip"]), 1900, replace=False)
    rows = np.union1d(rows, np.argsort(-data["plx_mas"])[:100])
    parallax = np.maximum(data["plx_mas"][rows], 1e-4)  # Astropy wants a distance; 1e-4 mas is as good as none
    stars = SkyCoord(ra=data["ra_rad"][rows] * u.rad, dec=data["dec_rad"][rows] * u.rad,
                     distance=1000 / parallax * u.pc, pm_ra_cosdec=data["pm_ra_mas_yr"][rows] * u.mas / u.yr,
                     pm_dec=data["pm_dec_mas_yr"][rows] * u.mas / u.yr,
                     radial_velocity=data["rv_km_s"][rows] * u.km / u.s, obstime=Time("J1991.25", scale="tt"))
    return rows, stars


@pytest.mark.parametrize("year", [1950.3, 1975.1, 2000.2, 2025.5, 2049.9])
def test_apparent_places(year: float, picked: tuple[Any, Any]) -> None:
    # found 0.005 arcsec at most; 0.05 leaves room for other versions' nutation
    rows, stars = picked
    when = Time(year, format="jyear", scale="tt")
    theirs = SkyCoord(stars.apply_space_motion(when)).transform_to(TETE(obstime=when))
    ours = unit(*apparent_of_date(rows, float(when.tt.jd)))
    away = separation(ours, unit(theirs.ra.rad, theirs.dec.rad)) / ARCSEC
    assert len(rows) >= 1900
    assert float(away.max()) < 0.05


@pytest.mark.parametrize(("at", "lat", "lon"), [
    ("1975-03-01T03:00:00", 46.0, -38.0), ("2010-08-01T21:00:00", -33.9, 151.2),
    ("2025-12-30T12:00:00", 78.2, 15.6)])
def test_altitudes_without_refraction(at: str, lat: float, lon: float, picked: tuple[Any, Any]) -> None:
    # found 0.6 arcsec: the step of half a year in our table of UT1
    rows, stars = picked
    when, where = Time(at, scale="utc"), EarthLocation.from_geodetic(lon * u.deg, lat * u.deg)
    theirs = SkyCoord(stars.apply_space_motion(when)).transform_to(AltAz(obstime=when, location=where))
    altitude, azimuth = star_altaz(load_catalogue().hip[rows], Place(lat, lon), parse_time(at + "Z"))
    away = separation(unit(azimuth * DEGREE, altitude * DEGREE), unit(theirs.az.rad, theirs.alt.rad)) / ARCSEC
    assert float(away.max()) < 1.0


@pytest.mark.parametrize(("body", "arcsec"), [("sun", 1.5), ("moon", 2.0), ("venus", 1.5), ("jupiter", 1.5)])
def test_altitudes_of_bodies(body: str, arcsec: float, monkeypatch: pytest.MonkeyPatch) -> None:
    # Astropy's built-in ephemeris is ERFA's plan94 too, whose own error is 11 arcsec for Venus and 82 for Jupiter: our
    # corrections of it are left out here, so that this tests parallax, aberration and rotation.  The theory is tested
    # against JPL's DE421 in test_sky_skyfield.
    bare: dict[str, tuple[planets.Term, ...]] = {"l": (), "b": (), "r": ()}
    monkeypatch.setattr(planets, "corrections", lambda: dict.fromkeys(planets.NUMBERS, bare))
    where, place = EarthLocation.from_geodetic(-38 * u.deg, 46 * u.deg), Place(46.0, -38.0)
    for at in ("1999-01-10T05:00:00", "2012-06-06T01:00:00", "2025-06-21T22:30:00"):
        when = Time(at, scale="utc")
        theirs = get_body(body, when, where, ephemeris="builtin").transform_to(AltAz(obstime=when, location=where))
        altitude, azimuth = body_altaz(body, place, parse_time(at + "Z"))
        ours = unit(azimuth * DEGREE, altitude * DEGREE)
        assert float(separation(ours, unit(theirs.az.rad, theirs.alt.rad))) < arcsec * ARCSEC
