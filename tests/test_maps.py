"""The map: only what is met, from our own host alone, the same bytes for the same data."""

from __future__ import annotations

import json
import re
import sqlite3

import pytest
from django.urls import reverse

from archive.access import decisions, founding, writing
from archive.maps.geojson import bounds
from archive.models import Audience, Level

from .conftest import bring, open_up, segment
from .published.test_tiles import write_mbtiles

pytestmark = pytest.mark.django_db


def place(name: str, latitude_deg: float, longitude_deg: float):
    names = [writing.NameGiven("en", name, True)]
    return writing.add_place(None, names, latitude_deg=latitude_deg, longitude_deg=longitude_deg, nature="cove")


def shown(client, **query):
    return json.loads(client.get(reverse("places_geojson"), query).content)


def drawn(client, **query):
    return json.loads(client.get(reverse("map_places"), query).content)


def topic(name: str):
    return writing.add_topic(None, [writing.NameGiven("en", name, True)])


def person(name: str):
    return writing.add_person(None, [writing.NameGiven("en", name, True)])


def figure(name: str, *hips: int):
    lines = [list(hips)]
    return writing.add_figure(None, [writing.NameGiven("en", name, True)], shape="lines", stars=list(hips), lines=lines)


def test_a_place_waits_for_the_council(client, cast):
    cove = place("Cove", 46.01, -38.02)
    assert shown(client)["features"] == []
    open_up(cast["council"], cove)
    found = shown(client)["features"]
    assert [one["geometry"] for one in found] == [{"type": "Point", "coordinates": [-38.02, 46.01]}]


def test_the_exact_spot_is_nowhere_for_those_who_may_not_know_it(client, cast):
    cove = place("Cove", 46.012345, -38.023456)
    open_up(cast["council"], cove, terms=decisions.Terms([Audience.objects.get(name="family")], others_see=2))
    drawn = [reverse(name) for name in ("map", "map_frame", "map_places", "places_geojson")]
    for address in (*drawn, reverse("map_place", args=[cove.ref])):
        body = client.get(address).content.decode()
        assert "46.012345" not in body
        assert "38.023456" not in body
    assert shown(client)["features"][0]["properties"]["precision"] == "cell"
    client.force_login(cast["family"])
    assert shown(client)["features"][0]["properties"]["precision"] == "spot"


def test_moving_a_spot_inside_its_cell_changes_no_byte(client, cast):
    cove = place("Cove", 46.012345, -38.023456)
    open_up(cast["council"], cove, terms=decisions.Terms(others_see=Level.DESCRIPTION))
    pages = [reverse(name) for name in ("map", "map_frame", "map_places", "places_geojson")]
    pages += [reverse(name, args=[cove.ref]) for name in ("place", "map_place")]
    before = [client.get(page).content for page in pages]
    type(cove).ungated.filter(pk=cove.pk).update(latitude_deg=46.09, longitude_deg=-38.09)
    assert [client.get(page).content for page in pages] == before


def test_the_frame_loads_from_our_host_alone_and_is_steady(client, cast):
    founding.found(name="House", latitude_deg=46.0, longitude_deg=-38.0, is_invented=True)
    open_up(cast["council"], place("Cove", 46.01, -38.02))
    first, second = (client.get(reverse("map_frame")) for _ in range(2))
    assert first.content == second.content
    body = first.content.decode()
    loaded = re.findall(r"""(?:src|href)=["']([^"']+)""", body)
    assert loaded
    assert all(address.startswith("/") for address in loaded)
    assert "unsafe-inline" not in first["Content-Security-Policy"].split("style-src")[0]


def test_names_with_markup_stay_words(client, cast):
    open_up(cast["council"], place("<script>alert(1)</script>", 46.01, -38.02))
    for address in ("/map/", "/map/frame/", reverse("map_place", args=[drawn(client)["refs"][0]])):
        assert "<script>alert(1)" not in client.get(address).content.decode()


def test_it_narrows_to_what_has_to_do_with_one_thing(client, cast, tmp_path):
    cove, hill = place("Cove", 46.01, -38.02), place("Hill", 46.05, -38.05)
    boats = topic("Boats")
    recording = bring(None, tmp_path, "A talk")
    segment(recording, 0, 1000, "Of boats", places=[cove.pk], topics=[boats.pk])
    open_up(cast["council"], recording, cove, hill, boats)
    assert len(shown(client)["features"]) == 2
    assert [one["properties"]["name"] for one in shown(client, about=boats.ref)["features"]] == ["Cove"]
    assert shown(client, about="nosuchref")["features"] == []


@pytest.fixture
def told(cast, tmp_path):
    """Two places, two speakers; a talk recorded at the hill with a segment of each; one is told in winter alone."""
    things = {
        "cove": place("Cove", 46.01, -38.02), "hill": place("Hill", 46.05, -38.05), "one": person("One"),
        "two": person("Two"), "kiln": figure("Kiln", 677, 1067), "boats": topic("Boats"),
    }
    talk = bring(None, tmp_path, "A talk")
    first = segment(
        talk, 0, 1000, "Of boats", places=[things["cove"].pk], speakers=[things["one"].pk], topics=[things["boats"].pk]
    )
    second = segment(talk, 1000, 2000, "Of fires", speakers=[things["two"].pk], figures=[things["kiln"].pk])
    writing.tie(talk, "recorded_at", things["hill"])
    winter = founding.season("All the year", (1, 1), (12, 31))
    open_up(cast["council"], talk, *things.values())
    terms = decisions.Terms([founding.everyone()], season=winter)
    open_up(cast["council"], second, terms=terms)
    return things | {"talk": talk, "first": first, "second": second, "season": winter}


