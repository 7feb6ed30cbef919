"""Risings and settings at the edges: poles, polar day, grazing, many at once."""

import numpy as np
import pytest

from archive.sky import (
    Place,
    SkyError,
    body_crossing,
    evening_hours,
    load_catalogue,
    parse_date,
    parse_time,
    rise_azimuth_deg,
    star_almanac,
    star_altaz,
    star_crossing,
    star_phases,
)
from archive.sky.altaz import body_altaz
from archive.sky.horizon import NEVER_RISES, NEVER_SETS, POINT_HORIZON_DEG, sun_reaches, sun_table
from archive.sky.vectors import DEGREE

DAY = parse_date("2025-06-21")
STARS = load_catalogue()


@pytest.mark.parametrize(("dec", "lat", "answer"), [
    (80, 60, "sets"), (-80, 60, "rises"), (10, 90, "sets"), (-10, 90, "rises"), (10, -90, "rises"),
    (89.9, 0, "sets")])
def test_never(dec: float, lat: float, answer: str) -> None:
    # geometry: above |dec| = 90 - |lat| a star never crosses; at a pole nothing does; the horizon is at -34'
    assert rise_azimuth_deg(dec, lat) == answer


def test_due_east_on_the_equinox_circle() -> None:
    # geometry: declination 0 and horizon 0 rise due east everywhere between the poles
    for lat in (-60.0, 0.0, 35.0, 89.0):
        assert rise_azimuth_deg(0.0, lat, 0.0) == pytest.approx((90.0, 270.0), abs=1e-9)


def test_star_at_its_rising_stands_on_the_horizon() -> None:
    for lat in (-50.0, 0.0, 30.0, 70.0):
        place = Place(lat, -38.0)
        found = star_crossing(65474, place, DAY)
        assert found.rise_jd is not None
        altitude, azimuth = star_altaz([65474], place, found.rise_jd)
        assert float(altitude[0]) == pytest.approx(POINT_HORIZON_DEG, abs=2e-4)
        assert float(azimuth[0]) == pytest.approx(found.rise_azimuth_deg, abs=2e-4)


def test_stars_at_many_instants_stand_as_at_each() -> None:
    instants = DAY + np.arange(0, 400, 40.3)
    altitudes, azimuths = star_altaz([65474, 32349], Place(46, -38), instants)
    assert altitudes.shape == azimuths.shape == (len(instants), 2)
    for at, instant in enumerate(instants):
        altitude, azimuth = star_altaz([65474, 32349], Place(46, -38), float(instant))
        assert altitudes[at] == pytest.approx(altitude, abs=1e-9)
        assert azimuths[at] == pytest.approx(azimuth, abs=1e-9)


def test_events_lie_within_a_day() -> None:
    for hour in range(0, 24, 5):
        found = star_crossing(32349, Place(10, 170), DAY + hour / 24)
        for jd in (found.rise_jd, found.set_jd, found.culmination_jd):
            assert jd is not None
            assert 0 <= jd - found.start_jd < 1


@pytest.mark.parametrize(("lat", "date", "never"), [
    (80, "2025-06-21", "sets"), (80, "2025-12-21", "rises"), (90, "2025-06-21", "sets"), (-90, "2025-06-21", "rises")])
def test_polar_day_and_night(lat: float, date: str, never: str) -> None:
    # the sun's declination on those days is +-23.4 degrees
    found = body_crossing("sun", Place(lat, 0), parse_date(date))
    assert (found.never, found.rise_jd, found.set_jd, found.rise_azimuth_deg) == (never, None, None, None)
    assert found.culmination_jd is not None


def test_a_minute_of_sun_at_the_end_of_polar_night_is_found() -> None:
    """Between no sun and a short sun there are days whose appearance is shorter than the sampling."""
    place = Place(69.65, 18.96)
    lengths = []
    for day in range(10, 25):
        found = body_crossing("sun", place, parse_date(f"2025-01-{day}"))
        if found.never:
            lengths.append(0.0)
        else:
            assert found.rise_jd is not None
            assert found.set_jd is not None
            assert found.set_jd > found.rise_jd
            lengths.append((found.set_jd - found.rise_jd) * 1440)
    assert lengths == sorted(lengths)
    assert lengths[0] == 0.0
    assert lengths[-1] > 60


