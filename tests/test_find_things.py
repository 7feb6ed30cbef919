"""Asking for things: stars and figures, places, people, dates, languages, seasons; and what is never given away."""

from __future__ import annotations

import math

import numpy as np
import pytest
from django.test import Client

from archive.access import decisions, founding, skyties, writing
from archive.access.cells import cell_of
from archive.access.gate import Gate
from archive.models import Audience, Item, Tie
from archive.search import aims, finding, nearby, skyward
from archive.search.finding import Found, Wanted
from archive.search.nearby import Area
from archive.search.query import read
from archive.sky.starnames import called

from .conftest import bring, open_up, segment
from .test_find import answer, page
from .test_search import named, said

pytestmark = pytest.mark.django_db

SPICA, DENEBOLA, PORRIMA, VEGA, POLARIS = 65474, 57632, 61941, 91262, 11767


def ask(text: str, account=None, **narrowing) -> Found:
    return finding.find(Gate(account), Wanted(read(text), **narrowing), size=200)


def keys(found: Found, world: dict) -> list[str]:
    by_number = {item.pk: key for key, item in world.items() if hasattr(item, "pk")}
    return [by_number.get(hit.number, "?") for hit in found.hits]


def ways(found: Found, item: Item) -> list[tuple[str, str]]:
    [hit] = [hit for hit in found.hits if hit.number == item.pk]
    return [(way.way, way.role.role) for way in hit.reached]


@pytest.fixture
def world(cast, tmp_path):
    """One talk, open: a stair of three stars, an egg that is a part of it, a net that shares a star, a mirror."""
    talk = bring(None, tmp_path, "Talk by the hearth", seconds=9.0)
    talk.recorded_on = "1962-07"
    talk.save()
    stair = named("figure", "The Stair", "Mokera", stars=[DENEBOLA, PORRIMA, SPICA])
    egg = named("figure", "The Egg", stars=[SPICA])
    net = named("figure", "The Net", stars=[PORRIMA, VEGA])
    far = named("figure", "The Far Light", stars=[VEGA])
    writing.tie(egg, "part_of", stair)
    step = named("place", "Step Rock", latitude_deg=46.0, longitude_deg=-38.0)
    cove = named("place", "Cove", latitude_deg=46.02, longitude_deg=-38.0)
    mirror = writing.add_mirror(None, stair, [(step, DENEBOLA), (cove, SPICA)], title="The Stair on the ground")
    tole, maro = named("person", "Tole"), named("person", "Maro")
    writing.tie(maro, "learned_from", tole)
    lines = [(7100, 7800, "And Mokera goes down to the sea"), (8100, 8900, "Nothing of it")]
    said(talk, lines)
    parts = {
        "by_stair": segment(talk, 0, 900, "One", figures=[stair.pk], speakers=[tole.pk]),
        "by_egg": segment(talk, 1000, 1900, "Two", figures=[egg.pk], speakers=[maro.pk]),
        "by_net": segment(talk, 2000, 2900, "Three", figures=[net.pk]),
        "by_far": segment(talk, 3000, 3900, "Four", figures=[far.pk]),
        "by_place": segment(talk, 4000, 4900, "Five", places=[cove.pk]),
        "of_tole": segment(talk, 5000, 5900, "Six", told_of=[tole.pk]),
        "had": segment(talk, 6000, 6900, "Seven", had_from=[tole.pk]),
        "in_words": segment(talk, 7000, 7900, "Eight"),
        "none": segment(talk, 8000, 8900, "Nine"),
    }
    open_up(cast["council"], talk, stair, egg, net, far, step, cove, mirror, tole, maro)
    things = {"talk": talk, "stair": stair, "egg": egg, "net": net, "far": far, "step": step, "cove": cove}
    return things | parts | {"mirror": mirror, "tole": tole, "maro": maro}


# --- the sky ---


