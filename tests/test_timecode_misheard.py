"""Misheard names: found where they stand, left alone where they are right. The names are invented."""

import json
import random
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.timecode.cues import Cue
from archive.timecode.misheard import OTHER, Suggestion, _changes, _gone, distance, find_misheard, phonetic_key
from archive.timecode.readers import read_transcript

NAMES = {"Taivek": ["Tai-vek"], "ʔAröka": [], "Pelluk Yáŋil": ["Pelluk Yangil"], "Hamvurë": [], "Marsel": []}
SENNETH = Path(__file__).parent.parent / "fixtures" / "senneth"


def found(text: str, **more: object) -> list[tuple[str, str]]:
    return [(one.heard, one.name) for one in find_misheard([text], NAMES, **more)]  # type: ignore[arg-type]


@pytest.mark.parametrize(("text", "expected"), [
    ("We met Tavek there.", [("Tavek", "Taivek")]),
    ("We met Taifek's aunt.", [("Taifek", "Taivek")]),
    ("We met Tie Vek there.", [("Tie Vek", "Taivek")]),
    ("and Aroka sang", [("Aroka", "ʔAröka")]),
    ("and Pellick Yang Eel sang", [("Pellick Yang Eel", "Pelluk Yáŋil")]),
    ("up to Ham-Furry, he said", [("Ham-Furry", "Hamvurë")]),
    ("she is Marcelle", [("Marcelle", "Marsel")]),
    ("Tavek met Marcel", [("Tavek", "Taivek"), ("Marcel", "Marsel")]),
])
def test_misheard_names_are_found(text: str, expected: list[tuple[str, str]]) -> None:
    assert found(text) == expected


@pytest.mark.parametrize("text", [
    "We met Taivek there.", "TAIVEK came", "Tai-Vek came", "ʔAröka", "Pelluk Yangil sang", "Pelluk\nYáŋil sang", "",
    "the water is up to the door and over there", "Tie. Vek came", "It was a marvel", "42 7", "…", "We",
])
def test_right_names_and_other_words_are_left_alone(text: str) -> None:
    assert found(text) == []


def test_place_in_the_text_is_given() -> None:
    text = "So 𐐷Tavek ne\u0301 Tavek’s"
    for one in find_misheard([Cue(0, 1, "x"), Cue(1, 2, text)], NAMES):
        assert one.cue_index == 1
        assert text[one.start_char : one.end_char] == one.heard
    assert found(text)[-1] == ("Tavek", "Taivek")


def test_known_words_are_left_alone() -> None:
    assert found("We met Tavek there.", known_words=["TAVEK"]) == []


def test_least_score_decides() -> None:
    [one] = find_misheard(["We met Tavek there."], NAMES, 0.5)
    assert isinstance(one, Suggestion)
    assert 0.7 <= one.score < 1
    assert find_misheard(["We met Tavek there."], NAMES, one.score + 0.01) == []


def test_list_of_names_will_do() -> None:
    assert [one.name for one in find_misheard(["met Tavek"], ["Taivek", "", "  "])] == ["Taivek"]
    assert find_misheard(["met Tavek"], []) == []


def test_script_without_capitals() -> None:
    assert [one.name for one in find_misheard(["قابلنا طايفق هناك"], ["طايفك"])] == ["طايفك"]


def test_names_of_the_demo_are_found_in_its_transcripts() -> None:
    """Our goal, no source: six in ten of the names misheard there; many others are past any likeness of sound."""
    known: dict[str, list[str]] = {}
    for file in ("people", "places", "figures"):
        _gather(json.loads((SENNETH / f"{file}.json").read_text("utf-8")), known)
    pairs = json.loads((SENNETH / "misheard.json").read_text("utf-8"))["pairs"]
    hits = wrong = 0
    for path in sorted({pair["transcript"] for pair in pairs}):
        cues = read_transcript((SENNETH / path).read_bytes(), path).cues
        ours = [" ".join(one.heard.split()) for one in find_misheard(cues, known)]
        heard = [pair["heard"] for pair in pairs if pair["transcript"] == path]
        hits += sum(any(one in other or other in one for one in ours) for other in heard)
        wrong += sum(not any(one in other or other in one for other in heard) for one in ours)
    assert hits >= 0.6 * len(pairs)
    assert wrong <= 0.4 * len(pairs)


