"""How alike two words sound: a phonetic key for finding, and a weighted edit distance for judging.

The key is the order of a word's consonant sounds (after Knuth's account of Soundex, The Art of Computer Programming
3, section 6). The distance is that of Wagner and Fischer (1974), with what sounds alike costing less (our own
figures), and is reckoned for many pairs of words at once.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.int64]
Points = NDArray[np.uint32]
Tenths = NDArray[np.int32]

VOWELS = frozenset("aeiouyɛɔəɨʉɑæøœıʊɪ")
WEAK = frozenset("hwjɦʍ")
SOUNDS = {
    "p": "P", "b": "P", "ɓ": "P", "f": "F", "v": "F", "w": "F", "ɸ": "F", "β": "F",
    "k": "K", "g": "K", "q": "K", "c": "K", "x": "KS", "ɣ": "K", "ɡ": "K", "ƙ": "K",
    "t": "T", "d": "T", "ð": "T", "þ": "T", "θ": "T", "ɗ": "T", "đ": "T",
    "s": "S", "z": "S", "j": "S", "ʃ": "S", "ʒ": "S",
    "m": "M", "n": "N", "ɲ": "N", "ŋ": "NK", "l": "L", "ł": "L", "ɬ": "L", "r": "R", "ɾ": "R", "ɹ": "R", "h": "",
}
# Letters that stand for one another in spelling, whatever sound they have elsewhere.
HISSES = frozenset("cszj")
# Spelling habits of Latin letters, and the sounds they stand for.
GRAPHS = {"tch": "S", "sch": "S", "ch": "S", "sh": "S", "th": "T", "ph": "F", "gh": "", "ck": "K",
          "ce": "S", "ci": "S", "cy": "S"}
GRAPH = re.compile("|".join(GRAPHS) + "|.", re.DOTALL)
START_SILENT = re.compile(r"^(?:kn|gn|pn)")
DOUBLE = re.compile(r"(.)\1+", re.DOTALL)

# What a change costs, in tenths: whole numbers, so that equal likenesses are equal.
SAME_SOUND, VOWEL_GONE, WEAK_GONE, DOUBLED, OTHER = 4, 6, 5, 2, 10
# Letters of a name times pairs of words that are reckoned at once: a few hundred kB.
MOST_CELLS = 1 << 16


def phonetic_key(folded: str) -> str:
    """Return the consonant sounds of a folded word in order; letters of other scripts stay as they are."""
    word = DOUBLE.sub(r"\1", START_SILENT.sub("n", folded))
    return "".join([_sound(graph) for graph in GRAPH.findall(word)])


def by_sounds(words: Iterable[str]) -> dict[str, list[str]]:
    """Return the folded words that are letters alone by their phonetic key, in their order."""
    found: dict[str, list[str]] = {}
    for word in words:
        if word.isalpha():
            found.setdefault(phonetic_key(word), []).append(word)
    return found


def _sound(graph: str) -> str:
    known = GRAPHS.get(graph)
    if known is not None:
        return known
    if graph in VOWELS:
        return ""
    return SOUNDS.get(graph, graph if graph.isalpha() else "")


@dataclass(frozen=True)
class Spelled:
    """Words as code points: those of word i are points[starts[i] : starts[i] + lengths[i]]."""

    points: Points
    starts: Numbers
    lengths: Numbers

    @classmethod
    def of(cls, words: Iterable[str]) -> Spelled:
        """Return the words in their order."""
        kept = list(words)
        lengths = np.fromiter(map(len, kept), dtype=np.int64, count=len(kept))
        points = np.frombuffer("".join(kept).encode("utf-32-le", "surrogatepass"), dtype=np.uint32)
        return cls(points, np.cumsum(lengths) - lengths, lengths)

    def take(self, which: Numbers) -> Spelled:
        """Return the words at these places, in this order."""
        return Spelled(self.points, self.starts[which], self.lengths[which])

    def letter_sets(self) -> NDArray[np.uint64]:
        """Return each word's set of letters as bits, 64 at most: enough to see that two have little in common."""
        bits = np.left_shift(np.uint64(1), (self.points & 63).astype(np.uint64))
        sets = np.zeros(len(self.starts), dtype=np.uint64)
        some = np.flatnonzero(self.lengths)
        if len(some):
            sets[some] = np.bitwise_or.reduceat(bits, self.starts[some])
        return sets

    def rows(self, width: int) -> Points:
        """Return the letters, a row a place in the word and a column a word, 0 past its end. Shape (width, words)."""
        places = np.arange(width)[:, None]
        if not len(self.points):
            return np.zeros((width, len(self.starts)), dtype=np.uint32)
        letters = self.points[np.minimum(self.starts + places, len(self.points) - 1)]
        letters[places >= self.lengths] = 0
        return letters


