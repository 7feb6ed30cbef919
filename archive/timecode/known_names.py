"""Known names, ready to be looked for by their sounds, and which of them a word is most like."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from itertools import chain
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from archive.timecode.folding import fold
from archive.timecode.sounds import OTHER, Numbers, Spelled, distances, phonetic_key

# From this many sounds on, a name is also found by one sound that is another.
LEAST_SOUNDS_CHANGED = 3
# Twice as long is another word, whatever it sounds like; and so is one with mostly other letters.
LEAST_LENGTH_RATIO, MOST_OTHER_LETTERS = 0.6, 0.75
# A letter that only one of two words has costs about this much; it saves reckoning what cannot be enough.
OTHER_LETTER_COST = 0.3
MOST_RECKONED = 6
ROUNDING = 1e-9


class Likeness(NamedTuple):
    """A known name, and how much a word is like one of its spellings: 1 is that spelling."""

    score: float
    name: str


class NameIndex:
    """Known names and their variant spellings, ready to be looked for.

    names is a list of names, or a mapping of each name to its variants. A variant is as right as the name.
    Spellings that fold to the same are one, and stand for the first name.
    """

    def __init__(self, names: Iterable[str] | Mapping[str, Iterable[str]]) -> None:
        given = names if isinstance(names, Mapping) else dict.fromkeys(names, ())
        self.written: dict[str, set[str]] = defaultdict(set)
        self.proposed: dict[str, str] = {}
        self.whole: dict[str, list[int]] = defaultdict(list)
        self.shortened: dict[str, list[int]] = defaultdict(list)
        self.beginnings: set[str] = {""}
        for name, variants in given.items():
            for spelling in (name, *variants):
                self._add(name, spelling)
        self.folded = list(self.proposed)
        self.spelled = Spelled.of(self.folded)
        self.letters = self.spelled.letter_sets()
        self.rank = np.empty(len(self.folded), dtype=np.int64)
        self.rank[sorted(range(len(self.folded)), key=self.folded.__getitem__)] = np.arange(len(self.folded))

    def _add(self, name: str, spelling: str) -> None:
        folded = together(spelling)
        if not folded:
            return
        self.written[folded].add(as_written(spelling))
        if folded in self.proposed:
            return
        number = len(self.proposed)
        self.proposed[folded] = name
        key = "".join(phonetic_key(part) for part in fold(spelling).split())
        self.whole[key].append(number)
        self.beginnings.update(key[:length] for length in range(1, len(key) + 1))
        for shorter in _without_one(key):
            self.shortened[shorter].append(number)

    def is_right(self, heard: str) -> bool:
        """Whether words are a known name, written as it should be."""
        return as_written(heard) in self.written.get(together(heard), ())

    def same_sounds(self, key: str) -> Sequence[int]:
        """Return the spellings with just this key, by number."""
        return self.whole.get(key, ())

    def near_sounds(self, key: str, changed: bool) -> Sequence[int]:
        """Return those whose key is this one, but for one sound more or less; with changed, or one other."""
        found = [self.whole.get(key, ()), self.shortened.get(key, ())]
        for shorter in _without_one(key):
            found.append(self.whole.get(shorter, ()))
            if changed and len(key) >= LEAST_SOUNDS_CHANGED:
                found.append(self.shortened.get(shorter, ()))
        return list(dict.fromkeys(chain.from_iterable(found)))

    def likest(
        self, folded: Sequence[str], candidates: Sequence[Sequence[int]], least_score: Sequence[float],
    ) -> list[Likeness | None]:
        """Return for each folded word the likest of its candidates, None where none is like enough.

        Candidates are spellings by number. Of equally like ones, the one with more letters in common, then the first
        by its letters.
        """
        words, least = Spelled.of(folded), np.array(least_score, dtype=float)
        asked, entry = self._worth_reckoning(words, least, candidates)
        longer = np.maximum(words.lengths[asked], self.spelled.lengths[entry])
        score = 1 - distances(words.take(asked), self.spelled.take(entry)) / (OTHER * longer)
        order = np.lexsort((-score, asked))
        best = order[_place_in_run(asked[order]) == 0]
        answers: list[Likeness | None] = [None] * len(folded)
        for at in best[score[best] >= least[asked[best]] - ROUNDING].tolist():
            name = self.proposed[self.folded[entry[at]]]
            answers[asked[at]] = Likeness(float(score[at]), name)
        return answers

    def _worth_reckoning(
        self, words: Spelled, least: NDArray[np.float64], candidates: Sequence[Sequence[int]],
    ) -> tuple[Numbers, Numbers]:
        """Return places of words and numbers of spellings: the few with the most letters in common for each."""
        counts = np.fromiter(map(len, candidates), dtype=np.int64, count=len(candidates))
        asked = np.repeat(np.arange(len(candidates)), counts)
        entry = np.fromiter(chain.from_iterable(candidates), dtype=np.int64, count=int(counts.sum()))
        length, other_length = words.lengths[asked], self.spelled.lengths[entry]
        others = np.bitwise_count(words.letter_sets()[asked] ^ self.letters[entry]).astype(np.int64)
        most_others = np.minimum(MOST_OTHER_LETTERS, (1 - least) / OTHER_LETTER_COST)
        alike = np.flatnonzero(
            (others <= most_others[asked] * np.maximum(length, other_length))
            & (LEAST_LENGTH_RATIO * length <= other_length) & (other_length <= length / LEAST_LENGTH_RATIO))
        unlike = others[alike] + np.abs(other_length - length)[alike]
        alike = alike[np.lexsort((self.rank[entry[alike]], unlike, asked[alike]))]
        alike = alike[_place_in_run(asked[alike]) < MOST_RECKONED]
        return asked[alike], entry[alike]


def together(text: str) -> str:
    """Return text folded, without spaces and hyphens."""
    return fold(text).replace(" ", "").replace("-", "")


def as_written(text: str) -> str:
    """Return text without what does not make a spelling another: case, and how wide its spaces are."""
    return " ".join(text.casefold().split())


def _without_one(key: str) -> set[str]:
    return {key[:at] + key[at + 1 :] for at in range(len(key))} if len(key) > 2 else set()


def _place_in_run(sorted_numbers: Numbers) -> Numbers:
    """Return for each of ascending numbers how many like it stand before it."""
    return np.arange(len(sorted_numbers)) - np.searchsorted(sorted_numbers, sorted_numbers)