@pytest.mark.parametrize("handle", ["sky:stair", "sky:mokera", 'sky:"The Stair"', "SKY:MÓKERA"])
def test_a_figure_by_any_name_closes_over_its_ties(world, handle):
    found = ask(handle)
    assert set(keys(found, world)) == {"by_stair", "by_egg", "by_net", "by_place", "in_words"}
    assert keys(found, world)[0] == "by_stair"
    assert keys(found, world)[-1] == "in_words"
    assert ways(found, world["by_stair"]) == [("names_figure", "asked")]
    assert ("names_figure", "part") in ways(found, world["by_egg"])
    assert ways(found, world["by_net"]) == [("names_figure", "overlaps")]
    assert ways(found, world["by_place"]) == [("belongs_to", "mirrors")]
    assert ways(found, world["in_words"]) == [("in_words", "asked")]


@pytest.mark.parametrize(
    "handle", ["sky:Spica", 'sky:"HIP 65474"', "sky:HIP 65474", "sky:α Vir", 'sky:"α Vir"', 'sky:"alpha vir"']
)
def test_a_star_by_any_handle(world, handle):
    found = ask(handle)
    assert set(keys(found, world)) == {"by_stair", "by_egg", "by_place", "in_words"}
    assert ("names_figure", "holds") in ways(found, world["by_egg"])
    assert ways(found, world["by_place"]) == [("belongs_to", "mirrors")]


def test_how_much_of_the_figure_is_meant(world):
    takes = dict(ask("sky:stair").takes_in)
    assert takes[world["egg"].pk].role == "part"
    assert takes[world["net"].pk].amount == pytest.approx(1 / 3)
    assert takes[world["step"].pk].amount == pytest.approx(1 / 3)
    ordered = keys(ask("sky:stair", sort="meant"), world)
    assert ordered[0] == "by_stair"
    assert ordered[-1] == "in_words"


def test_several_stars_at_once(world):
    assert "by_far" in keys(ask('sky:"Spica, Vega"'), world)
    assert skyward.stars_called("Spica, HIP 91262; nothing") == (SPICA, VEGA)


def test_words_and_aims_together_and_without(world):
    assert set(keys(ask("sky:stair mokera"), world)) == {"by_stair", "by_egg", "in_words"}
    assert set(keys(ask("sky:egg | sky:far"), world)) >= {"by_egg", "by_far"}
    without = keys(ask("-sky:stair"), world)
    assert "by_far" in without
    assert not {"by_stair", "by_egg", "in_words"} & set(without)


def test_only_what_is_tied_or_only_words(world):
    found = ask("sky:stair")
    assert dict(found.hows) == {"tied": 4, "words": 1}
    assert keys(ask("sky:stair", how="words"), world) == ["in_words"]
    assert "in_words" not in keys(ask("sky:stair", how="tied"), world)


@pytest.mark.parametrize("text", ["sky:HIP 99999999", "sky:HIP 999", "sky:nobodysstar", "sky:0"])
def test_a_star_that_is_not_there_is_said(world, text):
    found = ask(text)
    assert found.total == 0
    assert [trouble for _, trouble in found.troubles] in (["star"], ["sky"])
    assert "Hipparcos" in page(text) or "star list" in page(text)


def test_every_approved_name_and_designation_leads_to_its_star():
    """The IAU Catalog of Star Names, as the star list gives it (fixtures/sky/SOURCES.md)."""
    assert called("Polaris") == (POLARIS,)
    assert called("alpha Umi") == (POLARIS,)
    assert called("HIP 0") == ()


# --- nothing given away of what is hidden ---


def test_stars_of_a_figure_that_is_only_described_lead_nowhere(cast, world):
    open_up(cast["council"], world["stair"], terms=decisions.Terms(others_see=2))
    found = ask("sky:Denebola")
    assert found.total == 0
    assert "by_stair" in keys(ask("sky:stair"), world)


def test_a_hidden_mirror_leads_nowhere(cast, world):
    open_up(cast["council"], world["mirror"], terms=decisions.Terms())
    assert "by_place" not in keys(ask("sky:stair"), world)