def distances(heard: Spelled, names: Spelled) -> Tenths:
    """Return the weighted edit distance of each two folded spellings at the same place, in tenths.

    A letter for one of another sound costs 10; what sounds alike, a vowel, a weak or a doubled letter costs less.
    """
    found = np.zeros(len(heard.lengths), dtype=np.int32)
    for pairs in _of_one_length(heard.lengths, names.lengths):
        found[pairs] = _least(heard.take(pairs), names.take(pairs))
    return found


def _of_one_length(heard: Numbers, names: Numbers) -> Iterator[Numbers]:
    """Yield places of pairs whose heard words are equally long, so many that they are well reckoned at once."""
    order = np.lexsort((names, heard))
    bounds = [0, *(np.flatnonzero(np.diff(heard[order])) + 1).tolist(), len(order)]
    for start, stop in pairwise(bounds):
        at_once = max(1, MOST_CELLS // (1 + int(names[order[start:stop]].max(initial=0))))
        for first in range(start, stop, at_once):
            yield order[first : min(first + at_once, stop)]


def _least(heard: Spelled, names: Spelled) -> Tenths:
    """The recurrence of Wagner and Fischer, a row a letter heard, for all pairs side by side.

    Within a row a letter of the name left out leads on from the left; taking what it costs to leave out all up to a
    place from each place turns that into a running minimum.
    """
    letters = heard.rows(int(heard.lengths.max(initial=0)))
    others = names.rows(int(names.lengths.max(initial=0)))
    kinds, other_kinds = _kinds()[letters], _kinds()[others]
    gone = _gone(letters, kinds)
    all_left_out = np.zeros((len(others) + 1, len(heard.lengths)), dtype=np.int32)
    np.cumsum(_gone(others, other_kinds), axis=0, out=all_left_out[1:])
    row = all_left_out.copy()
    for letter, kind, cost in zip(letters, kinds, gone, strict=True):
        changed = row[:-1] + np.where(others == letter, 0, _changes()[kind, other_kinds])
        row += cost
        np.minimum(row[1:], changed, out=row[1:])
        row -= all_left_out
        np.minimum.accumulate(row, axis=0, out=row)
        row += all_left_out
    return row[names.lengths, np.arange(row.shape[1])]


def _gone(letters: Points, kinds: NDArray[np.uint8]) -> Tenths:
    """What it costs to leave out each letter."""
    costs = _costs_gone()[kinds]
    costs[1:][letters[1:] == letters[:-1]] = DOUBLED
    return costs


@lru_cache(maxsize=1)
def _known_letters() -> list[str]:
    return sorted(VOWELS | WEAK | HISSES | SOUNDS.keys())


@lru_cache(maxsize=1)
def _kinds() -> NDArray[np.uint8]:
    """For each code point its number among the letters whose sounds are known, from 1 on; 0 for all others."""
    kinds = np.zeros(0x110000, dtype=np.uint8)
    kinds[[ord(letter) for letter in _known_letters()]] = range(1, len(_known_letters()) + 1)
    return kinds


@lru_cache(maxsize=1)
def _costs_gone() -> Tenths:
    return np.array([OTHER, *map(cost_gone, _known_letters())], dtype=np.int32)


@lru_cache(maxsize=1)
def _changes() -> Tenths:
    """For each two kinds of letters what it costs to change one into the other."""
    known = _known_letters()
    costs = np.full((len(known) + 1, len(known) + 1), OTHER, dtype=np.int32)
    costs[1:, 1:] = [[cost_changed(one, other) for other in known] for one in known]
    return costs


def cost_gone(letter: str) -> int:
    """Return what leaving out a letter costs that does not stand after its like."""
    if letter in WEAK:
        return WEAK_GONE
    return VOWEL_GONE if letter in VOWELS else OTHER


def cost_changed(letter: str, other: str) -> int:
    """Return what it costs to write one letter for another."""
    if letter == other:
        return 0
    alike = {letter, other} <= VOWELS or {letter, other} <= HISSES
    return SAME_SOUND if alike or set(SOUNDS.get(letter, "")) & set(SOUNDS.get(other, "")) else OTHER
