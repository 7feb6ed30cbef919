"""Plain words meet what was misheard and what is called otherwise; and nothing of that is moved by what is hidden."""

from __future__ import annotations

import pytest

from archive.access import decisions, writing
from archive.models import Cue, Item
from archive.search import likewise

from .conftest import bring, open_up, segment
from .test_find import page
from .test_find_things import ask
from .test_search import cue_ref, named, named_facets, named_ways, said

pytestmark = pytest.mark.django_db

LINES = (
    "Then we saw Tavek over the water", "and there was Tie Vek again", "only the take of it", "and Taivek himself",
    "So the Long Net went down", "then Ill in Vehicle was said", "we sat by the Gote Gait", "at the Goat Gate itself",
)


@pytest.fixture
def world(cast, tmp_path):
    """A talk of eight parts, open; two figures, one of them with a second name, and a place; nothing is tied."""
    talk = bring(None, tmp_path, "Talk", seconds=9.0)
    figures = [named("figure", "Taivek", "The Long Net", stars=[1]), named("figure", "Ilinvakel", stars=[2])]
    gate = named("place", "Goat Gate")
    said(talk, [(at * 1000 + 100, at * 1000 + 900, line) for at, line in enumerate(LINES)])
    parts = [segment(talk, at * 1000, at * 1000 + 950, f"Part {at}") for at in range(len(LINES))]
    open_up(cast["council"], talk, *figures, gate)
    return {"talk": talk, "figures": figures, "gate": gate, "parts": parts}


def told(text: str, world: dict, account=None, **narrowing) -> dict[int, list[str]]:
    """By the number of the part (-1 for the talk): by which way it answers, and what stands there."""
    numbers = {part.pk: at for at, part in enumerate(world["parts"])}
    found = ask(text, account, **narrowing)
    ways = {hit.number: [f"{way.way} {way.heard}".strip() for way in hit.reached] for hit in found.hits}
    return {numbers.get(number, -1): said for number, said in ways.items()}


# --- nothing of what is hidden ---

TYPED = (
    "taivek", "tavek", "tayvek", "ilinvakel", "ilinvekal", "goat gate", "gote gait", "goat", "long net", "net tavek",
    "taivek | water", "taivek -water", "vehicle", "tai vek", "tay vek again", "ill in vehicle", "the tai vek",
)


def everything(account=None) -> list[tuple]:
    return [
        (text, found.total, found.hows, found.words, named_facets(found), found.kinds, found.alone,
         [Item.ungated.get(pk=number).ref for number in found.things],
         [(Item.ungated.get(pk=hit.number).ref, float(hit.score).hex(), cue_ref(hit.cue), named_ways(hit.ways),
           [(way.way, way.heard) for way in hit.reached]) for hit in found.hits])
        for text in TYPED
        for found in [ask(text, account)]
    ]


def hidden_part(cast, world, tmp_path) -> None:
    open_up(cast["council"], world["parts"][0], terms=decisions.Terms())
    world["gone"] = [world["parts"][0]]


def hidden_parts_that_make_a_word_common(cast, world, tmp_path) -> None:
    """Six parts by themselves would be more than rare."""
    other = bring(None, tmp_path, "Other", seconds=9.0, hz=300)
    said(other, [(at * 1000 + 100, at * 1000 + 900, "Tavek, vehicle, ilinvekal, goat, net") for at in range(8)])
    world["gone"] = [other, *(segment(other, at * 1000, at * 1000 + 950, f"Tavek {at}") for at in range(8))]


def hidden_figure(cast, world, tmp_path) -> None:
    open_up(cast["council"], world["figures"][0], terms=decisions.Terms())
    world["gone"] = [world["figures"][0]]


def hidden_names_nearby(cast, world, tmp_path) -> None:
    """Names that sound like what is typed, one of a place in whose name the word stands; some are tied to a part."""
    near = [named("figure", "Tayvek", stars=[3]), named("person", "Gote Gait"), named("place", "Goat Net"),
            named("person", "Tavek")]
    writing.tie(world["parts"][2], "names_figure", near[0])
    writing.tie(world["parts"][2], "told_by", near[1])
    world["gone"] = near


def hidden_words_that_sound_alike(cast, world, tmp_path) -> None:
    """More words near the name than are ever looked at."""
    other = bring(None, tmp_path, "Other", seconds=9.0, hz=300)
    words = [f"Ta{one}ve{other}k" for one in "aeiouy" for other in ("", *"aeiouy")]
    said(other, [(100, 900, " ".join(words)), (1000, 1900, "Ilin Vakel, Ill in Vehicle")])
    world["gone"] = [other]


# The council meets descriptions of it all, but no words: it is asked about what only words tell.
WAYS = (hidden_part, hidden_parts_that_make_a_word_common, hidden_figure, hidden_names_nearby,
        hidden_words_that_sound_alike)


@pytest.mark.parametrize(
    ("who", "hide"), [*(("visitor", hide) for hide in WAYS), ("council", hidden_words_that_sound_alike)]
)
def test_plain_words_answer_as_if_the_hidden_had_never_been(cast, world, tmp_path, hide, who):
    """Goguen & Meseguer 1982 (non-interference), to the bits of the scores."""
    account = cast.get(who)
    hide(cast, world, tmp_path)
    before = everything(account)
    assert any(row[1] for row in before)
    gone = world["gone"]
    if who == "council":
        Cue.ungated.filter(transcript__recording=gone[0].pk).delete()
    else:
        Cue.ungated.filter(text=LINES[0]).delete() if hide is hidden_part else None
        for item in gone:
            Item.ungated.filter(pk=item.pk).delete()
    writing.owe_index([*(item.pk for item in gone), world["talk"].pk, *(part.pk for part in world["parts"])])
    assert everything(account) == before


