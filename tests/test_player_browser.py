"""The player in a real Chromium: the stretch and nothing round it, its lines, its speed; and closed seconds are not
in what the browser fetches, keeps, decodes or plays.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from django.urls import reverse

from archive.access import bringing, cautioning, writing

from .browser import DESKTOP, PHONE, fits, reads_well, till, until
from .conftest import bring, open_up, segment
from .test_listening import body, loudness, sound_of

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
WORDS = (
    "WEBVTT\n\n00:00.500 --> 00:01.500\nFirst line.\n\n00:02.000 --> 00:03.000\nZqclosed line.\n\n"
    "00:04.000 --> 00:05.500\nLast line.\n"
)
# The page looks at the sound's place once a drawn frame; a loaded machine draws few.
FRAME_S = 0.15
CLOSED_S = (2.0, 3.0)


@pytest.fixture
def recording(cast, client, tmp_path):
    given = [bringing.TranscriptGiven(WORDS.encode(), "talk.vtt", "en")]
    made = bring(cast["archivist"], tmp_path, "A talk", transcripts=given)
    open_up(cast["council"], made)
    client.get(sound_of(made))
    return made


def page_of(item) -> str:
    return reverse(item.kind, args=[item.ref])


def play(page: Any) -> None:
    page.locator("[data-player] [data-do=toggle]").click()


def now_s(page: Any) -> float:
    return page.evaluate("document.querySelector('audio').currentTime")


def until_it_stops(page: Any) -> None:
    until(page, "document.querySelector('audio').currentTime > 0 && document.querySelector('audio').paused")


# --- the stretch ---


def test_a_link_plays_from_its_second_to_its_end(visit, recording):
    page = visit(page_of(recording) + "#t=1.5,2.5")
    play(page)
    until(page, "!document.querySelector('audio').paused && document.querySelector('audio').currentTime > 0")
    heard_from = now_s(page)
    until_it_stops(page)
    assert 1.5 <= heard_from < 2.5
    assert now_s(page) == pytest.approx(2.5, abs=0.001)


@pytest.mark.parametrize(("fragment", "start_s"), [
    ("#t=2", 2.0), ("#t=npt:0:02", None), ("#t=00:00:02", 2.0), ("#t=20,10", None), ("#t=1:5", None), ("#t=", None),
    ("#xywh=1,2,3,4&t=3,4", 3.0), ("#t=,2", 0.0),
])
def test_fragments_are_read_as_the_standard_has_them(visit, recording, fragment, start_s):
    """W3C Media Fragments URI 1.0, 4.2.1; what is invalid is ignored (5.1.1), and all is played."""
    page = visit(page_of(recording) + fragment)
    page.wait_for_selector("[data-player] [data-bar]:not([hidden])")
    place = float(page.locator("[data-seek]").input_value()) / 1000
    assert place == pytest.approx(start_s or 0.0)
    assert page.locator("[data-player] [data-now]").inner_text() == f"0:0{int(start_s or 0)}"


def test_a_segment_is_heard_from_its_start_to_its_end_and_no_more(visit, cast, client, recording):
    part = segment(recording, 1200, 2700, "A part")
    open_up(cast["council"], part)
    client.get(sound_of(part))
    page = visit(page_of(part))
    play(page)
    until(page, "document.querySelector('audio').ended")
    assert page.evaluate("document.querySelector('audio').duration") == pytest.approx(1.5, abs=0.001)
    assert now_s(page) == pytest.approx(1.5, abs=0.001)


def test_whoever_moves_out_of_the_stretch_is_not_stopped_at_its_end(visit, recording):
    page = visit(page_of(recording) + "#t=1,1.6")
    page.locator("[data-seek]").fill("3000")
    play(page)
    until(page, "document.querySelector('audio').currentTime > 3.5")


# --- lines, speed, keys ---


def test_the_spoken_line_is_marked_and_lines_are_pressed(visit, recording):
    page = visit(page_of(recording))
    page.locator("[data-cues] a.time").nth(2).click()
    page.wait_for_selector("[data-cues] li[aria-current=true]:has-text('Last line.')")
    until(page, "document.querySelector('audio').currentTime > 4")
    page.keyboard.press("p")
    page.locator("[data-player] [data-do=back]").focus()
    page.keyboard.press("n")
    assert now_s(page) >= 4.0  # there is no next line: it stays


@pytest.mark.parametrize("on", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_what_is_found_is_played_on_its_card_after_its_caution(visit, cast, client, recording, on):
    part = segment(recording, 0, 3000, "A part")
    open_up(cast["council"], part)
    cautioning.choose(cast["council"], part.item_ptr, ["mourning"])
    client.get(sound_of(part))
    page = visit(reverse("find") + "?q=zqclosed", on=on)
    card = page.locator(".card", has_text="A part")
    assert card.locator("[role=note]").inner_text().endswith(cautioning.said(["mourning"])[0])
    card.locator("a.play").click()
    until(page, "!document.querySelector('audio').paused && document.querySelector('audio').currentTime > 2")
    assert now_s(page) < 3.01
    reads_well(page)
    assert fits(page)
    card.get_by_text("Open its page").click()
    page.wait_for_url("**" + page_of(part) + "#t=2")


def test_speed_is_remembered_on_the_next_page(visit, cast, client, recording):
    part = segment(recording, 0, 2000, "A part")
    open_up(cast["council"], part)
    client.get(sound_of(part))
    page = visit(page_of(recording))
    page.locator("[data-speed]").select_option("0.75")
    page.goto(page_of(part))
    until(page, "document.querySelector('audio').playbackRate === 0.75")
    page.locator("[data-speed]").focus()
    page.locator("[data-player] [data-do=back]").focus()
    page.keyboard.press("f")
    until(page, "document.querySelector('audio').playbackRate === 1")


def test_keys_play_and_step_back(visit, recording):
    page = visit(page_of(recording) + "#t=3")
    page.locator("[data-player] [data-do=back]").focus()
    page.keyboard.press("p")
    until(page, "document.querySelector('audio').currentTime > 3.2")
    page.keyboard.press("p")
    before = now_s(page)
    page.keyboard.press("b")
    assert now_s(page) == pytest.approx(before - 2, abs=FRAME_S)
    page.locator("h1").click()
    page.keyboard.press("p")
    assert page.evaluate("document.querySelector('audio').paused")  # keys are the player's while it has the focus


def test_without_script_the_browser_plays_it(visit, chromium, recording):
    page = visit.context(on=DESKTOP | {"java_script_enabled": False}).new_page()
    page.goto(page_of(recording))
    assert page.locator("audio[controls]").is_visible()
    assert page.locator("[data-cues] a.time").first.get_attribute("href").startswith(sound_of(recording))


@pytest.mark.parametrize("on", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_the_player_reads_well(visit, recording, on):
    page = visit(page_of(recording), on=on)
    reads_well(page)
    assert fits(page)


# --- closed seconds ---


def close(cast, client, recording) -> None:
    writing.close_span(cast["archivist"], recording, 2000, 3000, "zqreason")
    client.get(sound_of(recording))


def silent_where_closed(levels: np.ndarray, step_s: float = 0.1) -> bool:
    """No sound from 2.1 s to 2.9 s, and a tone before and after. A codec smears a few ms into the silence's edges."""
    inside = levels[round(2.1 / step_s) : round(2.9 / step_s)]
    outside = np.concatenate([levels[round(0.3 / step_s) : round(1.8 / step_s)], levels[round(3.2 / step_s) :][:20]])
    return inside.max() < 1e-4 and outside.min() > 0.1


