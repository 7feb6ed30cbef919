"""What rises or sets along a line: the page, its words, and the places it takes."""

from __future__ import annotations

import numpy as np
import pytest
from django.urls import reverse
from geographiclib.geodesic import Geodesic

from archive.access import decisions, writing
from archive.models import Audience, House, Level
from archive.sky import Place, parse_date, star_crossing

from .browser import reads_well
from .conftest import called, open_up

pytestmark = pytest.mark.django_db


@pytest.fixture
def shore(cast):
    """Two open places and an open figure of one bright star and one faint."""
    House.objects.update_or_create(
        pk=1, defaults={"language": "en", "name": "A house", "latitude_deg": 46.0, "longitude_deg": -38.0})
    here = writing.add_place(None, called("The cove"), latitude_deg=46.0, longitude_deg=-38.0)
    there = writing.add_place(None, called("The head"), latitude_deg=46.2, longitude_deg=-37.7)
    figure = writing.add_figure(None, called("The Lamp"), stars=[32349, 30324], lines=[[32349, 30324]])
    open_up(cast["council"], here, there, figure)
    return {"here": here, "there": there, "figure": figure, "council": cast["council"]}


def read(client, **asked) -> str:
    answer = client.get(reverse("bearings"), asked)
    assert answer.status_code == 200
    return answer.content.decode()


def test_the_line_between_two_places_is_that_of_the_geodesic(shore, client) -> None:
    # C. F. F. Karney, Algorithms for geodesics, J. Geodesy 87, 43 (2013), by his library
    page = read(client, **{"from": shore["here"].ref, "to": shore["there"].ref})
    geodesic = Geodesic.WGS84.Inverse(46.0, -38.0, 46.2, -37.7)
    assert f"{geodesic['azi1']:.1f}° from true north, north-east; {geodesic['s12'] / 1000:.1f} km away" in page


def test_a_line_between_two_spots_is_read_like_one_between_places(shore, client) -> None:
    spots = {"latitude": 46.0, "longitude": -38.0, "to_latitude": 46.2, "to_longitude": -37.7}
    page = read(client, **spots, azimuth=270)
    geodesic = Geodesic.WGS84.Inverse(46.0, -38.0, 46.2, -37.7)
    assert f"{geodesic['azi1']:.1f}° from true north, north-east; {geodesic['s12'] / 1000:.1f} km away" in page
    assert "Give both latitude and longitude" in read(client, **spots | {"to_longitude": ""})
    assert "270.0° from true north" in read(client, **spots | {"to_latitude": 46.0, "to_longitude": -38.0}, azimuth=270)


def test_a_star_that_rises_there_is_told_with_its_figure(shore, client) -> None:
    rising = star_crossing(32349, Place(46, -38), parse_date("2026-01-01"))
    page = read(client, azimuth=f"{rising.rise_azimuth_deg:.2f}")
    assert "Rises there" in page
    assert "Sirius" in page
    assert reverse("figure", args=[shore["figure"].ref]) in page


def test_the_june_solstice_is_told_on_its_line(shore, client) -> None:
    # spherical astronomy: cos A = sin dec / cos phi on a level horizon, here with refraction by the page; 23.44 degrees
    # is the obliquity of J2000 (IAU 2006: 84,381.406 arcsec)
    azimuth = float(np.degrees(np.arccos(np.sin(np.radians(23.44)) / np.cos(np.radians(46.0)))))
    page = read(client, azimuth=f"{azimuth:.2f}", years="-2800")
    assert "the sun at the June solstice" in page
    assert "2801 BCE" in page
    assert "Never look at the sun" in page


@pytest.mark.parametrize(("asked", "words"), [
    ({"azimuth": "400"}, "less than or equal to 360"), ({"years": "soon"}, "up to six years"),
    ({"years": "99999"}, "up to six years"), ({"latitude": "91"}, "A latitude lies between"),
    ({"tolerance": "90"}, "less than or equal to 5"), ({"azimuth": "nan"}, "Enter a number")])
def test_wrong_numbers_are_refused_in_words(shore, client, asked, words) -> None:
    assert words in read(client, **asked)


@pytest.mark.parametrize("latitude", ["90", "-90"])
def test_at_a_pole_nothing_is_said_to_rise(shore, client, latitude) -> None:
    page = read(client, latitude=latitude, azimuth="53")
    assert "At a pole nothing rises or sets along a line" in page
    assert "Rises there" not in page


def test_nobody_stands_at_or_looks_towards_a_place_that_is_not_met_exactly(shore, client) -> None:
    for level in (Level.NOTHING, Level.NOTICE, Level.DESCRIPTION):
        terms = decisions.Terms([Audience.objects.get(name="family")], others_see=level, notice_words="Ask.")
        open_up(shore["council"], shore["there"], terms=terms)
        page = read(client, **{"from": shore["here"].ref, "to": shore["there"].ref})
        assert "The head" not in page
        assert shore["there"].ref not in page
        assert page == read(client, **{"from": shore["here"].ref, "to": "zzzzzzzzzzzz"})


def test_a_figure_that_is_not_met_in_full_is_not_told_by_its_stars(shore, client) -> None:
    rising = star_crossing(32349, Place(46, -38), parse_date("2026-01-01"))
    terms = decisions.Terms([Audience.objects.get(name="family")], others_see=Level.DESCRIPTION)
    open_up(shore["council"], shore["figure"], terms=terms)
    page = read(client, azimuth=f"{rising.rise_azimuth_deg:.2f}")
    assert "Sirius" in page  # one of the bright stars, whoever tells of it
    assert shore["figure"].ref not in page


@pytest.mark.browser
def test_the_dial_is_dragged_and_its_places_are_pressed(shore, visit) -> None:
    page = visit(reverse("bearings") + f"?from={shore['here'].ref}")
    box = page.locator("#dial").bounding_box()
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.move(middle[0], middle[1] - 40)
    page.mouse.down()
    page.mouse.move(middle[0] - 80, middle[1])
    page.mouse.up()
    page.wait_for_url("**azimuth=270.0**")
    assert "270.0° from true north, west" in page.content()
    page.get_by_label("The head").first.click()
    page.wait_for_url("**to=**")
    assert "to The head" in page.content()
    reads_well(page)
