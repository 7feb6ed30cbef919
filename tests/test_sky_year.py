"""The year of many figures at once, as data and as the page of it."""

from __future__ import annotations

import re

import numpy as np
import pytest
from django.urls import reverse

from archive.access import decisions
from archive.models import Level
from archive.sky import Place, figure_years, format_date, star_phases, year_bands
from archive.sky.figureyear import PHASES, days_since_solstice, sun_turns
from archive.sky.times import format_time, parse_time
from archive.views.sky.words import month_runs

from .conftest import figure, open_up

HOME = Place(46.0, -38.0)
SIRIUS, POLARIS, CANOPUS, VEGA = 32349, 11767, 30438, 91262
FIGURES = {"bright": [SIRIUS, 24436], "turning": [POLARIS, 85822], "low": [CANOPUS], "one": [SIRIUS], "none": []}


# --- the data ---


@pytest.mark.parametrize(("year", "wanted"), [
    # Solstices and equinoxes, UT, to the minute: The Astronomical Almanac for 2025
    (2025, {"march equinox": "2025-03-20T09:01", "june solstice": "2025-06-21T02:42",
            "september equinox": "2025-09-22T18:19", "december solstice": "2025-12-21T15:03"}),
    # Meeus, Astronomical Algorithms, example 27.a (from memory): the June solstice of 1962, 21:24:42 dynamical time,
    # which was 34 s ahead
    (1962, {"june solstice": "1962-06-21T21:24"})])
def test_the_suns_turns(year, wanted):
    found = {one.what: one.jd_ut for one in sun_turns(year)}
    for what, at in wanted.items():
        assert abs(found[what] - parse_time(at)) * 1440 < 1.2, format_time(found[what])


def test_days_since_the_last_solstice():
    turns = sun_turns(2025)
    assert days_since_solstice(turns, parse_time("2025-06-21T03:00")) == ("june solstice", 0)
    assert days_since_solstice(turns, parse_time("2025-01-01T12:00")) == ("december solstice", 11)
    assert days_since_solstice(turns, parse_time("2024-01-01")) is None


@pytest.mark.parametrize("year", [2025, 0, -2800])
def test_first_and_last_nights_are_those_of_the_brightest_star(year):
    found = {one.key: one for one in figure_years(FIGURES, HOME, year).figures}
    alone = star_phases(SIRIUS, HOME, year)
    for key in ("bright", "one"):
        assert found[key].leading_hip == SIRIUS
        for name in PHASES:
            days = [format_date(jd + HOME.lon_deg / 360) for jd in found[key].phases[name]]
            assert days == getattr(alone, name)
    assert [found[key].never for key in ("turning", "low")] == ["sets", "rises"]
    assert "none" not in found


def test_the_bands_are_those_of_a_single_figure():
    together = {one.key: one.band for one in figure_years(FIGURES, HOME, 2025).figures}
    for band in year_bands(FIGURES, HOME, 2025):
        assert np.array_equal(together[band.key].evening, band.evening)
        assert np.array_equal(together[band.key].morning, band.morning)


def test_hours_and_best_months():
    found = {one.key: one for one in figure_years(FIGURES, HOME, 2025).figures}
    # Sirius is an evening star of the northern winter and never in the dark in June (common practice, no source)
    assert found["one"].best_months == (1, 2)
    assert found["one"].dark_hours[5] == 0
    assert found["one"].middle_nights[5] == ()
    assert found["low"].best_months == ()
    # by Polaris: up whenever it is dark; on 15 December the sun is 12 degrees down for 12.9 hours at 46 N
    # (cos H = (sin -12 - sin 46 sin -23.3) / (cos 46 cos -23.3) gives H = 83.5 degrees: 24 h less twice 5.57 h)
    assert found["turning"].dark_hours[11] == pytest.approx(12.9, abs=0.1)
    (start, stop), = found["turning"].middle_nights[11]
    assert (stop - start) * 24 == pytest.approx(12.87, abs=0.1)
    assert all(e <= d + 1e-6 for e, d in zip(found["turning"].evening_hours, found["turning"].dark_hours, strict=True))


