"""Patterns of places against patterns of stars: the fit, chance, and the years."""

from itertools import permutations

import numpy as np
import pytest

from archive.sky import (
    SkyError,
    chance_of_pairing,
    chance_of_places,
    chance_of_search,
    chance_of_stars,
    field_of,
    lay_mirror,
    load_catalogue,
    places_on_map,
    propose_pairings,
    stars_on_chart,
    through_years,
)
from archive.sky.chance import r_squared
from archive.sky.mirror import fit, is_collinear, on_chart
from archive.sky.vectors import DEGREE, unit

LADLE = [54061, 53910, 58001, 59774, 62956, 65378, 67301]
EMBERS = [80816, 81693, 83207, 84380, 81833]
KM_PER_DEGREE_OF_LATITUDE = 111.15  # at 46 N (WGS 84: 111.132954 - 0.559822 cos 2 phi; NIMA, from memory)


def ground_of(chart: np.ndarray, km_per_degree: float, lat: float = 46.0, lon: float = -38.0) -> tuple:
    """Latitudes and longitudes of points (east, north) in degrees of the sky, laid small about a place."""
    north, east = chart[:, 1] * km_per_degree, chart[:, 0] * km_per_degree
    return (lat + north / KM_PER_DEGREE_OF_LATITUDE,
            lon + east / (KM_PER_DEGREE_OF_LATITUDE * np.cos(lat * DEGREE)))


def test_a_sky_laid_faithfully_on_the_ground_is_reflected() -> None:
    # geometry: looking up reverses east and west; east stays east on the ground
    chart = stars_on_chart(LADLE)
    laid = lay_mirror(*ground_of(chart * [-1, 1], 0.2), LADLE)
    assert laid.best.reflected
    assert laid.best.r_squared == pytest.approx(1.0, abs=1e-5)
    assert laid.best.scale == pytest.approx(0.2, rel=5e-3)
    assert laid.north_bearing_deg == pytest.approx(0, abs=0.2) or laid.north_bearing_deg == pytest.approx(360, abs=0.2)
    assert chance_of_pairing(laid.stars_deg, laid.places_km).share == pytest.approx(1 / 5040)


def test_the_bearing_of_north_turns_with_the_figure() -> None:
    # geometry: a chart laid down as a map, its top towards the east
    chart = stars_on_chart(EMBERS)
    turned = chart @ np.array([[0, -1], [1, 0]])  # up becomes right, right becomes down
    laid = lay_mirror(*ground_of(turned, 0.5), EMBERS)
    assert not laid.best.reflected
    assert laid.north_bearing_deg == pytest.approx(90, abs=0.2)
    assert laid.best.scale == pytest.approx(0.5, rel=5e-3)


def test_misses_are_told_on_the_ground_and_on_the_sky() -> None:
    chart = stars_on_chart(EMBERS)
    moved = chart * [-1, 1] + [[0, 0], [0, 0], [0.5, 0], [0, 0], [0, 0]]
    laid = lay_mirror(*ground_of(moved, 2.0), EMBERS)
    assert int(np.argmax(laid.residuals_km)) == 2
    assert laid.residuals_deg == pytest.approx(laid.residuals_km / laid.best.scale)
    assert np.mean(laid.residuals_km**2) == pytest.approx(laid.best.mean_square)


def test_two_pairs_fit_exactly_both_ways() -> None:
    laid = lay_mirror([46, 46.1], [-38, -38.1], [32349, 37826])
    assert laid.best.r_squared == pytest.approx(1)
    assert laid.other.r_squared == pytest.approx(1)
    assert laid.collinear


def test_points_along_a_line_are_told() -> None:
    assert is_collinear([(i, 2 * i) for i in range(5)])
    assert not is_collinear([(i, i * i) for i in range(5)])


def test_fit_is_least_squares() -> None:
    """No nearby similarity does better."""
    random = np.random.default_rng(6)
    points, onto = random.random((6, 2)), random.random((6, 2))
    best = fit(points, onto, reflected=True)
    z, w = np.conj(points[:, 0] + 1j * points[:, 1]), onto[:, 0] + 1j * onto[:, 1]
    a, b = best.scale * np.exp(1j * best.turn_deg * DEGREE), complex(*best.shift)
    assert np.mean(np.sum((best.move(points) - onto) ** 2, axis=1)) == pytest.approx(best.mean_square)
    for change in (0.01, -0.01, 0.01j, -0.01j):
        assert np.mean(np.abs((a + change) * z + b - w) ** 2) > best.mean_square
        assert np.mean(np.abs(a * z + b + change - w) ** 2) > best.mean_square