def test_no_star_of_a_mirror_is_told_where_one_of_its_places_is_met_as_an_area(cast, world):
    """Else the star that is left over would lead to the spot of that place."""
    assert "by_place" in keys(ask("sky:Spica"), world)
    open_up(cast["council"], world["step"], terms=decisions.Terms(others_see=2))
    assert "by_place" not in keys(ask("sky:Spica"), world)
    assert "by_place" in keys(ask("sky:stair"), world)


def test_a_place_near_the_pole_counts_by_the_same_cell_as_on_the_map(cast, world):
    """Cells widen towards the poles; what is asked by distance must not tell a narrower one."""
    cove = world["cove"]
    cove.latitude_deg, cove.longitude_deg, cove.cell_deg = 80.05, 10.05, 0.1
    cove.save()
    open_up(cast["council"], cove, terms=decisions.Terms(others_see=2))
    spots = skyties.spots(Gate())
    at = spots.places.tolist().index(cove.pk)
    edges = (spots.south[at], spots.west[at], spots.north[at], spots.east[at])
    assert edges == cell_of(80.05, 10.05, 0.1)
    assert edges[3] - edges[1] > 0.1


@pytest.mark.parametrize(
    "hidden", ["stair", "egg", "net", "mirror", "cove", "by_stair", "by_net", "tole", "maro", "talk"]
)
def test_a_hidden_thing_is_as_one_that_never_was(cast, world, hidden):
    texts = [
        "sky:stair", "sky:egg", "sky:Spica", "sky:Denebola", "sky:Vega", "near:46.0,-38.0", 'near:"Step Rock",10km',
        "who:tole", "from:tole", "who:maro", "when:1962", "in:en", "season:now", "sky:stair mokera", "-sky:stair",
    ]
    open_up(cast["council"], world[hidden], terms=decisions.Terms())
    before = [_told(ask(text)) for text in texts]
    ref = world[hidden].ref
    Tie.ungated.filter(source=world[hidden].pk).delete()
    Item.ungated.get(pk=world[hidden].pk).delete()
    writing.owe_index([world[hidden].pk])
    assert [_told(ask(text)) for text in texts] == before, ref


def _told(found: Found) -> tuple:
    return found.total, found.hits, found.takes_in, found.facets, found.hows, found.troubles, found.kinds, found.words


# --- near ---


def test_distance_and_its_default(world):
    assert keys(ask("near:46.0,-38.0"), world) == ["by_place"]
    assert keys(ask("near:46.0,-38.0,2km"), world) == []
    assert keys(ask('near:"Step Rock",3km'), world) == ["by_place"]
    assert keys(ask('near:"step rock within 3 km"'), world) == ["by_place"]
    assert keys(ask("near:47,-38"), world) == []
    assert "3 km away" not in page("near:46.0,-38.0")
    assert "2.2 km away" in page("near:46.0,-38.0")


@pytest.mark.parametrize("text", ["near:nowhere", "near:91,0", "near:1,200", "near:46", 'near:"46,-38,99999km"'])
def test_a_spot_that_is_none_is_said(world, text):
    found = ask(text)
    assert found.total == 0
    assert [trouble for _, trouble in found.troubles] in (["near"], ["place"])
    assert "degrees" in page(text)


def test_a_generalised_place_answers_alike_wherever_in_its_cell_it_lies(cast, world):
    """The point moves inside the cell: not a byte differs, however finely it is asked."""
    open_up(cast["council"], world["cove"], terms=decisions.Terms(others_see=2))
    asked = [f"near:46.{at:03d},-38.0{at % 10},{km}km" for at in range(0, 200, 7) for km in (1, 2, 4, 9)]
    asked += ["near:cove,1km", 'near:"Step Rock",1km']
    before = [answer(text).content for text in asked]
    row = world["cove"]
    row.refresh_from_db()
    row.latitude_deg, row.longitude_deg = 46.09, -37.91
    row.save()
    for text, held in zip(asked, before, strict=True):
        assert answer(text).content.decode().splitlines() == held.decode().splitlines()
    assert any(b"by_place" in each or b"Five" in each for each in before)