def test_moon_may_have_no_rising_on_a_day() -> None:
    # the moon rises some 50 minutes later each day, so once a month a day has none
    found = [body_crossing("moon", Place(46, -38), DAY + day) for day in range(30)]
    assert sum(crossing.rise_jd is None for crossing in found) in (1, 2)
    assert all(crossing.never == "" for crossing in found)


def test_sun_on_its_horizon() -> None:
    place = Place(46, -38)
    found = body_crossing("sun", place, DAY)
    for jd in (found.rise_jd, found.set_jd):
        assert jd is not None
        assert float(body_altaz("sun", place, jd)[0]) == pytest.approx(-50 / 60, abs=1e-4)


def test_dusk_by_table_is_dusk_by_formula() -> None:
    # the table of six hours against the full computation: 0.5 arcsec away from grazing
    table = sun_table(DAY, DAY + 1)
    place = Place(46, -38)
    noon = DAY + 0.5 + 38 / 360
    for altitude in (-50 / 60, -6.0, -12.0, -18.0):
        for morning in (False, True):
            jd = float(sun_reaches(table, 46 * DEGREE, -38 * DEGREE, noon, altitude, morning))
            assert 0 < jd - noon < 1
            assert float(body_altaz("sun", place, jd)[0]) == pytest.approx(altitude, abs=0.002)


def test_dusk_that_never_comes() -> None:
    table = sun_table(DAY, DAY + 1)
    assert float(sun_reaches(table, 60 * DEGREE, 0.0, DAY + 0.5, -12.0)) == np.inf
    assert float(sun_reaches(table, -80 * DEGREE, 0.0, DAY + 0.5, -6.0)) == -np.inf


def test_tables_hold_no_nan_and_mark_what_never_crosses() -> None:
    hips = STARS.hip[STARS.brighter(2.0)].tolist()
    places = [Place(lat, 20) for lat in (-90, -66, 0, 66, 90)]
    table = star_almanac(hips, places, DAY, 30)
    hours = evening_hours(hips, places, DAY, 30)
    for values in (table.rise_h, table.set_h, table.rise_azimuth_deg, hours):
        assert np.isfinite(values).all()
    assert set(np.unique(table.never[0])) == {NEVER_RISES, NEVER_SETS}
    assert not table.never[2].any()
    assert hours.min() >= 0
    assert hours.max() <= 12.001


def test_evening_hours_by_counting() -> None:
    """Against standing there: sampling every two minutes from dusk to midnight."""
    place, noon = Place(46, -38), parse_date("2025-01-15") + 0.5 + 38 / 360
    dusk = float(sun_reaches(sun_table(noon, noon + 1), 46 * DEGREE, -38 * DEGREE, noon, -12.0))
    moments = np.arange(dusk, noon + 0.5, 2 / 1440)
    hips = [32349, 27989, 91262, 69673]
    counted = np.mean([star_altaz(hips, place, float(jd))[0] > 10 for jd in moments], axis=0) * (noon + 0.5 - dusk) * 24
    table = evening_hours(hips, [place], parse_date("2025-01-15"), 1)[0, 0]
    assert table == pytest.approx(counted, abs=0.05)


def test_unknown_body_and_place() -> None:
    with pytest.raises(SkyError, match="pluto"):
        body_crossing("pluto", Place(0, 0), DAY)
    with pytest.raises(SkyError, match="latitude"):
        Place(91, 0)
    with pytest.raises(SkyError, match="latitude"):
        Place(float("nan"), 0)
    with pytest.raises(SkyError, match="-3000 to 3000"):
        body_crossing("moon", Place(0, 0), parse_time("-5000-01-01"))


@pytest.mark.parametrize("year", [-10000, -1, 0, 1, 1582, 2025, 10000])
def test_phases_in_every_age(year: int) -> None:
    # a star of the middle sky has one of each a year, but for the odd year with none or two
    found = star_phases(65474, Place(30, 31), year)
    lists = (found.morning_rising, found.evening_rising, found.morning_setting, found.evening_setting)
    assert all(len(days) <= 2 for days in lists)
    assert sum(map(len, lists)) >= 3
    assert found.calendar == ("julian" if year <= 1582 else "gregorian")
    assert all(day.startswith(f"{'-' if year < 0 else '+' if year > 9999 else ''}{abs(year):04d}-")
               for days in lists for day in days)
