"""Seeing as an audience: the whole site as they meet it, read-only; it gives nobody ears."""

from __future__ import annotations

import pytest
from django.urls import reverse

from archive.access import decisions, founding, writing
from archive.access.gate import AudienceGate, Gate
from archive.models import Account, Audience, Decision, LedgerRow, Level

from .conftest import LONG_AGO, bring, open_up, segment

pytestmark = pytest.mark.django_db


@pytest.fixture
def as_council(cast, client):
    client.force_login(cast["council"])
    return client


def look_as(client, name: str):
    return client.post(reverse("see_as"), {"audience": Audience.objects.get(name=name).ref}, follow=True)


def test_its_gate_is_that_of_a_member_but_gives_no_ears(cast, tmp_path):
    family = Audience.objects.get(name="family")
    one, two, three = (bring(None, tmp_path, title, hz=hz) for title, hz in (("A", 200), ("B", 300), ("C", 400)))
    open_up(cast["council"], one, terms=decisions.Terms([family]))
    open_up(cast["council"], two, terms=decisions.Terms([founding.signed_in()], others_see=Level.DESCRIPTION))
    open_up(cast["council"], three, terms=decisions.Terms([Audience.objects.get(name="women")]))
    own = Gate(cast["council"])
    for name, member in (("family", cast["family"]), ("signed in", cast["plain"]), ("everyone", None)):
        looking = AudienceGate(Audience.objects.get(name=name), cast["council"])
        theirs = Gate(member)
        assert looking.levels.tolist() == [min(pair) for pair in zip(theirs.levels, own.levels, strict=True)], name
        for row in (one, two, three):
            assert looking.level_now(row) == min(theirs.level_now(row), own.level_now(row))
    assert AudienceGate(family, cast["council"]).level(one.pk) == Level.DESCRIPTION
    decisions.entrust(cast["council"], cast["council"], one, "to listen")
    assert AudienceGate(family, cast["council"]).level(one.pk) == Level.OPEN


def test_the_whole_site_is_as_they_meet_it(cast, as_council, tmp_path):
    names = [writing.NameGiven("en", "Hidden cove", True)]
    place = writing.add_place(None, names, latitude_deg=46.0, longitude_deg=-38.0)
    seen, hidden = bring(None, tmp_path, "For the family", hz=300), bring(None, tmp_path, "Not for them")
    part = segment(seen, 0, 1000, "A told part", places=[place.pk])
    open_up(cast["council"], seen, terms=decisions.Terms([Audience.objects.get(name="family")]))
    page = look_as(as_council, "family").content.decode()
    assert "You see what “family” sees." in page
    assert "Leave this view" in page
    listed = as_council.get(reverse("recordings")).content.decode()
    assert "For the family" in listed
    assert "Not for them" not in listed
    assert as_council.get(reverse("recording", args=[hidden.ref])).status_code == 404
    assert as_council.get(reverse("place", args=[place.ref])).status_code == 404
    assert as_council.get(reverse("segment_sound", args=[part.ref])).status_code == 404
    shown = as_council.get(reverse("segment", args=[part.ref])).content.decode()
    assert "Hidden cove" not in shown
    assert reverse("decide", args=["segment", part.ref]) not in shown, "an audience has no such link"
    for name in ("council", "audiences", "ledger", "see_as"):
        assert as_council.get(reverse(name)).status_code == 404


def test_what_is_met_while_looking_is_written_under_the_lookers_own_name(cast, as_council, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    part = segment(recording, 0, 1000, "A part")
    open_up(cast["council"], recording, terms=decisions.Terms([Audience.objects.get(name="family")]))
    decisions.entrust(cast["council"], cast["council"], recording, "to listen")
    look_as(as_council, "family")
    assert as_council.get(reverse("segment_sound", args=[part.ref])).status_code == 200
    last = LedgerRow.objects.filter(event="met").last()
    assert (last.actor, last.item) == (cast["council"].ref, part.ref)


def test_nothing_that_is_sent_is_taken_but_leaving(cast, as_council, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    look_as(as_council, "family")
    sent = [
        reverse("decide", args=["recording", recording.ref]), reverse("close_now", args=["recording", recording.ref]),
        reverse("audiences"), reverse("sign_out"), reverse("change_password"), reverse("see_as"),
    ]  # fmt: skip
    for address in sent:
        answer = as_council.post(address, {"step": "confirm"})
        assert answer.status_code == 403
        assert "nothing can be sent" in answer.content.decode()
    assert as_council.put(reverse("home")).status_code == 403
    assert Decision.objects.count() == 0
    page = as_council.post(reverse("leave_seeing"), follow=True).content.decode()
    assert "You are yourself again." in page
    assert "You see what" not in page
    assert as_council.get(reverse("recording", args=[recording.ref])).status_code == 200


def test_only_the_council_looks_as_others(cast, client, tmp_path):
    for name in ("archivist", "keeper", "plain"):
        client.force_login(cast[name])
        assert client.get(reverse("see_as")).status_code == 404
        assert client.post(reverse("see_as"), {"audience": "x"}).status_code == 404
        assert client.post(reverse("leave_seeing")).status_code == 404


def test_whoever_leaves_the_council_is_themselves_at_once(cast, as_council):
    look_as(as_council, "family")
    Account.objects.filter(pk=cast["council"].pk).update(is_council=False)
    assert "You see what" not in as_council.get(reverse("home")).content.decode()


def test_an_audience_made_of_others_is_seen_as_well(cast, as_council, tmp_path):
    from archive.access import audiences

    decisions.join(cast["council"], Audience.objects.get(name="women"), cast["plain"], LONG_AGO)
    parts = [Audience.objects.get(name=name) for name in ("family", "women")]
    either = audiences.add(cast["council"], "either", combining="any", parts=parts)
    recording = bring(None, tmp_path, "A talk")
    open_up(cast["council"], recording, terms=decisions.Terms([either]))
    look_as(as_council, "women")
    assert as_council.get(reverse("recording", args=[recording.ref])).status_code == 200


def test_an_unknown_audience_is_asked_for_again(cast, as_council):
    page = as_council.post(reverse("see_as"), {"audience": "nothere"}).content.decode()
    assert "Choose the audience to look as." in page
