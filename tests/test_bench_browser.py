"""The bench in a real Chromium: every mark by key, finger and typing, undone and redone, and kept on the server."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from archive.access import bringing
from archive.models import Draft, Segment

from .browser import DESKTOP, PHONE, fits, press, reads_well, until
from .conftest import bring, open_up, signed_in
from .test_desk_bench import VTT, named
from .test_listening import sound_of

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
SECONDS = 12
# How near a moment that is heard can be marked: the page reads the sound's place once a drawn frame.
NEAR_MS = 150


@pytest.fixture
def recording(cast, tmp_path):
    given = [bringing.TranscriptGiven(VTT.encode(), "talk.vtt", "en")]
    made = bring(cast["archivist"], tmp_path, "The lamp", seconds=SECONDS, transcripts=given)
    signed_in(cast["archivist"]).get(sound_of(made))  # made ready, with its waveform
    return made


def open_bench(visit, cast, recording, on=DESKTOP) -> Any:
    page = visit(reverse("cut", args=[recording.ref]), cast["archivist"], on=on)
    at_rest(page)
    return page


def at_rest(page: Any) -> None:
    """The sound's head is loaded, so that moving in it is at once. The waveform is drawn."""
    page.wait_for_selector("[data-bench]:not([hidden])")
    page.evaluate(
        "() => new Promise((done) => { const audio = document.querySelector('audio');"
        " audio.preload = 'metadata'; audio.load();"
        " audio.readyState ? done() : audio.addEventListener('loadedmetadata', done, { once: true }); })"
    )


def go(page: Any, time_ms: int) -> None:
    page.evaluate(
        "(ms) => document.querySelector('[data-player]').dispatchEvent(new CustomEvent('undersky:go',"
        " { detail: { start_ms: ms, end_ms: null, play: false } }))", time_ms)


def now_ms(page: Any) -> float:
    return page.evaluate("document.querySelector('audio').currentTime * 1000")


def is_playing(page: Any) -> bool:
    return page.evaluate("!document.querySelector('audio').paused")


def pieces(page: Any) -> list[str]:
    """The marked stretches as the page lists them, without the words of the buttons."""
    return [row.replace("\n", " ") for row in page.locator("[data-pieces] > li .time").all_inner_texts()]


def box(page: Any, name: str) -> Any:
    return page.locator(f"[data-segment-form] [name={name}]")


def mark(page: Any, start_ms: int, end_ms: int) -> None:
    go(page, start_ms)
    page.keyboard.press("[")
    go(page, end_ms)
    page.keyboard.press("]")


def kept(page: Any) -> list[dict[str, Any]]:
    """The draft's stretches, once the page says that it is kept."""
    page.wait_for_selector("[data-draft-say]:has-text('Draft kept')")
    return Draft.ungated.get().content["pieces"]


# --- keys ---


def test_keys_play_step_back_and_mark(visit, cast, recording):
    page = open_bench(visit, cast, recording)
    go(page, 4000)
    page.keyboard.press("p")
    until(page, "document.querySelector('audio').currentTime > 4.3")
    assert is_playing(page)
    page.keyboard.press("p")
    until(page, "document.querySelector('audio').paused")
    before = now_ms(page)
    page.keyboard.press("b")
    assert now_ms(page) == pytest.approx(before - 2000, abs=NEAR_MS)
    mark(page, 1000, 3500)
    assert pieces(page) == ["0:01.000 – 0:03.500"]
    assert (box(page, "start").input_value(), box(page, "end").input_value()) == ("0:01.000", "0:03.500")
    page.keyboard.press(",")
    assert pieces(page) == ["0:01.000 – 0:03.400"]  # the end was marked last, so it is what moves
    page.keyboard.press("o")
    page.keyboard.press(".")
    assert pieces(page) == ["0:01.100 – 0:03.400"]
    assert not Segment.ungated.exists()