@pytest.mark.parametrize(
    ("one", "other", "km"),
    [
        ((0, 0), (0, 1), 111.195),  # a degree of a great circle on the sphere used: 2 pi R / 360
        ((90, 0), (-90, 0), math.pi * 6371.0088),
        # A worked example that goes round for this formula (from memory: 2887.26 km with R 6372.8), for R 6371.0088.
        ((36.12, -86.67), (33.94, -118.40), 2886.45),
        ((46, 179.9), (46, -179.9), 15.448),
    ],
)
def test_great_circle_distances(one, other, km):
    """Haversine (Sinnott 1984); the values by the spherical law of cosines, reckoned apart. R is the mean radius of
    GRS 80, 6371.0088 km (H. Moritz, Geodetic Reference System 1980; from memory)."""
    (lat1, lon1), (lat2, lon2) = np.radians(one), np.radians(other)
    cosine = math.sin(lat1) * math.sin(lat2) + math.cos(lat1) * math.cos(lat2) * math.cos(lon2 - lon1)
    assert km == pytest.approx(6371.0088 * math.acos(max(-1.0, min(1.0, cosine))), rel=1e-3)
    sides = [np.array([float(side)]) for side in (other[0], other[1], other[0], other[1])]
    assert nearby.away_km(Area(*one, *one), *sides)[0] == pytest.approx(km, rel=1e-4)


def test_a_point_inside_a_cell_is_at_no_distance():
    """By hand, 111.195 km a degree: 0.01 degree of longitude at 46.05 north is 0.772 km, 0.1 of latitude 11.12."""
    sides = [np.array([side]) for side in (46.0, 179.9, 46.1, 180.0)]
    assert nearby.away_km(Area(46.05, 179.95, 46.05, 179.95), *sides)[0] == 0
    assert nearby.away_km(Area(46.05, -179.99, 46.05, -179.99), *sides)[0] == pytest.approx(0.77, abs=0.02)
    assert nearby.away_km(Area(46.2, 179.95, 46.2, 179.95), *sides)[0] == pytest.approx(11.12, abs=0.01)


@pytest.mark.parametrize(
    ("value", "where", "km"),
    [
        ("46.1,-38.2", "46.1,-38.2", 5.0), ("46.1,-38.2,3km", "46.1,-38.2", 3.0), ("Kiln Head, 3 km", "Kiln Head", 3.0),
        ("46.1 -38.2 within 0.5 km", "46.1 -38.2", 0.5), ("Kiln Head", "Kiln Head", 5.0), ("3km", "", 3.0),
    ],
)
def test_where_and_how_far_are_read(value, where, km):
    assert nearby.read(value) == (where, km)


# --- people, dates, languages, seasons ---


def test_people(world):
    assert set(keys(ask("who:tole"), world)) == {"by_stair", "of_tole", "had"}
    found = ask("from:tole")
    assert set(keys(found, world)) == {"had", "by_egg"}
    assert ways(found, world["by_egg"]) == [("told_by", "learned")]
    assert ask("who:nobody").troubles == [("who:nobody", "who")]


@pytest.mark.parametrize(
    ("text", "is_found"),
    [
        ("when:1962", True), ("when:1962-07", True), ("when:1960s", True), ("when:1963~", True), ("when:1966~", False),
        ("when:1950/1961", False), ("when:1962/..", True), ("when:../1961", False), ("when:1962-08", False),
        ("when:196X", True), ("in:en", True), ("in:EN", True), ("in:e", False), ("in:qse-x-senneth", False),
    ],
)
def test_dates_and_languages(world, text, is_found):
    assert (ask(text).total > 0) is is_found


def test_a_wrong_date_is_said(world):
    assert "That is no date" in page("when:yesterday")


