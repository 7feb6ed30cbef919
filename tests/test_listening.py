"""Sound and captions: to whom they go, in which pieces, and what is not in them.

HTTP: RFC 9110, sections 8.8.3 (entity tags), 13.1 (conditions), 14 (ranges), 15.4.5, 15.5.17, 15.6.4.
"""

from __future__ import annotations

import hashlib
from datetime import date
from html import unescape
from io import BytesIO

import av
import numpy as np
import pytest
import webvtt
from django.urls import reverse

from archive.access import bringing, decisions, showing, sound, writing
from archive.access.bringing import TranscriptGiven
from archive.access.gate import Gate
from archive.models import Audience, ClosedSpan, LedgerRow, Level

from .conftest import bring, open_up, segment, without_token

pytestmark = pytest.mark.django_db

WORDS = (
    "WEBVTT\n\n00:00.500 --> 00:01.500\n<v Ina>First line.\n\n00:02.000 --> 00:03.000\n<v Ina>The middle & more.\n\n"
    "00:04.000 --> 00:05.500\n<v Bo>The last line.\n"
)


@pytest.fixture
def recording(cast, tmp_path):
    made = bring(None, tmp_path, "A talk")
    bringing.add_transcript(None, made, TranscriptGiven(WORDS.encode(), "talk.vtt", "en"))
    return made


def sound_of(item) -> str:
    return reverse(f"{item.kind}_sound", args=[item.ref])


def captions_of(item, lang: str = "en") -> str:
    return reverse(f"{item.kind}_captions", args=[item.ref, lang])


def body(answer) -> bytes:
    return b"".join(answer.streaming_content) if answer.streaming else answer.content


