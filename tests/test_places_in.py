"""Bringing places in: every problem by row, bad files refused in words, nothing half-saved."""

from __future__ import annotations

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from archive.access import founding, making, writing
from archive.exchange import places_in
from archive.models import House, Place

pytestmark = pytest.mark.django_db

TABLE = "name;lat;lon;kind\nCove;46.01;-38.02;cove\nHill;46.05;-38.05;hill\n"


@pytest.fixture
def desk(client, cast) -> Client:
    founding.found(name="House", language="en", latitude_deg=46.0, longitude_deg=-38.0)
    client.force_login(cast["archivist"])
    return client


def sent(client: Client, data: str | bytes, **more):
    body = data.encode() if isinstance(data, str) else data
    given = {"file": SimpleUploadedFile("places.csv", body), "language": "en", "cell_deg": 0.1, "do": "check"}
    return client.post(reverse("bring_places"), given | more).content.decode()


def test_it_is_looked_over_first_and_taken_in_when_told(desk):
    page = sent(desk, TABLE)
    assert "Cove" in page
    assert "Bring 2 places in" in page
    assert '<td data-label="Name"' in page  # on a phone a row is a block, each cell under its heading
    assert not Place.ungated.exists()
    kept = places_in.kept(places_in.read(TABLE.encode(), "en").rows)
    answer = desk.post(reverse("bring_places"), {"kept_table": kept, "language": "en", "cell_deg": 0.5, "do": "bring"})
    assert answer.headers["Location"] == reverse("desk")
    rows = Place.ungated.order_by("pk").values_list("nature", "latitude_deg", "longitude_deg", "cell_deg", "decision")
    assert list(rows) == [("cove", 46.01, -38.02, 0.5, None), ("hill", 46.05, -38.05, 0.5, None)]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ("name,lat,lon\nCove,-38.02,46.01\n", "Is this in the sea?"),
        ("name,lat,lon\nCove,46.01,141.0\n", "from the home place"),
        ("name,lat,lon\nCove,138.02,46.01\n", "seem to be swapped"),
        ("name,lat,lon\nCove,512345,5101234\n", "metres of a grid"),
        ("name,lat,lon\nCove,46°N,-38\n", "is no number"),
        ("name,lat,lon\nCove,,-38\n", "This is empty"),
        ("name,lat,lon\nCove,nan,-38\n", "no number of degrees"),
        ("name,lat,lon\n,46,-38\n", "It has no name"),
        ("name,lat,lon\nCove,0,0\n", "at 0, 0"),
        ("name,lat,lon\nCove,46,-38\ncove,46,-38\n", "Row 2 has the same name"),
        ("name,lat,lon\nKnown,46,-38\n", "known already"),
        ("name,lat,lon\nCove,46,-38,what\n", "more cells"),
        ("title,north\nCove,46\n", "Missing: latitude, longitude"),
        ("", "no places in the file"),
        ("<html/>", "neither KML nor GPX"),
        ("<kml><Placemark>", "not well-formed"),
        ("<kml><Placemark><name>Path</name><LineString/></Placemark></kml>", "no single point"),
        ("{", "not JSON"),
        ('{"type":"LineString","coordinates":[[0,0],[1,1]]}', "Only points become places"),
        ('{"type":"Point","coordinates":[0]}', "two numbers"),
    ],
)
def test_each_problem_is_told_in_words(desk, cast, data, words):
    known = {"latitude_deg": 46.0, "longitude_deg": -38.0}
    making.add_places(cast["archivist"], [(writing.NameGiven("en", "Known", True), known)])
    before = Place.ungated.count()
    assert words in sent(desk, data)
    assert Place.ungated.count() == before


def test_swapped_coordinates_are_turned_when_told(desk):
    page = sent(desk, "name,lat,lon\nCove,-38.02,46.01\n", is_turned="on")
    assert "Is this in the sea?" not in page
    assert "46.01000° north, 38.02000° west" in page