def test_marks_are_made_while_it_plays(visit, cast, recording):
    page = open_bench(visit, cast, recording)
    page.keyboard.press("p")
    until(page, "document.querySelector('audio').currentTime > 0.5")
    page.keyboard.press("[")
    marked = page.evaluate("document.querySelector('audio').currentTime * 1000")
    typed = page.evaluate("document.querySelector('[data-segment-form] [name=start]').value")
    assert float(typed.split(":")[1]) * 1000 == pytest.approx(marked, abs=NEAR_MS)
    page.keyboard.press("p")


def test_a_stretch_is_split_and_joined_again(visit, cast, recording):
    page = open_bench(visit, cast, recording)
    mark(page, 1000, 5000)
    box(page, "title").fill("Of the lamp")
    page.locator("h1").click()
    go(page, 3000)
    page.keyboard.press("x")
    assert pieces(page) == ["0:01.000 – 0:03.000", "0:03.000 – 0:05.000"]
    page.locator("[data-pieces] > li").first.locator("text=Work on it").click()
    assert box(page, "title").input_value() == "Of the lamp"
    page.locator("h1").click()
    page.keyboard.press("j")
    assert pieces(page) == ["0:01.000 – 0:05.000"]
    page.keyboard.press("j")
    assert "no next stretch" in page.inner_text("[data-say]:not(.player-say)")
    go(page, 9000)
    page.keyboard.press("x")
    assert pieces(page) == ["0:01.000 – 0:05.000"]


def test_what_was_done_is_undone_and_done_again(visit, cast, recording):
    page = open_bench(visit, cast, recording)
    mark(page, 1000, 5000)
    go(page, 3000)
    page.keyboard.press("x")
    states = [["0:01.000 – 0:03.000", "0:03.000 – 0:05.000"], ["0:01.000 – 0:05.000"], ["0:01.000 – no end yet"], []]
    for state in states:
        assert pieces(page) == state
        page.keyboard.press("z")
    assert page.locator("[data-do=undo]").is_disabled()
    for state in states[-2::-1]:
        page.keyboard.press("y")
        assert pieces(page) == state
    assert page.locator("[data-do=redo]").is_disabled()
    press(page, "[data-do=undo]")
    assert pieces(page) == states[1]


def test_letters_are_letters_in_a_box_and_a_pedal_works_there_too(visit, cast, recording):
    """A foot pedal sends a key; F13 to F24 are on no keyboard (UI Events KeyboardEvent key Values, 3.7)."""
    page = open_bench(visit, cast, recording)
    page.locator("summary:has-text('Keys and foot pedal')").click()
    press(page, "[data-catch=mark_start]")
    pedal(page)
    assert page.evaluate("JSON.parse(localStorage.getItem('undersky-desk-keys')).mark_start") == "F13"
    go(page, 2500)
    box(page, "title").focus()
    page.keyboard.type("plain [b]")
    assert box(page, "title").input_value() == "plain [b]"
    assert not is_playing(page)
    pedal(page)
    assert box(page, "start").input_value() == "0:02.500"
    page.keyboard.press("[")
    assert box(page, "title").input_value() == "plain [b]["
    again = page.context.new_page()
    again.goto(page.url)
    at_rest(again)
    go(again, 1500)
    pedal(again)
    assert box(again, "start").input_value() == "0:01.500"
    again.close()


def pedal(page: Any) -> None:
    """What a pedal set to F13 sends (Chrome DevTools Protocol, Input.dispatchKeyEvent; Windows' code of F13 is 124)."""
    system = page.context.new_cdp_session(page)
    for kind in ("rawKeyDown", "keyUp"):
        system.send("Input.dispatchKeyEvent", {"type": kind, "key": "F13", "code": "F13", "windowsVirtualKeyCode": 124})


