"""The map in a real browser: its marks, its list and its layers, by key and by finger, from our own host alone."""

from __future__ import annotations

import json

import pytest
from django.urls import reverse

from archive.access import decisions, founding, writing
from archive.models import Audience, Level

from .browser import PHONE, fits, press, reads_well, until
from .conftest import bring, open_up, segment

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PATHS = {
    "type": "FeatureCollection",
    "features": [
        {
            "type": "Feature", "properties": {"name": "Goat path"},
            "geometry": {"type": "LineString", "coordinates": [[-38.06, 46.0], [-38.0, 46.1]]},
        }
    ],
}
SPOTS = {"Alder Cove": (46.01, -38.02), "Birch Head": (46.05, -38.05), "Crow Hill": (46.09, -38.01)}


@pytest.fixture
def island(cast, tmp_path):
    """Three places with a mirror over them, one whose area alone is shown, a passage, and a layer."""
    founding.found(name="House", language="en", latitude_deg=46.0, longitude_deg=-38.0)
    spots = [
        writing.add_place(None, [writing.NameGiven("en", name, True)], nature="cove", latitude_deg=at[0],
                          longitude_deg=at[1])
        for name, at in SPOTS.items()
    ]
    hidden = writing.add_place(None, [writing.NameGiven("en", "Dark Spring", True)], latitude_deg=46.16,
                               longitude_deg=-38.13)
    stars = [80816, 81693, 83207]
    kiln = writing.add_figure(None, [writing.NameGiven("en", "Kiln", True)], shape="lines", stars=stars, lines=[stars])
    mirror = writing.add_mirror(None, kiln, list(zip(spots, stars, strict=True)), title="As above")
    talk = bring(None, tmp_path, "A talk")
    told = segment(talk, 0, 1000, "Of the cove", places=[spots[0].pk])
    layer = writing.add_layer(None, [], title="Paths", features=json.dumps(PATHS))
    open_up(cast["council"], *spots, kiln, mirror, talk, layer)
    terms = decisions.Terms([Audience.objects.get(name="family")], others_see=Level.DESCRIPTION)
    open_up(cast["council"], hidden, terms=terms)
    return {"spots": spots, "hidden": hidden, "told": told}


def frame_of(page):
    """The map's frame, once its places are drawn."""
    page.frame_locator("iframe").locator("html[data-places]").wait_for(state="attached")
    return next(one for one in page.frames if "/map/frame/" in one.url)


def test_every_place_is_reached_by_key_and_says_its_passages(visit, island):
    page = visit(reverse("map"))
    frame = frame_of(page)
    reached = set()
    for name in (*SPOTS, "Dark Spring"):
        mark = frame.locator(f'.place-mark[aria-label^="{name}"]')
        mark.focus()
        until(frame, "document.activeElement.classList.contains('place-mark')")
        page.keyboard.press("Enter")
        frame.locator(".place-name", has_text=name).wait_for()
        reached.add(name)
        page.keyboard.press("Escape")
    assert len(reached) == 4
    frame.locator('.place-mark[aria-label^="Alder Cove"]').press("Enter")
    frame.locator("audio").wait_for(state="attached")
    assert reverse("segment_sound", args=[island["told"].ref]) in frame.locator("audio").get_attribute("src")


def test_marks_stand_in_the_order_of_the_tab_key(visit, island):
    page = visit(reverse("map"))
    frame = frame_of(page)
    frame.locator(".place-mark").first.focus()
    names = []
    for _ in range(4):
        names.append(frame.evaluate("document.activeElement.getAttribute('aria-label').split(',')[0]"))
        page.keyboard.press("Tab")
    assert names == [*[*SPOTS][:3], "Dark Spring"]


def test_lines_of_the_mirror_the_area_and_the_layer_are_drawn(visit, island):
    frame = frame_of(visit(reverse("map")))
    frame.locator("path.own-layer").first.wait_for(state="attached")
    assert frame.locator("path.mirror-line").count() == 1
    assert frame.locator("path.place-cell").count() == 1
    assert frame.locator(".leaflet-control-layers").count() == 1


def test_the_list_brings_a_place_into_view(visit, island):
    page = visit(reverse("map"))
    frame = frame_of(page)
    press(page, f'[data-show-place="{island["spots"][2].ref}"]')
    frame.locator(".place-name", has_text="Crow Hill").wait_for()