@pytest.mark.parametrize(
    ("asked", "names"),
    [
        ({"speaker": "one"}, ["Cove", "Hill"]),
        ({"speaker": "two"}, ["Hill"]),
        ({"topic": "boats"}, ["Cove", "Hill"]),
        ({"figure": "kiln"}, ["Hill"]),
        ({"season": "season"}, ["Hill"]),
        ({"speaker": "one", "figure": "kiln"}, []),
        ({"about": "hill"}, ["Hill"]),
        ({"about": "talk"}, ["Cove", "Hill"]),
    ],
)
def test_what_is_told_of_a_place_and_there_narrows_it(client, told, asked, names):
    query = {name: told[key].ref for name, key in asked.items()}
    assert drawn(client, **query)["names"] == names
    page = client.get(reverse("map"), query).content.decode()
    assert [name for name in ("Cove", "Hill") if f">{name}</a></h3>" in page] == names


def test_a_thing_of_another_kind_narrows_it_to_nothing(client, told):
    assert drawn(client, speaker=told["kiln"].ref)["refs"] == []
    assert drawn(client, season="nosuch")["refs"] == []
    assert drawn(client, nature="cove")["names"] == ["Cove", "Hill"]
    assert drawn(client, nature="nosuch")["names"] == []


def test_a_place_gives_its_passages_to_be_played(client, told):
    said = client.get(reverse("map_place", args=[told["hill"].ref])).content.decode()
    assert "Told here" in said
    assert reverse("segment_sound", args=[told["second"].ref]) in said
    only = client.get(reverse("map_place", args=[told["hill"].ref]), {"speaker": told["one"].ref}).content.decode()
    assert "Of boats" in only
    assert "Of fires" not in only


@pytest.fixture
def mirrored(cast, told):
    """A mirror of three places, the third of which nobody has decided about."""
    third, kiln = place("Third", 46.09, -38.01), figure("Oven", 677, 1067, 3092)
    pairs = [(told["cove"], 677), (told["hill"], 1067), (third, 3092)]
    open_up(cast["council"], kiln, writing.add_mirror(None, kiln, pairs, title="As above"))
    return {"third": third, "kiln": kiln}


def test_a_mirror_is_drawn_between_the_places_that_are_met(client, cast, mirrored):
    assert [one["runs"] for one in drawn(client)["mirrors"]] == [[[[46.01, -38.02], [46.05, -38.05]]]]
    assert drawn(client, figure=mirrored["kiln"].ref)["names"] == ["Cove", "Hill"]
    open_up(cast["council"], mirrored["third"])
    assert drawn(client)["mirrors"][0]["runs"] == [[[46.01, -38.02], [46.05, -38.05], [46.09, -38.01]]]


def test_no_line_is_drawn_that_would_tell_the_star_of_a_place_met_as_an_area(client, cast, mirrored):
    open_up(cast["council"], mirrored["third"], terms=decisions.Terms(others_see=Level.DESCRIPTION))
    assert drawn(client)["mirrors"] == []
    assert drawn(client, figure=mirrored["kiln"].ref)["names"] == ["Cove", "Hill"]


def test_a_long_list_comes_in_pages_and_the_map_has_all(client, cast):
    open_up(cast["council"], *(place(f"Cove {at:03d}", 46.0 + at / 1000, -38.0) for at in range(60)))
    first, second = (client.get(reverse("map"), {"page": at}).content.decode() for at in (1, 2))
    assert (first.count("data-show-place"), second.count("data-show-place")) == (50, 10)
    assert len(drawn(client)["refs"]) == 60


@pytest.mark.parametrize("spot", [(0.0, 180.0), (0.0, -180.0), (12.0, 179.9999), (90.0, 10.0), (-90.0, 0.0)])
def test_places_at_the_edges_of_the_globe_are_shown(client, cast, spot):
    open_up(cast["council"], place("Edge", *spot))
    assert drawn(client)["at"] == [list(spot)]
    assert client.get(reverse("map_frame")).status_code == 200


def test_the_view_goes_across_the_date_line_rather_than_round_the_world():
    spots = [geojson_of(-17.0, 179.5), geojson_of(-18.0, -179.0)]
    assert bounds(spots) == (-18.0, 179.5, -17.0, 181.0)
    assert bounds([geojson_of(0.0, -10.0), geojson_of(1.0, 20.0)]) == (0.0, -10.0, 1.0, 20.0)


def geojson_of(latitude_deg: float, longitude_deg: float):
    return {"geometry": {"type": "Point", "coordinates": [longitude_deg, latitude_deg]}}


def test_a_base_map_of_our_own_is_served_tile_by_tile(client, settings, tmp_path):
    path = tmp_path / "base.mbtiles"
    write_mbtiles(path, (3, 2, 2, b"picture"))
    address = reverse("map_tile", args=[3, 2, 5])
    assert client.get(address).status_code == 404
    settings.TILE_FILE = str(path)
    found = client.get(address)
    assert (found.content, found["Content-Type"]) == (b"picture", "image/png")
    for asked in ((3, 2, 2), (3, 8, 0), (99, 0, 0), ("x", 0, 0), ("-1", 0, 0), ("٣", 2, 5)):
        assert client.get(reverse("map_tile", args=asked)).status_code == 404, asked
    assert "/map/tiles/{z}/{x}/{y}" in client.get(reverse("map_frame")).content.decode()
    with sqlite3.connect(path) as broken:
        broken.execute("DROP TABLE tiles")
    assert client.get(address).status_code == 404
    settings.TILE_FILE = str(tmp_path / "gone.pmtiles")
    assert client.get(reverse("map_frame")).status_code == 200
