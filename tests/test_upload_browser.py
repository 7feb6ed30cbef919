"""Bringing in, in a real Chromium: in pieces, on after a broken line and a closed page; what is no sound is refused."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.urls import reverse

from archive.access import folders, uploads
from archive.models import Master, Recording, Upload
from archive.views.desk import bring as bring_page

from .browser import DESKTOP, PHONE, fits, press, reads_well, till
from .conftest import tone

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
PIECE_BYTES = 1 << 16


@pytest.fixture(autouse=True)
def _small_pieces(monkeypatch) -> None:
    monkeypatch.setattr(bring_page, "PIECE_BYTES", PIECE_BYTES)


@pytest.fixture
def tape(tmp_path) -> Path:
    return tone(tmp_path / "tape.wav", 20)  # 640 kB: ten pieces


def fill(page: Any, file: Path) -> None:
    page.set_input_files("[name=audio]", file)
    page.fill("[name=title]", "A talk at the shore")
    page.fill("[name=recorded_on]", "1962")


def send(page: Any) -> None:
    press(page, "button:has-text('Bring it in')")


def arrived_whole(file: Path) -> None:
    master = Master.ungated.get()
    assert master.sha256 == hashlib.sha256(file.read_bytes()).hexdigest()
    assert folders.master_path(master.sha256).read_bytes() == file.read_bytes()
    assert Recording.ungated.get().decision is None
    assert not Upload.ungated.exists()


def broken_lines_are_expected(visit: Any) -> None:
    visit.wrong[:] = [line for line in visit.wrong if "ERR_CONNECTION_RESET" not in line]


def test_a_tape_is_brought_in_by_pieces(visit, cast, tape):
    page = visit(reverse("bring"), cast["archivist"])
    pieces: list[int] = []
    page.on("request", lambda asked: pieces.append(1) if asked.method == "PUT" else None)
    fill(page, tape)
    send(page)
    page.wait_for_url("**/desk/recordings/**")
    assert len(pieces) == -(-tape.stat().st_size // PIECE_BYTES)
    arrived_whole(tape)
    assert "A talk at the shore" in page.inner_text("h1")


def test_a_broken_line_costs_a_piece_and_no_more(visit, cast, tape):
    page = visit(reverse("bring"), cast["archivist"])
    seen: list[str] = []

    def break_twice(route: Any) -> None:
        if route.request.method == "PUT":
            seen.append(route.request.headers["x-offset"])
            if len(seen) in (4, 5):
                route.abort("connectionreset")
                return
        route.continue_()

    page.route("**/uploads/**", break_twice)
    fill(page, tape)
    send(page)
    page.wait_for_url("**/desk/recordings/**")
    assert seen[3] == seen[4] == seen[5]  # asked for again, from where it stood
    arrived_whole(tape)
    broken_lines_are_expected(visit)


def test_a_closed_page_goes_on_where_it_stopped(visit, cast, tape):
    page = visit(reverse("bring"), cast["archivist"])
    held: list[Any] = []

    def stop_after_five(route: Any) -> None:
        if route.request.method == "PUT" and int(route.request.headers["x-offset"]) >= 5 * PIECE_BYTES:
            held.append(route)  # the laptop is shut here
        else:
            route.continue_()

    page.route("**/uploads/**", stop_after_five)
    fill(page, tape)
    send(page)
    page.wait_for_selector("[data-upload] [data-say]:has-text('%')")
    till(page, lambda: held)
    held[0].abort("connectionreset")  # else it would go out when the page is closed
    page.close()
    assert uploads.mine(cast["archivist"])[0].arrived_bytes == 5 * PIECE_BYTES
    page = visit(reverse("bring"), cast["archivist"])
    assert "tape.wav" in page.inner_text("main")
    first: list[str] = []
    page.on("request", lambda asked: first.append(asked.headers["x-offset"]) if asked.method == "PUT" else None)
    fill(page, tape)
    send(page)
    page.wait_for_url("**/desk/recordings/**")
    assert first[0] == str(5 * PIECE_BYTES)
    arrived_whole(tape)
    broken_lines_are_expected(visit)


def test_what_was_typed_is_there_after_a_mistake_and_the_sound_need_not_be_sent_again(visit, cast, tape):
    page = visit(reverse("bring"), cast["archivist"])
    fill(page, tape)
    page.fill("[name=recorded_on]", "the day after")
    send(page)
    page.wait_for_selector("text=Nothing was saved")
    assert page.input_value("[name=title]") == "A talk at the shore"
    assert not Recording.ungated.exists()
    page.fill("[name=recorded_on]", "1962")
    puts: list[int] = []
    page.on("request", lambda asked: puts.append(1) if asked.method == "PUT" else None)
    send(page)
    page.wait_for_url("**/desk/recordings/**")
    assert not puts
    arrived_whole(tape)


@pytest.mark.parametrize(("name", "content"), [
    ("tape.wav", b"this is a letter, and no sound\n" * 50), ("tape.mp3", np.random.default_rng(1).bytes(9000)),
])
def test_what_is_no_sound_is_refused_and_nothing_is_kept(visit, cast, tmp_path, name, content):
    file = tmp_path / name
    file.write_bytes(content)
    page = visit(reverse("bring"), cast["archivist"])
    fill(page, file)
    send(page)
    page.wait_for_selector("text=Nothing was saved")
    assert "not a sound or video file" in page.locator(".with-error .errorlist").inner_text()
    assert not Master.ungated.exists()
    assert not Recording.ungated.exists()


@pytest.mark.parametrize("on", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_bringing_in_reads_well(visit, cast, on):
    page = visit(reverse("bring"), cast["archivist"], on=on)
    reads_well(page)
    assert fits(page)
