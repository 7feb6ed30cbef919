"""The find page: what it shows, what it leaves out, and that nothing typed breaks it."""

from __future__ import annotations

import json

import pytest
from django.test import Client
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from archive.access import decisions, writing
from archive.models import Audience, Cue, Item, LedgerRow, Recording
from archive.search import engine

from .conftest import bring, open_up, segment, without_token
from .test_search import make_archive, named, said

pytestmark = pytest.mark.django_db


def page(text: str = "", account=None, **given) -> str:
    return answer(text, account, **given).content.decode()


def answer(text: str = "", account=None, **given):
    client = Client()
    if account is not None:
        client.force_login(account)
    return client.get("/find/", {"q": text, **given})


@pytest.fixture
def talk(cast, tmp_path):
    """One recording, open: a segment told by Maꞌel at 1 s, and words after it that are in no segment."""
    recording = bring(None, tmp_path, "Talk by the hearth")
    person = named("person", "Maꞌel Tavëlin")
    figure = named("figure", "Ilinvákel", "The Ember Tongs", stars=[1])
    said(recording, [(1500, 1900, "We bank the fire for the goats"), (4000, 4900, "And so to sleep")])
    part = segment(recording, 1000, 3000, "Banking", summary="Of fire", speakers=[person.pk], figures=[figure.pk])
    open_up(cast["council"], recording, person, figure)
    return {"recording": recording, "person": person, "figure": figure, "part": part}


def test_a_hit_shows_its_line_and_opens_at_its_second(talk):
    shown = page("goats")
    assert f'href="/segments/{talk["part"].ref}/#t=0.5"' in shown
    assert "We bank the fire for the <mark>goats</mark>" in shown
    assert "Listen from 0:00" in shown
    assert "1 found" in shown


def test_words_in_no_segment_open_the_recording_at_their_second(talk):
    shown = page("sleep")
    assert f'href="/recordings/{talk["recording"].ref}/#t=4"' in shown
    assert "And so to <mark>sleep</mark>" in shown


def test_the_way_to_a_hit_is_said(talk):
    shown = page("ma'el")
    assert "told by" in shown
    assert f"/people/{talk['person'].ref}/" in shown
    assert "names the figure" in page("tongs")


def test_a_thing_is_listed_beside_under_the_name_that_answers(talk):
    shown = page("tongs")
    assert "By this name" in shown
    assert "The Ember Tongs" in shown
    assert "By this name" not in page("fire")


def test_marks_narrow_and_are_kept_in_the_form(talk):
    ref = talk["figure"].ref
    shown = page("fire", figure=ref)
    assert "1 found" in shown
    assert f'<input type="hidden" name="figure" value="{ref}">' in shown
    assert 'aria-current="true"' in shown
    assert "Take all marks away" in shown
    assert "Nothing found" in page("sleep", figure=ref)


def test_a_hidden_things_mark_is_as_one_that_never_was(cast, talk):
    open_up(cast["council"], talk["person"], terms=decisions.Terms())
    hidden, absent = page("fire", person=talk["person"].ref), page("fire", person="a" * 12)
    assert hidden.replace(talk["person"].ref, "a" * 12) == absent


def test_only_a_description_gives_no_words(cast, talk):
    open_up(cast["council"], talk["part"], terms=decisions.Terms(others_see=2))
    shown = page("banking")
    assert "description only" in shown
    assert "Listen" not in shown
    assert "Nothing found" in page("goats")


def test_a_wrong_date_is_said_and_kept(talk):
    shown = page("fire", since="last year")
    assert "is not a date" in shown
    assert 'value="last year"' in shown
    assert "1 found" in page("fire", since="1961", until="1963")
    assert "Nothing found" in page("fire", since="1970")


def test_nothing_found_helps(talk):
    shown = page("goats tavxlin")
    assert "Nothing found" in shown
    assert "Maꞌel Tavëlin" in shown
    assert 'href="/find/?q=goats"' in shown


def test_no_word_is_said_plainly(talk):
    assert "There is no word in that" in page("\u0301")
    assert "That was more than can be looked for at once" in page("fire " * 3000 + " ".join(map(str, range(100))))


def test_names_while_typing_are_those_met(cast, talk):
    client = Client()
    assert 'value="Maꞌel Tavëlin"' in client.get("/find/suggest", {"q": "tav"}).content.decode()
    assert 'value="The Ember Tongs"' in client.get("/find/suggest", {"q": "the emb"}).content.decode()
    assert "option" not in client.get("/find/suggest", {"q": "t"}).content.decode()
    before = client.get("/find/suggest", {"q": "zzz"}).content
    open_up(cast["council"], talk["person"], terms=decisions.Terms())
    assert client.get("/find/suggest", {"q": "tav"}).content == before


def test_an_index_still_being_built_is_said(talk, monkeypatch):
    monkeypatch.setattr(engine.chosen(), "AT_ONCE", 0)
    monkeypatch.setattr(engine.chosen(), "_build_in_background", lambda: None)
    response = answer("fire")
    assert response.status_code == 503
    assert "The index is being brought up to date" in response.content.decode()


def test_restricted_words_shown_are_written_down(cast, talk):
    family = Audience.objects.get(name="family")
    page("goats", cast["family"])
    assert not LedgerRow.objects.filter(event="met").exists()
    open_up(cast["council"], talk["part"], terms=decisions.Terms([family]))
    page("goats", cast["family"])
    row = LedgerRow.objects.get(event="met")
    assert (row.item, json.loads(row.detail)["surface"]) == (talk["part"].ref, "find")


@pytest.mark.parametrize("number", ["0", "-1", "99999999", "x", "٣"])
def test_any_page_number_is_answered(talk, number):
    assert "1 found" in page("goats", page=number)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(alphabet=st.characters(exclude_categories=["Cs"]), max_size=80))
def test_anything_typed_is_answered(talk, text):
    given = {"since": text, "sort": text, "kind": text, "figure": text, "language": text, "heard": text}
    assert answer(text, **given).status_code == 200
    assert answer(text).status_code == 200
    assert Client().get("/find/suggest", {"q": text}).status_code == 200


TYPED = (
    "kiln", "secret", "goat", '"kiln and"', "tole", "-fire", "", "by:secret", "canary", "zz kiln", "tolle",
    "sekret",
)
ASKED = [
    *({"q": text} for text in TYPED),
    {"q": "fire", "sort": "newest"},
    {"q": "", "heard": "yes"},
    {"q": "kiln", "kind": "segment", "page": "2"},
    {"q": "", "since": "1900"},
]


def everything(account=None) -> list[bytes]:
    client = Client()
    if account is not None:
        client.force_login(account)
    pages = [client.get("/find/", asked) for asked in ASKED]
    pages += [client.get("/find/suggest", {"q": text}) for text in ("to", "se", "tole se", "goa")]
    return [without_token(response.content) for response in pages]


def test_pages_equal_those_of_an_archive_without_the_hidden_things(cast, tmp_path):
    """Goguen & Meseguer 1982: byte for byte, for a visitor and for somebody signed in."""
    hidden = make_archive(cast, tmp_path)
    before = everything(), everything(cast["plain"])
    assert b"found" in b"".join(before[0])
    Cue.ungated.filter(text__in=["secret fire kiln", "kiln kiln kiln"]).delete()
    for item in hidden:
        Item.ungated.filter(pk=item.pk).delete()
    writing.owe_index([*(item.pk for item in hidden), Recording.ungated.get().pk])
    assert (everything(), everything(cast["plain"])) == before