def test_middle_nights_agree_with_the_altitudes_of_a_star():
    from archive.sky import star_altaz

    found = figure_years({"vega": [VEGA]}, HOME, 2025).figures[0]
    for stretches in found.middle_nights:
        for start, stop in stretches:
            middle = star_altaz([VEGA], HOME, (start + stop) / 2)[0]
            assert float(middle[0]) > 10 or (stop - start) > 0.2
            for edge in (start, stop):  # up to its edge, or the edge of the dark
                assert float(star_altaz([VEGA], HOME, edge)[0][0]) > 8


@pytest.mark.parametrize("lat", [-90.0, -34.0, 0.0, 70.0, 90.0])
@pytest.mark.parametrize("year", [-10000, 2025, 10000])
def test_any_place_and_year(lat, year):
    for one in figure_years(FIGURES, Place(lat, 170.0), year).figures:
        assert np.isfinite(one.dark_hours).all()
        assert all(np.isfinite(edge) for night in one.middle_nights for stretch in night for edge in stretch)
    assert figure_years({}, HOME, year).figures == ()


def test_months_that_follow_one_another():
    assert month_runs((1, 2, 12)) == [[12, 1, 2]]
    assert month_runs((3, 5, 6)) == [[3], [5, 6]]
    assert month_runs(range(1, 13)) == [list(range(1, 13))]
    assert month_runs(()) == []


# --- the page ---


@pytest.mark.django_db
def test_only_figures_met_in_full_are_on_the_page(client, cast, house):
    opened, half = figure("Gate of Stones", SIRIUS, 24436), figure("Half Seen", SIRIUS, POLARIS)
    assert "Gate of Stones" not in client.get(reverse("sky_year")).content.decode()
    open_up(cast["council"], opened)
    open_up(cast["council"], half, terms=decisions.Terms(others_see=Level.DESCRIPTION))
    page = client.get(reverse("sky_year"))
    assert [row["name"] for row in page.context["told"]["rows"]] == ["Gate of Stones"]
    assert "Half Seen" not in page.content.decode()


@pytest.mark.django_db
def test_an_ancient_year_counts_from_the_solstice(client, cast, house):
    open_up(cast["council"], figure("The Bright Ones", SIRIUS, 24436))
    modern = client.get(reverse("sky_year"), {"year": "2026"}).context["told"]
    ancient = client.get(reverse("sky_year"), {"year": "-2800"}).context["told"]
    assert (modern["year"], ancient["year"]) == ("2026 CE", "2801 BCE")
    assert "solstice" not in modern["rows"][0]["dates"][0]
    assert re.search(r"\d+ \w+ \(\d+ days after the June solstice\)", ancient["rows"][0]["dates"][0])
    assert ancient["is_julian"]
    assert "Julian calendar" in client.get(reverse("sky_year"), {"year": "-2800"}).content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize("given", [{"year": "10001"}, {"year": "x"}, {"latitude": "91"}, {"longitude": "nan"}])
def test_what_is_wrong_is_said_at_its_field(client, house, given):
    page = client.get(reverse("sky_year"), given)
    assert page.status_code == 200
    assert page.context["form"].errors[next(iter(given))]
    assert page.context["told"] == {}


@pytest.mark.django_db
@pytest.mark.parametrize(("year", "latitude"), [("-10000", "-90"), ("0", "90"), ("2026", "78"), ("10000", "0")])
def test_no_broken_number_on_the_page(client, cast, house, year, latitude):
    open_up(cast["council"], figure("The Bright Ones", SIRIUS, POLARIS, CANOPUS))
    body = client.get(reverse("sky_year"), {"year": year, "latitude": latitude}).content.decode()
    assert not re.search(r"\bnan\b|\binf\b|\bNone\b(?! of)", body)