def test_what_a_browser_fetches_holds_no_closed_second(visit, cast, client, recording):
    close(cast, client, recording)
    page = visit.context().new_page()
    fetched: list[tuple[str, bytes]] = []
    page.on("requestfinished", lambda request: fetched.append((request.url, request.response().body())))
    page.goto(page_of(recording))
    with page.expect_response(lambda answer: "sound" in answer.url):
        play(page)
    until(page, "document.querySelector('audio').buffered.length > 0 && "
                "document.querySelector('audio').buffered.end(0) > 5.9")
    # The event of a request's end may come after the sound that it brought is in the player.
    till(page, lambda: any(url.endswith(sound_of(recording)) for url, _data in fetched))
    sounds = [data for url, data in fetched if url.endswith(sound_of(recording))]
    whole = body(client.get(sound_of(recording)))
    assert sounds
    assert all(data in whole for data in sounds)
    assert silent_where_closed(loudness(whole))
    for word in (b"Zqclosed", b"zqreason"):
        assert not any(word in data for _url, data in fetched)


def test_what_a_browser_saves_holds_no_closed_second(visit, cast, client, recording, tmp_path):
    close(cast, client, recording)
    page = visit(page_of(recording))
    with page.expect_download() as saving:
        page.evaluate(
            "(url) => { const link = document.createElement('a'); link.href = url; link.download = 'a.m4a';"
            " document.body.append(link); link.click(); }", sound_of(recording))
    saving.value.save_as(tmp_path / "saved.m4a")
    saved = (tmp_path / "saved.m4a").read_bytes()
    assert saved == body(client.get(sound_of(recording)))
    assert silent_where_closed(loudness(saved))


