"""Asking and answering, content cautions, the community's words, and copies that left the house."""

from __future__ import annotations

import html
from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from archive.access import asking, cautioning, copies, decisions, wordbook, writing
from archive.access.gate import Gate
from archive.models import Ask, Audience, CopyGiven, Entrustment, Level, Membership, Recording, Words

from .conftest import bring, open_up, segment
from .crawl import normal

pytestmark = pytest.mark.django_db


@pytest.fixture
def described(cast, tmp_path):
    """A recording that those outside the family see described."""
    recording = bring(None, tmp_path, "A talk")
    terms = decisions.Terms([Audience.objects.get(name="family")], others_see=Level.DESCRIPTION)
    open_up(cast["council"], recording, terms=terms)
    return Recording.ungated.get()


def ask_url(item) -> str:
    return reverse(f"ask_{item.kind}", args=[item.ref])


def ask_for(cast, item, name: str = "plain") -> Ask:
    return asking.ask(Gate(cast[name]), item, "My grandmother speaks there.")


# --- asking ---


def test_where_a_description_shows_one_may_ask_and_sees_the_state(cast, client, described):
    client.force_login(cast["plain"])
    page = client.get(reverse("recording", args=[described.ref])).content.decode()
    assert ask_url(described) in page
    assert "Say why you ask" in client.post(ask_url(described), {"reason": " "}).content.decode()
    page = client.post(ask_url(described), {"reason": "My grandmother."}, follow=True).content.decode()
    assert "waits for the council" in page
    assert "My grandmother." in page
    again = client.post(ask_url(described), {"reason": "Once more."}).content.decode()
    assert "You have asked already." in again
    client.force_login(cast["second"])
    assert "My grandmother." in client.get(reverse("council_requests")).content.decode()


def test_where_a_notice_shows_nothing_of_the_thing_is_told(cast, client, tmp_path):
    recording = bring(None, tmp_path, "Secret title")
    terms = decisions.Terms(others_see=Level.NOTICE, notice_words="Ask at the house.")
    open_up(cast["council"], recording, terms=terms)
    client.force_login(cast["plain"])
    assert 'href="ask/"' in client.get(reverse("recording", args=[recording.ref])).content.decode()
    assert "Secret title" not in client.get(ask_url(recording)).content.decode()
    page = client.post(ask_url(recording), {"reason": "Family."}, follow=True).content.decode()
    assert "Secret title" not in page
    assert "Something the council keeps" in page