def test_keys_rest_when_they_are_switched_off(visit, cast, recording):
    page = open_bench(visit, cast, recording)
    page.locator("summary:has-text('Keys and foot pedal')").click()
    page.locator("[data-keys-on]").uncheck()
    page.locator("h1").click()
    mark(page, 1000, 2000)
    assert pieces(page) == []


# --- by hand ---


@pytest.mark.parametrize("typed", ["0:02.5", "00:00:02,500", "PT2.5S", "#t=2.5", "#t=2.5,4"])
def test_a_time_is_typed_in_any_form(visit, cast, recording, typed):
    page = open_bench(visit, cast, recording)
    box(page, "start").fill(typed)
    box(page, "start").press("Tab")
    page.wait_for_selector("[data-pieces] > li:has-text('0:02.500')")
    if "," in typed and typed.startswith("#"):
        assert pieces(page) == ["0:02.500 – 0:04.000"]
    assert kept(page)[0]["start_ms"] == 2500


def test_what_is_no_time_is_said_beside_it_and_stays(visit, cast, recording):
    page = open_bench(visit, cast, recording)
    box(page, "start").fill("1:75")
    box(page, "start").press("Tab")
    page.wait_for_selector("text=only the first field may be more than 59")
    assert box(page, "start").input_value() == "1:75"


def test_handles_are_dragged_and_moved_by_keys(visit, cast, recording):
    page = open_bench(visit, cast, recording)
    mark(page, 2000, 5000)
    handle = page.locator("[data-edge=end]")
    handle.scroll_into_view_if_needed()
    spot = handle.bounding_box()
    middle = (spot["x"] + spot["width"] / 2, spot["y"] + spot["height"] / 2)
    page.mouse.move(*middle)
    page.mouse.down()
    page.mouse.move(middle[0] + 40, middle[1], steps=5)
    page.mouse.move(middle[0] + 80, middle[1], steps=5)
    page.mouse.up()
    moved = kept(page)[0]["end_ms"]
    assert moved > 5200
    page.keyboard.press("ArrowLeft")
    until(page, "Number(document.querySelector('[data-edge=end]').ariaValueNow) === given - 100", moved)
    page.keyboard.press("z")
    page.keyboard.press("z")
    assert pieces(page) == ["0:02.000 – 0:05.000"]  # one drag is one step


def test_a_finger_marks_and_drags(visit, cast, recording):
    page = open_bench(visit, cast, recording, on=PHONE)
    go(page, 2000)
    page.locator("[data-do=mark_start]").tap()
    go(page, 5000)
    page.locator("[data-do=mark_end]").tap()
    assert pieces(page) == ["0:02.000 – 0:05.000"]
    assert fits(page)
    handle = page.locator("[data-edge=start]")
    handle.scroll_into_view_if_needed()
    spot = handle.bounding_box()
    assert min(spot["width"], spot["height"]) >= 24  # WCAG 2.2, 2.5.8, Target Size (Minimum)
    drag_by_finger(page, spot["x"] + spot["width"] / 2, spot["y"] + spot["height"] / 2, 30)
    until(page, "Number(document.querySelector('[data-edge=start]').ariaValueNow) > 2050")
    assert fits(page)


def drag_by_finger(page: Any, x: float, y: float, by: float) -> None:
    """Touches as the system sends them (Chrome DevTools Protocol, Input.dispatchTouchEvent)."""
    system = page.context.new_cdp_session(page)

    def send(kind: str, *points: dict[str, float]) -> None:
        system.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": list(points)})

    send("touchStart", {"x": x, "y": y})
    for step in range(1, 7):
        send("touchMove", {"x": x + by * step / 6, "y": y})
    send("touchEnd")


# --- the draft ---


