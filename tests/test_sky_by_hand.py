"""The sky's pages by hand: keys and two fingers on the chart, targets wide enough for a thumb, nothing too wide."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from .browser import DESKTOP, PHONE, fits, press, reads_well, until
from .conftest import figure, open_up

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
SIRIUS, POLARIS, VEGA = 32349, 11767, 91262
PAGES = ("sky", "tonight", "sky_year", "sky_horizon", "star_wheel_options")
THUMB_PX = 44  # WCAG 2.2, success criterion 2.5.5, target size (enhanced)


@pytest.fixture(autouse=True)
def _figures(house, cast) -> None:
    for name, stars in (("Gate of Stones", [POLARIS, 94376]), ("The Bright Ones", [SIRIUS, 24436, VEGA])):
        open_up(cast["council"], figure(name, *stars))


def box_of(page: Any) -> list[float]:
    return [float(one) for one in page.get_attribute("#sky-picture svg", "viewBox").split()]


def test_keys_move_the_hour_and_the_year_and_come_closer(visit):
    page = visit(reverse("sky"), on=DESKTOP)
    frame = page.locator(".sky-frame")
    frame.press("+")
    assert box_of(page)[2] == pytest.approx(1000 / 1.4, abs=1)
    frame.press("-")
    assert box_of(page) == [0, 0, 1000, 1000]
    hour, year = (float(page.input_value(f"[name={name}]")) for name in ("hour", "year"))
    frame.press("ArrowRight")
    until(page, "document.getElementById('sky-said').textContent !== ''")
    assert float(page.input_value("[name=hour]")) == (hour + 0.25) % 24
    page.locator(".sky-frame").press("Shift+ArrowDown")
    until(page, "document.querySelector('#sky-picture figcaption').textContent.includes('like night')")
    assert float(page.input_value("[name=year]")) == year - 1000
    assert page.evaluate("document.activeElement.classList.contains('sky-frame')")


def test_two_fingers_bring_the_chart_closer(visit):
    page = visit(reverse("sky"), on=PHONE)
    page.locator(".sky-frame").scroll_into_view_if_needed()
    box = page.locator(".sky-frame").bounding_box()
    middle, line = box["x"] + box["width"] / 2, max(box["y"], 0) + 100
    fingers = page.context.new_cdp_session(page)

    def touch(kind: str, apart: float) -> None:
        points = [{"x": middle - apart, "y": line, "id": 1}, {"x": middle + apart, "y": line, "id": 2}]
        fingers.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [] if kind == "touchEnd" else points})

    touch("touchStart", 20)
    for apart in (30, 40, 60, 80):
        touch("touchMove", apart)
    touch("touchEnd", 80)
    assert box_of(page)[2] < 500
    press(page, ".sky-zoom button:last-child")
    assert box_of(page) == [0, 0, 1000, 1000]


@pytest.mark.parametrize("name", PAGES)
def test_targets_are_wide_enough_for_a_thumb(visit, name):
    """Links that stand alone and controls; links within a sentence are free (2.5.5)."""
    page = visit(reverse(name), on=PHONE)
    assert fits(page)
    small = page.evaluate(
        "(least) => [...document.querySelectorAll('main a, main button, main input, main select, main summary')]"
        ".filter((one) => !one.closest('p:not(.row), figcaption, svg, details:not([open]) > :not(summary)'))"
        ".filter((one) => !['hidden', 'checkbox', 'radio'].includes(one.type))"
        ".map((one) => [one.textContent.trim() || one.name, one.getBoundingClientRect().height])"
        ".filter(([, height]) => height > 0 && height < least - 0.5)", THUMB_PX)
    assert small == []


@pytest.mark.parametrize("name", PAGES)
def test_the_pages_read_well(visit, name):
    page = visit(reverse(name), on=DESKTOP)
    reads_well(page)
    assert fits(page)
