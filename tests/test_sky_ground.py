"""Bearings, and patterns of places against patterns of stars."""

import numpy as np
import pytest

from archive.sky import (
    Place,
    SkyError,
    match_mirror,
    places_on_map,
    read_bearing,
    star_crossing,
    stars_on_chart,
    sun_dates,
)
from archive.sky.mirror import fit, on_chart, p_value
from archive.sky.times import parse_date
from archive.sky.vectors import DEGREE, unit

LADLE = [54061, 53910, 58001, 59774, 62956, 65378, 67301]


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
    # geometry: declinations +-(obliquity + 5.145) at the moon's furthest
    lat, dec = 51.0, 23.44 + 5.145
    azimuth = float(np.degrees(np.arccos(np.sin(np.radians(dec)) / np.cos(np.radians(lat)))))
    assert "major north" in [m.what for m in read_bearing(lat, azimuth, 0, refraction=False).matches]
    assert read_bearing(lat, 360 - azimuth, 0, refraction=False).event == "sets"
    assert read_bearing(45, 90, 0, refraction=False).matches[0].what == "equinox"


def test_bad_bearings() -> None:
    with pytest.raises(SkyError, match="bearing"):
        read_bearing(95, 90)
    with pytest.raises(SkyError, match="year"):
        read_bearing(45, 90, year=20000)


def test_a_sky_laid_faithfully_on_the_ground_is_reflected() -> None:
    # geometry: looking up reverses east and west; east stays east on the ground
    chart = stars_on_chart(LADLE)
    ground = chart * np.array([-5.0, 5.0]) + 100
    found = match_mirror(ground, chart)
    assert found.best.reflected
    assert found.best.r_squared == pytest.approx(1.0)
    assert found.best.scale == pytest.approx(0.2)
    assert found.claim == "better than chance"
    assert found.p_value == pytest.approx(1 / 5040)  # only the true order of 7! fits so well


def test_a_turned_copy_is_proper() -> None:
    chart = stars_on_chart(LADLE)
    turn = np.array([[0, -1], [1, 0]])
    found = match_mirror(chart @ turn.T * 3, chart)
    assert not found.best.reflected
    assert found.best.turn_deg == pytest.approx(-90)


def test_few_points_make_no_claim() -> None:
    found = match_mirror([(0, 0), (1, 0)], [(5, 5), (9, 1)])
    assert (found.claim, found.p_value) == ("too few points", None)
    assert found.best.r_squared == found.other.r_squared == pytest.approx(1.0)


def test_points_along_a_line_are_told() -> None:
    assert match_mirror([(i, 2 * i) for i in range(5)], [(i, i * i) for i in range(5)]).collinear


def test_chance_is_not_a_match() -> None:
    # random points: p-values spread over 0..1; their mean over 40 draws is 0.5 within 0.15 (3 sigma)
    random = np.random.default_rng(5)
    values = [p_value(random.random((6, 2)), random.random((6, 2))) for _ in range(40)]
    assert np.mean(values) == pytest.approx(0.5, abs=0.15)


def test_fit_is_least_squares() -> None:
    """No nearby similarity does better."""
    random = np.random.default_rng(6)
    ground, sky = random.random((6, 2)), random.random((6, 2))
    best = fit(ground, sky, reflected=True)
    z, w = np.conj(ground[:, 0] + 1j * ground[:, 1]), sky[:, 0] + 1j * sky[:, 1]
    a, b = best.scale * np.exp(1j * best.turn_deg * DEGREE), complex(*best.shift)
    for change in (0.01, -0.01, 0.01j, -0.01j):
        assert np.mean(np.abs((a + change) * z + b - w) ** 2) > best.mean_square
        assert np.mean(np.abs(a * z + b + change - w) ** 2) > best.mean_square


@pytest.mark.parametrize(("ground", "sky", "words"), [
    ([(0, 0)], [(1, 1)], "at least two"), ([(1, 1), (1, 1)], [(0, 0), (1, 0)], "one spot"),
    ([(0, 0), (1, 0)], [(0, 0), (1, 0), (2, 0)], "each place"),
    ([(0, float("nan")), (1, 0)], [(0, 0), (1, 1)], "at least")])
def test_bad_patterns(ground: list[tuple[float, float]], sky: list[tuple[float, float]], words: str) -> None:
    with pytest.raises(SkyError, match=words):
        match_mirror(ground, sky)


def test_map_and_chart_turn_east_opposite_ways() -> None:
    flat = places_on_map([46.0, 46.0], [-38.1, -37.9])
    assert flat[0, 0] < flat[1, 0]  # on a map east is right
    assert np.linalg.norm(flat[1] - flat[0]) == pytest.approx(0.2 * 111.19 * np.cos(46 * DEGREE), rel=1e-3)
    chart = on_chart(unit(np.array([10.0, 12.0]) * DEGREE, np.array([0.0, 0.0])))
    assert chart[0, 0] > chart[1, 0]  # looking up, east (growing right ascension) is left