# --- what answers ---


def test_a_name_typed_plainly_meets_what_was_misheard_and_its_other_name(world):
    assert told("taivek", world) == {
        0: ["heard_as Tavek"], 1: ["heard_as Tie Vek"], 3: [], 4: ["called The Long Net"],
    }
    assert next(iter(told("taivek", world))) == 3  # what was typed stands first
    assert told('"taivek"', world) == {3: []}
    assert told("taivek again", world) == {1: ["heard_as Tie Vek"]}


def test_a_name_of_several_words_stands_for_itself_only_where_all_are_typed(world):
    assert told("goat gate", world) == {7: [], 6: ["heard_as Gote Gait"]}
    assert told("long net", world).keys() == {4, 3, 0, 1}
    assert told("net", world) == told("long", world) == {4: []}


def test_three_words_that_were_taken_for_one_name(world):
    assert told("ilinvakel", world) == {5: ["heard_as Ill in Vehicle"]}
    assert told("heard:ilinvakel", world) == {5: ["heard_as Ill in Vehicle"]}


def test_a_name_in_which_somebody_put_spaces(world):
    for typed in ("tai vek", "Tay Vek", "tai v ek"):
        assert told(typed, world).keys() == {0, 1, 3, 4}, typed
        assert world["figures"][0].pk in ask(typed).things, typed
    assert told("tai vek", world)[3] == ["called Taivek"]
    assert told("ill in vehicle", world) == {5: []}
    assert told("tai vek himself", world).keys() == {3}
    for typed in ('"tai vek"', "tai -vek", "title:tai vek", "vek tai"):
        assert told(typed, world) == {}, typed


@pytest.mark.parametrize("typed", ["tayvek", "Taivék", "TAIVECK", "taivek", "tai'vek", "ta-ivek"])
def test_any_spelling_of_a_name_meets_it(cast, world, typed):
    part = segment(world["talk"], 8000, 8900, "Tied", figures=[world["figures"][0].pk])
    open_up(cast["council"], world["figures"][0])
    found = ask(typed)
    assert world["figures"][0].pk in found.things
    assert ("names_figure", world["figures"][0].pk) in {way for hit in found.hits for way in hit.ways}
    assert {0, 1, 3} <= told(typed, world).keys()
    assert part.pk in {hit.number for hit in found.hits}


def test_a_word_that_stands_often_is_what_was_meant(cast, tmp_path):
    talk = bring(None, tmp_path, "Talk", seconds=9.0)
    said(talk, [(at * 1000 + 100, at * 1000 + 900, "We saw Lantern go") for at in range(likewise.RARE + 1)])
    said(talk, [(7100, 7900, "We saw Lantarn go")], language="fr")
    parts = [segment(talk, at * 1000, at * 1000 + 950, f"Part {at}") for at in range(8)]
    open_up(cast["council"], talk)
    assert {hit.number for hit in ask("lantern").hits} == {part.pk for part in parts[: likewise.RARE + 1]}
    assert {hit.number for hit in ask("lantarn").hits} == {part.pk for part in (*parts[: likewise.RARE + 1], parts[7])}


def test_the_right_name_of_something_else_was_not_misheard(cast, world):
    assert told("taivek", world)[0] == ["heard_as Tavek"]
    other = named("person", "Tavek")
    assert told("taivek", world)[0] == ["heard_as Tavek"]  # nobody has heard of that person yet
    open_up(cast["council"], other)
    assert 0 not in told("taivek", world)


def test_a_letter_held_down_is_like_no_name(world):
    assert told("k" * 60, world) == told("goat" + "k" * 60, world) == {}
    assert {0, 1, 3} <= told("taivekkkk", world).keys()


def test_ordinary_words_near_a_rare_one_are_left(cast, tmp_path):
    talk = bring(None, tmp_path, "Talk", seconds=9.0)
    said(talk, [(100, 900, "We went weaving in the rain"), (1100, 1900, "And the weaver ran, the goats too")])
    segment(talk, 0, 950, "One")
    open_up(cast["council"], talk)
    for typed in ("weav", "ran", "goat", "rains", "weavers"):
        assert not [way for hit in ask(typed).hits for way in hit.reached], typed


def test_what_is_likewise_meant_can_be_left_out_and_is_counted(world):
    assert dict(ask("taivek").hows) == {"typed": 1, "likewise": 3}
    assert told("taivek", world, how="typed") == {3: []}
    assert told("taivek", world, how="likewise").keys() == {0, 1, 4}
    assert ask("water").hows == []


def test_the_page_says_what_stands_there_instead(world):
    shown = page("taivek")
    assert "heard as “Tavek”" in shown
    assert "called “The Long Net” there" in shown
    assert "Then we saw <mark>Tavek</mark> over the water" in shown
    assert "4 found" in shown
    assert "by another name, or misheard" in shown


@pytest.mark.parametrize("typed", ["x", "الكلمة", "abc" * 40, "1234", "ta i vek", "ʔʔʔ", "a-b-c-d-e-f", "ꞌa ꞌe"])
def test_any_word_is_answered(world, typed):
    assert ask(typed).total >= 0