def test_what_a_browser_decodes_holds_no_closed_second(visit, cast, client, recording):
    close(cast, client, recording)
    levels = np.array(visit(page_of(recording)).evaluate(
        """async (url) => {
          const bytes = await (await fetch(url)).arrayBuffer();
          const sound = await new OfflineAudioContext(1, 1, 48000).decodeAudioData(bytes);
          const samples = sound.getChannelData(0);
          const step = sound.sampleRate / 10;
          return Array.from({ length: Math.floor(samples.length / step) }, (_, at) => Math.sqrt(
            samples.slice(at * step, (at + 1) * step).reduce((sum, one) => sum + one * one, 0) / step));
        }""", sound_of(recording)))
    assert len(levels) == 60
    assert silent_where_closed(levels)


def test_what_a_browser_plays_holds_no_closed_second(visit, cast, client, recording):
    """What goes to the loudspeaker while the player's own element plays, by the time it says it is at."""
    close(cast, client, recording)
    page = visit(page_of(recording) + "#t=1.6,3.5")
    page.evaluate(
        """() => {
          const audio = document.querySelector('audio');
          const graph = new AudioContext();
          const meter = graph.createAnalyser();
          meter.fftSize = 1024;
          graph.createMediaElementSource(audio).connect(meter);
          meter.connect(graph.destination);
          window.heard = [];
          const each = () => {
            const samples = new Float32Array(meter.fftSize);
            meter.getFloatTimeDomainData(samples);
            const loudest = samples.reduce((most, one) => Math.max(most, Math.abs(one)), 0);
            if (!audio.paused) window.heard.push([audio.currentTime, loudest]);
            setTimeout(each, 10);
          };
          audio.addEventListener('play', () => { graph.resume(); });
          each();
        }""")
    play(page)
    until_it_stops(page)
    heard = np.array(page.evaluate("window.heard"))
    start_s, end_s = CLOSED_S
    # The element's clock and the meter differ by what is buffered between them: 0.2 s are left out at each edge.
    inside = heard[(heard[:, 0] > start_s + 0.2) & (heard[:, 0] < end_s - 0.2)]
    before = heard[(heard[:, 0] > 1.7) & (heard[:, 0] < start_s - 0.1)]
    assert len(inside) > 5
    assert inside[:, 1].max() < 0.01
    assert before[:, 1].max() > 0.2


def test_a_decision_while_it_plays_is_in_force_for_what_is_asked_next(visit, cast, client, recording):
    page = visit(page_of(recording))
    play(page)
    until(page, "document.querySelector('audio').currentTime > 0.2")
    close(cast, client, recording)
    page.reload()
    assert page.locator("[data-cues] li:has-text('Zqclosed')").count() == 0
    script = "async (url) => [...new Uint8Array(await (await fetch(url)).arrayBuffer())]"
    assert silent_where_closed(loudness(bytes(page.evaluate(script, sound_of(recording)))))
