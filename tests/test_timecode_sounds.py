"""What sounds alike: keys by hand, and the weighted edit distance against its recurrence, word for word."""

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.timecode.sounds import (
    DOUBLED,
    MOST_CELLS,
    OTHER,
    Spelled,
    cost_changed,
    cost_gone,
    distances,
    phonetic_key,
)

WORDS = st.text("aehwvkkjs", max_size=7)


def distance(one: str, other: str) -> int:
    return int(distances(Spelled.of([one]), Spelled.of([other]))[0])


def plain_distance(one: str, other: str) -> int:
    """Wagner and Fischer (1974), by their recurrence, a cell at a time and without a short cut."""

    def gone(word: str, at: int) -> int:
        return DOUBLED if at and word[at - 1] == word[at] else cost_gone(word[at])

    @cache
    def least(i: int, j: int) -> int:
        ways = [0] if i == j == 0 else []
        if i:
            ways.append(least(i - 1, j) + gone(one, i - 1))
        if j:
            ways.append(least(i, j - 1) + gone(other, j - 1))
        if i and j:
            ways.append(least(i - 1, j - 1) + cost_changed(one[i - 1], other[j - 1]))
        return min(ways)

    return least(len(one), len(other))


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
    assert distance(one, other) == distance(other, one) <= OTHER * (len(one) + len(other))


@pytest.mark.parametrize(("heard", "name", "cost"), [
    ("vee", "vehee", 7),  # h left out, and one e of two
    ("aw", "avw", 9),  # w for v, and w left out
    ("tavek", "taivek", 6), ("vol", "veele", 12), ("кот", "код", 10), ("𐐷a", "𐐷", 6), ("", "", 0), ("ʃ", "s", 4),
])
def test_distances_by_hand(heard: str, name: str, cost: int) -> None:
    """From the costs in the module."""
    assert distance(heard, name) == distance(name, heard) == cost


@settings(deadline=None)
@given(pairs=st.lists(st.tuples(WORDS, WORDS), max_size=12))
def test_many_distances_are_each_the_least_of_all_ways(pairs: list[tuple[str, str]]) -> None:
    ones, others = [one for one, _ in pairs], [other for _, other in pairs]
    assert distances(Spelled.of(ones), Spelled.of(others)).tolist() == [plain_distance(*pair) for pair in pairs]


def test_more_pairs_than_are_reckoned_at_once() -> None:
    ones, others = ["tavek", "sela"] * MOST_CELLS, ["taivek", "sola"] * MOST_CELLS
    assert np.array_equal(distances(Spelled.of(ones), Spelled.of(others)), [6, 4] * MOST_CELLS)