def test_a_line_from_a_place_to_another_is_drawn_by_key_and_asked_about(visit, island):
    page = visit(reverse("bearings"))
    press(page, "text=Draw it on the map")
    frame = frame_of(page)
    frame.get_by_text("Press where you stand.").wait_for()
    frame.locator('.place-mark[aria-label^="Alder Cove"]').press("Enter")
    frame.get_by_text("Press what you look towards.").wait_for()
    frame.locator('.place-mark[aria-label^="Crow Hill"]').press("Enter")
    assert frame.locator("path.drawn-line").count() == 1
    assert frame.locator(".leaflet-popup").count() == 0
    frame.get_by_text("What rises or sets along it").press("Enter")
    page.get_by_role("heading", name="From Alder Cove to Crow Hill").wait_for()


def test_a_line_to_anywhere_on_the_map_tells_no_more_than_was_pressed(visit, island):
    page = visit(reverse("map"))
    frame = frame_of(page)
    frame.get_by_role("button", name="Draw a line").click()
    frame.locator('.place-mark[aria-label^="Dark Spring"]').press("Enter")  # an area: its middle, and no place
    frame.locator(".leaflet-container").click(position={"x": 60, "y": 200})
    link = frame.get_by_text("What rises or sets along it")
    link.wait_for()
    asked = link.get_attribute("href")
    assert "latitude=46.15" in asked
    assert "from=" not in asked
    link.click()
    page.get_by_text("° from true north").wait_for()
    assert "Dark Spring" not in page.locator("#bearing-said").inner_text()


FREE = """() => {
    const under = (x, y) => document.elementFromPoint(x, y);
    for (let y = innerHeight / 2; y < innerHeight - 120; y += 15)
        for (let x = innerWidth / 3; x < innerWidth - 60; x += 15)
            if (under(x, y).closest(".leaflet-map-pane, .folium-map") && !under(x, y).closest(".place-mark"))
                return {x, y};
}"""


@pytest.mark.parametrize("on", [PHONE, None], ids=["phone", "desktop"])
def test_a_press_on_the_ground_leads_to_what_is_told_near(visit, island, on):
    page = visit(reverse("map"), **({"on": on} if on else {}))
    frame = frame_of(page)
    frame.locator(".folium-map").click(position=frame.evaluate(FREE))
    links = frame.locator(".place-list a")
    links.first.wait_for()
    assert links.all_inner_texts() == [f"Told within {km} km of here" for km in (2, 5, 20)]
    links.last.tap() if on else links.last.click()
    page.get_by_text("Of the cove").first.wait_for()
    assert "/find/?q=near" in page.url


@pytest.mark.parametrize("on", [PHONE, None], ids=["phone", "desktop"])
def test_the_map_reads_well(visit, island, on):
    page = visit(reverse("map"), **({"on": on} if on else {}))
    frame = frame_of(page)
    reads_well(page)
    assert fits(page)
    sizes = frame.eval_on_selector_all(
        ".place-mark, .leaflet-bar a, .leaflet-control-layers-toggle, .line-panel button",
        "found => found.map(one => one.getBoundingClientRect()).map(box => Math.min(box.width, box.height))",
    )
    assert min(sizes) >= 44  # CSS pixels: our own rule, above WCAG 2.2, success criterion 2.5.8 (24)
    page = visit(reverse("map_frame"), **({"on": on} if on else {}))
    page.locator(".place-mark").first.wait_for()
    reads_well(page)


def test_places_at_both_sides_of_the_date_line_lie_in_one_view(visit, cast):
    founding.found(name="House", language="en", latitude_deg=-17.0, longitude_deg=179.9)
    sides = [
        writing.add_place(None, [writing.NameGiven("en", name, True)], latitude_deg=-17.0, longitude_deg=longitude)
        for name, longitude in (("Western", 179.9), ("Eastern", -179.9))
    ]
    pole = writing.add_place(None, [writing.NameGiven("en", "Pole", True)], latitude_deg=-90.0, longitude_deg=0.0)
    open_up(cast["council"], *sides)
    frame = frame_of(visit(reverse("map")))
    boxes = [frame.locator(f'.place-mark[aria-label^="{name}"]').bounding_box() for name in ("Western", "Eastern")]
    assert 0 < boxes[1]["x"] - boxes[0]["x"] < 800
    open_up(cast["council"], pole)
    page = visit(f"{reverse('map')}?about={pole.ref}")
    frame_of(page).locator(".place-mark").first.wait_for()
