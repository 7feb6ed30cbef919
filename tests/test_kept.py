"""Kept searches: what is new since, for whom, and that nothing tells what was hidden then or now."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from archive.access import decisions, keeping, writing
from archive.access.gate import Gate, NotMet
from archive.models import Cue, Item, KeptSearch, Tie
from archive.views import find_form

from .conftest import MINUTE, bring, open_up, segment, signed_in, without_token
from .test_search import named, said

pytestmark = pytest.mark.django_db


def keep(client: Client, asked: str) -> None:
    assert client.post("/find/keep/", {"asked": asked}).status_code == 302


def body(client: Client, address: str) -> str:
    return without_token(client.get(address).content).decode()


def listed(client: Client) -> str:
    return client.get("/account/kept/").content.decode()


@pytest.fixture
def talk(cast, tmp_path):
    recording = bring(None, tmp_path, "Talk by the hearth")
    figure = named("figure", "The Stair", stars=[65474])
    said(recording, [(1500, 1900, "We bank the fire"), (4000, 4900, "And so to sleep")])
    part = segment(recording, 1000, 2000, "Banking", figures=[figure.pk])
    open_up(cast["council"], recording, figure)
    return {"recording": recording, "figure": figure, "part": part}


def test_what_comes_after_is_new_until_it_is_seen(cast, talk):
    client = signed_in(cast["plain"])
    keep(client, "q=sky:stair")
    assert "Nothing new" in listed(client)
    more = segment(talk["recording"], 3000, 3900, "Later", figures=[talk["figure"].pk])
    shown = listed(client)
    assert "1 new" in shown
    row = KeptSearch.ungated.get()
    news = client.get("/find/", {"q": "sky:stair", "new": row.ref}).content.decode()
    assert more.ref in news
    assert f"/segments/{talk['part'].ref}/" not in news
    assert "New in a kept search since" in news
    assert client.post(f"/account/kept/{row.ref}/seen/").status_code == 302
    assert "Nothing new" in listed(client)


def test_the_find_page_offers_to_keep(cast, talk):
    client = signed_in(cast["plain"])
    assert "Keep this search" in client.get("/find/", {"q": "fire"}).content.decode()
    keep(client, "q=fire")
    assert "You keep this search" in client.get("/find/", {"q": "fire", "page": "1"}).content.decode()
    keep(client, "q=fire")
    assert KeptSearch.ungated.count() == 1
    assert "Keep this search" not in Client().get("/find/", {"q": "fire"}).content.decode()
    assert "Keep this search" not in client.get("/find/").content.decode()


def test_it_can_be_let_go(cast, talk):
    client = signed_in(cast["plain"])
    keep(client, "q=fire")
    ref = KeptSearch.ungated.get().ref
    assert client.post(f"/account/kept/{ref}/let-go/").status_code == 302
    assert not KeptSearch.ungated.exists()
    assert client.post(f"/account/kept/{ref}/let-go/").status_code == 404


def test_it_is_ones_own(cast, talk):
    keep(signed_in(cast["plain"]), "q=fire")
    ref = KeptSearch.ungated.get().ref
    other = signed_in(cast["family"])
    for verb in ("seen", "let-go"):
        assert other.post(f"/account/kept/{ref}/{verb}/").status_code == 404
        assert other.get(f"/account/kept/{ref}/{verb}/").status_code == 405
    assert "fire" not in listed(other)
    page, never = (body(other, f"/find/?q=fire&new={one}") for one in (ref, "a" * 12))
    assert page.replace(ref, "a" * 12) == never
    with pytest.raises(NotMet):
        keeping.one(Gate(None), ref)
    assert Client().post("/find/keep/", {"asked": "q=fire"}).url.startswith("/sign-in/")


@pytest.mark.parametrize("asked", ["", "page=2", "%%%", "q=", "x" * 9000, "q=" + "w+" * 3000, "figure=zz&q=%00"])
def test_any_question_is_answered(cast, talk, asked):
    client = signed_in(cast["plain"])
    assert client.post("/find/keep/", {"asked": asked}).status_code == 302
    assert client.get("/account/kept/").status_code == 200


def test_there_is_a_most(cast, talk, monkeypatch):
    monkeypatch.setattr(keeping, "MOST_KEPT", 1)
    client = signed_in(cast["plain"])
    keep(client, "q=fire")
    told = client.post("/find/keep/", {"asked": "q=sleep"}, follow=True).content.decode()
    assert "which is the most" in told
    assert KeptSearch.ungated.count() == 1


def test_one_question_however_its_address_is_written():
    from django.http import QueryDict

    one = find_form.canonical(QueryDict("topic=b&q=x&topic=a&sort=fit&page=3&new=r&other=1"))
    assert one == find_form.canonical(QueryDict("q=x&topic=a&topic=b")) == "q=x&topic=a&topic=b"


# --- nothing given away ---


def test_what_is_opened_is_new_on_that_day_and_what_is_hidden_leaves_no_trace(cast, talk):
    client = signed_in(cast["plain"])
    hidden = segment(talk["recording"], 3000, 3900, "Hidden", figures=[talk["figure"].pk])
    open_up(cast["council"], hidden, terms=decisions.Terms())
    keep(client, "q=sky:stair")
    assert "Nothing new" in listed(client)
    conditions = [condition.pk for condition in decisions.conditions_on(hidden.pk)]
    decisions.decide(cast["council"], MINUTE, decisions.Act([hidden.pk], None, lift=conditions))
    assert "1 new" in listed(client)
    open_up(cast["council"], hidden, terms=decisions.Terms())
    assert "Nothing new" in listed(client)


def test_kept_searches_equal_those_of_an_archive_without_the_hidden_things(cast, talk):
    """Goguen & Meseguer 1982: whether a thing that answered is hidden since or gone makes no difference."""
    client = signed_in(cast["plain"])
    for asked in ("q=sky:stair", "q=banking", f"figure={talk['figure'].ref}", "q=fire&since=1950", "q=-fire"):
        keep(client, asked)
    listed(client)  # takes the messages away
    KeptSearch.ungated.update(looked_at=timezone.now() - timedelta(days=3))
    segment(talk["recording"], 3000, 3900, "Later", figures=[talk["figure"].pk])
    open_up(cast["council"], talk["part"], terms=decisions.Terms())
    before = _everything(client)
    assert any("1 new" in each for each in before)
    Cue.ungated.filter(text="We bank the fire").delete()
    Tie.ungated.filter(source=talk["part"].pk).delete()
    Item.ungated.get(pk=talk["part"].pk).delete()
    writing.owe_index([talk["part"].pk, talk["recording"].pk])
    for held, shown in zip(before, _everything(client), strict=True):
        assert shown.splitlines() == held.splitlines()


def _everything(client: Client) -> list[str]:
    kept = KeptSearch.ungated.order_by("pk").values_list("asked", "ref")
    pages = ["/account/kept/", *(f"/find/?{asked}&new={ref}" for asked, ref in kept)]
    return [body(client, page) for page in pages]


def test_a_hidden_mark_is_named_no_more(cast, talk):
    client = signed_in(cast["plain"])
    keep(client, f"figure={talk['figure'].ref}")
    assert "The Stair" in listed(client)
    open_up(cast["council"], talk["figure"], terms=decisions.Terms())
    shown = listed(client)
    assert "The Stair" not in shown
    assert "a mark that leads nowhere now" in shown
    assert "Nothing new" in shown


def test_what_was_seen_is_packed_and_read_alike():
    for numbers in ([], [7], [1, 2, 3, 900_000_000], list(range(5, 5000, 3))):
        assert keeping._unpacked(keeping._packed(numbers)).tolist() == numbers
    assert len(keeping._packed(range(100_000))) < 2_000
