"""The corrected planets: where the corrections hold, how they end; and edges of place and time."""

import numpy as np
import pytest

from archive.sky import BODIES, Place, SkyError, body_altaz, body_crossing, star_crossing, tonight
from archive.sky.bodies import PLANETS
from archive.sky.planets import NUMBERS, corrections, heliocentric
from archive.sky.times import jd_of_epoch, parse_date, parse_time
from archive.sky.vectors import ARCSEC, normalise, separation

SIRIUS = 32349


def test_every_planet_has_its_series() -> None:
    assert set(PLANETS) | {"earthmoon"} == set(NUMBERS)
    for name, series in corrections().items():
        assert set(series) == {"l", "b", "r"}, name
        assert all(series.values()), name
    with pytest.raises(SkyError, match="pluto"):
        heliocentric("pluto", 2451545.0)


@pytest.mark.parametrize("name", NUMBERS)
def test_corrections_are_small_and_end_without_a_jump(name: str) -> None:
    from erfa import ufunc

    years = np.array([-3400.0, -3001.0, -2000.0, 0.0, 2000.0, 2999.0, 3001.0, 9000.0])
    jd = np.asarray(jd_of_epoch(years))
    plain = ufunc.plan94(np.floor(jd), jd - np.floor(jd), NUMBERS[name])[0]["p"]
    away = separation(normalise(heliocentric(name, jd)[0]), normalise(plain)) / ARCSEC
    assert away[[0, 1, 6, 7]] == pytest.approx([0, 0, 0, 0], abs=1e-6)  # outside -3000 to 3000: nothing added
    assert away.max() < 1400  # the largest correction is Saturn's, 1,300 arcsec at the ends
    edge = np.asarray(jd_of_epoch(np.linspace(-3005, -2975, 301)))
    bare = ufunc.plan94(np.floor(edge), edge - np.floor(edge), NUMBERS[name])[0]["p"]
    added = separation(normalise(heliocentric(name, edge)[0]), normalise(bare)) / ARCSEC
    assert np.abs(np.diff(added)).max() < 60  # in 36 days; what is added there is up to 1,300


def test_one_instant_and_many_agree() -> None:
    jd = np.array([2451545.0, 1000000.5, 2460000.25])
    for name in NUMBERS:
        many = heliocentric(name, jd)[0]
        assert np.stack([heliocentric(name, float(one))[0] for one in jd]) == pytest.approx(many, abs=1e-15)


# --- edges of place and time ---


def test_the_date_line_is_no_edge() -> None:
    day = parse_date("2026-06-21")
    for make in (lambda place: star_crossing(SIRIUS, place, day), lambda place: body_crossing("moon", place, day)):
        east, west = make(Place(-17.0, 180.0)), make(Place(-17.0, -180.0))
        assert east.rise_jd == pytest.approx(west.rise_jd, abs=1e-7)
        assert east.set_azimuth_deg == pytest.approx(west.set_azimuth_deg, abs=1e-6)
    assert tonight(Place(-17.0, 179.99), day).dark is not None


def test_leap_seconds_and_what_lies_beyond_their_table() -> None:
    # the leap second of 2016-12-31 (IERS Bulletin C 52)
    assert parse_time("2016-12-31T23:59:60Z") == parse_time("2017-01-01T00:00:00Z")
    for at in ("2016-12-31T23:59:60Z", "2049-12-31T23:59:59Z", "2151-01-01T00:00:00Z"):
        altitude, azimuth = body_altaz("sun", Place(0.0, 0.0), parse_time(at))
        assert np.isfinite([altitude, azimuth]).all()


@pytest.mark.parametrize("year", ["-2999", "0000", "0001", "2999"])
@pytest.mark.parametrize("lat", [-90.0, 66.56, 90.0])
def test_no_broken_number_at_the_ends(year: str, lat: float) -> None:
    for body in BODIES:
        found = body_crossing(body, Place(lat, 0.0), parse_date(f"{year}-06-21"))
        for value in (found.rise_jd, found.set_jd, found.culmination_jd, found.culmination_altitude_deg):
            assert value is None or np.isfinite(value)