def test_what_is_hidden_cannot_be_asked_for_and_looks_as_if_it_never_was(cast, client, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    opened = bring(None, tmp_path, "Open", hz=300)
    open_up(cast["council"], opened)
    for name in (None, "plain"):
        if name:
            client.force_login(cast[name])
        never = client.get(reverse("ask_recording", args=["neverwas"]))
        for item in (recording, opened):
            answer = client.get(ask_url(item))
            assert (answer.status_code, normal(answer.content)) == (404, normal(never.content))
            assert client.post(ask_url(item), {"reason": "x"}).status_code == 404
    assert not Ask.ungated.exists()


def test_a_visitor_signs_in_first_and_the_council_entrusts_itself(cast, client, described):
    assert client.get(ask_url(described)).status_code == 302
    client.force_login(cast["council"])
    assert client.get(ask_url(described)).status_code == 404
    assert ask_url(described) not in client.get(reverse("recording", args=[described.ref])).content.decode()


def test_a_request_can_be_taken_back_by_whoever_asked_alone(cast, client, described):
    made = ask_for(cast, described)
    address = reverse("take_back_request", args=[made.ref])
    client.force_login(cast["keeper"])
    client.post(address)
    assert Ask.ungated.exists()
    client.force_login(cast["plain"])
    client.post(address)
    assert not Ask.ungated.exists()


def test_what_is_closed_since_is_no_longer_named_to_whoever_asked(cast, client, described):
    ask_for(cast, described)
    open_up(cast["council"], described, terms=decisions.Terms())
    client.force_login(cast["plain"])
    page = client.get(reverse("requests")).content.decode()
    assert "A talk" not in page
    assert "Something the council keeps" in page


# --- answering ---


def answer(client, made: Ask, **given: object) -> str:
    return client.post(reverse("answer_request", args=[made.ref]), given, follow=True).content.decode()


def test_granted_once_it_is_met_for_a_day_and_a_night(cast, client, described):
    made = ask_for(cast, described)
    client.force_login(cast["council"])
    answer(client, made, answer="once", words="Listen well.")
    assert Gate(cast["plain"]).level(described.pk) == Level.OPEN
    later = timezone.now() + timedelta(hours=24, minutes=1)
    assert Gate(cast["plain"], later).level(described.pk) == Level.DESCRIPTION
    client.force_login(cast["plain"])
    assert "Listen well." in client.get(reverse("requests")).content.decode()


def test_granted_until_a_day_that_day_included(cast, client, described):
    made = ask_for(cast, described)
    client.force_login(cast["council"])
    last = timezone.localdate() + timedelta(days=5)
    answer(client, made, answer="until", last_day=last.isoformat())
    trust = Entrustment.ungated.get(account=cast["plain"])
    assert trust.ends_at.date() == last + timedelta(days=1)
    assert (trust.granted_by, trust.reason) == (cast["council"], "asked: My grandmother speaks there.")


def test_granted_by_belonging_to_an_audience(cast, client, described):
    made = ask_for(cast, described)
    client.force_login(cast["council"])
    answer(client, made, answer="belong", audience=Audience.objects.get(name="family").ref)
    assert Membership.objects.get(account=cast["plain"]).granted_by == cast["council"]
    assert Gate(cast["plain"]).level(described.pk) == Level.OPEN
    said = "granted, by belonging to “family”, with no end set"
    assert said in client.get(reverse("council_requests")).content.decode()
    client.force_login(cast["plain"])
    assert said in client.get(reverse("requests")).content.decode()


def test_a_grant_that_opens_nothing_yet_is_told_to_whoever_gave_it(cast, client, described):
    made = ask_for(cast, described)
    client.force_login(cast["council"])
    page = answer(client, made, answer="belong", audience=Audience.objects.get(name="women").ref)
    assert "does not meet “A talk” yet" in page


def test_declined_with_words(cast, client, described):
    made = ask_for(cast, described)
    client.force_login(cast["council"])
    assert "Write a few words" in answer(client, made, answer="no", words="")
    answer(client, made, answer="no", words="Please come and talk with us.")
    assert Gate(cast["plain"]).level(described.pk) == Level.DESCRIPTION
    client.force_login(cast["plain"])
    assert "Please come and talk with us." in client.get(reverse("requests")).content.decode()


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"answer": ""}, "Choose the answer"),
        ({"answer": "until"}, "Give the last day"),
        ({"answer": "until", "last_day": "2001-01-01"}, "Give a last day that is still to come."),
        ({"answer": "belong"}, "Choose the audience."),
    ],
)
def test_an_answer_that_cannot_be_is_refused_in_words(cast, client, described, given, words):
    made = ask_for(cast, described)
    client.force_login(cast["council"])
    assert words in answer(client, made, **given)
    assert Ask.ungated.get().state == "waiting"


def test_an_answer_is_given_once_and_never_to_oneself(cast, described):
    made = ask_for(cast, described)
    asking.decline(cast["council"], made.ref, "Not now.")
    with pytest.raises(ValidationError, match="answered already"):
        asking.grant_once(cast["second"], made.ref)
    own = ask_for(cast, described)
    cast["plain"].is_council = True
    cast["plain"].save()
    with pytest.raises(ValidationError, match="Nobody answers their own request"):
        asking.grant_once(cast["plain"], own.ref)


@pytest.mark.parametrize(
    "given", [{"answer": "once"}, {"answer": "until", "last_day": "2999-01-01"}, {"answer": "belong"}]
)
def test_a_grant_of_what_consent_closed_is_refused_in_words(cast, client, described, given):
    made = ask_for(cast, described)
    decisions.state_consent(None, described, "withdrawn", "the speaker", date(2021, 1, 1))
    client.force_login(cast["council"])
    women = Audience.objects.get(name="women").ref
    page = html.unescape(answer(client, made, audience=women, **given))
    assert "was taken back by the speaker on 1 January 2021" in page
    assert Ask.ungated.get().state == "waiting"
    assert Gate(cast["plain"]).level(described.pk) == Level.NOTHING
    answer(client, made, answer="no", words="They took it back.")
    assert Ask.ungated.get().state == "declined"


def test_only_the_council_answers(cast, client, described):
    made = ask_for(cast, described)
    pages = [reverse("council_requests"), reverse("answer_request", args=[made.ref]), reverse("words")]
    pages.append(reverse("cautions", args=["recording", described.ref]))
    for name in ("archivist", "educator", "keeper", "family", "plain"):
        client.force_login(cast[name])
        assert [client.get(page).status_code for page in pages] == [404] * 4
        assert client.post(pages[1], {"answer": "once"}).status_code == 404
    assert Ask.ungated.get().state == "waiting"


# --- cautions ---