@pytest.mark.parametrize(("lat", "lon", "hips", "words"), [
    ([46], [-38], [32349], "One pair"),
    ([], [], [], "One pair"),
    ([46, 46.1], [-38, -38], [32349], "each place needs one star"),
    ([46, 46.1], [-38, -38], [32349, 32349], "stands for two places"),
    ([46, 46.1, 46], [-38, -38, -38], EMBERS[:3], "Places 1 and 3 lie on the same spot"),
    ([46, 46, 46], [-38, -38, -38], EMBERS[:3], "one spot"),
    ([46, float("nan")], [-38, -38], EMBERS[:2], "latitude"),
    ([0, 0], [0, 180], EMBERS[:2], "lie all round"),
    ([46, 46.1], [-38, -38], [32349, 999999], "star list")])
def test_bad_mirrors_are_refused_in_words(lat, lon, hips, words) -> None:
    with pytest.raises(SkyError, match=words):
        lay_mirror(lat, lon, hips)


def test_a_figure_round_the_pole_is_laid_and_said_to_be() -> None:
    guards = [11767, 72607, 75097, 85822]  # about Polaris
    laid = lay_mirror([46, 46.1, 46.2, 46.1], [-38, -38, -38.1, -38.2], guards)
    assert laid.round_pole
    assert np.all(np.isfinite(laid.residuals_km))
    assert not lay_mirror([46, 46.1], [-38, -38], [32349, 37826]).round_pole


def test_places_across_the_date_line_are_near_one_another() -> None:
    flat = places_on_map([-17, -17], [179.95, -179.95])
    # 111.32 km: a degree of the equator, 2 pi 6378.137 km / 360 (WGS 84)
    assert np.linalg.norm(flat[1] - flat[0]) == pytest.approx(0.1 * 111.32 * np.cos(17 * DEGREE), rel=2e-3)
    assert flat[0, 0] < flat[1, 0]  # the one at 179.95 W lies east
    elsewhere = places_on_map([-17, -17], [-0.05, 0.05])
    assert flat == pytest.approx(elsewhere, abs=1e-6)


def test_map_and_chart_turn_east_opposite_ways() -> None:
    flat = places_on_map([46.0, 46.0], [-38.1, -37.9])
    assert flat[0, 0] < flat[1, 0]  # on a map east is right
    chart = on_chart(unit(np.array([10.0, 12.0]) * DEGREE, np.array([0.0, 0.0])))
    assert chart[0, 0] > chart[1, 0]  # looking up, east (growing right ascension) is left


# --- chance ---


def by_hand(z: np.ndarray, w: np.ndarray) -> float:
    """The share of orders whose better fit is as good, by fitting each of them."""
    def best(order: list[int]) -> float:
        return max(fit(z[order], w, reflected).r_squared for reflected in (False, True))

    own = best(list(range(len(z))))
    fits = [best(list(order)) for order in permutations(range(len(z)))]
    return float(np.mean([one >= own - 1e-9 for one in fits]))


@pytest.mark.parametrize("n", [2, 3, 4, 5, 6])
def test_every_pairing_is_counted_as_fitting_each_counts_them(n: int) -> None:
    random = np.random.default_rng(n)
    z, w = random.random((n, 2)), random.random((n, 2))
    found = chance_of_pairing(z, w)
    assert (found.is_exact, found.tried) == (True, len(list(permutations(range(n)))))
    assert found.share == pytest.approx(by_hand(z, w))


def test_pairings_drawn_at_random_agree_with_all_of_them(monkeypatch) -> None:
    random = np.random.default_rng(4)
    z, w = random.random((7, 2)), random.random((7, 2))
    exact = chance_of_pairing(z, w)
    monkeypatch.setattr("archive.sky.chance.MOST_EXACT", 6)
    drawn = chance_of_pairing(z, w)
    assert not drawn.is_exact
    assert abs(drawn.share - exact.share) < 4 * drawn.error


def test_chance_is_not_a_match() -> None:
    # random points: p-values spread over 0..1; their mean over 40 draws is 0.5 within 0.15 (3 sigma)
    random = np.random.default_rng(5)
    shares = [chance_of_pairing(random.random((6, 2)), random.random((6, 2))).share for _ in range(40)]
    assert np.mean(shares) == pytest.approx(0.5, abs=0.15)


