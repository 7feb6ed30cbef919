"""The gate: closed by default, levels, reach, trust, consent, and its two readings."""

from __future__ import annotations

from datetime import date

import pytest

from archive.access import closure, decisions, showing, triggers, writing
from archive.access.gate import Gate, NotMet
from archive.models import Audience, ClosedSpan, Level, Person, Place, Recording, Segment

from .conftest import bring, open_up, segment

pytestmark = pytest.mark.django_db


def level(account, item) -> Level:
    gate = Gate(account)
    assert gate.level(item.pk) == gate.level_now(type(item).ungated.get(pk=item.pk)), "the two readings differ"
    assert gate.queryset(type(item), Level.OPEN).filter(pk=item.pk).exists() == (gate.level(item.pk) == Level.OPEN)
    return gate.level(item.pk)


def test_all_triggers_stand():
    assert triggers.names() <= triggers.standing()


def test_a_new_recording_is_closed_to_all_but_who_brought_it(cast, tmp_path):
    recording = bring(cast["archivist"], tmp_path, "A talk")
    assert level(cast["archivist"], recording) == Level.OPEN
    assert level(cast["council"], recording) == Level.DESCRIPTION
    for name in ("educator", "keeper", "family", "plain"):
        assert level(cast[name], recording) == Level.NOTHING
    assert level(None, recording) == Level.NOTHING


def test_a_superuser_hears_nothing_by_that(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    cast["keeper"].is_superuser = cast["keeper"].is_staff = True
    cast["keeper"].save()
    assert level(cast["keeper"], recording) == Level.NOTHING


def test_a_decision_without_a_condition_opens(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    part = segment(recording, 0, 2000, "A part")
    assert level(None, part) == Level.NOTHING
    open_up(cast["council"], recording)
    assert level(None, recording) == level(None, part) == Level.OPEN


def test_a_segments_condition_closes_its_seconds(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    part = segment(recording, 1000, 2000, "A part")
    open_up(cast["council"], recording)
    family = Audience.objects.get(name="family")
    open_up(cast["council"], part, terms=decisions.Terms([family], others_see=Level.DESCRIPTION))
    assert level(None, part) == Level.DESCRIPTION
    assert level(cast["family"], part) == Level.OPEN
    assert Gate(None).closed_stretches(recording) == [(1000, 2000)]
    assert Gate(cast["family"]).closed_stretches(recording) == []


def test_a_span_is_closed_from_the_moment_it_is_marked(cast, tmp_path):
    recording = bring(cast["archivist"], tmp_path, "A talk")
    open_up(cast["council"], recording)
    writing.close_span(cast["archivist"], recording, 500, 900, "not for all")
    assert Gate(None).closed_stretches(recording) == [(500, 900)]
    assert Gate(cast["archivist"]).closed_stretches(recording) == []
    open_up(cast["council"], ClosedSpan.ungated.get())
    assert Gate(None).closed_stretches(recording) == []


def test_a_tied_condition_on_a_place_reaches_its_segments_and_new_ones(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    place = writing.add_place(None, [writing.NameGiven("en", "Cove", True)], latitude_deg=46.0, longitude_deg=-38.0)
    before = segment(recording, 0, 1000, "Before", places=[place.pk])
    open_up(cast["council"], recording, place)
    open_up(cast["council"], place, terms=decisions.Terms(scope="tied"))
    after = segment(recording, 1000, 2000, "After", places=[place.pk])
    free = segment(recording, 2000, 3000, "Free")
    assert level(None, before) == level(None, after) == Level.NOTHING
    assert level(None, free) == Level.OPEN
    given = writing.SegmentGiven(0, 1000, "Before")
    writing.change_segment(None, before, given, before.version)
    assert level(None, before) == Level.OPEN


def test_a_person_hidden_is_missing_from_other_items(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    person = writing.add_person(None, [writing.NameGiven("en", "Somebody", True)])
    part = segment(recording, 0, 1000, "A part", speakers=[person.pk])
    open_up(cast["council"], recording, person)
    assert [one.text for one in showing.segment_cards(Gate(None), [part.pk])[0].speakers] == ["Somebody"]
    open_up(cast["council"], person, terms=decisions.Terms())
    assert showing.segment_cards(Gate(None), [part.pk])[0].speakers == ()
    with pytest.raises(NotMet):
        Gate(None).fetch(Person, person.ref)


def test_withdrawn_consent_closes_to_the_trusted_too(cast, tmp_path):
    recording = bring(cast["archivist"], tmp_path, "A talk")
    part = segment(recording, 0, 1000, "A part")
    open_up(cast["council"], recording)
    decisions.state_consent(cast["archivist"], recording, "withdrawn", "the speaker", date(2021, 1, 1))
    assert level(cast["archivist"], recording) == level(cast["archivist"], part) == Level.NOTHING
    decisions.state_consent(cast["archivist"], recording, "given", "the speaker", date(2022, 1, 1))
    assert level(None, part) == Level.OPEN


def test_a_place_described_gives_its_cell_only(cast):
    place = writing.add_place(None, [writing.NameGiven("en", "Cove", True)], latitude_deg=46.07, longitude_deg=-38.01)
    open_up(cast["council"], place, terms=decisions.Terms(others_see=Level.DESCRIPTION))
    shown = showing.place(Gate(None), Place.ungated.get())
    assert shown.at is None
    assert shown.cell == (46.0, -38.1, 46.1, -38.0)


def test_a_mirror_waits_for_its_figure(cast):
    """Its pairs would give the stars of a figure that the council has not spoken of."""
    figure = writing.add_figure(None, [writing.NameGiven("en", "Oar", True)], stars=[1, 2], lines=[[1, 2]])
    places = [
        writing.add_place(None, [writing.NameGiven("en", name, True)], latitude_deg=1.0, longitude_deg=1.0)
        for name in ("Cove", "Head")
    ]
    mirror = writing.add_mirror(None, figure, [(places[0], 1), (places[1], 2)], title="The oar on the ground")
    open_up(cast["council"], mirror, *places)
    assert level(None, mirror) == Level.NOTHING
    open_up(cast["council"], figure)
    assert level(None, mirror) == Level.OPEN


def test_clips_offer_only_open_segments(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    segment(recording, 1000, 2000, "A part")
    decisions.decide(
        cast["council"],
        decisions.Minute(date(2020, 1, 1), "m"),
        decisions.Act([recording.pk], None, offering="clips"),
    )
    recording = Recording.ungated.get()
    assert not Gate(None).hears_whole(recording)
    assert Gate(None).closed_stretches(recording) == [(0, 1000), (2000, recording.master.duration_ms)]


def test_rebuilding_the_closure_changes_nothing(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    topic = writing.add_topic(None, [writing.NameGiven("en", "Kilns", True)])
    segment(recording, 0, 1000, "A part", topics=[topic.pk])
    open_up(cast["council"], recording, topic)
    open_up(cast["council"], topic, terms=decisions.Terms(scope="tied"))
    before = Gate(None).levels.tolist()
    closure.rebuild()
    assert Gate(None).levels.tolist() == before
    assert Gate(None).count("segment") == 0 == Gate(None).queryset(Segment).count()