def test_geojson_whose_latitude_stands_first_is_turned_where_it_could_not_be_read():
    # RFC 7946, section 3.1.1: longitude comes first, so that 138 in the second place is no latitude
    point = {"type": "Point", "coordinates": [46, 138]}
    held = json.dumps({"type": "Feature", "properties": {"name": "Cove"}, "geometry": point}).encode()
    as_it_stands = places_in.read(held, "en")
    assert not as_it_stands.rows
    assert "Tick the box that turns them" in as_it_stands.problems[0].text
    found = places_in.read(held, "en", is_turned=True)
    assert [(one.latitude_deg, one.longitude_deg) for one in found.rows] == [(46.0, 138.0)]
    assert not found.problems


def test_what_was_odd_about_the_letters_of_a_table_is_told_by_line():
    found = places_in.read("name,lat,lon\nCove,46,-38\nPläce,46,-38\n".encode("cp1252"), "en")
    assert len(found.rows) == 2
    assert [(one.row, one.column) for one in found.problems] == [(0, "line 3")]
    assert "cp1252 was guessed" in found.problems[0].text


def test_a_decimal_comma_and_a_real_minus_are_read():
    found = places_in.read("name;lat;lon\nCove;46,01;−38,02\n".encode(), "en")
    assert [(one.latitude_deg, one.longitude_deg) for one in found.rows] == [(46.01, -38.02)]


BOMBS = [
    '<!DOCTYPE kml [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;">]><kml><name>&b;</name></kml>',
    '<!DOCTYPE kml [<!ENTITY x SYSTEM "file:///etc/passwd">]><kml><name>&x;</name></kml>',
    '<!DOCTYPE kml SYSTEM "http://example.org/x.dtd"><kml/>',
]


@pytest.mark.parametrize("bomb", BOMBS)
def test_xml_that_grows_or_fetches_is_refused_unread(desk, bomb):
    assert "document type or entities" in sent(desk, bomb)


def test_200_megabytes_are_refused_before_they_are_read(cast):
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast["archivist"])
    for name in ("bring_places", "add_layer"):
        answer = client.generic("POST", reverse(name), b"x", CONTENT_LENGTH=str(200 << 20))
        assert answer.status_code == 413
        assert "none of it was read" in answer.content.decode()


def test_the_forms_token_is_still_asked_for(cast):
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast["archivist"])
    assert client.post(reverse("bring_places"), {"kept_table": TABLE}).status_code == 403


def test_if_one_cannot_be_kept_none_is(desk):
    kept = "name,language,latitude,longitude\nCove,en,46,-38\nHill,not a tag!,46,-38\n"
    given = {"kept_table": kept, "language": "en", "cell_deg": 0.1, "do": "bring"}
    assert desk.post(reverse("bring_places"), given).status_code == 200
    assert not Place.ungated.exists()


def test_only_the_archivist_brings_places_in(cast, client):
    client.force_login(cast["family"])
    assert client.post(reverse("bring_places"), {"kept_table": TABLE, "do": "bring"}).status_code == 404
    assert not Place.ungated.exists()


def test_more_than_a_thousand_are_to_be_split():
    rows = "".join(f"P{at},46,-38\n" for at in range(1100))
    found = places_in.read(("name,lat,lon\n" + rows).encode(), "en")
    assert len(found.rows) == 1000
    assert "Split the file" in found.problems[-1].text


def test_the_land_and_the_sea_by_the_open_outline():
    """Capitals far inland, and the middles of oceans (from memory, to a degree)."""
    from archive.maps.outline import is_land

    assert all(is_land(False, *spot) for spot in ((-15.8, -47.9), (47.9, 106.9), (-1.3, 36.8), (55.8, 37.6)))
    assert not any(is_land(False, *spot) for spot in ((46.0, -38.0), (0.0, -150.0), (-50.0, 80.0), (30.0, -45.0)))
    assert House.objects.count() == 0
