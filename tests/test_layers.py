"""The community's own layers of the map: what a file may hold, who meets it, and nothing half-saved."""

from __future__ import annotations

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from archive.access import decisions, founding, resting, writing
from archive.exchange import geojson_in
from archive.models import Audience, Layer, Level

from .conftest import LONG_AGO, MINUTE, open_up

pytestmark = pytest.mark.django_db

PATH = {
    "type": "FeatureCollection",
    "features": [
        {
            "type": "Feature", "properties": {"name": "Goat path"},
            "geometry": {"type": "LineString", "coordinates": [[-38.1, 46.1], [-38.05, 46.12]]},
        }
    ],
}


def file(held, name: str = "paths.geojson") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, held if isinstance(held, bytes) else json.dumps(held).encode())


@pytest.fixture
def at_desk(client, cast):
    founding.found(name="House", language="en", latitude_deg=46.0, longitude_deg=-38.0)
    client.force_login(cast["archivist"])
    return client


def sent(client, held, **more):
    return client.post(reverse("add_layer"), {"title": "Paths", "position": 1, "file": file(held), **more})


def test_a_layer_waits_for_the_council_and_then_is_drawn(client, cast, at_desk):
    answer = sent(at_desk, PATH, rights="The goat families; CC BY 4.0")
    row = Layer.ungated.get()
    assert answer.headers["Location"] == reverse("layer", args=[row.ref])
    client.logout()
    pages = [reverse("layer", args=[row.ref]), reverse("layer_geojson", args=[row.ref])]
    assert [client.get(page).status_code for page in pages] == [404, 404]
    assert row.ref not in client.get(reverse("map_frame")).content.decode()
    open_up(cast["council"], row)
    assert json.loads(client.get(pages[1]).content) == PATH
    assert pages[1] in client.get(reverse("map_frame")).content.decode()
    shown = client.get(pages[0]).content.decode()
    assert "The goat families" in shown
    assert "/threads/" not in shown


def test_where_the_description_is_met_its_lines_are_not(client, cast):
    row = writing.add_layer(None, [], title="Paths", features=json.dumps(PATH))
    terms = decisions.Terms([Audience.objects.get(name="family")], others_see=Level.DESCRIPTION)
    open_up(cast["council"], row, terms=terms)
    assert client.get(reverse("layer", args=[row.ref])).status_code == 200
    assert client.get(reverse("layer_geojson", args=[row.ref])).status_code == 404
    assert row.ref not in client.get(reverse("map_frame")).content.decode()
    client.force_login(cast["family"])
    assert client.get(reverse("layer_geojson", args=[row.ref])).status_code == 200


def test_the_council_closes_it_at_once(client, cast):
    row = writing.add_layer(None, [], title="Paths", features=json.dumps(PATH))
    open_up(cast["council"], row)
    assert client.get(reverse("layer_geojson", args=[row.ref])).status_code == 200
    open_up(cast["council"], row, terms=decisions.Terms())
    assert client.get(reverse("layer_geojson", args=[row.ref])).status_code == 404


def test_layers_lie_in_their_order(client, cast):
    made = [writing.add_layer(None, [], title=title, position=position, features=json.dumps(PATH))
            for title, position in (("Upper", 9), ("Lower", 2), ("Between", 2))]
    open_up(cast["council"], *made)
    body = client.get(reverse("map_frame")).content.decode()
    assert [one.title for one in sorted(made, key=lambda one: body.index(one.ref))] == ["Between", "Lower", "Upper"]


def test_a_form_that_was_not_sent_complains_of_nothing(at_desk):
    assert "Nothing was saved" not in at_desk.get(reverse("add_layer")).content.decode()
    sent(at_desk, PATH)
    edit = reverse("edit_layer", args=[Layer.ungated.get().ref])
    assert "Nothing was saved" not in at_desk.get(edit).content.decode()


def test_only_the_archivist_makes_one(client, cast):
    client.force_login(cast["family"])
    assert sent(client, PATH).status_code == 404
    assert not Layer.ungated.exists()


