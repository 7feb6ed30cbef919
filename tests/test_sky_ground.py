"""Bearings along the ground."""

import numpy as np
import pytest

from archive.sky import Place, SkyError, parse_date, read_bearing, star_crossing, sun_dates


def test_bearing_of_a_rising_star_gives_the_star_back() -> None:
    rising = star_crossing(32349, Place(46, -38), parse_date("2000-01-01"))
    assert rising.rise_azimuth_deg is not None
    found = read_bearing(46, rising.rise_azimuth_deg, -34 / 60, refraction=False)
    assert found.event == "rises"
    assert 32349 in [match.hip for match in found.matches]


def test_refraction_lowers_the_true_altitude() -> None:
    # Bennett: 34.5' at the horizon
    assert read_bearing(50, 90, 0).true_altitude_deg == pytest.approx(-34.5 / 60, abs=0.002)
    assert read_bearing(50, 90, 0, refraction=False).true_altitude_deg == 0


def test_sun_dates() -> None:
    # the equinoxes of 2025 (20 March 09:01, 22 September 18:19 UT) and its solstices
    assert sun_dates(0.0, 2025) == ("2025-03-20", "2025-09-22")
    assert sun_dates(24.0, 2025) == ()
    assert len(sun_dates(10.0, -2800)) == 2


def test_moon_and_sun_codes() -> None:
    # geometry: declinations +-(obliquity + 5.145) at the moon's furthest; from the ground it stands 0.95 degree lower
    # (its mean horizontal parallax, 3,422.6 arcsec: Brown's constant, from memory)
    lat, dec, lift = 51.0, 23.44 + 5.145, 0.951
    sine = np.sin(np.radians(dec)) - np.sin(np.radians(lat)) * np.sin(np.radians(lift))
    azimuth = float(np.degrees(np.arccos(sine / np.cos(np.radians(lat)) / np.cos(np.radians(lift)))))
    assert "major north" in [m.what for m in read_bearing(lat, azimuth, 0, refraction=False).matches]
    assert read_bearing(lat, 360 - azimuth, 0, refraction=False).event == "sets"
    assert read_bearing(45, 90, 0, refraction=False).matches[0].what == "equinox"


def test_bad_bearings() -> None:
    with pytest.raises(SkyError, match="bearing"):
        read_bearing(95, 90)
    with pytest.raises(SkyError, match="year"):
        read_bearing(45, 90, year=20000)
