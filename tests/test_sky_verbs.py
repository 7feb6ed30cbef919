"""The sky command's answers, without Django, and the command itself."""

import io
import json
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
    ({"verb": "rise", "body": "sun", "lat": 0, "lon": 0, "year": 2000}, "need a date"),
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