@pytest.mark.parametrize(
    ("held", "words"),
    [
        (b"{", "line 1"),
        (b"[1, 2]", "not GeoJSON"),
        (b"\xff\xfe{", "UTF-8"),
        (b"[" * 10_000, "too deep"),
        (b'{"type": "FeatureCollection", "features": []}', "nothing in the file"),
        (b'{"type": "Point", "coordinates": [NaN, 2]}', "NaN"),
        ({"type": "Point", "coordinates": [46.1, -138.1]}, "swapped"),
        ({"type": "Point", "coordinates": [500_000, 5_100_000]}, "metres"),
        ({"type": "Polygon", "coordinates": [[[0, 0], [1, 1]]]}, "too short"),
        ({"type": "Circle", "coordinates": [0, 0]}, "Circle"),
        (PATH | {"crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::25832"}}}, "WGS 84"),
        (b"", "line 1"),
    ],
)
def test_a_file_that_cannot_be_is_refused_in_words_and_nothing_is_saved(at_desk, held, words):
    answer = sent(at_desk, held)
    assert answer.status_code == 200
    assert words in answer.content.decode()
    assert not Layer.ungated.exists()


def test_a_layer_with_north_and_east_swapped_is_asked_about_and_turned(at_desk):
    swapped = {"type": "LineString", "coordinates": [[46.1, -38.1], [46.12, -38.05]]}
    page = sent(at_desk, swapped).content.decode()
    assert "Is this in the sea?" in page
    assert "with north and east swapped it would be" in page
    assert not Layer.ungated.exists()
    assert sent(at_desk, swapped, is_turned="on").status_code == 302
    (line,) = json.loads(Layer.ungated.get().features)["features"]
    assert line["geometry"]["coordinates"] == PATH["features"][0]["geometry"]["coordinates"]


def test_a_layer_that_does_lie_far_away_is_taken_when_told(at_desk):
    far = {"type": "Point", "coordinates": [-38.1, 20.0]}
    assert "from the home place" in sent(at_desk, far).content.decode()
    assert sent(at_desk, far, is_there="on").status_code == 302


def test_too_large_a_file_is_refused(at_desk):
    answer = sent(at_desk, b" " * ((5 << 20) + 1))
    assert "larger than 5 MB" in answer.content.decode()
    assert not Layer.ungated.exists()


def test_a_ring_is_closed_and_turned_and_it_is_said():
    clockwise = [[0, 0], [0, 1], [1, 1], [1, 0]]
    found = geojson_in.read(json.dumps({"type": "Polygon", "coordinates": [clockwise]}).encode())
    assert found.features[0][1]["geometry"]["coordinates"] == [[[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]]]
    assert [one.severity for one in found.problems] == ["warning", "note"]


def test_somebody_elses_change_is_not_overwritten(at_desk, cast):
    sent(at_desk, PATH)
    row = Layer.ungated.get()
    edit = reverse("edit_layer", args=[row.ref])
    given = {"title": "Old paths", "position": 3, "version": row.version}
    assert at_desk.post(edit, given).status_code == 302
    row.refresh_from_db()
    assert (row.title, row.position, json.loads(row.features)) == ("Old paths", 3, PATH)
    assert "Somebody saved this layer" in at_desk.post(edit, given | {"title": "Mine"}).content.decode()


def test_names_at_rest_are_not_said_on_a_layer(client, cast):
    """What the file says of its shapes is words like any other."""
    person = writing.add_person(None, [writing.NameGiven("en", "Orrin", True)])
    held = json.loads(json.dumps(PATH))
    held["features"][0]["properties"] = {"name": "Orrin's path", "Orrin": "yes"}
    row = writing.add_layer(None, [], title="Orrin's paths", about="By Orrin.", features=json.dumps(held))
    open_up(cast["council"], row, person)
    resting.rest(cast["council"], MINUTE, resting.Wish(person.pk, LONG_AGO, None, (("en", "the old one"),)))
    for name in ("layer", "layer_geojson"):
        assert "Orrin" not in client.get(reverse(name, args=[row.ref])).content.decode()
