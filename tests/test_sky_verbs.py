"""The sky command's answers, without Django, and the command itself."""

import io
import json
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from archive.sky import SkyError, parse_time
from archive.sky.verbs import answer, answer_lines


def test_position() -> None:
    # cross-check: Sirius, mean of -2800, 48.748 and -21.795 degrees (0.005)
    found = answer({"verb": "position", "hip": 32349, "year": -2800, "frame": "mean"})
    assert (found["ra_deg"], found["dec_deg"]) == pytest.approx((48.748, -21.795), abs=0.005)
    for frame in ("icrs", "true", "apparent"):
        assert abs(answer({"verb": "position", "hip": 32349, "year": 2000, "frame": frame})["dec_deg"] + 16.716) < 0.01


def test_pole() -> None:
    found = answer({"verb": "pole", "year": -2800, "limit": 4})
    assert found["nearest"][0]["hip"] == 68756
    assert {"ra_deg", "dec_deg", "obliquity_deg", "nearest", "ecliptic_pole"} <= set(found)
    south = answer({"verb": "pole", "year": -2800, "south": True})
    assert south["dec_deg"] == -found["dec_deg"]


def test_altaz_of_a_star_and_a_body() -> None:
    where = {"lat": 46, "lon": -38, "at": "2025-01-15T22:30:00Z"}
    star = answer({"verb": "altaz", "hip": 32349, **where})
    assert 0 < star["altitude_deg"] < star["apparent_altitude_deg"]
    moon = answer({"verb": "altaz", "body": "moon", **where, "at": "2025-01-15T12:00:00Z"})
    assert moon["altitude_deg"] < -1
    assert moon["apparent_altitude_deg"] is None


def test_rise_with_a_date_and_with_a_year() -> None:
    dated = answer({"verb": "rise", "hip": 32349, "lat": 46, "lon": -38, "date": "2025-01-15"})
    assert parse_time(dated["rise_at"]) - parse_time("2025-01-15") < 1
    assert dated["rise_azimuth_deg"] + dated["set_azimuth_deg"] == pytest.approx(360)
    yearly = answer({"verb": "rise", "hip": 32349, "lat": 46, "lon": -38, "year": 2025})
    assert yearly["rise_azimuth_deg"] == pytest.approx(dated["rise_azimuth_deg"], abs=0.02)
    higher = answer({"verb": "rise", "hip": 32349, "lat": 46, "year": 2025, "altitude": 5})
    assert higher["rise_azimuth_deg"] > yearly["rise_azimuth_deg"]


@pytest.mark.parametrize(("body", "year", "turn", "declination"), [
    # The obliquity of 2025 (23.436); Venus and the moon at their furthest then: 2025's major standstill, 28.7 degrees
    # (obliquity + 5.145 at the mean, 0.15 more at most: Meeus, Mathematical Astronomy Morsels, from memory).  24.2: the
    # obliquity of -9000 by Laskar's polynomial (Meeus, Astronomical Algorithms, 22.3, from memory) is 24.21.
    ("sun", 2025, "june solstice", 23.436), ("moon", 2025, "furthest north", 28.72),
    ("moon", -9000, "major north", 24.2 + 5.145)])
def test_rise_of_a_body_in_a_year_is_told_at_its_turns(body: str, year: int, turn: str, declination: float) -> None:
    found = answer({"verb": "rise", "body": body, "lat": 46, "lon": -38, "year": year})
    assert found["turn"] == turn
    assert found["declination_deg"] == pytest.approx(declination, abs=0.05)
    assert 40 < found["rise_azimuth_deg"] < 60
    south = next(one for one in found["turns"] if one["turn"] in ("december solstice", "furthest south", "major south"))
    assert south["declination_deg"] == pytest.approx(-found["declination_deg"], abs=0.1)


