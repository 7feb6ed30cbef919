"""The skyline of a place: reading its table, and what rises, sets and culminates over it."""

import numpy as np
import pytest

from archive.sky import Place, SkyError, body_crossing, parse_date, star_crossing
from archive.sky.horizon import POINT_HORIZON_DEG
from archive.sky.passages import HALF_DISC_DEG, body_passage, figure_passages, star_passage
from archive.sky.skyline import Skyline, SkylineError, airmass, level, read_skyline, seen_above_deg

HOME, DAY = Place(46.0, -38.0), parse_date("2026-11-26")
SIRIUS, POLARIS, CANOPUS = 32349, 11767, 30438


@pytest.mark.parametrize("text", [
    "azimuth,altitude\n10,2.5\n200,-1\n", "10;2,5\n200;-1", "\ufeff10\t2,5\n\n200\t\u22121 # the sea",
    "200 -1\n10 2.5"])
def test_ways_of_writing_a_profile(text: str) -> None:
    assert read_skyline(text, refraction=False) == Skyline((10.0, 200.0), (2.5, -1.0))


@pytest.mark.parametrize(("text", "line", "words"), [
    ("", 0, "no point"), ("azimuth,altitude\n", 0, "no point"), ("# nothing\n\n", 0, "no point"),
    ("0,1\n1,2,3\n", 2, "holds 3 values"), ("0,1\neast,2\n", 2, "'east' is not a number"),
    ("0,1\n90,nan\n", 2, "not a number"), ("0,90\n", 1, "altitude 90"), ("-400,1\n", 1, "azimuth -400"),
    ("0,1\n360,2\n", 2, "already has the altitude 1, in line 1"), ("5\n", 1, "holds 1 values")])
def test_a_bad_profile_is_told_by_line(text: str, line: int, words: str) -> None:
    with pytest.raises(SkylineError) as caught:
        read_skyline(text)
    assert caught.value.problems[0].line == line
    assert words in caught.value.problems[0].words
    assert isinstance(caught.value, SkyError)


def test_a_profile_may_not_be_endless() -> None:
    with pytest.raises(SkylineError, match="are the most"):
        read_skyline("".join(f"{i / 30},1\n" for i in range(7300)))


def test_the_skyline_goes_on_round_north() -> None:
    # by hand: 350 degrees (4) to 10 degrees (2) is 3 at north; 360 and 0 are one azimuth
    skyline = read_skyline("350,4\n10,2\n180,0\n", refraction=False)
    assert skyline.floor(np.array([0.0, 360.0, 355.0, 5.0])) == pytest.approx([3.0, 3.0, 3.5, 2.5])
    assert skyline.widest_gap_deg == 170
    assert read_skyline("0,1\n360,1\n", refraction=False) == level(1.0)


def test_refraction_is_taken_off_what_was_measured() -> None:
    # Bennett's formula (Meeus, Astronomical Algorithms, 16.3): 34.5' at the horizon, 9.9' at 5 degrees
    assert read_skyline("0,0\n90,5").altitude_deg == pytest.approx((-34.5 / 60, 5 - 9.9 / 60), abs=0.002)


@pytest.mark.parametrize("hip", [SIRIUS, 24436, 91262, 97649])
@pytest.mark.parametrize("lat", [-60.0, 0.0, 46.0])
@pytest.mark.parametrize("altitude", [POINT_HORIZON_DEG, 7.0])
def test_a_level_skyline_gives_what_a_level_horizon_gives(hip: int, lat: float, altitude: float) -> None:
    place = Place(lat, 12.0)
    ours, plain = star_passage(hip, place, level(altitude), DAY), star_crossing(hip, place, DAY, altitude)
    assert ours.never == plain.never
    assert [e.jd_ut for e in ours.rises] == pytest.approx([plain.rise_jd] if plain.rise_jd else [], abs=1e-8)
    assert [e.azimuth_deg for e in ours.sets] == pytest.approx(
        [plain.set_azimuth_deg] if plain.set_azimuth_deg else [], abs=1e-5)
    assert ours.culmination is not None
    assert ours.culmination.jd_ut == plain.culmination_jd


@pytest.mark.parametrize("body", ["sun", "moon", "venus", "saturn"])
def test_a_body_over_a_level_skyline(body: str) -> None:
    limb = HALF_DISC_DEG if body in ("sun", "moon") else 0.0
    ours, plain = body_passage(body, HOME, level(2.0), DAY), body_crossing(body, HOME, DAY, 2.0 - limb)
    assert ours.rises[0].jd_ut == pytest.approx(plain.rise_jd, abs=1e-7)
    assert ours.sets[0].azimuth_deg == pytest.approx(plain.set_azimuth_deg, abs=1e-4)


