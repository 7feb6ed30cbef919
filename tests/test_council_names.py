"""Names at rest: replaced wherever they stand, not findable, from a day on until they are lifted or run out."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from archive.access import bringing, decisions, found, founding, indexing, making, masks, resting, showing, writing
from archive.access.gate import Gate
from archive.models import LedgerRow, Level, Name, Person, Recording, Rest, Segment, Transcript

from .conftest import LONG_AGO, bring, open_up, segment

pytestmark = pytest.mark.django_db

NAME, INSTEAD, OWN = "Pellúk Yáŋil", "the Lamp-trimmer", "Pelšunam"
MINUTE = decisions.Minute(date(2026, 3, 8), "2026/2", "all of us", "The family asks for it.")
VTT = b"WEBVTT\n\n00:00.000 --> 00:01.000\n<v Pelluk Yangil>Pelluk Yangil's lamp was out.\n"


@pytest.fixture
def world(cast, tmp_path):
    """A person named in every text that a page could show."""
    founding.found(language="qse-x-senneth")
    names = [writing.NameGiven("qse-x-senneth", NAME, True), writing.NameGiven("en", "Pelluk Yangil")]
    person = writing.add_person(None, names, about=f"{NAME}.", family="Yáŋil")
    rock = [writing.NameGiven("en", f"{NAME} Rock", True)]
    place = writing.add_place(None, rock, latitude_deg=46.0, longitude_deg=-38.0, about=f"Of {NAME}.")
    transcript = bringing.TranscriptGiven(VTT, "a.vtt", "en", "verbatim")
    recording = bring(
        None, tmp_path, f"{NAME} tells", people=[person.pk], circumstances=f"With {NAME}.", transcripts=[transcript]
    )
    ties = {"speakers": [person.pk], "places": [place.pk]}
    part = segment(recording, 0, 2000, f"What {NAME} said", summary=f"By {NAME}.", **ties)
    open_up(cast["council"], person, place, recording)
    return {"person": person, "place": place, "recording": recording, "part": part}


def let_rest(cast, person, **given) -> Rest:
    wish = resting.Wish(
        person.pk, given.pop("starts_at", LONG_AGO), given.pop("ends_at", None),
        given.pop("instead", (("qse-x-senneth", OWN), ("en", INSTEAD))), **given,
    )  # fmt: skip
    return resting.rest(cast["council"], MINUTE, wish)


def rule(*spellings: str) -> masks.RestRule:
    return masks.RestRule(1, spellings, (("en", "X"),), LONG_AGO, None)


# --- in texts ---


@pytest.mark.parametrize(
    ("text", "masked"),
    [
        ("Pelluk came.", "X came."),
        ("PELLÚK came.", "X came."),
        ("Pellu\u0301k came.", "X came."),
        ("Pelluk's lamp, Pelluk’s boat", "X's lamp, X’s boat"),
        ("(Pelluk)", "(X)"),
        ("Pelluk\nYangil", "X"),
        ("Pelluk  Yáŋil and Pelluk", "X and X"),
        ("Pelluks and Apelluk stay", "Pelluks and Apelluk stay"),
        ("", ""),
    ],
)
def test_every_spelling_is_replaced_as_whole_words(text, masked):
    """Spellings are compared by archive.timecode.folding; its own tests name the Unicode rules behind it."""
    assert masks.Mask((rule("Pelluk", "Pelluk Yáŋil", "Pelluk Yangil"),)).text(text) == masked


def test_a_star_stands_for_every_word_that_begins_so():
    mask = masks.Mask((rule("Pelluk*"),))
    assert mask.text("Pellukná and Pelluk, not Apelluk") == "X and X, not Apelluk"


def test_no_name_is_lost_where_a_form_showed_other_words():
    mask = masks.Mask((rule("Pelluk"),))
    assert mask.kept("Pellúk told it", "X told it") == "Pellúk told it"
    assert mask.kept("Pellúk told it", "X told it well") == "Pellúk told it well"
    assert mask.kept("Pellúk and PELLUK", "X, and then X") == "Pellúk, and then PELLUK"
    assert mask.kept("Pellúk told it", "Somebody told it") == "Somebody told it"


# --- everywhere ---


def pages(world) -> list[str]:
    return [reverse(world[key].kind, args=[world[key].ref]) for key in ("person", "place", "recording")] + [
        reverse("segment", args=[world["part"].ref]),
        *(reverse(name) for name in ("home", "people", "places", "recordings", "map", "places_geojson")),
        reverse("recording_captions", args=[world["recording"].ref, "en"]),
        reverse("segment_captions", args=[world["part"].ref, "en"]),
        reverse("find") + "?q=lamp",
    ]


def test_the_name_stands_on_no_page_and_old_links_still_lead_there(cast, client, world):
    before = "".join(client.get(page).content.decode() for page in pages(world))
    assert NAME in before
    let_rest(cast, world["person"])
    for who in (None, "plain", "archivist", "council"):
        client.logout()
        if who:
            client.force_login(cast[who])
        for page in pages(world):
            answer = client.get(page)
            assert answer.status_code == 200, page
            for name in (NAME, "Pelluk", "Yangil", "Yáŋil"):
                assert name not in answer.content.decode(), (who, page)
    assert INSTEAD in client.get(reverse("person", args=[world["person"].ref])).content.decode()


def test_no_page_of_the_desk_says_the_name(cast, client, world):
    """Pages of a part, a transcript and a closed span also name the recording that they lie in."""
    recording, part = world["recording"], world["part"]
    decisions.entrust(cast["council"], cast["archivist"], recording, "", LONG_AGO)
    let_rest(cast, world["person"])
    client.force_login(cast["archivist"])
    transcript = Transcript.ungated.get(recording=recording)
    addresses = [
        *(reverse(name, args=[recording.ref]) for name in (
            "desk_recording", "edit_recording", "cut", "close_seconds", "add_transcript", "ask_recording")),
        *(reverse(name, args=[part.ref]) for name in ("edit_segment", "remove_segment", "ask_segment")),
        *(reverse(name, args=[transcript.ref]) for name in ("correct_words", "versions", "names_heard")),
        reverse("desk"),
    ]
    pages = {address: client.get(address).content.decode() for address in addresses}
    assert sum(INSTEAD in page or OWN in page for page in pages.values()) > 8
    assert not [address for address, page in pages.items() if "Pellúk" in page or "Yangil" in page]


def test_captions_and_the_speaker_of_a_line_say_it_otherwise(cast, world):
    let_rest(cast, world["person"])
    cue = showing.transcripts(Gate(None), Recording.ungated.get())[0].cues[0]
    assert cue.text == f"{INSTEAD}'s lamp was out."
    assert cue.speaker == INSTEAD


def test_it_is_not_findable_and_what_is_said_instead_is(cast, client, world):
    def hits(words: str) -> str:
        return client.get(reverse("find"), {"q": words}).content.decode()

    link = reverse("segment", args=[world["part"].ref])
    assert link in hits("Pelluk")
    let_rest(cast, world["person"])
    for words in ("Pelluk", "Yangil", "pelluk yangil", "pell*"):
        assert link not in hits(words), words
        assert reverse("person", args=[world["person"].ref]) not in hits(words), words
    assert "Pelluk" not in client.get(reverse("suggest"), {"q": "pel"}).content.decode()
    assert link in hits("trimmer")
    assert writing.named(Gate(cast["archivist"]), "person", "Pelluk Yangil") is None
    assert writing.named(Gate(cast["archivist"]), "person", INSTEAD).pk == world["person"].pk


def test_the_ledger_never_says_the_name(cast, world):
    resting.lift(cast["council"], MINUTE, let_rest(cast, world["person"]).ref)
    for row in LedgerRow.objects.filter(event__in=("name at rest", "name lifted")):
        assert row.item == world["person"].ref
        assert NAME not in json.loads(row.detail).values()
        assert "Pell" not in row.detail.replace(OWN, "")


# --- from when, until when ---


def test_it_rests_from_its_first_moment_until_its_last(cast, world):
    now = timezone.now()
    let_rest(cast, world["person"], starts_at=now + timedelta(days=1), ends_at=now + timedelta(days=2))

    def said(moment: datetime) -> str:
        return showing.label(Gate(None, moment), world["person"].pk).text

    edges = (now + timedelta(days=1), now + timedelta(days=2))
    tick = timedelta(microseconds=1)
    shown = [said(moment) for moment in (now, edges[0] - tick, edges[0], edges[1] - tick, edges[1])]
    assert shown == [NAME, NAME, OWN, OWN, NAME]


def test_lifted_it_is_said_and_found_again(cast, client, world):
    held = let_rest(cast, world["person"])
    resting.lift(cast["council"], MINUTE, held.ref)
    assert showing.label(Gate(None), world["person"].pk).text == NAME
    assert reverse("segment", args=[world["part"].ref]) in client.get(reverse("find"), {"q": "Pelluk"}).content.decode()
    with pytest.raises(ValidationError, match="lifted already"):
        resting.lift(cast["council"], MINUTE, held.ref)


def test_run_out_it_is_found_again_from_the_next_search_on(cast, client, world):
    held = let_rest(cast, world["person"])
    Rest.ungated.filter(pk=held.pk).update(ends_at=timezone.now() - timedelta(seconds=1))
    assert indexing.is_owed()
    assert Rest.ungated.get().is_settled
    assert reverse("segment", args=[world["part"].ref]) in client.get(reverse("find"), {"q": "Pelluk"}).content.decode()
    assert any(one.text == NAME for one in found.names(Gate(None).policy))


# --- the voice ---


def test_the_voice_rests_too_where_it_is_decided(cast, world):
    held = let_rest(cast, world["person"], hides_voice=True)
    assert Gate(None).level(world["part"].pk) == Level.DESCRIPTION
    assert Gate(None).level(world["recording"].pk) == Level.DESCRIPTION
    resting.lift(cast["council"], MINUTE, held.ref)
    assert Gate(None).level(world["part"].pk) == Level.OPEN


def test_without_that_the_voice_is_heard(cast, world):
    let_rest(cast, world["person"])
    assert Gate(None).level(world["part"].pk) == Level.OPEN


# --- nothing is lost ---


def test_saving_what_a_form_showed_loses_no_name(cast, world):
    let_rest(cast, world["person"])
    gate = Gate(cast["archivist"])
    shown = showing.segment_cards(gate, [world["part"].pk])[0]
    assert NAME not in shown.label.text + shown.summary
    written = making.SegmentWritten(0, 2000, shown.label.text, shown.summary + " And more.")
    row = Segment.ungated.get()
    making.change_segment(gate, row, written, row.version)
    kept = Segment.ungated.get()
    assert (kept.title, kept.summary) == (f"What {NAME} said", f"By {NAME}. And more.")
    person = Person.ungated.get()
    names = [writing.NameGiven(one.language, one.text, one.is_preferred) for one in showing.spellings(gate, person.pk)]
    shown = showing.person(gate, person)
    writing.change(cast["archivist"], person, names, person.version, about=shown.about, family=shown.family)
    held = Person.ungated.get()
    assert (held.about, held.family) == (f"{NAME}.", "Yáŋil")
    assert set(Name.ungated.filter(item=person).values_list("text", flat=True)) == {NAME, "Pelluk Yangil"}
    place = world["place"]
    names = [writing.NameGiven(one.language, one.text, one.is_preferred) for one in showing.spellings(gate, place.pk)]
    writing.change(cast["archivist"], place, names, place.version)
    assert Name.ungated.get(item=place).text == f"{NAME} Rock"


# --- the page ---


def given(whose, step: str, **more: object) -> dict[str, object]:
    return {
        "person": whose.ref, "first_day": "2026-03-01", "last_day": "", "instead": INSTEAD, "instead_other": "",
        "decided_on": "2026-03-08", "present": "all", "minute": "2026/2", "reason": "The family asks.", "step": step,
        **more,
    }  # fmt: skip


def test_only_the_council_finds_the_pages(cast, client, world):
    held = let_rest(cast, world["person"])
    pages_ = [reverse("names_at_rest"), reverse("rest_name"), reverse("lift_rest", args=[held.ref])]
    for name in ("archivist", "educator", "keeper", "family", "plain"):
        client.force_login(cast[name])
        assert [client.get(page).status_code for page in pages_] == [404] * 3
        assert [client.post(page).status_code for page in pages_] == [404] * 3


def test_the_council_sees_first_what_holds_the_name(cast, client, world):
    client.force_login(cast["council"])
    page = client.post(reverse("rest_name"), given(world["person"], "look")).content.decode()
    assert "4 things hold the name" in page
    assert not Rest.ungated.exists()
    client.post(reverse("rest_name"), given(world["person"], "confirm"))
    held = Rest.ungated.get()
    assert (held.starts_at, held.ends_at) == (datetime(2026, 3, 1, tzinfo=UTC), None)
    assert INSTEAD in client.get(reverse("names_at_rest")).content.decode()
    lift = reverse("lift_rest", args=[held.ref])
    sent = {"decided_on": "2026-03-09", "present": "all", "minute": "2026/3", "reason": ""}
    assert "Write why the name may be said again." in client.post(lift, sent).content.decode()
    client.post(lift, {**sent, "reason": "Two winters have passed."})
    assert Rest.ungated.get().lifted_by.minute == "2026/3"


def test_the_council_sees_first_what_is_closed_where_the_voice_rests_too(cast, client, world):
    client.force_login(cast["council"])
    page = client.post(reverse("rest_name"), given(world["person"], "look", hides_voice="on")).content.decode()
    told = page[page.index("From now on") :]
    assert "3 things change" in told  # the person, the recording and its segment
    assert "Visitors who are not signed in" in told
    assert not Rest.ungated.exists()
    assert Gate(None).level(world["part"].pk) == Level.OPEN


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"person": ""}, "Choose the person."),
        ({"first_day": ""}, "Give the first day on which the name rests."),
        ({"last_day": "2026-02-01"}, "It would end before it starts."),
        ({"instead": ""}, "Write the words that are said instead of the name."),
        ({"instead": "old Pelluk Yangil"}, "The words said instead hold the name itself."),
        ({"spellings": "P*"}, "A spelling needs at least two letters."),
        ({"minute": ""}, "Name the minute"),
    ],
)
def test_what_cannot_be_is_refused_in_words(cast, client, world, wrong, words):
    client.force_login(cast["council"])
    page = client.post(reverse("rest_name"), given(world["person"], "confirm", **wrong)).content.decode()
    assert words in page
    assert not Rest.ungated.exists()


def test_a_name_rests_once_at_a_time(cast, world):
    let_rest(cast, world["person"])
    with pytest.raises(ValidationError, match="rests already"):
        let_rest(cast, world["person"])