def loudness(data: bytes) -> np.ndarray:
    """Root mean square of each tenth of a second of the decoded sound, full scale being 1."""
    with av.open(BytesIO(data)) as file:
        rate_hz = file.streams.audio[0].rate
        samples = np.concatenate([frame.to_ndarray().mean(axis=0) for frame in file.decode(audio=0)])
    step = rate_hz // 10
    return np.sqrt((samples[: len(samples) // step * step].reshape(-1, step) ** 2).mean(axis=1))


def lines(answer) -> list[tuple[str, str, str]]:
    """Captions as another reader of the format (webvtt-py) takes them in; it leaves `&amp;` as it is written."""
    return [(cue.start, cue.end, unescape(cue.text)) for cue in webvtt.from_buffer(BytesIO(answer.content))]


# --- what is sent ---


def test_the_whole_is_sent_under_the_hash_of_its_bytes(cast, client, recording):
    open_up(cast["council"], recording)
    answer = client.get(sound_of(recording))
    data = body(answer)
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "audio/mp4"
    assert answer.headers["Cache-Control"] == "private, no-store"
    assert answer.headers["Accept-Ranges"] == "bytes"
    assert answer.headers["Content-Length"] == str(len(data))
    assert answer.headers["ETag"] == f'"{hashlib.sha256(data).hexdigest()}"'
    assert "Last-Modified" not in answer.headers
    assert answer.headers["Content-Disposition"] == "inline"  # the name of the built file is not told


def test_a_range_is_sent_as_asked(cast, client, recording):
    open_up(cast["council"], recording)
    whole = body(client.get(sound_of(recording)))
    answer = client.get(sound_of(recording), headers={"Range": "bytes=100-299"})
    assert answer.status_code == 206
    assert answer.content == whole[100:300]
    assert answer.headers["Content-Range"] == f"bytes 100-299/{len(whole)}"
    assert answer.headers["Content-Length"] == "200"
    last = client.get(sound_of(recording), headers={"Range": "bytes=-50"})
    assert last.content == whole[-50:]


def test_a_range_outside_is_refused_with_the_length(cast, client, recording):
    open_up(cast["council"], recording)
    size = len(body(client.get(sound_of(recording))))
    answer = client.get(sound_of(recording), headers={"Range": f"bytes={size}-"})
    assert answer.status_code == 416
    assert answer.headers["Content-Range"] == f"bytes */{size}"


def test_if_range_and_if_none_match(cast, client, recording):
    open_up(cast["council"], recording)
    first = client.get(sound_of(recording))
    whole, etag = body(first), first.headers["ETag"]
    same = client.get(sound_of(recording), headers={"Range": "bytes=0-9", "If-Range": etag})
    other = client.get(sound_of(recording), headers={"Range": "bytes=0-9", "If-Range": '"another"'})
    assert (same.status_code, other.status_code) == (206, 200)
    assert body(other) == whole
    unchanged = client.get(sound_of(recording), headers={"If-None-Match": etag})
    assert unchanged.status_code == 304
    assert unchanged.headers["ETag"] == etag
    assert client.get(sound_of(recording), headers={"If-Match": '"another"'}).status_code == 412


def test_head_tells_the_same_and_sends_nothing(cast, client, recording):
    open_up(cast["council"], recording)
    whole = client.get(sound_of(recording))
    answer = client.head(sound_of(recording), headers={"Range": "bytes=0-9"})
    assert answer.status_code == 200
    assert answer.content == b""
    for name in ("ETag", "Content-Length", "Content-Type", "Accept-Ranges"):
        assert answer.headers[name] == whole.headers[name]


def test_posting_is_refused(cast, client, recording):
    open_up(cast["council"], recording)
    assert client.post(sound_of(recording)).status_code == 405


def test_a_segment_is_exactly_its_stretch(cast, client, recording):
    part = segment(recording, 1000, 3500, "A part")
    open_up(cast["council"], recording)
    data = body(client.get(sound_of(part)))
    with av.open(BytesIO(data)) as file:
        stream = file.streams.audio[0]
        assert round(float(stream.duration * stream.time_base) * 1000) == 2500


def test_the_front_server_is_asked_to_send_where_that_is_set(cast, client, recording, settings, tmp_path):
    settings.X_ACCEL = "/sounds/"
    open_up(cast["council"], recording)
    answer = client.get(sound_of(recording), headers={"Range": "bytes=0-9"})
    assert answer.status_code == 200
    assert answer.content == b""
    assert answer.headers["Cache-Control"] == "private, no-store"
    built = sound.built(recording, showing.hearing_of_recording(Gate(None), recording))
    assert answer.headers["X-Accel-Redirect"] == f"/sounds/{built.path.name}"
    assert answer.headers["ETag"] == f'"{built.sha256}"'  # the front server passes it on in place of its own
    assert "Last-Modified" not in answer.headers
    unchanged = client.get(sound_of(recording), headers={"If-None-Match": answer.headers["ETag"]})
    assert (unchanged.status_code, "X-Accel-Redirect" in unchanged.headers) == (304, False)
    client.force_login(cast["plain"])
    hidden = bring(None, tmp_path, "Hidden", hz=300)
    assert "X-Accel-Redirect" not in client.get(sound_of(hidden)).headers


# --- to whom ---


def test_nobody_hears_by_a_role(cast, client, recording):
    part = segment(recording, 0, 1000, "A part")
    family = Audience.objects.get(name="family")
    open_up(cast["council"], recording, terms=decisions.Terms([family], others_see=Level.DESCRIPTION))
    for name in ("archivist", "educator", "council", "keeper", "plain"):
        client.force_login(cast[name])
        for item in (recording, part):
            assert client.get(sound_of(item)).status_code == 404
            assert client.get(captions_of(item)).status_code == 404
    client.force_login(cast["family"])
    for item in (recording, part):
        assert client.get(sound_of(item)).status_code == 200
        assert client.get(captions_of(item)).status_code == 200


@pytest.mark.parametrize("others_see", [Level.NOTHING, Level.NOTICE, Level.DESCRIPTION])
def test_what_may_not_be_heard_answers_as_what_never_was(cast, client, recording, others_see):
    part = segment(recording, 0, 1000, "A part")
    terms = decisions.Terms(others_see=others_see, notice_words="Not now." if others_see == Level.NOTICE else "")
    open_up(cast["council"], recording, terms=terms)
    for name in (None, "plain"):
        if name:
            client.force_login(cast[name])
        for item in (recording, part):
            for made in (sound_of, captions_of, lambda one: sound_of(one) + "/ready"):
                hidden = client.get(made(item))
                absent = client.get(made(item).replace(item.ref, "aaaaaaaaaaaa"))
                assert hidden.status_code == absent.status_code == 404
                assert without_token(hidden.content) == without_token(absent.content)
                assert hidden.headers == absent.headers


def test_clips_are_heard_and_the_whole_is_not(cast, client, recording):
    part = segment(recording, 1000, 2000, "A part")
    decisions.decide(
        cast["council"], decisions.Minute(date(2020, 1, 1), "m"), decisions.Act([recording.pk], None, offering="clips")
    )
    assert client.get(sound_of(recording)).status_code == 404
    assert client.get(captions_of(recording)).status_code == 404
    assert client.get(sound_of(part)).status_code == 200


def test_a_clip_does_not_tell_whether_the_recording_ends_with_it(cast, tmp_path, client):
    """The same sound in both; of one a second more follows, which is not offered."""
    heard = []
    for seconds in (3, 4):
        longer = bring(None, tmp_path, f"A talk of {seconds} s", seconds)
        part = segment(longer, 2000, 3000, "A part")
        decisions.decide(
            cast["council"], decisions.Minute(date(2020, 1, 1), "m"),
            decisions.Act([longer.pk], None, offering="clips"),
        )
        heard.append(body(client.get(sound_of(part))))
    assert heard[0] == heard[1]


def test_closed_seconds_are_silent_to_others_and_sound_to_their_people(cast, client, recording):
    open_up(cast["council"], recording)
    writing.close_span(None, recording, 2000, 3000, "not for all")
    family = Audience.objects.get(name="family")
    open_up(cast["council"], ClosedSpan.ungated.get(), terms=decisions.Terms([family]))
    outside = loudness(body(client.get(sound_of(recording))))
    client.force_login(cast["family"])
    inside = loudness(body(client.get(sound_of(recording))))
    # The tone's RMS is 12000/32768/√2 = 0.26. A codec may smear a few ms into the silence: its edges are left out.
    assert outside[21:29].max() < 1e-4
    assert outside[:19].min() > 0.2
    assert outside[31:55].min() > 0.2
    assert inside[1:55].min() > 0.2


@pytest.mark.parametrize(("others_see", "is_told"), [
    (Level.NOTHING, False), (Level.NOTICE, False), (Level.DESCRIPTION, True),
])
def test_quiet_seconds_are_marked_only_where_the_council_lets_them_be_known(
    cast, client, recording, others_see, is_told
):
    open_up(cast["council"], recording)
    span = ClosedSpan.ungated.get(pk=writing.close_span(cast["archivist"], recording, 2000, 3500, "not for all").pk)
    terms = decisions.Terms([Audience.objects.get(name="family")], others_see=others_see, notice_words="ask")
    open_up(cast["council"], span, terms=terms)
    page = reverse("recording", args=[recording.ref])
    client.get(sound_of(recording))
    seen = client.get(page).content
    assert (b"data-quiet" in seen) == is_told
    assert (b'data-start-ms="2000" data-end-ms="3500"' in seen) == is_told
    part = segment(recording, 1000, 3000, "a part")
    open_up(cast["council"], part)
    client.get(sound_of(part))
    assert (b'data-start-ms="1000" data-end-ms="2000"' in client.get(reverse("segment", args=[part.ref])).content) == (
        is_told
    )
    client.force_login(cast["family"])
    client.get(sound_of(recording))
    assert b"data-quiet" not in client.get(page).content


def test_a_decision_holds_from_the_next_request_on(cast, client, recording):
    part = segment(recording, 2000, 3000, "A part")
    open_up(cast["council"], recording)
    before = client.get(sound_of(recording))
    open_up(cast["council"], part, terms=decisions.Terms())
    after = client.get(sound_of(recording), headers={"If-None-Match": before.headers["ETag"]})
    assert after.status_code == 200
    assert after.headers["ETag"] != before.headers["ETag"]
    stale = client.get(sound_of(recording), headers={"Range": "bytes=0-9", "If-Range": before.headers["ETag"]})
    assert stale.status_code == 200
    assert client.get(sound_of(part)).status_code == 404


# --- not ready yet ---


def test_while_it_is_built_there_is_a_503_with_words(cast, client, recording, settings):
    settings.SOUND_AT_ONCE = False
    open_up(cast["council"], recording)
    person = client.get(sound_of(recording), headers={"Accept": "text/html,*/*;q=0.8"})
    script = client.get(sound_of(recording), headers={"Accept": "*/*"})
    # Whichever of the two came first had it built; neither is sent a part of it.
    assert person.status_code == 503
    assert person.headers["Retry-After"] == "3"
    assert person.headers["Cache-Control"] == "private, no-store"
    assert b"being made ready" in person.content
    assert script.status_code in (200, 503)
    sound.prepare(recording, showing.hearing_of_recording(Gate(None), recording))
    assert client.get(sound_of(recording)).status_code == 200


def test_scripts_are_told_in_json(cast, client, recording, monkeypatch):
    monkeypatch.setattr(sound, "ask_for", lambda *_: None)
    open_up(cast["council"], recording)
    answer = client.get(sound_of(recording), headers={"Accept": "*/*"})
    assert answer.status_code == 503
    assert answer.json()["state"] == "preparing"
    assert answer.json()["retry_after_s"] == int(answer.headers["Retry-After"])
    head = client.head(sound_of(recording))
    assert (head.status_code, head.content) == (503, b"")


def test_the_page_waits_and_loads_anew_once_the_sound_stands(cast, client, recording, monkeypatch):
    open_up(cast["council"], recording)
    page = reverse("recording", args=[recording.ref])
    ready = sound_of(recording) + "/ready"
    assert f'hx-get="{ready}"' in client.get(page).content.decode()
    with monkeypatch.context() as waiting:
        waiting.setattr(sound, "ask_for", lambda *_: None)
        again = client.get(ready)
    assert f'hx-get="{ready}"' in again.content.decode()
    assert "HX-Refresh" not in again.headers
    assert client.get(ready).headers["HX-Refresh"] == "true"
    assert f'src="{sound_of(recording)}"' in client.get(page).content.decode()


# --- captions ---


def test_captions_of_the_whole(cast, client, recording):
    open_up(cast["council"], recording)
    answer = client.get(captions_of(recording))
    assert answer.headers["Content-Type"] == "text/vtt; charset=utf-8"
    assert answer.headers["Cache-Control"] == "private, no-store"
    assert lines(answer) == [
        ("00:00:00.500", "00:00:01.500", "First line."),
        ("00:00:02.000", "00:00:03.000", "The middle & more."),
        ("00:00:04.000", "00:00:05.500", "The last line."),
    ]


def test_captions_of_a_segment_count_from_its_start_and_stay_within_it(cast, client, recording):
    part = segment(recording, 1000, 4500, "A part")
    open_up(cast["council"], recording)
    assert lines(client.get(captions_of(part))) == [
        ("00:00:00.000", "00:00:00.500", "First line."),
        ("00:00:01.000", "00:00:02.000", "The middle & more."),
        ("00:00:03.000", "00:00:03.500", "The last line."),
    ]


def test_no_line_that_touches_closed_seconds_is_in_the_captions(cast, client, recording):
    open_up(cast["council"], recording)
    writing.close_span(None, recording, 2900, 3100, "not for all")
    assert "middle" not in client.get(captions_of(recording)).content.decode()
    writing.close_span(None, recording, 0, 6000, "none of it")
    absent = client.get(captions_of(recording, "fr"))
    closed = client.get(captions_of(recording))
    assert closed.status_code == absent.status_code == 404
    assert without_token(closed.content) == without_token(absent.content)


def test_the_case_of_a_language_tag_says_nothing(cast, client, recording):
    # RFC 5646, section 2.1.1
    open_up(cast["council"], recording)
    assert client.get(captions_of(recording, "EN")).status_code == 200
    assert client.get(captions_of(recording, "de")).status_code == 404


# --- the ledger ---


def heard(item) -> list[str]:
    rows = LedgerRow.objects.filter(event="met", item=item.ref)
    return [row.actor for row in rows if '"sound"' in row.detail]


def test_what_is_open_to_all_is_not_written_down(cast, client, recording):
    open_up(cast["council"], recording)
    client.get(sound_of(recording))
    assert heard(recording) == []


def test_what_is_restricted_is_written_once_a_sitting_from_whatever_second(cast, client, recording):
    family = Audience.objects.get(name="family")
    open_up(cast["council"], recording, terms=decisions.Terms([family]))
    client.force_login(cast["family"])
    client.head(sound_of(recording))
    assert heard(recording) == []
    client.get(sound_of(recording), headers={"Range": "bytes=200-299"})
    assert heard(recording) == [cast["family"].ref]
    client.get(sound_of(recording), headers={"Range": "bytes=300-399"})
    assert len(heard(recording)) == 1
    client.get(sound_of(recording), headers={"Range": "bytes=0-99"})
    assert len(heard(recording)) == 2


def test_two_visitors_who_are_not_signed_in_are_two_who_met_it(cast, client, recording):
    """A visitor who goes straight into the middle is written down, though another was just sent a piece."""
    open_up(cast["council"], recording, terms=decisions.Terms([Audience.objects.get(name="everyone")]))
    for where, browser in (("10.0.0.1", "a"), ("10.0.0.1", "a"), ("10.0.0.1", "b"), ("10.0.0.2", "a")):
        client.get(
            sound_of(recording), REMOTE_ADDR=where, headers={"Range": "bytes=400-500", "User-Agent": browser}
        )
    rows = LedgerRow.objects.filter(event="met", item=recording.ref)
    assert rows.count() == 3
    assert {(row.actor, "10.0.0" in row.detail) for row in rows} == {("", False)}


def test_a_closed_span_in_an_open_recording_is_written_down_for_those_who_hear_it(cast, client, recording):
    open_up(cast["council"], recording)
    span = writing.close_span(None, recording, 2000, 3000, "not for all")
    open_up(cast["council"], span, terms=decisions.Terms([Audience.objects.get(name="family")]))
    for name in (None, "plain", "family"):
        if name:
            client.force_login(cast[name])
        client.get(reverse("recording", args=[recording.ref]))
        client.get(sound_of(recording))
        client.get(captions_of(recording))
    rows = LedgerRow.objects.filter(event="met")
    assert {(row.actor, row.item) for row in rows} == {(cast["family"].ref, span.ref)}
    assert [row.detail for row in rows] == [f'{{"surface": "{on}"}}' for on in ("page", "sound", "captions")]


def test_captions_that_are_restricted_are_written_down(cast, client, recording):
    family = Audience.objects.get(name="family")
    open_up(cast["council"], recording, terms=decisions.Terms([family]))
    client.force_login(cast["family"])
    client.get(captions_of(recording))
    row = LedgerRow.objects.get(event="met", item=recording.ref)
    assert row.detail == '{"surface": "captions"}'