def _gather(data: object, known: dict[str, list[str]]) -> None:
    if isinstance(data, dict):
        spelled = [one["text"] for one in data.get("names", ()) if isinstance(one, dict) and "senneth" in one["lang"]]
        if spelled:
            known.setdefault(spelled[0], []).extend(spelled[1:])
        data = list(data.values())
    if isinstance(data, list):
        for one in data:
            _gather(one, known)


def test_one_wrong_letter_is_found_again() -> None:
    rng = random.Random(3)
    names = ["".join(rng.choice("ptkmnslrv") + rng.choice("aeiou") for _ in range(4)).capitalize() for _ in range(200)]
    for name in names[:60]:
        at = rng.randrange(1, 8)
        heard = name[:at] + rng.choice("aeiou" if name[at] in "aeiou" else "ptkmn") + name[at + 1 :]
        if heard not in names:
            assert [one.heard for one in find_misheard([f"then {heard} came"], names)] == [heard]


@pytest.mark.parametrize(("word", "key"), [
    ("taivek", "TFK"), ("knoll", "NL"), ("ŋol", "NKL"), ("thorough", "TR"), ("michelle", "MSL"),
    ("phase", "FS"), ("cello", "SL"), ("aeiou", ""), ("", ""), ("звезда", "звезда"), ("axe", "KS"),
])
def test_phonetic_keys(word: str, key: str) -> None:
    assert phonetic_key(word) == key


@settings(deadline=None)
@given(one=st.text("aeihkgbpmsz", max_size=8), other=st.text("aeihkgbpmsz", max_size=8))
def test_distance_is_within_its_bounds(one: str, other: str) -> None:
    assert distance(one, one) == 0
    assert (distance(one, other) == 0) == (one == other)
    assert distance(one, other) <= len(one) + len(other)


@pytest.mark.parametrize(("heard", "name", "cost"), [
    ("vee", "vehee", 0.7),  # h left out, and one e of two
    ("aw", "avw", 0.9),  # w for v, and w left out
])
def test_common_letters_may_be_the_ones_left_out(heard: str, name: str, cost: float) -> None:
    """By hand, from the costs in the module."""
    assert distance(heard, name) == distance(name, heard) == pytest.approx(cost)


@settings(deadline=None)
@given(one=st.text("aehwvkkjs", max_size=7), other=st.text("aehwvkkjs", max_size=7))
def test_distance_is_the_least_of_all_ways(one: str, other: str) -> None:
    """Wagner and Fischer (1974), by their recurrence, word for word and without a short cut."""
    assert distance(one, other) == pytest.approx(_least(one, other, len(one), len(other), {}))


def _least(one: str, other: str, i: int, j: int, known: dict[tuple[int, int], float]) -> float:
    if (i, j) not in known:
        ways = [0.0] if i == j == 0 else []
        if i:
            ways.append(_least(one, other, i - 1, j, known) + _gone(one, i - 1))
        if j:
            ways.append(_least(one, other, i, j - 1, known) + _gone(other, j - 1))
        if i and j:
            change = _changes(one[i - 1]).get(other[j - 1], OTHER)
            ways.append(_least(one, other, i - 1, j - 1, known) + change)
        known[i, j] = min(ways)
    return known[i, j]


@settings(deadline=None)
@given(text=st.text(max_size=60), names=st.lists(st.text(max_size=12), max_size=5))
def test_any_text_and_names_are_taken(text: str, names: list[str]) -> None:
    for one in find_misheard([text], names):
        assert text[one.start_char : one.end_char] == one.heard
        assert one.name in names
