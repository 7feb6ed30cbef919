"""One night at one place, in codes."""

import numpy as np
import pytest

from archive.sky import Place, figure_stars, parse_date, parse_time, star_altaz, tonight, year_bands
from archive.sky.bodies import moon_phase
from archive.sky.chart import FigureDrawing
from archive.sky.tonight import PHASES, direction_code, phase_code

HOME = Place(46, -38)


def test_a_winter_night() -> None:
    night = tonight(HOME, parse_date("2025-01-15"), {"net": [27989, 24436], "south": [60718], "none": []})
    order = [night.twilights[name].dusk_jd for name in ("sunset", "civil", "nautical", "astronomical")]
    assert order == sorted(order)  # type: ignore[type-var]
    states = {figure.key: figure.state for figure in night.figures}
    assert states == {"net": "up at dusk", "south": "not up"}
    assert night.moon is not None
    assert night.moon.lit == pytest.approx(0.95, abs=0.02)  # two and a half days after full
    assert {planet.name for planet in night.planets} == {"mercury", "venus", "mars", "jupiter", "saturn"}
    assert "Capella" in [star.name for star in night.stars]
    magnitudes = [star.v_mag for star in night.stars if star.v_mag is not None]
    assert magnitudes == sorted(magnitudes)


def test_a_figure_that_comes_later() -> None:
    summer = tonight(HOME, parse_date("2025-05-15"), {"low": [80763, 78401, 78820]}).figures[0]
    assert summer.state == "up later"
    assert summer.best_jd is not None
    altitude = float(np.mean(star_altaz([80763, 78401, 78820], HOME, summer.best_jd)[0]))
    assert altitude == pytest.approx(summer.best_altitude_deg)
    assert summer.direction == "south"


def test_where_it_never_gets_dark_nothing_is_promised() -> None:
    night = tonight(Place(75, 20), parse_date("2025-06-21"), {"net": [27989]})
    assert (night.dark, night.figures) == (None, ())
    assert night.twilights["sunset"].state == "stays above"
    polar = tonight(Place(85, 20), parse_date("2025-12-21"), {"ladle": figure_stars(FigureDrawing("x", stars=[54061]))})
    assert polar.twilights["nautical"].state == "stays below"
    assert polar.figures[0].state == "up at dusk"


def test_deep_time_has_no_moon() -> None:
    night = tonight(HOME, parse_date("-8000-01-15"))
    assert (night.moon, night.planets) == (None, ())
    assert night.stars


@pytest.mark.parametrize(("at", "phase"), [
    # new and full moons of 2025 (any almanac): 29 January, 12 February; quarters 5 and 20 February
    ("2025-01-29T12:36:00Z", "new"), ("2025-02-05T08:02:00Z", "first quarter"), ("2025-02-12T13:53:00Z", "full"),
    ("2025-02-20T17:33:00Z", "last quarter"), ("2025-02-02T00:00:00Z", "waxing crescent"),
    ("2025-02-09T00:00:00Z", "waxing gibbous"), ("2025-02-16T00:00:00Z", "waning gibbous"),
    ("2025-02-24T00:00:00Z", "waning crescent")])
def test_moon_phases(at: str, phase: str) -> None:
    assert phase_code(float(moon_phase(parse_time(at) + 69 / 86400)[1])) == phase


def test_codes_cover_the_circle() -> None:
    assert {phase_code(float(x)) for x in np.linspace(0, 6.28, 200)} == set(PHASES)
    assert [direction_code(x) for x in (0, 44, 90, 180, 269, 359.9)] == [
        "north", "north-east", "east", "south", "west", "north"]


def test_a_figures_year_agrees_with_its_nights() -> None:
    """The year's table against the full answer for single nights, away from the edges of a span."""
    figure = {"net": [27989, 25336, 24436, 27366]}
    band = year_bands(figure, HOME, 2025)[0]
    for month, day in ((1, 15), (4, 1), (6, 21), (8, 1), (12, 20)):
        index = int(parse_date(f"2025-{month:02d}-{day:02d}") - parse_date("2025-01-01"))
        night = tonight(HOME, parse_date(f"2025-{month:02d}-{day:02d}"), figure).figures[0]
        assert band.evening[index] == (night.at_dusk >= 0.5)
        assert band.midnight[index] == (night.at_middle >= 0.5)
        assert band.morning[index] == (night.at_dawn >= 0.5)
    assert band.evening_spans[0][0] == "2025-01-01"
    assert len(band.evening) == 365


def test_years_at_the_edges() -> None:
    assert year_bands({}, HOME, 2025) == []
    assert year_bands({"empty": []}, HOME, 2025) == []
    pole = year_bands({"ladle": [54061, 53910]}, Place(90, 0), 0)[0]
    assert len(pole.evening) == 366
    assert 0 < pole.evening.sum() < 366