def test_a_caution_is_said_before_playing_on_what_it_is_about(cast, client, tmp_path):
    topic = writing.add_topic(None, [writing.NameGiven("en", "Burials", True)])
    place = writing.add_place(
        None, [writing.NameGiven("en", "The cove", True)], nature="cove", latitude_deg=46.0, longitude_deg=-38.0
    )
    recording = bring(None, tmp_path, "A talk")
    part = segment(recording, 0, 1000, "A part", topics=[topic.pk], places=[place.pk])
    other = segment(recording, 1000, 2000, "Another")
    open_up(cast["council"], recording, topic, place)
    client.force_login(cast["council"])
    client.post(reverse("cautions", args=["segment", part.ref]), {"kinds": ["violence"]})
    client.post(reverse("cautions", args=["topic", topic.ref]), {"kinds": ["mourning"]})
    client.logout()

    def said(item) -> tuple[bool, bool]:
        client.get(reverse(f"{item.kind}_sound", args=[item.ref]))  # has it built
        page = client.get(reverse(item.kind, args=[item.ref])).content.decode()
        found = tuple(str(wordbook.say(kind)) in page for kind in ("violence", "mourning"))
        if any(found):
            assert page.index("Take care") < page.index("<audio")
        return found

    assert said(part) == (True, True)
    assert said(other) == (False, False)
    assert said(recording) == (True, True)
    on_the_map = client.get(reverse("map_place", args=[place.ref])).content.decode()
    assert 0 < on_the_map.index(str(wordbook.say("violence"))) < on_the_map.index("<audio")
    client.force_login(cast["council"])
    client.post(reverse("cautions", args=["segment", part.ref]), {})
    assert said(part) == (False, True)


def test_what_is_not_met_cautions_nobody(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    part = segment(recording, 0, 1000, "A part")
    open_up(cast["council"], recording)
    cautioning.choose(cast["council"], part, ["sacred"])
    assert cautioning.words_for(Gate(None), recording.pk)
    open_up(cast["council"], part, terms=decisions.Terms())
    assert cautioning.words_for(Gate(None), recording.pk) == ()


# --- the community's words ---


def test_the_communitys_words_stand_everywhere_at_once(cast, client, described):
    address = reverse("recording", args=[described.ref])
    assert "Only a description is open to you" in client.get(address).content.decode()
    client.force_login(cast["council"])
    page = client.post(reverse("words"), {"described_title": "This rests with its family"}, follow=True)
    assert "The pages say it so from now on." in page.content.decode()
    client.logout()
    assert "This rests with its family" in client.get(address).content.decode()
    client.force_login(cast["council"])
    client.post(reverse("words"), {"described_title": ""})
    client.logout()
    assert "Only a description is open to you" in client.get(address).content.decode()
    assert not Words.ungated.exists()


def test_long_words_have_room_and_stay_one_line(cast, client):
    client.force_login(cast["council"])
    assert '<textarea name="mourning"' in client.get(reverse("words")).content.decode()
    client.post(reverse("words"), {"mourning": "Somebody who has died\r\nis heard here."})
    assert wordbook.say("mourning") == "Somebody who has died is heard here."


def test_words_too_long_are_refused(cast, client):
    client.force_login(cast["council"])
    page = client.post(reverse("words"), {"ask": "x" * 501}).content.decode()
    assert "at most 500" in page
    assert not Words.ungated.exists()


def test_every_word_has_a_default_that_can_be_said():
    assert all(wordbook.say(key) for key in wordbook.DEFAULTS)


# --- copies ---


def test_a_withdrawal_lists_the_copies_that_left_and_who_has_yet_to_be_told(cast, client, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    part = segment(recording, 0, 1000, "A part")
    copies.note(cast["archivist"], [part], "the school", "a lesson on a stick", date(2026, 1, 5))
    address = reverse("consent", args=[recording.ref])
    client.force_login(cast["council"])
    client.post(address, {"copy": "yes", "copy-to_whom": "Ruvek's family", "copy-what": "a disc",
                          "copy-given_on": "2026-01-02"})
    page = client.get(address).content.decode()
    assert page.index("Ruvek&#x27;s family") < page.index("the school")
    assert "not told yet" not in page
    client.post(address, {"said": "withdrawn", "given_by": "Ruvek", "stated_on": "2026-03-08"})
    page = client.get(address).content.decode()
    assert page.count("not told yet") == 2
    client.post(address, {"told": CopyGiven.ungated.get(to_whom="the school").ref})
    page = client.get(address).content.decode()
    assert page.count("not told yet") == 1
    assert page.index("Ruvek&#x27;s family") < page.index("the school"), "who has yet to be told comes first"


def test_a_copy_without_a_holder_is_refused(cast, client, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    client.force_login(cast["council"])
    page = client.post(reverse("consent", args=[recording.ref]), {"copy": "yes", "copy-to_whom": ""})
    assert "Write who has the copy" in page.content.decode()
    with pytest.raises(ValidationError, match="who has the copy"):
        copies.note(None, [Recording.ungated.get()], " ", "")