def test_marks_outlive_a_closed_page_and_a_broken_line(visit, cast, recording):
    page = open_bench(visit, cast, recording)
    mark(page, 1000, 3000)
    page.close()  # at once: nothing was kept by the clock yet
    page = open_bench(visit, cast, recording)
    page.wait_for_selector("text=Your draft is back.")
    assert pieces(page) == ["0:01.000 – 0:03.000"]
    page.context.set_offline(True)
    go(page, 4000)
    page.keyboard.press("]")
    page.wait_for_selector("text=could not be kept; trying again")
    page.context.set_offline(False)
    assert kept(page)[0]["end_ms"] == 4000
    visit.wrong[:] = [line for line in visit.wrong if "ERR_INTERNET_DISCONNECTED" not in line]


def test_a_title_that_is_being_typed_is_kept(visit, cast, recording):
    page = open_bench(visit, cast, recording)
    box(page, "title").press_sequentially("half a ti")
    assert kept(page)[0]["title"] == "half a ti"


def test_two_windows_lose_nothing_of_each_other(visit, cast, recording):
    visit.expects(409)
    one, two = open_bench(visit, cast, recording), open_bench(visit, cast, recording)
    mark(one, 1000, 2000)
    kept(one)
    mark(two, 3000, 4000)
    two.wait_for_selector("text=Another window kept this draft too")
    until(two, "document.querySelectorAll('[data-pieces] > li').length === 2")
    kept(two)
    assert {piece["start_ms"] for piece in Draft.ungated.get().content["pieces"]} == {1000, 3000}


def test_a_stretch_becomes_a_segment_and_leaves_the_draft(visit, cast, recording):
    page = open_bench(visit, cast, recording)
    mark(page, 1000, 3000)
    mark(page, 4000, 5000)
    box(page, "title").fill("The second")
    press(page, "button:has-text('Save the segment')")
    page.wait_for_selector("text=“The second” is cut")
    page.wait_for_selector("text=Your draft is back.")
    made = Segment.ungated.get()
    assert (made.title, made.start_ms, made.end_ms, made.decision) == ("The second", 4000, 5000, None)
    assert pieces(page) == ["0:01.000 – 0:03.000"]


# --- suggestions ---


def test_a_suggested_name_is_put_in_only_when_it_is_pressed(visit, cast, recording):
    open_up(cast["council"], named("Marevoq"))
    page = open_bench(visit, cast, recording)
    mark(page, 0, 3000)
    page.wait_for_selector("[data-heard-list] button")
    assert box(page, "speakers").first.input_value() == ""
    press(page, "[data-heard-list] button:has-text('Marevoq')")
    assert box(page, "speakers").first.input_value() == "Marevoq"


def test_suggested_cuts_are_ticked_mended_or_taken_away_and_nothing_is_cut_by_itself(visit, cast, recording):
    page = open_bench(visit, cast, recording)
    cuts = [{"at_ms": at_ms, "pause_ms": 900, "after": "The middle of it."} for at_ms in (3000, 6000, 9000)]
    page.route("**/cut-hints/", lambda route: route.fulfill(json={"cuts": cuts}))
    press(page, "[data-do=ask_hints]")
    rows = page.locator("[data-hints] > li")
    rows.nth(2).wait_for()
    assert pieces(page) == []
    assert page.locator("[data-do=lay_out]").is_hidden()
    rows.nth(1).get_by_role("button", name="Not here").click()
    assert rows.count() == 2
    rows.nth(1).locator("input.time-value").fill("0:08")
    rows.nth(1).locator("input.time-value").press("Tab")
    for at in range(2):
        rows.nth(at).get_by_text("Accept").click()
    assert pieces(page) == []
    press(page, "[data-do=lay_out]")
    assert [(one["start_ms"], one["end_ms"]) for one in kept(page)] == [(0, 3000), (3000, 8000), (8000, 12000)]
    assert len(pieces(page)) == 3
    assert not Segment.ungated.exists()


@pytest.mark.parametrize("on", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_the_bench_reads_well(visit, cast, recording, on):
    page = open_bench(visit, cast, recording, on=on)
    mark(page, 1000, 3000)
    page.locator("summary:has-text('Keys and foot pedal')").click()
    reads_well(page)
    assert fits(page)
