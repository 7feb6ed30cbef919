"""Names that a transcript may have misheard: stretches of one to three words that sound like a known name.

Two steps, both our own simple form of well-known ways. To find candidates quickly, every name and every
stretch of words is reduced to the order of its consonant sounds (``sounds.phonetic_key``), and keys are compared with
at most one sound left out on either side (a deletion neighbourhood, after Mor and Fraenkel, 1982). Then a weighted
edit distance (``sounds.distances``) between the folded spellings gives the score. All stretches of a transcript are
gathered first and judged at once. Suggestions are for a person to accept.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate, chain, groupby, pairwise
from operator import attrgetter
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from archive.timecode.cues import Cue
from archive.timecode.folding import GLOTTALS, fold
from archive.timecode.known_names import Likeness, NameIndex
from archive.timecode.sounds import Numbers, phonetic_key

LEAST_SCORE = 0.7
# Where capitals are in use, words without one need more than a likeness to pass for a name.
LEAST_SCORE_SMALL, LEAST_SCORE_SMALL_ALONE = 0.84, 0.88
# A stretch of several words is looked at from this many sounds and letters on; shorter ones match anything.
LEAST_SOUNDS_TOGETHER, LEAST_LETTERS_TOGETHER, LEAST_LETTERS = 3, 5, 3
# Where a word alone is so much like a name, the words around it are looked at only for a name that fits better.
SURE_ALONE = 0.85
# A word that makes up more than this share of a long transcript is an ordinary one.
ORDINARY_SHARE, ORDINARY_FROM_WORDS = 0.004, 2_000
LETTERS = r"[^\W\d_]"
TOKEN = re.compile(rf"{LETTERS}+(?:[\u0300-\u036f{re.escape(GLOTTALS)}]+{LETTERS}*)*")
POSSESSIVE = re.compile(r"['’ʼ]s$")
BETWEEN = re.compile(r"[ \t\n\-\u00a0\u2010\u2011]{1,3}")

Flags = NDArray[np.bool_]


class Suggestion(NamedTuple):
    """A stretch [start_char, end_char) of a cue's text that may be a misheard name; score 1 is surest."""

    cue_index: int
    start_char: int
    end_char: int
    heard: str
    name: str
    score: float


class _Word(NamedTuple):
    """A word as it is written: folded spelling without a possessive ending, phonetic key, whether it has a capital."""

    written: str
    folded: str
    key: str
    capital: bool


class _Found(NamedTuple):
    """A stretch of `length` words from place `at` of the running text on, and the name it is like."""

    line: int
    at: int
    length: int
    likeness: Likeness


@dataclass(frozen=True)
class _Text:
    """All words of a transcript in one run: which word stands at each place, and where each line ends."""

    lines: Sequence[str]
    written: list[str]
    words: list[_Word]
    word: Numbers
    stops: list[int]

    def lines_of(self, places: Numbers) -> Numbers:
        """Return in which line each place lies."""
        return np.searchsorted(self.stops, places, side="right")

    def room(self) -> Numbers:
        """Return for each place how many words its line has from it on."""
        stops = np.array(self.stops, dtype=np.int64)
        counts = np.diff(stops, prepend=0)
        return np.repeat(stops, counts) - np.arange(len(self.word))


@dataclass(frozen=True)
class _Judged:
    """What is known of each word by itself, in the order of _Text.words.

    name_like: written as names are. ordinary: never a misheard name. alone: the name it is like, if any. sure: it is
    very much like one. right: it is a name, written as it should be. cased: whether the text uses capitals at all.
    """

    name_like: Flags
    ordinary: list[bool]
    alone: list[Likeness | None]
    sure: Flags
    right: list[bool]
    cased: bool


def find_misheard(
    cues: Sequence[Cue | str],
    names: Iterable[str] | Mapping[str, Iterable[str]],
    least_score: float = LEAST_SCORE,
    known_words: Iterable[str] = (),
) -> list[Suggestion]:
    """Return stretches of the cues that sound like a known name and are not written like one, in order.

    names: a list, or a mapping of names to variant spellings. known_words are never taken for a name. A name
    written without its marks is suggested with score 1. Suggestions do not overlap.
    """
    text = _read([cue if isinstance(cue, str) else cue.text for cue in cues])
    if not text.words:
        return []
    index = NameIndex(names)
    judged = _judge(text, index, least_score, {fold(word) for word in known_words})
    found = _alone(text, judged)
    for length, places in enumerate(_looked_at(text, judged, index), 2):
        found += _together(text, judged, index, least_score, places, length)
    return _chosen(text, judged, index, found)


