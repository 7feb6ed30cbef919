"""Audiences, trust and consent: who belongs, who is entrusted, who took back; and the ledger of it all."""

from __future__ import annotations

import html
from datetime import date, timedelta
from io import StringIO

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.db import connection
from django.urls import reverse
from django.utils import timezone

from archive.access import audiences, decisions, founding, ledger, met, triggers
from archive.access.gate import Gate
from archive.models import Audience, Consent, Entrustment, LedgerRow, Level, Membership, OwnWish, Segment

from .conftest import LONG_AGO, bring, open_up, segment

pytestmark = pytest.mark.django_db

PDF = b"%PDF-1.4 a signed paper"


@pytest.fixture
def as_council(cast, client):
    client.force_login(cast["council"])
    return client


def level(account, item) -> Level:
    gate = Gate(account)
    assert gate.level(item.pk) == gate.level_now(type(item).ungated.get(pk=item.pk)), "the two readings differ"
    return gate.level(item.pk)


def page_of(name: str) -> str:
    return reverse("audience", args=[Audience.objects.get(name=name).ref])


def add(client, audience: str, account, **more):
    return client.post(page_of(audience), {"what": "member", "member-person": account.ref, **more}, follow=True)


def test_only_the_council_finds_these_pages(cast, client, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    pages = [reverse("audiences"), page_of("family"), reverse("ledger")]
    pages += [reverse(name, args=["recording", recording.ref]) for name in ("entrust", "report")]
    pages += [reverse("consent", args=[recording.ref])]
    for name in ("archivist", "educator", "keeper", "family", "plain"):
        client.force_login(cast[name])
        assert {client.get(page).status_code for page in pages} == {404}
        assert {client.post(page, {"what": "member"}).status_code for page in pages} <= {404, 405}


# --- audiences ---


def test_a_person_is_added_and_ended_with_dates_and_who_granted(cast, as_council, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    open_up(cast["council"], recording, terms=decisions.Terms([Audience.objects.get(name="women")]))
    add(as_council, "women", cast["plain"], **{"member-last_day": "2999-01-31"})
    member = Membership.objects.get(account=cast["plain"])
    assert (member.granted_by, member.ends_at.isoformat()) == (cast["council"], "2999-02-01T00:00:00+00:00")
    assert level(cast["plain"], recording) == Level.OPEN
    page = as_council.get(page_of("women")).content.decode()
    assert "granted by council" in page
    assert "31 January 2999" in page
    assert "31 January 2999" in as_council.get(reverse("ledger")).content.decode()
    ref = Audience.objects.get(name="women").ref
    as_council.post(reverse("end_member", args=[ref]), {"membership": member.pk})
    assert level(cast["plain"], recording) == Level.NOTHING
    again = as_council.post(reverse("end_member", args=[ref]), {"membership": member.pk}, follow=True)
    assert "has ended already" in again.content.decode()


def test_belonging_that_ends_before_it_starts_is_refused(cast, as_council):
    days = {"member-first_day": "2026-05-02", "member-last_day": "2026-05-01"}
    page = add(as_council, "women", cast["plain"], **days).content.decode()
    assert "It would end before it starts." in page
    assert not Membership.objects.filter(account=cast["plain"]).exists()
    now = timezone.now()
    with pytest.raises(ValidationError, match="end before it starts"):
        decisions.join(cast["council"], Audience.objects.get(name="women"), cast["plain"], now, now)


def test_an_audience_can_be_the_overlap_or_the_union_of_others(cast, tmp_path):
    by = cast["council"]
    family, women = Audience.objects.get(name="family"), Audience.objects.get(name="women")
    decisions.join(by, women, cast["plain"], LONG_AGO)
    both = audiences.add(by, "women of the family", combining="all", parts=[family, women])
    either = audiences.add(by, "women and family", combining="any", parts=[family, women])
    around = audiences.add(by, "around both", combining="any", parts=[both, either])
    one, two, three = (bring(None, tmp_path, title, hz=hz) for title, hz in (("A", 200), ("B", 300), ("C", 400)))
    for recording, audience in ((one, both), (two, either), (three, around)):
        open_up(by, recording, terms=decisions.Terms([audience]))
    assert [level(cast["plain"], item) for item in (one, two, three)] == [Level.NOTHING, Level.OPEN, Level.OPEN]
    decisions.join(by, women, cast["family"], LONG_AGO)
    assert [level(cast["family"], item) for item in (one, two, three)] == [Level.OPEN] * 3
    assert [level(None, item) for item in (one, two, three)] == [Level.NOTHING] * 3
    everybody = [audiences.one(Gate(by), audience.ref).through for audience in (both, either, family)]
    assert everybody == [("family",), ("family", "plain"), ()]


def test_an_audience_cannot_contain_itself(cast, as_council):
    by = cast["council"]
    family, women = Audience.objects.get(name="family"), Audience.objects.get(name="women")
    outer = audiences.add(by, "outer", combining="any", parts=[family, women])
    inner = audiences.add(by, "inner", combining="any", parts=[outer, women])
    sent = {"what": "made_of", "made-combining": "any", "made-parts": [inner.ref, women.ref]}
    page = as_council.post(page_of("outer"), sent).content.decode()
    assert "“outer” would contain itself, by way of “inner”. Take that one away." in page
    with pytest.raises(ValidationError, match="contain itself"):
        audiences.define(by, outer, "any", [outer, women])


def test_a_ring_made_behind_our_back_holds_nobody(cast, tmp_path):
    """Were two definitions to race past the check: nobody is let in by a ring."""
    family = Audience.objects.get(name="family")
    one = Audience.objects.create(name="one", combining="any")
    two = Audience.objects.create(name="two", combining="any")
    one.parts.set([two, family])
    two.parts.set([one, family])
    recording = bring(None, tmp_path, "A talk")
    open_up(cast["council"], recording, terms=decisions.Terms([one]))
    assert level(cast["family"], recording) == Level.NOTHING


def test_made_of_others_takes_no_people_and_needs_two(cast):
    by = cast["council"]
    family, women = Audience.objects.get(name="family"), Audience.objects.get(name="women")
    with pytest.raises(ValidationError, match="Mark at least two"):
        audiences.define(by, women, "any", [family])
    with pytest.raises(ValidationError, match="has people of its own"):
        audiences.define(by, family, "any", [women, founding.signed_in()])
    made = audiences.add(by, "both", combining="all", parts=[family, women])
    with pytest.raises(ValidationError, match="is made of other audiences"):
        decisions.join(by, made, cast["plain"])
    with pytest.raises(ValidationError, match="fills itself"):
        decisions.join(by, founding.everyone(), cast["plain"])


def test_two_audiences_of_one_name_are_refused(cast, as_council):
    page = as_council.post(reverse("audiences"), {"new-name": "FAMILY"}).content.decode()
    assert "There is an audience of that name already." in page


def test_nobody_adds_themselves_alone(cast, as_council, client, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    open_up(cast["council"], recording, terms=decisions.Terms([Audience.objects.get(name="women")]))
    page = add(as_council, "women", cast["council"]).content.decode()
    assert "Nobody adds themselves alone." in page
    wish = OwnWish.ungated.get()
    assert level(cast["council"], recording) == Level.DESCRIPTION
    answer = as_council.post(reverse("answer_wish", args=[wish.ref]), {"answer": "yes"}, follow=True)
    assert "Nobody confirms their own wish." in answer.content.decode()
    assert level(cast["council"], recording) == Level.DESCRIPTION
    client.force_login(cast["second"])
    assert "council: “women”" in client.get(reverse("council")).content.decode()
    client.post(reverse("answer_wish", args=[wish.ref]), {"answer": "yes"})
    assert level(cast["council"], recording) == Level.OPEN
    assert Membership.objects.get(account=cast["council"]).granted_by == cast["second"]
    assert "answered already" in client.post(
        reverse("answer_wish", args=[wish.ref]), {"answer": "yes"}, follow=True
    ).content.decode()


def test_a_second_member_can_decline(cast, as_council, client):
    add(as_council, "women", cast["council"])
    client.force_login(cast["second"])
    client.post(reverse("answer_wish", args=[OwnWish.ungated.get().ref]), {"answer": "no"})
    assert not Membership.objects.filter(account=cast["council"]).exists()
    assert audiences.wishes(Gate(cast["second"])) == []


def test_nobody_lets_themselves_in_by_what_an_audience_is_made_of(cast, tmp_path):
    family, women = Audience.objects.get(name="family"), Audience.objects.get(name="women")
    closed = audiences.add(cast["council"], "closed", combining="all", parts=[family, women])
    open_up(cast["council"], bring(None, tmp_path, "A talk"), terms=decisions.Terms([closed]))
    decisions.join(cast["second"], women, cast["council"])
    with pytest.raises(ValidationError, match="put you yourself into"):
        audiences.define(cast["council"], closed, "any", [family, women])
    audiences.define(cast["second"], closed, "any", [family, women])


# --- trust ---


def test_a_council_member_listens_by_entrusting_themselves_and_the_ledger_tells(cast, as_council, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    address = reverse("entrust", args=["recording", recording.ref])
    assert level(cast["council"], recording) == Level.DESCRIPTION
    assert "Write why" in as_council.post(address, {"person": cast["council"].ref, "reason": ""}).content.decode()
    as_council.post(address, {"person": cast["council"].ref, "reason": "to decide about it"})
    assert level(cast["council"], recording) == Level.OPEN
    row = LedgerRow.objects.get(event="entrusted", actor=cast["council"].ref)
    assert "to decide about it" in row.detail
    page = as_council.get(address).content.decode()
    number = page.split('name="end" value="')[1].split('"')[0]
    as_council.post(address, {"end": number})
    assert level(cast["council"], recording) == Level.DESCRIPTION
    assert "has ended already" in as_council.post(address, {"end": number}, follow=True).content.decode()


def test_a_trust_has_a_last_day(cast, as_council, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    address = reverse("entrust", args=["recording", recording.ref])
    sent = {"person": cast["plain"].ref, "reason": "a visit"}
    page = as_council.post(address, {**sent, "last_day": "2001-01-01"}).content.decode()
    assert "It would end before it starts." in page
    tomorrow = timezone.localdate() + timedelta(days=1)
    as_council.post(address, {**sent, "last_day": tomorrow.isoformat()})
    assert level(cast["plain"], recording) == Level.OPEN
    later = Gate(cast["plain"], timezone.now() + timedelta(days=3))
    assert later.level(recording.pk) == Level.NOTHING


def test_nobody_is_entrusted_with_what_consent_closed(cast, as_council, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    decisions.state_consent(None, recording, "withdrawn", "Ruvek", date(2021, 1, 1))
    given = {"person": cast["plain"].ref, "reason": "to check the words"}
    page = html.unescape(as_council.post(reverse("entrust", args=["recording", recording.ref]), given).content.decode())
    assert "Consent to “A talk” was taken back by Ruvek on 1 January 2021" in page
    assert not Entrustment.ungated.filter(account=cast["plain"]).exists()


# --- consent ---


def state(client, recording, said: str, who: str = "the speaker", **more):
    sent = {"said": said, "given_by": who, "stated_on": "2026-03-08", **more}
    return client.post(reverse("consent", args=[recording.ref]), sent, follow=True)


def test_withdrawal_holds_at_once_for_everybody(cast, as_council, client, tmp_path):
    recording = bring(cast["archivist"], tmp_path, "A talk")
    part = segment(recording, 0, 1000, "A part")
    open_up(cast["council"], recording)
    state(as_council, recording, "withdrawn")
    assert level(cast["archivist"], recording) == level(None, part) == Level.NOTHING
    client.logout()
    for address in (reverse("recording_sound", args=[recording.ref]), reverse("segment", args=[part.ref])):
        assert client.get(address).status_code == 404


def test_only_those_who_withdrew_give_it_anew(cast, as_council, tmp_path):
    recording = bring(cast["archivist"], tmp_path, "A talk")
    open_up(cast["council"], recording)
    state(as_council, recording, "withdrawn", "Ruvek")
    page = state(as_council, recording, "given", "Navor").content.decode()
    assert "Consent was taken back by Ruvek. Only they can give it anew." in page
    assert level(None, recording) == Level.NOTHING
    state(as_council, recording, "given", "ruvek ")
    assert level(None, recording) == Level.OPEN
    state(as_council, recording, "withdrawn", "Ruvek")
    state(as_council, recording, "given", "Ruvek's daughter", withdrawer_agrees="on")
    assert level(None, recording) == Level.OPEN


def test_the_signed_paper_is_kept_for_the_council_alone(cast, as_council, client, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    state(as_council, recording, "given", paper=SimpleUploadedFile("signed.pdf", PDF))
    address = reverse("consent_paper", args=[recording.ref, Consent.ungated.get().paper_sha256])
    answer = as_council.get(address)
    assert (answer.content, answer["Content-Type"]) == (PDF, "application/pdf")
    assert answer["Content-Disposition"] == 'attachment; filename="signed.pdf"'
    client.force_login(cast["archivist"])
    assert client.get(address).status_code == 404


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"said": ""}, "Choose one of the three."),
        ({"given_by": " "}, "Write who says so."),
        ({"stated_on": "2999-01-01"}, "That day lies ahead."),
        ({"said": "limited"}, "Write the limits down"),
        ({"paper": SimpleUploadedFile("x.exe", b"MZ")}, "The paper must be a PDF or a picture"),
    ],
)
def test_a_statement_that_cannot_be_is_refused_in_words(cast, as_council, tmp_path, wrong, words):
    recording = bring(None, tmp_path, "A talk")
    page = state(as_council, recording, **{"said": "given", **wrong}).content.decode()
    assert words in page
    assert not Consent.ungated.exists()


# --- the ledger, to read and to verify ---


def test_who_met_it_when_and_through_which_surface(cast, as_council, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    part = segment(recording, 0, 1000, "A part")
    family = Audience.objects.get(name="family")
    open_up(cast["council"], recording, terms=decisions.Terms([family]))
    address = reverse("report", args=["recording", recording.ref])
    assert "By the ledger it was shown to nobody." in as_council.get(address).content.decode()
    met.note(Gate(cast["family"]), recording, "page")
    met.note(Gate(cast["family"]), Segment.ungated.get(pk=part.pk), "sound")
    page = as_council.get(address).content.decode()
    assert "2 times it was shown." in page
    assert page.index("its page") < page.index("its sound")
    assert ">family<" in page


def test_the_ledger_is_filtered_by_thing_person_event_and_day(cast, as_council, tmp_path):
    recording = bring(cast["archivist"], tmp_path, "A talk")
    open_up(cast["council"], recording)
    address = reverse("ledger")

    def events(**query: str) -> list[str]:
        return [one["shown"].event for one in as_council.get(address, query).context["entries"]]

    assert events(item=recording.ref) == ["decided", "recording brought in", "entrusted"]
    assert set(events(person=cast["council"].ref)) == {"decided", "joined"}
    assert events(event="decided") == ["decided"]
    assert events(until="2001-01-01") == []
    assert events(since="nonsense") != []
    assert "Meeting of 2 January 2020, minute minute 1" in as_council.get(address).content.decode()


def test_ledger_verify_names_the_first_broken_row(cast):
    for number in range(4):
        ledger.write("test", None, n=number)
    out = StringIO()
    call_command("ledger", "verify", stdout=out)
    assert "all whole" in out.getvalue()
    third = LedgerRow.objects.order_by("id")[2]
    with connection.cursor() as cursor:  # whoever can drop a guard can change a row, and is found out
        on_table = " ON archive_ledgerrow" if connection.vendor == "postgresql" else ""
        cursor.execute(f"DROP TRIGGER archive_ledgerrow_no_update{on_table}")
        cursor.execute("UPDATE archive_ledgerrow SET detail = 'x' WHERE id = %s", [third.pk])
    triggers.install()
    with pytest.raises(CommandError, match=rf"Row {third.pk} is the first broken one .*after 2 whole rows"):
        call_command("ledger", "verify")


def test_ledger_verify_misses_a_noted_head(cast):
    ledger.write("test", None)
    call_command("ledger", "verify", "--head", LedgerRow.objects.last().digest, stdout=StringIO())
    with pytest.raises(CommandError, match="no longer in it"):
        call_command("ledger", "verify", "--head", "0" * 64)
