"""The page of what rises over a skyline: figures that are met alone, and a bad skyline told by its line."""

from __future__ import annotations

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from archive.access import decisions
from archive.models import Level

from .conftest import figure, open_up

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("house")]
HILLS = "azimuth,altitude\n0,2\n90,2\n110,8\n130,8\n150,2\n"
NIGHT = {"day": "2026-01-15", "air": "none"}


def told(client, **given):
    page = client.post(reverse("sky_horizon"), {**NIGHT, **given})
    assert page.status_code == 200
    return page.context["told"]


def test_only_figures_met_in_full_are_told_of(client, cast):
    closed, half = figure("Gate of Stones", 32349, 24436), figure("Half Seen", 32349, 11767)
    for given in ({}, {"profile": HILLS}):
        assert "Gate of Stones" not in client.post(reverse("sky_horizon"), given).content.decode()
    open_up(cast["council"], closed)
    open_up(cast["council"], half, terms=decisions.Terms(others_see=Level.DESCRIPTION))
    body = client.post(reverse("sky_horizon"), {"profile": HILLS}).content.decode()
    assert "Gate of Stones" in body
    assert "Half Seen" not in body
    assert [row.name for row in told(client)["figures"]] == ["Gate of Stones"]


def test_hills_put_off_a_rising(client, cast):
    open_up(cast["council"], figure("The Bright One", 32349))
    sea, hills = told(client)["figures"][0], told(client, profile=HILLS)["figures"][0]
    # Sirius rises at azimuth 114 over the sea (see the figure's own page); the hill there is 8 degrees high
    assert "south-east (114°)" in sea.rises[0]
    assert re.search(r"south-east \(12\d\.\d°\), 7\.9° high", hills.rises[0])
    assert hills.rises[0][:5] > sea.rises[0][:5]


def test_a_file_goes_before_what_is_typed(client):
    file = SimpleUploadedFile("skyline.csv", HILLS.encode())
    assert told(client, file=file, profile="x")["points"] == 5


@pytest.mark.parametrize(("given", "field", "words"), [
    ({"profile": "0,1\neast,2\n90,95"}, "profile", ("Line 2: 'east' is not a number", "Line 3: the altitude 95")),
    ({"file": b""}, "file", ("holds no point",)),
    ({"file": b"\xff\xfe\x00"}, "file", ("UTF-8",)),
    ({"file": b"0,1\n" * 80_000}, "file", ("larger than 300 kB",)),
    ({"file": b"azimuth;altitude\n"}, "file", ("holds no point",)),
    ({"year": "10001"}, "year", ("10000",)), ({"latitude": "nan"}, "latitude", ()), ({"day": "0001-01-01"}, "day", ())])
def test_what_is_wrong_is_told_at_its_field(client, given, field, words):
    given = {key: SimpleUploadedFile("s.csv", value) if key == "file" else value for key, value in given.items()}
    page = client.post(reverse("sky_horizon"), given)
    assert page.status_code == 200
    assert page.context["told"] == {}
    said = " ".join(page.context["form"].errors[field])
    assert all(each in said for each in words)


def test_a_list_of_many_bad_lines_is_cut(client):
    page = client.post(reverse("sky_horizon"), {"profile": "x,y\n1,x\n" * 30})
    assert len(page.context["form"].errors["profile"]) == 11


@pytest.mark.parametrize(("stars", "words"), [((11767, 85822), "never sets"), ((30438, 45238), "never rises")])
def test_what_never_rises_or_sets_is_said_plainly(client, cast, stars, words):
    open_up(cast["council"], figure("Gate of Stones", *stars))
    assert words in told(client)["figures"][0].never


@pytest.mark.parametrize("year", ["-10000", "-2800", "0", "2026", "10000"])
def test_a_year_tells_directions_alone(client, cast, year):
    open_up(cast["council"], figure("The Bright Ones", 32349, 24436))
    found = told(client, year=year, profile=HILLS)
    assert not re.search(r"\d\d:\d\d", found["figures"][0].rises[0])
    assert found["bodies"][0].name == "Sun, June solstice"
    assert any("major standstill" in row.name for row in found["bodies"])
    assert found["without_planets"] == (abs(int(year)) > 3000)


@pytest.mark.parametrize("latitude", ["-90", "0", "80", "90"])
def test_no_broken_number_anywhere(client, cast, latitude):
    open_up(cast["council"], figure("The Bright Ones", 32349, 11767, 30438))
    for given in ({}, {"year": "-2800"}):
        page = client.post(reverse("sky_horizon"), {**NIGHT, "latitude": latitude, "profile": HILLS, **given})
        assert not re.search(r"\bnan\b|\binf\b|\bNone\b(?! of)", page.content.decode())


def test_a_wide_gap_and_the_cautions_are_told(client):
    assert told(client, profile="0,1\n90,2\n")["gap"] == "270"
    assert told(client)["gap"] == ""
    body = client.get(reverse("sky_horizon")).content.decode()
    assert "filter" in body
    assert "permission of the people" in body