def _read(lines: Sequence[str]) -> _Text:
    tokens = [TOKEN.findall(line) for line in lines]
    written = list(chain.from_iterable(tokens))
    numbers = {word: number for number, word in enumerate(dict.fromkeys(written))}
    word = np.fromiter(map(numbers.__getitem__, written), dtype=np.int64, count=len(written))
    return _Text(lines, written, list(map(_word, numbers)), word, list(accumulate(map(len, tokens))))


def _word(written: str) -> _Word:
    folded = fold(POSSESSIVE.sub("", written))
    return _Word(written, folded, phonetic_key(folded), written[0].isupper())


# --- words by themselves ---


def _judge(text: _Text, index: NameIndex, least_score: float, known_words: set[str]) -> _Judged:
    """Words that make up much of a long transcript are ordinary ones; ones that also stand uncapitalised no names."""
    words, counts = text.words, np.bincount(text.word, minlength=len(text.words))
    capitals = np.array([word.capital for word in words], dtype=bool)
    cased = bool(0 < counts[capitals].sum() < len(text.word) / 2)
    small = {word.folded for word in words if not word.capital}
    often = counts > len(text.word) * ORDINARY_SHARE if len(text.word) >= ORDINARY_FROM_WORDS else counts < 0
    many = {words[at].folded for at in np.flatnonzero(often)} - index.proposed.keys()
    ordinary = [word.folded in known_words or word.folded in many for word in words]
    name_like = [cased and word.capital and word.folded not in small for word in words]
    alone = _likest_alone(words, name_like, ordinary, cased, index, least_score)
    return _Judged(
        name_like=np.array(name_like, dtype=bool),
        ordinary=ordinary,
        alone=alone,
        sure=np.array([one is not None and one.score >= SURE_ALONE for one in alone], dtype=bool),
        right=[index.is_right(POSSESSIVE.sub("", word.written)) for word in words],
        cased=cased,
    )


def _likest_alone(
    words: list[_Word], name_like: list[bool], ordinary: list[bool], cased: bool, index: NameIndex, least_score: float,
) -> list[Likeness | None]:
    """Return the name that each word is like: of the same sounds first, and for what may be a name of near ones."""
    found = [Likeness(1.0, index.proposed[word.folded]) if word.folded in index.proposed else None for word in words]
    open_ones = [at for at, word in enumerate(words)
                 if found[at] is None and len(word.folded) >= LEAST_LETTERS and not ordinary[at]]
    may_be = [name_like[at] or not cased for at in open_ones]
    same = index.likest(
        [words[at].folded for at in open_ones],
        [index.same_sounds(words[at].key) for at in open_ones],
        [max(least_score, SURE_ALONE if maybe else LEAST_SCORE_SMALL_ALONE) for maybe in may_be])
    _fill(found, open_ones, same)
    open_ones = [at for at, maybe in zip(open_ones, may_be, strict=True) if maybe and found[at] is None]
    near = index.likest(
        [words[at].folded for at in open_ones],
        [index.near_sounds(words[at].key, changed=True) for at in open_ones],
        [least_score] * len(open_ones))
    _fill(found, open_ones, near)
    return found


def _fill(found: list[Likeness | None], places: Iterable[int], answers: Iterable[Likeness | None]) -> None:
    for at, answer in zip(places, answers, strict=True):
        found[at] = answer


def _alone(text: _Text, judged: _Judged) -> list[_Found]:
    like = np.array([one is not None for one in judged.alone], dtype=bool)
    places = np.flatnonzero(like[text.word])
    return _found(text, places, 1, [judged.alone[word] for word in text.word[places].tolist()])


def _found(text: _Text, places: Numbers, length: int, answers: Iterable[Likeness | None]) -> list[_Found]:
    at_line = zip(text.lines_of(places).tolist(), places.tolist(), answers, strict=True)
    return [_Found(line, at, length, likeness) for line, at, likeness in at_line if likeness is not None]


# --- words together ---


def _looked_at(text: _Text, judged: _Judged, index: NameIndex) -> Iterator[Numbers]:
    """Yield the places from which two words, and then three, are compared with names.

    They may be a name by their capitals, unless a word among them is surely one alone; or their sounds together are
    just those of a name.
    """
    room = text.room()
    name_like, sure = judged.name_like[text.word], judged.sure[text.word]
    for length, sounding in enumerate(_sounding(text, index, room), 2):
        places = np.flatnonzero(room >= length)
        reach = places[:, None] + np.arange(length)
        yield places[name_like[reach].any(axis=1) & ~sure[reach].any(axis=1) | sounding[places]]