@pytest.mark.parametrize(("n", "level"), [(3, 0.975), (4, 0.84), (5, 0.71), (7, 0.52), (10, 0.37)])
def test_how_well_chance_fits(n: int, level: float) -> None:
    # the 95 % levels of R**2, better of both ways, as the module says; from a prototype of our own, 0.02 over shapes
    random = np.random.default_rng(n)
    z, w = (random.normal(size=(20000, n)) + 1j * random.normal(size=(20000, n)) for _ in range(2))
    assert np.quantile(r_squared(z, w), 0.95) == pytest.approx(level, abs=0.03)


def test_other_places_and_other_stars() -> None:
    laid = lay_mirror(*ground_of(stars_on_chart(EMBERS) * [-1, 1], 0.5), EMBERS)
    assert chance_of_places(laid.stars_deg, laid.places_km).share < 0.01
    field = field_of(EMBERS)
    assert set(EMBERS) <= set(field.hips)
    assert chance_of_stars(laid.stars_deg, laid.places_km, field) is None  # hardly another star as bright there
    faint = field_of([*EMBERS, _faint_near(EMBERS[2])])
    found = chance_of_stars(laid.stars_deg, laid.places_km, faint)
    assert found is not None
    assert found.share < 0.05


def _faint_near(hip: int) -> int:
    stars = load_catalogue()
    middle = stars.position[stars.indices([hip])[0]]
    near = np.flatnonzero((stars.position @ middle > np.cos(5 * DEGREE)) & (stars.v_mag > 5.5))
    return int(stars.hip[near[0]])


def test_proposed_pairings_are_the_best_of_all() -> None:
    random = np.random.default_rng(9)
    z, w = random.random((6, 2)), random.random((4, 2))
    found = propose_pairings(z, w, 5)
    fits = sorted(
        (fit(z[list(order)], w, reflected).r_squared for order in permutations(range(6), 4) for reflected in (0, 1)),
        reverse=True)
    assert [one.r_squared for one in found] == pytest.approx(fits[:5])
    for one in found:
        assert fit(z[list(one.stars)], w, one.reflected).r_squared == pytest.approx(one.r_squared)


def test_a_pairing_that_was_looked_for_is_judged_by_looking_in_every_draw() -> None:
    """Otherwise the best of all pairings would always be one in n! by the test of pairings, whatever the places."""
    random = np.random.default_rng(2)
    judged = []
    for _ in range(12):
        z, w = random.normal(size=(4, 2)), random.normal(size=(4, 2))
        best = propose_pairings(z, w, 1)[0]
        assert chance_of_pairing(z[list(best.stars)], w).share == pytest.approx(1 / 24, abs=1e-9)
        judged.append(chance_of_search(z, w, best.r_squared).share)
    assert 0.2 < np.mean(judged) < 0.8


@pytest.mark.parametrize(("stars", "places", "words"), [(2, 2, "Two places"), (3, 4, "as many stars"),
                                                        (12, 9, "more than")])
def test_bad_searches_are_refused(stars: int, places: int, words: str) -> None:
    random = np.random.default_rng(1)
    with pytest.raises(SkyError, match=words):
        propose_pairings(random.random((stars, 2)), random.random((places, 2)))


# --- the years ---


def test_the_year_of_the_sky_that_was_laid_down_is_found() -> None:
    # with fast stars (Groombridge 1830, Arcturus) among slow ones a figure's age would show
    fast = [57939, 69673, 63125, 67301]
    chart = stars_on_chart(fast, -5000)
    lat, lon = ground_of(chart * [-1, 1], 0.002)
    found = through_years(lat, lon, fast, True)
    assert found.least_year == -5000
    assert found.least_km < 0.01
    assert not found.tells_nothing


def test_slow_stars_tell_no_year() -> None:
    slow = [26727, 26311, 25930, 24436, 27989]
    chart = stars_on_chart(slow) * [-1, 1] + np.random.default_rng(1).normal(scale=1.0, size=(5, 2))
    found = through_years(*ground_of(chart, 1.0), slow, True)
    assert len(found.years) == 201
    assert found.tells_nothing


def test_each_year_is_what_a_fit_in_that_year_gives() -> None:
    lat, lon = ground_of(stars_on_chart(EMBERS) * [-1, 1] + [[0, 0], [1, 0], [0, 1], [0, 0], [0, 0]], 1.0)
    found = through_years(lat, lon, EMBERS, True, (-4000.0, 2000.0))
    for at, year in enumerate((-4000.0, 2000.0)):
        assert found.rms_km[at] == pytest.approx(lay_mirror(lat, lon, EMBERS, year).best.mean_square ** 0.5)


def test_two_pairs_tell_no_year() -> None:
    assert through_years([46, 46.1], [-38, -38.1], [32349, 37826], False).tells_nothing