def test_what_may_be_told_now(cast, world):
    everyone = [Audience.objects.get(builtin="everyone")]
    always = founding.season("always", (1, 1), (12, 31))
    assert ask("season:now").total == 0
    open_up(cast["council"], world["by_egg"], terms=decisions.Terms(everyone, season=always))
    assert keys(ask("season:now"), world) == ["by_egg"]
    open_up(cast["council"], world["stair"], terms=decisions.Terms(everyone, season=always, scope="tied"))
    assert set(keys(ask("season:now"), world)) == {"by_egg", "by_stair"}
    assert ask("season:summer").troubles == [("season:summer", "season")]


def test_a_season_that_is_over_or_not_for_one_is_not_said(cast, world):
    never = founding.season("never", (2, 29), (2, 29))
    everyone, family = ([Audience.objects.get(name=name)] for name in ("everyone", "family"))
    open_up(cast["council"], world["by_egg"], terms=decisions.Terms(everyone, season=never, others_see=2))
    always = founding.season("always", (1, 1), (12, 31))
    open_up(cast["council"], world["by_net"], terms=decisions.Terms(family, season=always))
    assert ask("season:now").total == 0
    assert keys(ask("season:now", cast["family"]), world) == ["by_net"]


# --- the page ---


def test_the_page_says_what_is_taken_in_and_by_which_way(world):
    shown = page("sky:stair")
    assert "What this takes in" in shown
    assert "shares 33 % of the stars" in shown
    assert "names the figure" in shown
    assert "mirrors it on the ground" in shown
    assert "spoken of in words, not tied" in shown
    assert "How it is reached" in shown
    assert "And <mark>Mokera</mark> goes down" in shown


@pytest.mark.parametrize("aim", ["sky", "near", "who", "from", "when", "in", "season"])
@pytest.mark.parametrize(
    "value", ["", '"', "*", "1", "-", "..", "/" * 50, "é" * 300, "[^", "\u0301", "1,2,3,4", "9" * 400]
)
def test_any_value_is_answered(world, aim, value):
    assert answer(f"{aim}:{value}").status_code == 200


def test_roles_are_all_said():
    from archive.views.finding_words import role_words

    assert all(isinstance(role_words(aims.Role(role, 0.5, 1.0)), str) for role in aims.ROLES)

# --- from elsewhere ---


def test_a_tap_on_a_star_asks_for_it():
    """The chart's own circle of the brightest star near the pole's place is where Polaris is tapped."""
    from archive.sky import ChartRequest, Place
    from archive.sky.tapped import tapped

    request = ChartRequest(Place(46.0, -38.0), 2460000.5, kind="pole")
    assert tapped(request, 500.0, 503.0) == POLARIS  # 0.7 degrees from the pole, which stands in the middle
    assert tapped(request, 5.0, 5.0) is None
    answered = Client().get("/sky/tapped/", {"kind": "pole", "x": "500", "y": "503"})
    assert answered.url == "/find/?q=sky%3AHIP+11767"
    for given in ({}, {"x": "no", "y": "1"}, {"x": "5", "y": "5"}, {"x": "500", "y": "500", "year": "x"}):
        assert Client().get("/sky/tapped/", given).url == "/sky/"


def test_a_name_given_on_the_sky_page_is_asked_for():
    assert Client().get("/find/", {"sky": 'The "Stair'}).url == "/find/?q=sky%3A%22The+Stair%22"


def test_pages_lead_to_all_that_leads_to_them(world):
    client = Client()
    for key, kind, aim in (("stair", "figures", "sky"), ("cove", "places", "near"), ("tole", "people", "who")):
        shown = client.get(f"/{kind}/{world[key].ref}/").content.decode()
        assert f"/find/?q={aim}%3A%22" in shown, kind
    assert "/find/?q=sky%3AHIP+65474" in client.get(f"/figures/{world['egg'].ref}/").content.decode()
