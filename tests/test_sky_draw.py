"""Drawing a figure: by text without script, by hand with it; what is wrong is said by line, and nothing is lost."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from archive.access import making, writing
from archive.models import Figure, Kind, Shape
from archive.sky import SkyError
from archive.sky.starnames import find_star, like, read_run

from .browser import PHONE, fits, press

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("house")]
NAMES = {"name-0-text": "The Hinge", "name-0-language": "en", "name-0-leads": "yes"}
DRAWN = {**NAMES, "shape": "lines", "lines": "Polaris, Kochab\n72607 75097", "stars": "Vega", "about": "told by us"}
# Hipparcos numbers of these names: IAU Catalog of Star Names (2018).
POLARIS, KOCHAB, PHERKAD, VEGA = 11767, 72607, 75097, 91262


@pytest.fixture
def archivist(client, cast):
    client.force_login(cast["archivist"])
    return client


def stored() -> Figure:
    return Figure.ungated.get()


# --- stars by what people write ---


@pytest.mark.parametrize("text", ["11767", "HIP 11767", "hip11767", "Polaris", "POLARIS", "α UMi", "alpha umi"])
def test_a_star_is_found_by_number_name_and_designation(text):
    assert find_star(text) == POLARIS


@pytest.mark.parametrize(("text", "words"), [
    ("42", "HIP 42"), ("Polarys", "No star"), ("Polar", "Polaris"), ("0", "HIP 0"), ("999999999", "HIP 999999999"),
    ("", "No star"), ("👻", "No star"),
])
def test_what_is_no_star_is_said_in_words(text, words):
    with pytest.raises(SkyError, match=words):
        find_star(text)


def test_a_line_of_text_is_a_run_of_stars():
    assert read_run("11767 72607, 75097") == [POLARIS, KOCHAB, PHERKAD]
    assert read_run("Polaris – Kochab; γ UMi") == [POLARIS, KOCHAB, PHERKAD]
    assert read_run("HIP 11767 - HIP 72607") == [POLARIS, KOCHAB]
    assert like("kochab")[0].hip == KOCHAB


# --- without script ---


def test_a_drawn_figure_is_saved_and_waits_for_the_council(archivist, cast, client):
    answer = archivist.post(reverse("draw_figure"), DRAWN)
    made = stored()
    assert answer["Location"] == reverse("redraw_figure", args=[made.ref])
    assert made.lines == [[POLARIS, KOCHAB], [KOCHAB, PHERKAD]]
    assert set(made.stars) == {POLARIS, KOCHAB, PHERKAD, VEGA}
    assert (made.about, made.decision, made.shape) == ("told by us", None, Shape.LINES)
    assert b"The Hinge" in archivist.get(reverse("redraw_figure", args=[made.ref])).content
    client.force_login(cast["plain"])
    assert client.get(reverse("figure", args=[made.ref])).status_code == 404


@pytest.mark.parametrize(("change", "field", "words"), [
    ({"lines": "Polaris, Kochab\n11767 42"}, "lines", "Line 2: Not in the star list: HIP 42"),
    ({"lines": "Polaris, Nobody"}, "lines", "Line 1: No star is called 'Nobody'"),
    ({"lines": "11767"}, "lines", "Line 1: a line needs two stars"),
    ({"lines": "11767 11767"}, "lines", "Line 1: Polaris (HIP 11767) is joined to itself"),
    ({"lines": "11767 72607\n\n72607 11767"}, "lines",
     "Line 3: Polaris (HIP 11767), Kochab (HIP 72607) are joined already, on line 1"),
    ({"stars": "Vega, 91262"}, "stars", "Written twice: Vega (HIP 91262)"),
    ({"stars": "x"}, "stars", "Line 1: No star is called 'x'"),
    ({"lines": "", "stars": ""}, "stars", "at least one star"),
    ({"lines": "", "stars": "Vega"}, "shape", "A figure of one star is a single light"),
    ({"shape": "light"}, "shape", "A single light has one star, and this has 4"),
    ({"name-0-text": "", "name-0-language": ""}, "__all__", "Write at least one name"),
    ({"name-0-language": "not a tag"}, "__all__", "A name wants mending"),
])
def test_what_is_wrong_is_said_at_its_line_and_nothing_is_lost(archivist, change, field, words):
    typed = DRAWN | change
    page = archivist.post(reverse("draw_figure"), typed)
    assert page.status_code == 200
    assert words in " ".join(page.context["form"].errors[field])
    assert not Figure.ungated.exists()
    for name in ("lines", "stars", "about"):
        assert page.context["form"][name].value() == typed[name]


def test_a_single_light_is_a_figure_of_one_star(archivist):
    archivist.post(reverse("draw_figure"), DRAWN | {"shape": "light", "lines": "", "stars": "Vega"})
    assert stored().stars == [VEGA]


def test_preview_and_looking_for_a_star_save_nothing_and_keep_what_was_typed(archivist):
    page = archivist.post(reverse("draw_figure"), DRAWN | {"preview": "yes"})
    assert page.context["sketch"].runs
    assert "Pherkad" in page.content.decode()
    page = archivist.post(reverse("draw_figure"), DRAWN | {"look": "yes", "star": "dene"})
    assert {"Deneb", "Denebola"} <= {row[0]["value"] for row in page.context["found"]}
    assert page.context["form"]["lines"].value() == DRAWN["lines"]
    assert "Nothing was saved" not in page.content.decode()
    assert not Figure.ungated.exists()


def test_a_figure_is_drawn_again_and_the_slower_of_two_loses_nothing(archivist, cast):
    made = making.add(cast["archivist"], Kind.FIGURE, [writing.NameGiven("en", "The Hinge", True)],
                      stars=[POLARIS, KOCHAB, VEGA], lines=[[POLARIS, KOCHAB]])
    address = reverse("redraw_figure", args=[made.ref])
    form = archivist.get(address).context["form"]
    assert (form["lines"].value(), form["stars"].value()) == ("11767 72607", "91262")
    assert archivist.post(address, DRAWN | {"version": "1", "stars": ""}).status_code == 302
    assert set(stored().stars) == {POLARIS, KOCHAB, PHERKAD}
    page = archivist.post(address, DRAWN | {"version": "1", "lines": "Vega, Polaris"})
    assert page.context["conflict"]
    assert page.context["form"]["lines"].value() == "Vega, Polaris"
    assert set(stored().stars) == {POLARIS, KOCHAB, PHERKAD}


def test_only_archivists_draw_and_only_what_they_meet_in_full(client, cast, archivist):
    made = writing.add_figure(None, [writing.NameGiven("en", "Hidden", True)], stars=[VEGA], lines=[])
    assert archivist.get(reverse("redraw_figure", args=[made.ref])).status_code == 404
    for name in ("educator", "council", "plain"):
        client.force_login(cast[name])
        assert client.get(reverse("draw_figure")).status_code == 404
    client.logout()
    assert reverse("sign_in") in client.get(reverse("draw_figure"))["Location"]


# --- with script ---


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_a_figure_is_drawn_by_finger_by_name_and_by_key(visit, cast):
    draw_a_figure(visit(reverse("draw_figure"), cast["archivist"], on=PHONE))
    made = stored()
    assert made.lines == [[KOCHAB, PHERKAD], [POLARIS, KOCHAB]]
    assert set(made.stars) == {POLARIS, KOCHAB, PHERKAD, VEGA}


def draw_a_figure(at: Any) -> None:
    """One walk: find by name, tap, keys, undo and redo, take a stroke away, an error that loses nothing, save."""
    at.wait_for_selector("#draw svg circle")
    said, lines, lone = at.locator(".draw-said"), at.locator("[name=lines]"), at.locator("[name=stars]")

    def find(text: str, wanted: str) -> None:
        at.fill("#draw-star", text)
        at.press("#draw-star", "Enter")
        at.click(f".draw-found button:has-text('{wanted}')")

    find("polar", "HIP 11767")
    assert "Polaris is taken" in said.inner_text()
    find("HIP 72607", "Kochab")
    assert lines.input_value() == "11767 72607"
    assert "Polaris and Kochab are joined" in said.inner_text()

    # By finger: Kochab lies in the middle now, and Pherkad within a few degrees of it.
    at.click("[data-do=closer]")
    dot = at.evaluate(
        "() => { const names = [...document.querySelectorAll('#draw svg text')];"
        " const name = names.find((one) => one.textContent === 'Pherkad');"
        " const box = name.previousElementSibling.getBoundingClientRect();"
        " return [box.x + box.width / 2, box.y + box.height / 2]; }")
    at.touchscreen.tap(*dot)
    assert lines.input_value() == "11767 72607 75097"

    # Undo and redo, by button and by key.
    at.click("[data-do=undo]")
    assert lines.input_value() == "11767 72607"
    at.locator(".draw-frame").press("Control+y")
    assert lines.input_value() == "11767 72607 75097"

    # By keys: the star in the middle is Kochab; Escape lifts the pen, Enter takes it, and it is kept alone.
    frame = at.locator(".draw-frame")
    frame.press("Escape")
    assert "lifted" in said.inner_text()
    frame.press("Enter")
    assert "Kochab is taken" in said.inner_text()
    frame.press("ArrowRight")
    frame.press("Escape")

    find("vega", "HIP 91262")
    at.click("[data-do=single]")
    assert lone.input_value() == "91262"

    # A stroke in the middle is taken away; what is written by hand is drawn.
    at.click("button:has-text('Take away Polaris to Kochab')")
    assert lines.input_value() == "72607 75097"
    lines.fill("72607 75097\nPolaris, Kochab")
    assert at.locator(".draw-list button").count() == 3
    assert fits(at)

    # What is wrong is said, and nothing is lost; then it is saved.
    at.fill("[name='name-0-text']", "")
    press(at, "button:has-text('Save')")
    at.wait_for_selector("text=Nothing was saved")
    assert lines.input_value() == "72607 75097\nPolaris, Kochab"
    at.fill("[name='name-0-text']", "The Hinge")
    press(at, "button:has-text('Save')")
    at.wait_for_selector("text=waits for the council")
    assert lines.input_value() == "72607 75097\n11767 72607"
    assert lone.input_value() == "91262"