def test_a_hill_makes_two_risings() -> None:
    # cos A = sin -16.7 / cos 46 puts Sirius at 114.5 degrees; with refraction it rises half a degree before
    # a hill of ten degrees between 116 and 118: Sirius comes out at 114, goes in, and comes out again
    hill = read_skyline("115.9,-0.567\n116,10\n118,10\n118.1,-0.567\n", refraction=False)
    found = star_passage(SIRIUS, HOME, hill, DAY)
    assert [len(found.rises), len(found.sets)] == [2, 2]
    assert [round(e.azimuth_deg) for e in found.rises] == [114, 118]
    assert round(found.sets[0].azimuth_deg) == 116


def test_a_standing_stone_between_two_samples_is_not_missed() -> None:
    stone = read_skyline("119.99,-0.567\n120,20\n120.01,-0.567\n", refraction=False)
    assert len(star_passage(SIRIUS, HOME, stone, DAY).rises) == 2


@pytest.mark.parametrize(("hip", "altitude", "never"), [
    (POLARIS, 0.0, "sets"), (CANOPUS, 0.0, "rises"), (SIRIUS, 40.0, "rises")])
def test_what_never_rises_or_sets_is_said(hip: int, altitude: float, never: str) -> None:
    found = star_passage(hip, HOME, level(altitude), DAY)
    assert (found.never, found.rises, found.sets) == (never, (), ())


def test_the_poles_and_the_polar_day() -> None:
    for lat in (-90.0, 90.0):
        assert star_passage(SIRIUS, Place(lat, 0.0), level(0.0), DAY).never in ("rises", "sets")
    assert body_passage("sun", Place(80.0, 0.0), level(0.0), parse_date("2026-06-21")).never == "sets"
    assert body_passage("sun", Place(80.0, 0.0), level(0.0), parse_date("2026-12-21")).never == "rises"


def test_thick_air_hides_faint_stars_longer() -> None:
    # F. Kasten and A. T. Young (1989): 38 times the air at the horizon, 5.6 times at 10 degrees, once overhead
    assert airmass(np.array([0.0, 10.0, 90.0])) == pytest.approx([37.9, 5.59, 1.0], abs=0.02)
    assert seen_above_deg(np.array([-9.0, 6.5]), 0.25) == pytest.approx([-90, 90])
    assert float(seen_above_deg(1.0, 0.25)) < float(seen_above_deg(4.0, 0.25)) < float(seen_above_deg(4.0, 0.4))
    faint = star_passage(24436, HOME, level(-0.567), DAY, loss_mag=0.25)
    plain = star_passage(24436, HOME, level(-0.567), DAY)
    assert faint.rises[0].altitude_deg > plain.rises[0].altitude_deg


def test_a_figure_rises_star_by_star() -> None:
    figures = {"bright": [SIRIUS, 24436], "turning": [POLARIS, 85822], "low": [CANOPUS, 45238],
               "one": [SIRIUS], "twice": [SIRIUS, SIRIUS], "mixed": [SIRIUS, POLARIS, CANOPUS], "none": []}
    found = {one.key: one for one in figure_passages(figures, HOME, level(POINT_HORIZON_DEG), DAY)}
    assert "none" not in found
    assert [found[key].never for key in ("bright", "turning", "low", "mixed")] == ["", "sets", "rises", ""]
    first, last = found["bright"].first_rise, found["bright"].last_rise
    assert first is not None
    assert last is not None
    assert (round(first.azimuth_deg), round(last.azimuth_deg)) == (101, 114)  # Rigel first: at -8.2, 101.8 less 0.6
    assert found["one"].first_rise == found["one"].last_rise == found["twice"].first_rise
    assert (found["mixed"].hidden, found["mixed"].circling, found["mixed"].stars) == (1, 1, 3)
    assert figure_passages({}, HOME, level(0.0), DAY) == []


def test_a_year_has_directions_without_instants() -> None:
    (dated,), (yearly,) = (figure_passages({"a": [SIRIUS, 24436]}, HOME, level(3.0), start, 2026.9)
                           for start in (DAY, None))
    assert dated.first_rise is not None
    assert yearly.first_rise is not None
    assert yearly.first_rise.jd_ut is None
    assert yearly.first_rise.azimuth_deg == pytest.approx(dated.first_rise.azimuth_deg, abs=0.02)
