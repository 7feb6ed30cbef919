"""Threads: what is tied at one step and at two, who had it from whom, and what is behind a link that is not met."""

from __future__ import annotations

import pytest
from django.urls import reverse

from archive.access import decisions, threads, writing
from archive.access.gate import Gate
from archive.models import Audience, Level, TieKind

from .conftest import bring, called, open_up, segment

pytestmark = pytest.mark.django_db


@pytest.fixture
def line(cast, tmp_path):
    """Four people, each taught by the one before; the third tells a segment that they had from the second."""
    people = [writing.add_person(None, called(name)) for name in ("Oldest", "Elder", "Teller", "Child")]
    for younger, older in zip(people[1:], people, strict=False):
        writing.tie(younger, TieKind.LEARNED_FROM, older)
    figure = writing.add_figure(None, called("The Net"), stars=[91262], lines=[])
    place = writing.add_place(None, called("The cove"), latitude_deg=46.0, longitude_deg=-38.0)
    recording = bring(None, tmp_path, "Evening talk")
    part = segment(recording, 0, 2000, "How the net was hung", speakers=[people[2].pk], had_from=[people[1].pk],
                   figures=[figure.pk], places=[place.pk])
    open_up(cast["council"], *people, figure, place, recording)
    return {"people": people, "figure": figure, "place": place, "recording": recording, "part": part,
            "council": cast["council"]}


def close(line, item, level: Level) -> None:
    terms = decisions.Terms([Audience.objects.get(name="family")], others_see=level, notice_words="Ask.")
    open_up(line["council"], item, terms=terms)


def names(labels) -> set[str]:
    return {one.text for one in labels}


def test_one_step_and_two(line) -> None:
    found = threads.web(Gate(None), line["figure"].pk)
    assert found is not None
    assert names(found.first) == {"How the net was hung"}
    assert names(found.second) == {"Teller", "Elder", "The cove", "Evening talk"}


def test_generations_both_ways_with_what_each_told(line) -> None:
    found = threads.lineage(Gate(None), line["people"][2].pk)
    assert found is not None
    assert {one.label.text: one.generation for one in found.people} == {
        "Oldest": -2, "Elder": -1, "Teller": 0, "Child": 1}
    told = {one.label.text: (one.segments, names(one.subjects)) for one in found.people}
    assert told["Teller"] == (1, {"The Net"})
    assert told["Child"] == (0, set())


@pytest.mark.parametrize("level", [Level.NOTHING, Level.NOTICE])
def test_nothing_is_reached_through_what_is_not_met(line, level) -> None:
    close(line, line["people"][1], level)
    kin = threads.lineage(Gate(None), line["people"][2].pk)
    assert kin is not None
    assert names(one.label for one in kin.people) == {"Teller", "Child"}
    close(line, line["part"], level)
    found = threads.web(Gate(None), line["figure"].pk)
    assert found is not None
    assert (found.first, found.second, found.threads) == ((), (), ())


def test_a_ring_of_teachers_ends(line) -> None:
    writing.tie(line["people"][0], TieKind.LEARNED_FROM, line["people"][3])
    found = threads.lineage(Gate(None), line["people"][2].pk)
    assert found is not None
    assert len(found.people) == 4


def test_many_ties_are_cut_short_and_counted(line, cast) -> None:
    topic = writing.add_topic(None, called("Work"))
    open_up(cast["council"], topic)
    for at in range(threads.MOST_FIRST + 3):
        segment(line["recording"], 2000 + at, 2001 + at, f"Part {at}", topics=[topic.pk])
    found = threads.web(Gate(None), topic.pk)
    assert found is not None
    assert (len(found.first), found.left_out) == (threads.MOST_FIRST, 3)


def test_the_page_says_the_same_as_picture_and_as_list(line, client) -> None:
    page = client.get(reverse("threads", args=["person", line["people"][2].ref])).content.decode()
    for words in ("Learned from, 2 steps back", "Handed on, 1 step", "tells 1 segment", "How the net was hung"):
        assert words in page
    assert page.count("<svg class=\"chart threads\"") == 2


def test_a_kind_that_is_not_the_items_and_a_hidden_item_are_not_found(line, client) -> None:
    ref = line["figure"].ref
    assert client.get(reverse("threads", args=["figure", ref])).status_code == 200
    assert client.get(reverse("threads", args=["person", ref])).status_code == 404
    assert client.get(reverse("threads", args=["span", ref])).status_code == 404
    close(line, line["figure"], Level.NOTICE)
    assert client.get(reverse("threads", args=["figure", ref])).status_code == 404
