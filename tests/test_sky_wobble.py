"""Figures and the poles' paths: what stands inside what, and when."""

from __future__ import annotations

import numpy as np
import pytest
from django.urls import reverse

from archive.access import decisions
from archive.models import Level
from archive.sky import SkyError, figure_wobble, turn_years
from archive.sky.vectors import DEGREE, unit
from archive.sky.wobble import holds

from .conftest import figure, open_up

THUBAN, POLARIS, VEGA, SIRIUS = 68756, 11767, 91262, 32349
ROUND_THE_NORTH = [THUBAN, 58001, 65378, 75097, 80331, 87833]


@pytest.mark.parametrize(("year", "years"), [
    # 50.2879 arcsec a year in 2000 (IAU 2006: 25,772 years; N. Capitaine et al., A&A 412, 567, 2003); the far years
    # from the same long-term model by a separate programme (cross-check)
    (2000, 25772), (-10000, 26451), (10000, 25103)])
def test_a_whole_turn(year, years):
    assert turn_years(year) == pytest.approx(years, abs=2)


def test_inside_by_hand():
    # a triangle about the pole, one beside it, and points seen from the far side
    corners = unit(np.array([0.0, 120.0, 240.0]) * DEGREE, np.full(3, 70 * DEGREE))
    points = unit(np.array([0.0, 0.0, 180.0, 0.0]) * DEGREE, np.array([90.0, 85.0, 75.0, -90.0]) * DEGREE)
    # the triangle's side opposite a corner passes cos-rule at colatitude atan(tan 20 cos 60) = 10.3 degrees
    assert holds(corners, points).tolist() == [True, True, False, False]
    assert holds(corners[:2], points).tolist() == [False] * 4


@pytest.mark.parametrize("colatitude", [10.2, 10.4])
def test_the_edge_of_a_triangle(colatitude):
    corners = unit(np.array([0.0, 120.0, 240.0]) * DEGREE, np.full(3, 70 * DEGREE))
    opposite = unit(np.array([180.0]) * DEGREE, np.array([(90 - colatitude) * DEGREE]))
    assert holds(corners, opposite)[0] == (colatitude < 10.31)


def test_thuban_was_the_pole_star_of_the_pyramids_time():
    # cross-check: 5.84 arcmin in -2796; sampled every twentieth year
    near = figure_wobble([THUBAN]).nearest
    assert (near.side, near.year) == ("north", -2800)
    assert near.separation_deg == pytest.approx(0.1, abs=0.02)
    assert not figure_wobble([THUBAN]).has_shape


def test_the_pole_inside_a_figure():
    found = figure_wobble(ROUND_THE_NORTH, 2000)
    assert found.holds_pole(-2800) == "north"  # Thuban was the pole star then, and the others stand all round
    assert (found.holds_pole(2000), found.ecliptic_pole) == ("", "")
    dragon = figure_wobble([THUBAN, 75458, 80331, 83895, 87585, 94376, 87833, 85670, 61281, 56211], 2000)
    # the ecliptic pole lies in Draco (18h 00m, +66.56 degrees): J2000, any atlas
    assert dragon.ecliptic_pole == "north"
    assert dragon.spans["north"]
    assert dragon.holds_pole(dragon.spans["north"][0][0]) == "north"


def test_nothing_to_do_with_a_pole():
    found = figure_wobble([SIRIUS, 24436, 27989])
    assert found.spans == {"north": (), "south": ()}
    assert found.ecliptic_pole == ""
    assert found.nearest.separation_deg > 15
    with pytest.raises(SkyError, match="no star"):
        figure_wobble([])


# --- on the figure's page ---


@pytest.mark.django_db
def test_the_page_of_a_figure_tells_of_the_pole(client, cast, house):
    made = figure("The Long One", THUBAN, 75458, 80331, 83895, 87585, 94376, 87833, 85670, 61281, 56211)
    open_up(cast["council"], made)
    body = client.get(reverse("figure", args=[made.ref])).content.decode()
    assert "The north pole&#x27;s path crosses it" in body
    assert "Thuban comes nearest to the pole in about 2801 BCE" in body
    assert "northern pole of the sun&#x27;s path" in body


@pytest.mark.django_db
def test_a_figure_far_from_the_poles_says_nothing_and_a_described_one_neither(client, cast, house):
    far, half = figure("The Bright Ones", SIRIUS, 24436, 27989), figure("Half Seen", THUBAN, 75458, 80331)
    open_up(cast["council"], far)
    open_up(cast["council"], half, terms=decisions.Terms(others_see=Level.DESCRIPTION))
    for made in (far, half):
        assert "nearest to the pole" not in client.get(reverse("figure", args=[made.ref])).content.decode()


@pytest.mark.django_db
def test_the_sky_page_draws_the_circle_and_tells_of_the_turn(client, house):
    page = client.get(reverse("sky"), {"year": "-2800"})
    body = page.content.decode()
    assert "sc-turn" in body
    assert "26,270 years" in page.context["told"]["turn"]  # between 25,772 in 2000 and 26,451 at -10000
