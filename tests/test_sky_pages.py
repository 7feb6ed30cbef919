"""The sky page and its chart: only figures that are met; bad input answered in words."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse

from archive.access import decisions
from archive.models import House, Level

from .conftest import figure, open_up

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("house")]
NIGHT = {"day": "2026-01-15", "hour": "22", "latitude": "46", "longitude": "-38"}


def test_a_figure_is_drawn_once_it_is_open(client, cast):
    gate = figure("Gate of Stones", 11767, 94376)  # by Polaris: never sets at 46 N
    for address in ("sky", "sky_chart"):
        assert "Gate of Stones" not in client.get(reverse(address), NIGHT).content.decode()
    open_up(cast["council"], gate)
    for address in ("sky", "sky_chart"):
        assert "Gate of Stones" in client.get(reverse(address), NIGHT).content.decode()


def test_a_figure_of_which_only_the_description_is_met_is_not_drawn(client, cast):
    gate = figure("Gate of Stones", 11767, 94376)
    open_up(cast["council"], gate, terms=decisions.Terms(others_see=Level.DESCRIPTION))
    assert "Gate of Stones" not in client.get(reverse("sky"), NIGHT).content.decode()


@pytest.mark.parametrize("kind", ["pole", "zenith"])
def test_a_chart_is_the_same_bytes_each_time(client, kind):
    first, second = (client.get(reverse("sky_chart"), {**NIGHT, "kind": kind}) for _ in range(2))
    assert first["Content-Type"] == "image/svg+xml"
    assert first.content == second.content


@pytest.mark.parametrize(
    ("field", "value"),
    [("latitude", "91"), ("longitude", "181"), ("year", "10001"), ("hour", "25"), ("day", "2026-02-30"), ("kind", "x")],
)
def test_what_cannot_be_drawn_is_said_at_its_field(client, field, value):
    page = client.get(reverse("sky"), {**NIGHT, field: value})
    assert page.status_code == 200
    assert page.context["form"].errors[field]
    assert "<svg class=\"skychart" not in page.content.decode()
    assert client.get(reverse("sky_chart"), {**NIGHT, field: value}).status_code == 400


@pytest.mark.parametrize("year", ["-10000", "-2800", "0", "10000"])
@pytest.mark.parametrize("latitude", ["-90", "0", "46", "90"])
def test_any_year_and_any_latitude_can_be_drawn(client, year, latitude):
    page = client.get(reverse("sky"), {**NIGHT, "year": year, "latitude": latitude})
    body = page.content.decode()
    assert not page.context["trouble"]
    assert "skychart" in body
    assert "nan" not in body.lower().split("<svg", 2)[-1].split("</svg>")[0].replace("name", "")


@pytest.mark.parametrize(
    ("year", "words"),
    # Astronomical years: 0 is 1 BCE (Meeus, Astronomical Algorithms, chapter 7).
    [("0", "1 BCE"), ("-2800", "2801 BCE"), ("1", "1 CE"), ("-10000", "10001 BCE"), ("10000", "10000 CE")],
)
def test_years_are_told_as_bce_and_ce(client, year, words):
    assert words in client.get(reverse("sky"), {**NIGHT, "year": year}).context["told"]["year_words"]


def test_the_year_typed_goes_before_the_slider(client):
    told = client.get(reverse("sky"), {**NIGHT, "year": "2026", "year_exactly": "-2800"}).context["told"]
    assert told["year_words"] == "2801 BCE"


@pytest.mark.parametrize(
    ("latitude", "year", "star"),
    # Thuban about -2800, Polaris now: common knowledge; in the south sigma Octantis is too faint for the limit.
    [("46", "-2800", "Thuban"), ("46", "2026", "Polaris")],
)
def test_the_pole_star_of_the_year_is_named(client, latitude, year, star):
    told = client.get(reverse("sky"), {**NIGHT, "latitude": latitude, "year": year}).context["told"]
    assert star in told["pole_star"]


def test_an_ancient_night_is_told_in_days_since_the_solstice(client):
    # The December solstice of 2025 was on 21 December 15:03 UT (Astronomical Almanac); 16 January 1:00 UT is 25 days
    # on. The sun's 25.9 degrees since then take 26 days in -2800, when the Earth was nearest to it in October
    # (perihelion moves by 1.72 degrees in a century: Meeus, Astronomical Algorithms, chapter 25).
    for year, days in (("2000", 25), ("-2800", 26)):
        told = client.get(reverse("sky"), {**NIGHT, "year": year}).context["told"]
        assert told["since_solstice"] == f"{days} days after the December solstice"
    assert "Julian calendar" in told["like_date"]


def test_the_years_own_night_has_planets_and_no_other_date(client):
    page = client.get(reverse("sky"), {**NIGHT, "year": "2026"})
    assert page.context["told"]["like_date"] == ""
    assert "Jupiter" in page.content.decode()


def test_a_date_that_no_clock_can_tell_is_refused_in_words(client):
    page = client.get(reverse("sky"), {**NIGHT, "day": "0001-01-01"})
    assert "1600" in page.context["form"].errors["day"][0]


@pytest.mark.parametrize("field", ["latitude", "longitude", "hour", "year_exactly"])
@pytest.mark.parametrize("value", ["nan", "inf", "-inf", "x"])
def test_what_is_no_number_is_said_at_its_field(client, field, value):
    page = client.get(reverse("sky"), {**NIGHT, field: value})
    assert page.context["form"].errors[field]


def test_the_cautions_stand_on_the_page(client):
    assert "sun" in client.get(reverse("sky")).content.decode()


# --- tonight ---


def test_tonight_tells_where_to_look_for_what_is_met_in_full(client, cast):
    north, south = figure("Gate of Stones", 11767, 94376), figure("Low Ones", 30438, 45238)  # Canopus, Miaplacidus
    half = figure("Half Seen", 11767, 85822)
    open_up(cast["council"], north, south)
    open_up(cast["council"], half, terms=decisions.Terms(others_see=Level.DESCRIPTION))
    night = client.get(reverse("tonight"), NIGHT).context["night"]
    assert [one["name"] for one in night["now"]] == ["Gate of Stones"]
    assert "in the north" in night["now"][0]["words"]
    # Canopus, declination -52.7, and Miaplacidus, -69.7, reach -9 and -26 degrees at most at 46 N (90 - 46 + dec).
    assert [one["name"] for one in night["down"]] == ["Low Ones"]
    assert "Half Seen" not in client.get(reverse("tonight"), NIGHT).content.decode()


def test_a_closed_figure_is_not_on_the_page_of_tonight(client, cast):
    figure("Gate of Stones", 11767, 94376)
    assert "Gate of Stones" not in client.get(reverse("tonight"), NIGHT).content.decode()


@pytest.mark.parametrize(
    ("latitude", "day", "words"),
    # At 80 N the sun stays up in June and below -12 degrees in December (90 - 80 - 23.4 = -13.4 at noon); at 70 N its
    # noon then is at -3.4. At 60 N in June it sinks to 6.6 degrees below: past civil, not nautical twilight.
    [
        ("80", "2026-06-21", ("does not set", "not get dark enough")),
        ("80", "2026-12-21", ("does not rise", "dark the whole day")),
        ("70", "2026-12-21", ("does not rise", "from")),
        ("60", "2026-06-21", ("sets at", "dim but not dark")),
        ("90", "2026-06-21", ("does not set", "not get dark enough")),
        ("-90", "2026-06-21", ("does not rise", "dark the whole day")),
        ("-34", "2026-06-21", ("sets at", "dark enough for the figures from")),
    ],
)
def test_polar_day_and_night_are_said_plainly(client, cast, latitude, day, words):
    open_up(cast["council"], figure("Gate of Stones", 11767, 94376))
    page = client.get(reverse("tonight"), {"day": day, "latitude": latitude, "longitude": "0"})
    told = " ".join(page.context["night"]["twilight"])
    assert all(word in told for word in words)
    assert not re.search(r"\bnan\b|\binf\b|\bNone\b(?! of)", page.content.decode())


@pytest.mark.parametrize(("field", "value"), [("latitude", "91"), ("longitude", "nan"), ("day", "x")])
def test_tonight_says_at_its_field_what_is_wrong(client, field, value):
    page = client.get(reverse("tonight"), {**NIGHT, field: value})
    assert page.status_code == 200
    assert page.context["form"].errors[field]
    assert page.context["night"] == {}


# --- a figure's own page ---


def of_figure(client, item):
    return client.get(reverse("figure", args=[item.ref]))


def test_a_figure_met_in_full_shows_its_year_and_where_it_rises(client, cast):
    made = figure("The Bright Ones", 32349, 24436)  # Sirius and Rigel
    open_up(cast["council"], made)
    page = of_figure(client, made)
    assert "year-band" in page.content.decode()
    rows = page.context["seasons"]["rows"]
    # cos A = sin(dec) / cos(lat) for a level horizon: Sirius (-16.75) at 46 N rises at 114.5 degrees, half a degree
    # less with refraction.
    assert rows[0][1]["value"] == "south-east, 114°"
    assert rows[0][2]["value"] == "south-west, 246°"
    assert all(rows[0][at]["value"] != "–" for at in (3, 4))
    assert page.context["seasons"]["never"] == ""


@pytest.mark.parametrize(("stars", "words"), [((11767, 94376), "never sets"), ((30438, 45238), "never rises")])
def test_what_never_sets_or_never_rises_is_said_plainly(client, cast, stars, words):
    made = figure("Gate of Stones", *stars)
    open_up(cast["council"], made)
    page = of_figure(client, made)
    assert words in page.context["seasons"]["never"]
    assert "rise-rose" not in page.content.decode()


def test_a_figure_of_which_only_the_description_is_met_shows_no_year(client, cast):
    made = figure("Half Seen", 32349, 24436)
    open_up(cast["council"], made, terms=decisions.Terms(others_see=Level.DESCRIPTION))
    page = of_figure(client, made)
    assert page.status_code == 200
    assert page.context["seasons"] == {}
    assert "year-band" not in page.content.decode()


@pytest.mark.parametrize("latitude", [-90.0, -34.0, 0.0, 80.0, 90.0])
def test_a_figures_page_holds_no_broken_number_anywhere(client, cast, latitude):
    House.objects.filter(pk=1).update(latitude_deg=latitude)
    made = figure("The Bright Ones", 32349, 11767, 30438)
    open_up(cast["council"], made)
    assert not re.search(r"\bnan\b|\binf\b|\bNone\b(?! of)", of_figure(client, made).content.decode())
