"""The council's queue and its decisions: what waits, what would change, and that it holds from the next request on."""

from __future__ import annotations

import html
import json
from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from archive.access import chamber, decisions, impact, writing
from archive.access.gate import Gate
from archive.models import Audience, Condition, Decision, Item, LedgerRow, Level, Recording, Segment

from .conftest import bring, open_up, segment

pytestmark = pytest.mark.django_db

MEETING = {
    "decided_on": "2026-03-08",
    "present": "Ishelu, Navor",
    "minute": "2026/2",
    "reason": "The speaker wishes it.",
    "others": "nothing",
    "scope": "itself",
    "notice_pages": "own",
}


@pytest.fixture
def as_council(cast, client):
    client.force_login(cast["council"])
    return client


def url(item) -> str:
    return reverse("decide", args=[item.kind, item.ref])


def given(*items, step: str = "confirm", **more: object) -> dict[str, object]:
    return {**MEETING, "items": [item.ref for item in items], "step": step, "seen": mark(*items), **more}


def mark(*items) -> str:
    return chamber.standing([item.pk for item in items])


# --- who may ---


def test_only_the_council_finds_the_pages(cast, client, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    pages = [reverse("council"), reverse("decide_many"), url(recording)]
    pages.append(reverse("close_now", args=["recording", recording.ref]))
    for name in ("archivist", "educator", "keeper", "family", "plain"):
        client.force_login(cast[name])
        assert [client.get(page).status_code for page in pages] == [404] * 4
        assert client.post(url(recording), given(recording, outcome="open")).status_code == 404
    client.logout()
    assert [client.get(page).status_code for page in pages] == [302] * 4
    assert Recording.ungated.get().decision_id is None


# --- the queue ---


def test_the_queue_holds_what_is_new_the_oldest_first(cast, as_council, tmp_path):
    person = writing.add_person(None, [writing.NameGiven("en", "Somebody", True)])
    place = writing.add_place(None, [writing.NameGiven("en", "Cove", True)], latitude_deg=46.0, longitude_deg=-38.0)
    recording = bring(cast["archivist"], tmp_path, "A talk")
    inside = segment(recording, 0, 1000, "A part", speakers=[person.pk])
    span = writing.close_span(None, recording, 2000, 3000, "not for all")
    assert chamber.waiting(Gate(cast["council"])) == [person.pk, place.pk, recording.pk, span.pk]
    page = as_council.get(reverse("council")).content.decode()
    places = [page.index(words) for words in ("Somebody", "Cove", "A talk", "closed stretch 0:02 to 0:03")]
    assert places == sorted(places)
    assert "brought in by archivist" in page
    assert inside.pk not in chamber.waiting(Gate(cast["council"])), "segments go with their recording"


def test_a_segment_cut_after_the_recording_was_decided_waits_too(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    before = segment(recording, 0, 1000, "Before")
    open_up(cast["council"], recording)
    after = segment(recording, 1000, 2000, "After")
    assert chamber.waiting(Gate(cast["council"])) == [after.pk]
    open_up(cast["council"], after)
    assert chamber.waiting(Gate(cast["council"])) == []
    assert Gate(None).level(before.pk) == Gate(None).level(after.pk) == Level.OPEN


def test_the_queue_tells_ties_and_the_conditions_that_reach_already(cast, as_council, tmp_path):
    place = writing.add_place(None, [writing.NameGiven("en", "Cove", True)], latitude_deg=46.0, longitude_deg=-38.0)
    family = Audience.objects.get(name="family")
    open_up(cast["council"], place, terms=decisions.Terms([family], scope="tied"))
    recording = bring(None, tmp_path, "A talk", places=[place.pk])
    card = chamber.waiting_cards(Gate(cast["council"]), [recording.pk])[0]
    assert [one.text for one in card.ties] == ["Cove"]
    assert [one.words for one in card.conditions] == [
        "Only for family. The others see nothing. It holds for all that is tied to it as well."
    ]
    page = as_council.get(reverse("council")).content.decode()
    assert "By its tie to the place" in page
    assert "Only for family." in page


def test_the_queue_narrows_by_kind_and_by_tie(cast, as_council, tmp_path):
    person = writing.add_person(None, [writing.NameGiven("en", "Somebody", True)])
    told = bring(None, tmp_path, "A talk", people=[person.pk])
    bring(None, tmp_path, "Another", hz=300)
    gate = Gate(cast["council"])
    assert chamber.waiting(gate, by=person.pk) == [person.pk, told.pk]
    assert chamber.waiting(gate, "person") == [person.pk]
    page = as_council.get(reverse("council"), {"by": person.ref}).content.decode()
    assert "A talk" in page
    assert "Another" not in page


def test_reviews_due_and_withdrawn_consents_stand_on_the_page(cast, as_council, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    today = timezone.localdate()
    open_up(cast["council"], recording, terms=decisions.Terms(review_on=today))
    later = bring(None, tmp_path, "Another", hz=300)
    open_up(cast["council"], later, terms=decisions.Terms(review_on=today + timedelta(days=1)))
    decisions.state_consent(cast["archivist"], later, "withdrawn", "the speaker", date(2021, 1, 1))
    gate = Gate(cast["council"])
    assert [one.target.text for one in chamber.reviews_due(gate)] == ["A talk"]
    assert [one.recording.text for one in chamber.withdrawn(gate)] == ["Another"]
    page = as_council.get(reverse("council")).content.decode()
    assert "Taken back on 1 January 2021 by the speaker." in page


# --- deciding ---


def test_nothing_is_decided_before_it_is_confirmed(cast, as_council, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    segment(recording, 0, 1000, "A part")
    before = (Decision.objects.count(), LedgerRow.objects.count())
    page = as_council.post(url(recording), given(recording, step="look", outcome="open")).content.decode()
    assert "2 things change" in page
    assert "Visitors who are not signed in" in page
    assert (Decision.objects.count(), LedgerRow.objects.count()) == before
    assert Gate(None).level(recording.pk) == Level.NOTHING


def test_what_is_confirmed_is_in_force_at_the_next_request(cast, as_council, client, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    answer = as_council.post(url(recording), given(recording, outcome="open"))
    assert answer.status_code == 302
    as_council.logout()
    assert client.get(reverse("recording", args=[recording.ref])).status_code == 200
    row = LedgerRow.objects.get(event="decided")
    assert json.loads(row.detail)["acts"][0]["targets"] == [recording.ref]
    decision = Decision.objects.get()
    assert (decision.minute, decision.present) == ("2026/2", "Ishelu, Navor")


def test_only_for_an_audience_in_a_season_with_days_and_a_notice(cast, as_council, tmp_path):
    from archive.access import founding

    winter = founding.season("Winter", (11, 1), (2, 15))
    family = Audience.objects.get(name="family")
    recording = bring(None, tmp_path, "A talk")
    more = {
        "outcome": "some", "audiences": [family.ref], "season": winter.ref, "first_day": "2026-01-01",
        "last_day": "2026-12-31", "review_on": "2026-12-01", "others": "notice", "notice_words": "Told in winter.",
        "whom_to_ask": "The house", "notice_pages": "tied", "offering": "clips",
    }  # fmt: skip
    assert as_council.post(url(recording), given(recording, **more)).status_code == 302
    made = Condition.ungated.get()
    assert made.starts_at.isoformat() == "2026-01-01T00:00:00+00:00"
    assert made.ends_at.isoformat() == "2027-01-01T00:00:00+00:00", "the last day belongs to it"
    assert (made.season, made.others_see, made.notice_pages) == (winter, Level.NOTICE, "tied")
    assert list(made.audiences.all()) == [family]
    assert Recording.ungated.get().offering == "clips"


def test_open_in_a_season_is_a_condition_that_everyone_satisfies_then(cast, as_council, tmp_path):
    from archive.access import founding

    winter = founding.season("Winter", (11, 1), (2, 15))
    recording = bring(None, tmp_path, "A talk")
    as_council.post(url(recording), given(recording, outcome="open", season=winter.ref))
    assert [one.builtin for one in Condition.ungated.get().audiences.all()] == ["everyone"]


def test_the_chosen_conditions_end_and_the_others_stay(cast, as_council, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    family = Audience.objects.get(name="family")
    open_up(cast["council"], recording, terms=decisions.Terms([family]))
    open_up(cast["council"], recording, terms=decisions.Terms())
    first, second = Condition.ungated.order_by("pk")
    page = as_council.post(url(recording), given(recording, step="look", outcome="open", lift=[second.pk]))
    assert "These conditions stay" in page.content.decode()
    as_council.post(url(recording), given(recording, outcome="open", lift=[second.pk]))
    assert list(Condition.ungated.filter(lifted_by__isnull=True)) == [first]
    assert Gate(cast["family"]).level(recording.pk) == Level.OPEN
    assert Gate(cast["plain"]).level(recording.pk) == Level.NOTHING


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"decided_on": ""}, "Give the date of the meeting"),
        ({"decided_on": "2026-02-30"}, "That is no date. Write it like 2026-03-08."),
        ({"decided_on": "2999-01-01"}, "That day lies ahead."),
        ({"minute": ""}, "Name the minute"),
        ({"present": " "}, "Name those who were present."),
        ({"reason": ""}, "Opening needs a reason."),
        ({"outcome": "some", "audiences": []}, "Mark at least one audience"),
        ({"outcome": ""}, "Choose one of the three."),
        ({"outcome": "closed", "first_day": "2026-05-02", "last_day": "2026-05-01"}, "end before it starts"),
        ({"outcome": "open", "last_day": "2026-05-01"}, "What is open has no first or last day."),
        ({"outcome": "closed", "others": "notice"}, "Write the words that the others are to see."),
    ],
)
def test_what_cannot_be_is_refused_in_words_and_nothing_typed_is_lost(cast, as_council, tmp_path, wrong, words):
    recording = bring(None, tmp_path, "A talk")
    sent = given(recording, **{"outcome": "open", "whom_to_ask": "The house by the quay", **wrong})
    page = as_council.post(url(recording), sent)
    assert page.status_code == 200
    text = page.content.decode()
    assert words in text
    assert "The house by the quay" in text
    assert Decision.objects.count() == 0


def test_closing_needs_no_reason(cast, as_council, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    assert as_council.post(url(recording), given(recording, outcome="closed", reason="")).status_code == 302


@pytest.fixture
def taken_back(cast, tmp_path):
    """A recording with a segment, decided, and then taken back by its speaker."""
    recording = bring(None, tmp_path, "A talk")
    segment(recording, 0, 1000, "A part")
    open_up(cast["council"], recording)
    decisions.state_consent(None, recording, "withdrawn", "the speaker", date(2021, 1, 1))
    return recording


def test_what_consent_closed_cannot_be_lifted(cast, as_council, taken_back):
    """Neither by its number, which the form does not offer, nor by the writing call."""
    consent = Condition.ungated.get()
    as_council.post(url(taken_back), given(taken_back, outcome="closed", lift=[consent.pk]))
    assert Condition.ungated.get(pk=consent.pk).lifted_by is None
    assert Gate(cast["plain"]).level(taken_back.pk) == Level.NOTHING
    minute = decisions.Minute(date(2021, 2, 2), "m")
    with pytest.raises(decisions.ValidationError, match="consent was withdrawn"):
        decisions.decide(
            cast["council"], minute, decisions.Act([taken_back.pk], decisions.Terms(), [consent.pk])
        )


@pytest.mark.parametrize("outcome", ["open", "some"])
@pytest.mark.parametrize("step", ["look", "confirm"])
def test_opening_what_consent_closed_is_refused_in_words(cast, as_council, taken_back, outcome, step):
    """It is said who took it back, when, and what would open it; for the recording and for what lies in it."""
    before = Decision.objects.count()
    audience = Audience.objects.get(name="family").ref
    for item in (taken_back, Segment.ungated.get()):
        sent = given(item, outcome=outcome, audiences=[audience], step=step)
        page = html.unescape(as_council.post(url(item), sent).content.decode())
        assert "Consent to “A talk” was taken back by the speaker on 1 January 2021" in page
        assert "giving it anew" in page
        assert "Nothing was decided" in page
    assert Decision.objects.count() == before
    assert Gate(cast["plain"]).level(taken_back.pk) == Level.NOTHING


def test_one_that_consent_closed_holds_up_all_that_are_opened_with_it(cast, as_council, tmp_path, taken_back):
    other = bring(None, tmp_path, "Another", hz=300)
    sent = given(taken_back, other, outcome="open", shown=[taken_back.ref, other.ref])
    page = html.unescape(as_council.post(reverse("decide_many"), sent).content.decode())
    assert "Consent to “A talk”" in page
    assert "Consent to “Another”" not in page
    assert Gate(None).level(other.pk) == Level.NOTHING
    sent = given(other, outcome="open", shown=[taken_back.ref, other.ref])
    assert as_council.post(reverse("decide_many"), sent).status_code == 302
    assert Gate(None).level(other.pk) == Level.OPEN


def test_closing_what_consent_closed_is_written_down(cast, as_council, taken_back):
    assert as_council.post(url(taken_back), given(taken_back, outcome="closed")).status_code == 302
    decisions.state_consent(None, taken_back, "given", "the speaker", date(2021, 3, 1))
    assert Gate(cast["plain"]).level(taken_back.pk) == Level.NOTHING, "the council's own word still holds"


# --- many at once ---


def test_many_are_decided_at_once(cast, as_council, tmp_path):
    one, two = bring(None, tmp_path, "One"), bring(None, tmp_path, "Two", hz=300)
    left = bring(None, tmp_path, "Left", hz=200)
    page = as_council.post(reverse("decide_many"), {"step": "choose", "items": [one.ref, two.ref]}).content.decode()
    assert "2 things at once" in page
    sent = given(one, two, outcome="open", shown=[one.ref, two.ref])
    assert as_council.post(reverse("decide_many"), sent).status_code == 302
    assert Gate(None).count("recording") == 2
    assert Gate(None).level(left.pk) == Level.NOTHING
    assert Decision.objects.count() == 1


def test_many_are_chosen_by_a_recording_speaker_or_topic(cast, as_council, tmp_path):
    person = writing.add_person(None, [writing.NameGiven("en", "Somebody", True)])
    topic = writing.add_topic(None, [writing.NameGiven("en", "Kilns", True)])
    recording = bring(None, tmp_path, "A talk")
    part = segment(recording, 0, 1000, "A part", speakers=[person.pk], topics=[topic.pk])
    for by, wanted in ((person, {person, part}), (topic, {topic, part}), (recording, {recording, part})):
        form = as_council.get(reverse("decide_many"), {"by": by.ref}).context["form"]
        assert {ref for ref, _words in form.fields["items"].choices} == {one.ref for one in wanted}


def test_with_nothing_marked_it_says_so(cast, as_council):
    page = as_council.post(reverse("decide_many"), {"step": "choose"}, follow=True)
    assert "Mark at least one thing to decide about." in page.content.decode()


# --- what would change ---


def test_the_preview_tells_each_audience_and_what_it_meets(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    part = segment(recording, 0, 1000, "A part")
    open_up(cast["council"], recording)
    family = Audience.objects.get(name="family")
    act = decisions.Act([part.pk], decisions.Terms([family], others_see=Level.DESCRIPTION))
    minute = decisions.Minute(date(2020, 1, 2), "m")
    found = impact.of(Gate(cast["council"]), lambda: decisions.decide(cast["council"], minute, act))
    assert len(found) == 1
    group = found[0].groups[0]
    assert [one.text for one in group.items] == ["A part"]
    moved = {shift.audience: (shift.before, shift.after) for shift in group.shifts}
    less = (Level.OPEN, Level.DESCRIPTION)
    assert moved == {"Visitors who are not signed in": less, "Anyone signed in": less, "women": less}
    assert Condition.ungated.count() == 0


def test_the_preview_is_true_of_what_then_happens(cast, tmp_path):
    """The levels that the preview foretells are those that the gate gives after the decision."""
    place = writing.add_place(None, [writing.NameGiven("en", "Cove", True)], latitude_deg=46.0, longitude_deg=-38.0)
    recording = bring(None, tmp_path, "A talk")
    part = segment(recording, 0, 1000, "A part", places=[place.pk])
    open_up(cast["council"], recording, place)
    minute = decisions.Minute(date(2020, 1, 2), "m")
    act = decisions.Act([place.pk], decisions.Terms([Audience.objects.get(name="family")], scope="tied"))
    found = impact.of(Gate(cast["council"]), lambda: decisions.decide(cast["council"], minute, act))
    told = {one.number: shift.after for g in found[0].groups for one in g.items for shift in g.shifts[:1]}
    decisions.decide(cast["council"], minute, act)
    assert told == {number: Gate(None).level(number) for number in (place.pk, part.pk)}


def test_the_preview_looks_ahead_to_the_days_on_which_it_changes(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    open_up(cast["council"], recording)
    gate = Gate(cast["council"])
    terms = decisions.Terms(starts_at=gate.moment + timedelta(days=10), ends_at=gate.moment + timedelta(days=20))
    act = decisions.Act([recording.pk], terms)
    found = impact.of(gate, lambda: decisions.decide(cast["council"], decisions.Minute(date(2020, 1, 2), "m"), act))
    assert [(one.moment - gate.moment).days for one in found] == [10, 20]
    closes, opens = ({(shift.before, shift.after) for shift in one.groups[0].shifts} for one in found)
    assert closes == {(Level.OPEN, Level.NOTHING)}
    assert opens == {(Level.NOTHING, Level.OPEN)}


def test_a_limit_that_is_to_come_is_told_with_all_that_is_met_until_then(cast, as_council, tmp_path):
    """New, for the family alone from a day on: until that day it opens to everybody, which the page has to say."""
    recording = bring(None, tmp_path, "A talk")
    first = timezone.localdate() + timedelta(days=10)
    family = Audience.objects.get(name="family")
    sent = given(recording, outcome="some", audiences=[family.ref], first_day=str(first), step="look")
    page = as_council.post(url(recording), sent).content.decode()
    assert "and not before." in page
    act = decisions.Act([recording.pk], decisions.Terms([family], starts_at=timezone.now() + timedelta(days=10)))
    minute = decisions.Minute(date(2020, 1, 2), "m")
    now, then = impact.of(Gate(cast["council"]), lambda: decisions.decide(cast["council"], minute, act))
    assert {(one.audience, one.opens) for one in now.groups[0].shifts} >= {
        ("Visitors who are not signed in", True), ("family", True)
    }
    assert {(one.audience, one.opens) for one in then.groups[0].shifts} == {
        ("Visitors who are not signed in", False), ("Anyone signed in", False), ("women", False)
    }


def test_a_change_that_a_decision_averts_is_told_for_its_day(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    gate = Gate(cast["council"])
    open_up(cast["council"], recording, terms=decisions.Terms(starts_at=gate.moment + timedelta(days=10)))
    held = Condition.ungated.get()
    act = decisions.Act([recording.pk], None, [held.pk])
    minute = decisions.Minute(date(2020, 1, 2), "m")
    found = impact.of(Gate(cast["council"]), lambda: decisions.decide(cast["council"], minute, act))
    assert len(found) == 1
    shifts = found[0].groups[0].shifts
    assert {(one.before, one.after, one.is_averted) for one in shifts} == {(Level.NOTHING, Level.OPEN, True)}


# --- two at the same time ---


def test_a_decision_taken_meanwhile_is_shown_before_the_second_is_entered(cast, as_council, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    sent = given(recording, outcome="open")
    open_up(cast["second"], recording, terms=decisions.Terms([Audience.objects.get(name="family")]))
    page = as_council.post(url(recording), sent).content.decode()
    assert "Somebody decided meanwhile" in page
    assert Decision.objects.count() == 1
    as_council.post(url(recording), given(recording, outcome="open"))
    assert Decision.objects.count() == 2
    assert Gate(cast["plain"]).level(recording.pk) == Level.NOTHING, "the stricter one counts"


def test_both_see_that_two_decisions_meet(cast, client, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    open_up(cast["council"], recording, terms=decisions.Terms([Audience.objects.get(name="family")]))
    assert chamber.colliding(Gate(cast["council"])) == []
    open_up(cast["second"], recording, terms=decisions.Terms([Audience.objects.get(name="women")]))
    for name in ("council", "second"):
        client.force_login(cast[name])
        page = client.get(reverse("council")).content.decode()
        assert "Several decisions on one thing" in page
        assert "entered by council" in page
        assert "entered by second" in page
    assert Gate(cast["family"]).level(recording.pk) == Level.NOTHING


# --- closing at once ---


def test_one_member_closes_with_two_presses(cast, as_council, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    open_up(cast["council"], recording)
    address = reverse("close_now", args=["recording", recording.ref])
    assert "Yes, close it now" in as_council.get(address).content.decode()
    assert Gate(None).level(recording.pk) == Level.OPEN, "asking closes nothing"
    as_council.post(address, {"reason": "A family asked."})
    assert Gate(None).level(recording.pk) == Level.NOTHING
    decision = Decision.objects.first()
    assert decision.minute == "closed by council until the council meets"
    assert decision.reason == "A family asked."
    assert [one.target.text for one in chamber.reviews_due(Gate(cast["council"]))] == ["A talk"]


def test_closing_a_place_can_reach_all_that_is_tied(cast, as_council, tmp_path):
    place = writing.add_place(None, [writing.NameGiven("en", "Cove", True)], latitude_deg=46.0, longitude_deg=-38.0)
    recording = bring(None, tmp_path, "A talk")
    part = segment(recording, 0, 1000, "A part", places=[place.pk])
    open_up(cast["council"], recording, place)
    as_council.post(reverse("close_now", args=["place", place.ref]), {"scope": "tied"})
    assert Gate(None).level(part.pk) == Level.NOTHING


def test_what_waits_is_closed_already_and_stays_in_the_queue(cast, as_council, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    page = as_council.post(reverse("close_now", args=["recording", recording.ref]), follow=True)
    assert "It is closed already" in page.content.decode()
    assert Item.ungated.get(pk=recording.pk).decision_id is None


def test_the_meeting_is_remembered_for_the_next_decision_of_the_sitting(cast, as_council, tmp_path):
    one, two = bring(None, tmp_path, "One"), bring(None, tmp_path, "Two", hz=300)
    as_council.post(url(one), given(one, outcome="open"))
    page = as_council.get(url(two)).content.decode()
    assert 'value="2026/2"' in page
    assert 'value="2026-03-08"' in page
