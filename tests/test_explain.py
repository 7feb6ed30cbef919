"""Explaining: it agrees with the gate always, and tells by which tie each condition comes."""

from __future__ import annotations

import json
import random
from datetime import UTC, date, datetime
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse

from archive.access import decisions, explain, founding, writing
from archive.access.gate import Gate
from archive.models import Audience, Item, Level, Reach

from .conftest import LONG_AGO, bring, open_up, segment
from .oracle_loading import MODELS, loaded
from .oracle_worlds import SEED, random_town, random_world, together, viewers
from .test_access_oracle import gate_for

pytestmark = pytest.mark.django_db

WORLDS = 300


def ask(item, account=None, moment=None) -> explain.Explanation:
    found = Item.ungated.get(pk=item.pk)
    one = explain.of(found, account, moment)
    gate = Gate(account, one.moment)
    assert one.level == gate.level_of(type(item).ungated.get(pk=item.pk)), "the explanation and the gate differ"
    return one


def test_it_agrees_with_the_gate_over_random_worlds():
    """One item in each of 300 worlds, for one person at one moment; the ways lead to the conditions' targets."""
    for number in range(WORLDS // 50):
        rng = random.Random(f"{SEED} explain {number}")
        town = random_town(rng)
        worlds = [random_world(rng, town, each) for each in range(50)]
        with loaded(together(town, worlds)) as held:
            for world in worlds:
                name, viewer = rng.choice(list(world["items"])), rng.choice(viewers(town))
                moment = rng.choice(town["moments"])
                row = MODELS[world["items"][name]["kind"]].ungated.get(pk=held.items[name])
                one = explain.of(Item.ungated.get(pk=row.pk), held.accounts[viewer] if viewer else None, moment)
                gate = gate_for(held, viewer, moment)
                assert one.level == gate.level_now(row) == gate.level(row.pk), (SEED, number, name, viewer, moment)
                assert len(one.verdicts) == Reach.ungated.filter(item=row.pk).count()
                for verdict in one.verdicts:
                    end = verdict.way[-1].to.number if verdict.way else row.pk
                    assert end == verdict.target.number, (SEED, number, name)


def test_it_tells_the_tie_the_reason_the_decision_and_the_minute(cast, tmp_path):
    whole = writing.add_topic(None, [writing.NameGiven("en", "Craft", True)])
    topic = writing.add_topic(None, [writing.NameGiven("en", "Kilns", True)])
    writing.tie(topic, "narrower_than", whole)
    recording = bring(None, tmp_path, "A talk")
    part = segment(recording, 0, 1000, "A part", topics=[topic.pk])
    open_up(cast["council"], recording, topic, whole)
    family = Audience.objects.get(name="family")
    minute = decisions.Minute(date(2026, 3, 8), "2026/2", "all", "The family asked.")
    terms = decisions.Terms([family], scope="tied", others_see=Level.NOTICE, notice_words="Ask.")
    decisions.decide(cast["council"], minute, decisions.Act([whole.pk], terms))
    one = ask(part, cast["plain"])
    verdict = one.verdicts[0]
    assert one.level == Level.NOTICE
    assert [(step.words, step.to.text) for step in verdict.way] == [
        ("is told under the topic", "Kilns"),
        ("is narrower than", "Craft"),
    ]
    assert verdict.why == "Belongs to none of: family."
    assert (verdict.decision.minute, verdict.decision.reason) == ("2026/2", "The family asked.")
    satisfied = ask(part, cast["family"])
    assert satisfied.level == Level.OPEN
    assert satisfied.verdicts[0].why == "Belongs to family."
    assert "every condition that reaches it is satisfied" in satisfied.reasons[0]


def test_undecided_trust_council_and_consent_are_told(cast, tmp_path):
    recording = bring(cast["archivist"], tmp_path, "A talk")
    part = segment(recording, 0, 1000, "A part")
    waiting = ask(part)
    assert [label.text for label in waiting.waits_for] == ["A talk"]
    trusted = ask(part, cast["archivist"])
    assert (trusted.level, trusted.trusts[0].item.text) == (Level.OPEN, "A talk")
    council = ask(part, cast["council"])
    assert council.level == Level.DESCRIPTION
    assert "As a council member" in council.reasons[-1]
    open_up(cast["council"], recording)
    decisions.state_consent(None, recording, "withdrawn", "the speaker", date(2021, 1, 1))
    taken = ask(part, cast["archivist"])
    assert taken.level == Level.NOTHING
    assert taken.verdicts[0].why == "Consent was taken back; nobody satisfies it."
    assert "the entrusted too" in taken.reasons[-1]


def test_seasons_and_days_are_told_with_the_next_change(cast, tmp_path):
    winter = founding.season("Winter", (11, 1), (2, 15))
    recording = bring(None, tmp_path, "A talk")
    open_up(cast["council"], recording, terms=decisions.Terms([founding.everyone()], season=winter))
    summer = ask(recording, None, datetime(2026, 6, 1, tzinfo=UTC))
    assert summer.verdicts[0].why == (
        "Belongs to everyone. The season “Winter” is closed; it opens on 1 November 2026."
    )
    assert summer.changes_at == datetime(2026, 11, 1, tzinfo=UTC)
    inside = ask(recording, None, datetime(2026, 12, 1, tzinfo=UTC))
    assert inside.level == Level.OPEN
    assert inside.verdicts[0].why.endswith("is open until 16 February 2027.")


def test_a_condition_not_in_force_says_when(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    terms = decisions.Terms(starts_at=datetime(2030, 1, 1, tzinfo=UTC), ends_at=datetime(2031, 1, 1, tzinfo=UTC))
    open_up(cast["council"], recording, terms=terms)
    before = ask(recording, None, datetime(2026, 1, 1, tzinfo=UTC))
    assert (before.level, before.verdicts[0].why) == (Level.OPEN, "It only begins on 1 January 2030.")
    after = ask(recording, None, datetime(2032, 1, 1, tzinfo=UTC))
    assert after.verdicts[0].why == "It has run out since 1 January 2031."


def test_an_account_switched_off_is_like_a_visitor(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    open_up(cast["council"], recording, terms=decisions.Terms([founding.signed_in()]))
    cast["plain"].is_active = False
    cast["plain"].save()
    one = ask(recording, cast["plain"])
    assert one.level == Level.NOTHING
    assert "switched off" in one.who


def test_no_role_opens_anything(cast, tmp_path):
    """Roles say what people may do, never what they may hear; nor does being the system's superuser."""
    recording = bring(None, tmp_path, "A talk")
    open_up(cast["council"], recording, terms=decisions.Terms([Audience.objects.get(name="women")]))
    cast["keeper"].is_superuser = cast["keeper"].is_staff = True
    cast["keeper"].save()
    for name in ("archivist", "educator", "keeper", "plain"):
        assert ask(recording, cast[name]).level == Level.NOTHING, name
    everything = cast["plain"]
    everything.is_archivist = everything.is_educator = everything.is_keeper = everything.is_superuser = True
    everything.save()
    assert ask(recording, everything).level == Level.NOTHING
    decisions.join(cast["council"], Audience.objects.get(name="women"), everything, LONG_AGO)
    assert ask(recording, everything).level == Level.OPEN


# --- the page ---


def test_the_page_answers_the_council_alone(cast, client, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    open_up(cast["council"], recording, terms=decisions.Terms([Audience.objects.get(name="family")]))
    address = reverse("explain", args=["recording", recording.ref])
    client.force_login(cast["family"])
    assert client.get(address).status_code == 404
    client.force_login(cast["council"])
    page = client.get(address, {"person": cast["family"].ref, "at": "2026-06-01T21:00"}).content.decode()
    assert "For family" in page
    assert "1 June 2026, 21:00" in page
    assert "Belongs to family." in page
    assert "Belongs to none of: family." in client.get(address).content.decode()
    assert "That is no moment." in client.get(address, {"at": "some day"}).content.decode()
    assert client.get(reverse("explain", args=["recording", "nothere"])).status_code == 404


def test_the_page_tells_moments_by_the_clock_of_the_home_place(cast, client, tmp_path):
    founding.found(language="en", time_zone="Etc/GMT+3")
    winter = founding.season("Winter", (11, 1), (2, 15))
    recording = bring(None, tmp_path, "A talk")
    open_up(cast["council"], recording, terms=decisions.Terms([founding.everyone()], season=winter))
    client.force_login(cast["council"])
    page = client.get(reverse("explain", args=["recording", recording.ref]), {"at": "2026-12-01T21:00"})
    assert "1 December 2026, 21:00 (UTC−03:00)" in page.content.decode()
    assert "on 16 February 2027, 00:00 at the earliest" in page.content.decode()


def test_the_page_explains_a_closed_span_too(cast, client, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    span = writing.close_span(None, recording, 0, 1000, "not for all")
    client.force_login(cast["council"])
    page = client.get(reverse("explain", args=["span", span.ref])).content.decode()
    assert "closed stretch 0:00 to 0:01 of “A talk”" in page


# --- the command ---


def run(*given: str) -> str:
    out = StringIO()
    call_command("explain", *given, stdout=out)
    return out.getvalue()


def test_the_command_explains_in_words_and_in_json(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    part = segment(recording, 0, 1000, "A part")
    open_up(cast["council"], recording, terms=decisions.Terms([Audience.objects.get(name="family")]))
    said = run(f"segments/{part.ref}/")
    assert "NOT satisfied" in said
    assert "lies in the recording “A talk”" in said
    found = json.loads(run(part.ref, "--as", "family", "--at", "2026-06-01T21:00", "--json"))
    assert (found["met"], found["level"], found["as"]) == (True, "open", "family")
    assert found["at"] == "2026-06-01T21:00:00+00:00"
    assert found["conditions"][0]["way"] == [
        {"tie": "lies in the recording", "to": {"kind": "recording", "ref": recording.ref, "name": "A talk"}}
    ]


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (("nothere",), "There is no item “nothere”"),
        (("REF", "--as", "nobody"), "There is no account “nobody”"),
        (("REF", "--at", "2026-13-40"), "“2026-13-40” is no moment"),
        (("REF", "--at", "soon"), "“soon” is no moment"),
    ],
)
def test_the_command_says_what_is_amiss(cast, tmp_path, given, words):
    ref = bring(None, tmp_path, "A talk").ref
    with pytest.raises(CommandError, match=words):
        run(*(ref if each == "REF" else each for each in given))