def _sounding(text: _Text, index: NameIndex, room: Numbers) -> Iterator[Flags]:
    """Yield for each place whether two words, and then three, have together just the sounds of a name."""
    numbers: dict[str, int] = {}
    key_of_word = [numbers.setdefault(word.key, len(numbers)) for word in text.words]
    key = np.array(key_of_word, dtype=np.int64)[text.word]
    keys = joined = list(numbers)
    places, so_far = np.arange(len(key)), key
    for length in (2, 3):
        begun = np.array([one in index.beginnings for one in joined], dtype=bool)
        places, so_far = places[begun[so_far]], so_far[begun[so_far]]
        roomy = room[places] >= length
        places, so_far = places[roomy], so_far[roomy]
        pairs, so_far = np.unique(so_far * len(keys) + key[places + length - 1], return_inverse=True)
        joined = [joined[pair // len(keys)] + keys[pair % len(keys)] for pair in pairs.tolist()]
        whole = np.array([one in index.whole for one in joined], dtype=bool)
        sounding = np.zeros(len(key), dtype=bool)
        sounding[places] = whole[so_far]
        yield sounding


def _together(
    text: _Text, judged: _Judged, index: NameIndex, least_score: float, places: Numbers, length: int,
) -> list[_Found]:
    """Return which of the stretches of so many words from these places on are like a name; like ones asked once."""
    number = text.word[places]
    for further in range(1, length):
        pairs = number * len(text.words) + text.word[places + further]
        _, first, number = np.unique(pairs, return_index=True, return_inverse=True)
    stretches = text.word[places[first][:, None] + np.arange(length)].tolist()
    answers = _likest_together(stretches, text.words, judged, index, least_score)
    return _found(text, places, length, [answers[at] for at in number.tolist()])


def _likest_together(
    stretches: list[list[int]], words: list[_Word], judged: _Judged, index: NameIndex, least_score: float,
) -> list[Likeness | None]:
    folded_of, key_of = [word.folded for word in words], [word.key for word in words]
    name_like = judged.name_like.tolist()
    answers: list[Likeness | None] = [None] * len(stretches)
    asked: dict[tuple[str, str, bool], int] = {}
    open_ones, question = [], []
    for number, stretch in enumerate(stretches):
        folded = "".join([folded_of[at] for at in stretch])
        key = "".join([key_of[at] for at in stretch])
        if folded in index.proposed:
            answers[number] = Likeness(1.0, index.proposed[folded])
        elif (len(key) >= LEAST_SOUNDS_TOGETHER and len(folded) >= LEAST_LETTERS_TOGETHER
                and False in [judged.ordinary[at] for at in stretch]):
            open_ones.append(number)
            may_be = True in [name_like[at] for at in stretch]
            question.append(asked.setdefault((folded, key, may_be), len(asked)))
    least_small = max(least_score, LEAST_SCORE_SMALL) if judged.cased else least_score
    likest = index.likest(
        [folded for folded, _, _ in asked],
        [index.near_sounds(key, changed=False) if may_be else index.same_sounds(key) for _, key, may_be in asked],
        [least_score if may_be else least_small for _, _, may_be in asked])
    _fill(answers, open_ones, [likest[number] for number in question])
    return answers


# --- choosing ---


def _chosen(text: _Text, judged: _Judged, index: NameIndex, found: list[_Found]) -> list[Suggestion]:
    """Return the best suggestions that do not overlap; none for what is written rightly, which yet keeps its place."""
    found.sort(key=lambda one: (one.line, -one.likeness.score, -one.length, one.at))
    return [suggestion for line, inside in groupby(found, key=attrgetter("line"))
            for suggestion in _chosen_in(line, text, judged, index, list(inside))]


def _chosen_in(
    line: int, text: _Text, judged: _Judged, index: NameIndex, found: list[_Found],
) -> list[Suggestion]:
    if all(one.length == 1 and judged.right[text.word[one.at]] for one in found):
        return []
    begin = text.stops[line - 1] if line else 0
    said = text.lines[line]
    places = _places(said, text.written[begin : max(one.at + one.length for one in found)])
    taken: set[int] = set()
    chosen = []
    for one in found:
        reach = range(one.at - begin, one.at - begin + one.length)
        if taken.isdisjoint(reach) and _joined(said, places[reach.start : reach.stop]):
            taken.update(reach)
            start = places[reach.start][0]
            heard = POSSESSIVE.sub("", said[start : places[reach.stop - 1][1]])
            right = judged.right[text.word[one.at]] if one.length == 1 else index.is_right(heard)
            if not right:
                score = round(one.likeness.score, 3)
                chosen.append(Suggestion(line, start, start + len(heard), heard, one.likeness.name, score))
    return sorted(chosen)


def _places(text: str, words: list[str]) -> list[tuple[int, int]]:
    places, at = [], 0
    for word in words:
        start = text.index(word, at)
        at = start + len(word)
        places.append((start, at))
    return places


def _joined(text: str, places: Sequence[tuple[int, int]]) -> bool:
    return all(BETWEEN.fullmatch(text, before[1], after[0]) for before, after in pairwise(places))