def test_a_turn_where_the_sun_never_sets_says_so() -> None:
    found = answer({"verb": "rise", "body": "sun", "lat": 80, "lon": 0, "year": 2025})
    assert (found["never"], found["rise_azimuth_deg"]) == ("sets", None)
    assert [one["never"] for one in found["turns"]] == ["sets", "rises", None, None]


def test_rise_over_a_skyline(tmp_path: Path) -> None:
    file = tmp_path / "skyline.csv"
    file.write_text("azimuth,altitude\n0,0\n90,0\n100,6\n140,6\n150,0\n", encoding="utf-8")
    asked = {"verb": "rise", "hip": 32349, "lat": 46, "lon": -38, "date": "2025-01-15"}
    level, hills = answer(asked), answer({**asked, "horizon": str(file)})
    assert hills["rise_at"] > level["rise_at"]
    # Bennett's refraction at the horizon is half a minute of arc more than the usual 34'
    assert abs(parse_time(hills["set_at"]) - parse_time(level["set_at"])) * 86400 < 5
    assert hills["risings"][0]["altitude_deg"] == pytest.approx(6 - 8.5 / 60, abs=0.01)  # Bennett at 6 degrees: 8.5'
    hazy = answer({**asked, "horizon": str(file), "extinction": 0.4})
    assert hazy["set_at"] < hills["set_at"]
    year = answer({"verb": "rise", "hip": 32349, "lat": 46, "year": 2025, "horizon": str(file)})
    assert year["rise_azimuth_deg"] == pytest.approx(hills["rise_azimuth_deg"], abs=0.02)
    sun = answer({**asked, "hip": None, "body": "sun", "horizon": str(file)})
    assert sun["risings"][0]["altitude_deg"] > 5
    turned = answer({"verb": "rise", "body": "moon", "lat": 46, "year": 2025, "horizon": str(file)})
    plain = answer({"verb": "rise", "body": "moon", "lat": 46, "year": 2025})
    assert turned["rise_azimuth_deg"] == pytest.approx(plain["rise_azimuth_deg"], abs=0.05)  # the level part of it


@pytest.mark.parametrize(("request_", "never"), [
    ({"hip": 11767, "lat": 60, "lon": 0, "year": 2025}, "sets"),
    ({"hip": 11767, "lat": -60, "lon": 0, "date": "2025-01-01"}, "rises"),
    ({"body": "sun", "lat": 80, "lon": 0, "date": "2025-06-21"}, "sets"),
    ({"body": "sun", "lat": 80, "lon": 0, "date": "2025-12-21"}, "rises")])
def test_never(request_: dict[str, Any], never: str) -> None:
    found = answer({"verb": "rise", **request_})
    assert found["never"] == never
    assert found["rise_azimuth_deg"] is None


def test_bearing_and_phases_and_up() -> None:
    bearing = answer({"verb": "bearing", "lat": 51.17833, "azimuth": 49.57167, "altitude": -0.09306,
                      "no-refraction": True, "year": -1680})
    assert bearing["declination_deg"] == pytest.approx(23.9083, abs=0.001)  # Lockyer & Penrose 1901
    phases = answer({"verb": "phases", "hip": 32349, "lat": 30.37, "lon": 31, "year": 138})
    assert phases["calendar"] == "julian"
    assert phases["uncertainty_days"] == 3
    assert phases["morning_rising"][0].startswith("0138-07-")
    up = answer({"verb": "up", "lat": 46, "lon": -38, "date": "2025-01-15"})
    assert "Capella" in [body["name"] for body in up["up"]]
    assert up["moon"]["phase"] == "waning gibbous"  # full moon was on 2025-01-13
    polar = answer({"verb": "up", "lat": 80, "lon": 0, "date": "2025-06-21"})
    assert (polar["dark"], polar["twilights"]["sunset"]["state"]) == (False, "stays above")


