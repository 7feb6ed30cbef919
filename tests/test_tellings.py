"""A story's tellings side by side, and what of them is told to whom."""

from __future__ import annotations

from datetime import date

import pytest
from django.urls import reverse

from archive.access import bringing, decisions, tellings, writing
from archive.access.bringing import TranscriptGiven
from archive.access.gate import Gate
from archive.models import Audience, Level

from .conftest import bring, called, open_up, segment

pytestmark = pytest.mark.django_db

ONE = "WEBVTT\n\n00:00.500 --> 00:01.500\nEvery pot cracked because the wind came in.\n"
OTHER = ("WEBVTT\n\n00:00.500 --> 00:01.500\nEvery pot cracked when the wind came in.\n\n"
         "00:03.000 --> 00:04.000\nThe heron is never named outside.\n")


@pytest.fixture
def story(cast, tmp_path):
    """A figure that two speakers tell of, with a line that is nearly the same, each tied to one thing of their own."""
    figure = writing.add_figure(None, called("The Kiln"), stars=[91262], lines=[])
    topics = [writing.add_topic(None, called(name)) for name in ("Clay", "Wind")]
    speakers = [writing.add_person(None, called(name)) for name in ("Ina", "Bo")]
    made = []
    for at, words in enumerate((ONE, OTHER)):
        recording = bring(None, tmp_path, f"Talk {at}", hz=400.0 + 50 * at)
        bringing.add_transcript(None, recording, TranscriptGiven(words.encode(), "talk.vtt", "en"))
        part = segment(recording, 0, 5000, f"Telling {at}", speakers=[speakers[at].pk], topics=[topics[at].pk],
                       figures=[figure.pk])
        made.append((recording, part))
    open_up(cast["council"], figure, *topics, *speakers, *(recording for recording, _part in made))
    return {"figure": figure, "made": made, "council": cast["council"]}


def read(client, story, **asked) -> str:
    return client.get(reverse("tellings", args=["figure", story["figure"].ref]), asked).content.decode()


def both(story) -> dict[str, str]:
    return {"one": story["made"][0][1].ref, "other": story["made"][1][1].ref}


def test_each_telling_has_what_it_alone_is_tied_to(story) -> None:
    found = tellings.of(Gate(None), story["figure"].pk)
    assert [{one.text for one in each.alone} for each in found] == [{"Clay"}, {"Wind"}] or [
        {one.text for one in each.alone} for each in found] == [{"Wind"}, {"Clay"}]


def test_two_tellings_stand_side_by_side_with_the_words_that_differ(story, client) -> None:
    page = read(client, story, **both(story))
    assert "1 line says much the same in both" in page
    assert "<u>because</u>" in page
    assert "<u>when</u>" in page
    assert "The heron is never named outside." in page


@pytest.mark.parametrize("level", [Level.NOTHING, Level.NOTICE, Level.DESCRIPTION])
def test_words_of_a_telling_that_is_not_met_in_full_are_not_shown(story, client, level) -> None:
    part = story["made"][1][1]
    terms = decisions.Terms([Audience.objects.get(name="family")], others_see=level, notice_words="Ask.")
    open_up(story["council"], part, terms=terms)
    page = read(client, story, **both(story))
    assert "<u>" not in page
    for words in ("The heron", "says much the same"):
        assert words not in page
    assert ("Telling 1" in page) is (level == Level.DESCRIPTION)


def test_closed_seconds_stay_out_of_the_words(story, client) -> None:
    recording = story["made"][1][0]
    writing.close_span(None, recording, 2900, 4100, "not outside")
    page = read(client, story, **both(story))
    assert "<u>when</u>" in page
    assert "The heron" not in page


def test_withdrawn_consent_takes_the_words_away(story, client) -> None:
    recording = story["made"][1][0]
    decisions.state_consent(None, recording, "withdrawn", "Bo", date(2020, 3, 4), "No more.")
    assert "The heron" not in read(client, story, **both(story))
