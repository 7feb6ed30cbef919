"""The map: only what is met, from our own host alone, the same bytes for the same data."""

from __future__ import annotations

import json
import re

import pytest
from django.urls import reverse

from archive.access import decisions, founding, writing
from archive.models import Audience, Level

from .conftest import bring, open_up, segment

pytestmark = pytest.mark.django_db


def place(name: str, latitude_deg: float, longitude_deg: float):
    names = [writing.NameGiven("en", name, True)]
    return writing.add_place(None, names, latitude_deg=latitude_deg, longitude_deg=longitude_deg, nature="cove")


def shown(client, **query):
    return json.loads(client.get(reverse("places_geojson"), query).content)


def test_a_place_waits_for_the_council(client, cast):
    cove = place("Cove", 46.01, -38.02)
    assert shown(client)["features"] == []
    open_up(cast["council"], cove)
    found = shown(client)["features"]
    assert [one["geometry"] for one in found] == [{"type": "Point", "coordinates": [-38.02, 46.01]}]


def test_the_exact_spot_is_nowhere_for_those_who_may_not_know_it(client, cast):
    cove = place("Cove", 46.012345, -38.023456)
    open_up(cast["council"], cove, terms=decisions.Terms([Audience.objects.get(name="family")], others_see=2))
    for name in ("map", "map_frame", "places_geojson"):
        body = client.get(reverse(name)).content.decode()
        assert "46.012345" not in body
        assert "38.023456" not in body
    assert shown(client)["features"][0]["properties"]["precision"] == "cell"
    client.force_login(cast["family"])
    assert shown(client)["features"][0]["properties"]["precision"] == "spot"


def test_moving_a_spot_inside_its_cell_changes_no_byte(client, cast):
    cove = place("Cove", 46.012345, -38.023456)
    open_up(cast["council"], cove, terms=decisions.Terms(others_see=Level.DESCRIPTION))
    pages = [reverse("map"), reverse("map_frame"), reverse("places_geojson"), reverse("place", args=[cove.ref])]
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
    for name in ("map", "map_frame"):
        assert "<script>alert(1)" not in client.get(reverse(name)).content.decode()


def test_it_narrows_to_what_has_to_do_with_one_thing(client, cast, tmp_path):
    cove, hill = place("Cove", 46.01, -38.02), place("Hill", 46.05, -38.05)
    topic = writing.add_topic(None, [writing.NameGiven("en", "Boats", True)])
    recording = bring(None, tmp_path, "A talk")
    segment(recording, 0, 1000, "Of boats", places=[cove.pk], topics=[topic.pk])
    open_up(cast["council"], recording, cove, hill, topic)
    assert len(shown(client)["features"]) == 2
    assert [one["properties"]["name"] for one in shown(client, about=topic.ref)["features"]] == ["Cove"]
    assert shown(client, about="nosuchref")["features"] == []