@pytest.mark.parametrize(("request_", "words"), [
    ([], "object"), ({}, "verb"), ({"verb": "fly"}, "fly"), ({"verb": "pole"}, "year is missing"),
    ({"verb": "pole", "year": "x"}, "not a number"), ({"verb": "pole", "year": 1e9}, "outside"),
    ({"verb": "pole", "year": float("nan")}, "not a number"), ({"verb": "pole", "year": True}, "not a number"),
    ({"verb": "pole", "year": 2000, "colour": 1}, "does not take colour"),
    ({"verb": "position", "hip": 999999, "year": 2000}, "Not in the star list"),
    ({"verb": "position", "hip": 1e300, "year": 2000}, "whole number"),
    ({"verb": "position", "hip": 32349, "year": 2000, "frame": "b1950"}, "frame"),
    ({"verb": "altaz", "lat": 0, "lon": 0, "at": "2025-01-01"}, "either hip"),
    ({"verb": "altaz", "hip": 32349, "body": "sun", "lat": 0, "lon": 0, "at": "2025-01-01"}, "either hip"),
    ({"verb": "altaz", "body": "pluto", "lat": 0, "lon": 0, "at": "2025-01-01"}, "pluto"),
    ({"verb": "altaz", "hip": 32349, "lat": 91, "lon": 0, "at": "2025-01-01"}, "latitude"),
    ({"verb": "altaz", "hip": 32349, "lat": 0, "lon": 0, "at": "now"}, "not a time"),
    ({"verb": "rise", "body": "mars", "lat": 0, "lon": 0, "year": -3001}, "-3000"),
    ({"verb": "rise", "body": "sun", "lat": 0, "year": 2000, "date": "2000-01-01"}, "not both"),
    ({"verb": "rise", "body": "sun", "lat": 0, "lon": 0, "year": 2000, "horizon": __file__}, "Line"),
    ({"verb": "rise", "body": "sun", "lat": 0, "lon": 0, "horizon": __file__}, "Line"),
    ({"verb": "rise", "hip": 32349, "lat": 0, "lon": 0, "year": 2000, "horizon": "no such file"}, "cannot be read"),
    ({"verb": "rise", "hip": 32349, "lat": 0, "lon": 0, "year": 2000, "extinction": 0.2}, "horizon file"),
    ({"verb": "rise", "hip": 32349, "lat": 0, "lon": 0, "year": 2000, "altitude": 90}, "horizon"),
    ({"verb": "phases", "hip": 32349, "lat": 0, "lon": 0, "year": 1.5}, "whole")])
def test_bad_requests_say_what_is_wrong(request_: Any, words: str) -> None:
    with pytest.raises(SkyError, match=words):
        answer(request_)


def test_lines_of_json() -> None:
    lines = ['{"verb": "pole", "year": 2000}', "", "nonsense", '{"verb": "rise", "hip": 1}']
    answers = [json.loads(line) for line in answer_lines(lines)]
    assert len(answers) == 3
    assert answers[0]["nearest"][0]["name"] == "Polaris"
    assert "Not JSON" in answers[1]["error"]
    assert "HIP 1" in answers[2]["error"]


def test_command_prints_json_and_words(monkeypatch: pytest.MonkeyPatch) -> None:
    out = io.StringIO()
    call_command("sky", "pole", "--year", "-2800", "--json", stdout=out)
    assert json.loads(out.getvalue())["nearest"][0]["name"] == "Thuban"
    out = io.StringIO()
    call_command("sky", "pole", "--year", "-2800", stdout=out)
    assert "name Thuban" in out.getvalue()
    with pytest.raises(CommandError, match="Not in the star list"):
        call_command("sky", "position", "--hip", "1", "--year", "2000", stdout=out)
    monkeypatch.setattr("sys.stdin", io.StringIO('{"verb": "pole", "year": 2000}\n{"verb": "?"}\n'))
    out = io.StringIO()
    call_command("sky", "batch", "--json", stdout=out)
    assert ["nearest" in json.loads(line) for line in out.getvalue().splitlines()] == [True, False]
