"""Names that a transcript may have misheard: stretches of one to three words that sound like a known name.

Two steps, both our own simple form of well-known ways. To find candidates quickly, every name and every
stretch of words is reduced to the order of its consonant sounds (a phonetic key, after Knuth's account of
Soundex, The Art of Computer Programming 3, section 6), and keys are compared with at most one sound left out
on either side (a deletion neighbourhood, after Mor and Fraenkel, 1982). Then a weighted edit distance (Wagner
and Fischer, 1974) between the folded spellings gives the score. Suggestions are for a person to accept.
"""

import math
import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate, chain, pairwise, zip_longest
from typing import NamedTuple

from archive.timecode.cues import Cue
from archive.timecode.folding import GLOTTALS, fold

LEAST_SCORE = 0.7
# Where capitals are in use, words without one need more than a likeness to pass for a name.
LEAST_SCORE_SMALL, LEAST_SCORE_SMALL_ALONE = 0.84, 0.88
MOST_WORDS = 3
# A stretch of several words is looked at from this many sounds and letters on; shorter ones match anything.
LEAST_SOUNDS_TOGETHER, LEAST_LETTERS_TOGETHER, LEAST_LETTERS = 3, 5, 3
# Twice as long is another word, whatever it sounds like; and so is one with mostly other letters.
LEAST_LENGTH_RATIO, MOST_OTHER_LETTERS = 0.6, 0.75
# A letter that only one of two words has costs about this much; it saves reckoning what cannot be enough.
OTHER_LETTER_COST = 0.3
MOST_RECKONED = 6
# Where a word alone is so much like a name, the words around it are looked at only for a name that fits better.
SURE_ALONE = 0.85
# A word that makes up more than this share of a long transcript is an ordinary one.
ORDINARY_SHARE, ORDINARY_FROM_WORDS = 0.004, 2_000
LETTERS = r"[^\W\d_]"
TOKEN = re.compile(rf"{LETTERS}+(?:[\u0300-\u036f{re.escape(GLOTTALS)}]+{LETTERS}*)*")
POSSESSIVE = re.compile(r"['’ʼ]s$")
BETWEEN = re.compile(r"[ \t\n\-\u00a0\u2010\u2011]{1,3}")

VOWELS = frozenset("aeiouyɛɔəɨʉɑæøœıʊɪ")
WEAK = frozenset("hwjɦʍ")
SOUNDS = {
    "p": "P", "b": "P", "ɓ": "P", "f": "F", "v": "F", "w": "F", "ɸ": "F", "β": "F",
    "k": "K", "g": "K", "q": "K", "c": "K", "x": "KS", "ɣ": "K", "ɡ": "K", "ƙ": "K",
    "t": "T", "d": "T", "ð": "T", "þ": "T", "θ": "T", "ɗ": "T", "đ": "T",
    "s": "S", "z": "S", "j": "S", "ʃ": "S", "ʒ": "S",
    "m": "M", "n": "N", "ɲ": "N", "ŋ": "NK", "l": "L", "ł": "L", "ɬ": "L", "r": "R", "ɾ": "R", "ɹ": "R", "h": "",
}
WEAK_LIKE_STRONG = frozenset(letter for letter in WEAK if SOUNDS.get(letter))
# Spelling habits of Latin letters, and the sounds they stand for.
GRAPHS = {"tch": "S", "sch": "S", "ch": "S", "sh": "S", "th": "T", "ph": "F", "gh": "", "ck": "K",
          "ce": "S", "ci": "S", "cy": "S"}
GRAPH = re.compile("|".join(GRAPHS) + "|.", re.DOTALL)
START_SILENT = re.compile(r"^(?:kn|gn|pn)")
DOUBLE = re.compile(r"(.)\1+", re.DOTALL)

SAME_SOUND, VOWEL_GONE, WEAK_GONE, DOUBLED, OTHER = 0.4, 0.6, 0.5, 0.2, 1.0


class Suggestion(NamedTuple):
    """A stretch [start_char, end_char) of a cue's text that may be a misheard name; score 1 is surest."""

    cue_index: int
    start_char: int
    end_char: int
    heard: str
    name: str
    score: float


@dataclass(slots=True, eq=False)
class _Word:
    """A word as it is written: folded spelling, phonetic key, whether it begins with a capital.

    name_like: written as names are. begins: some name's key begins with this one. scored: the best name for it
    alone; sure: a very good one; right: the name itself, written as it should be. These are worked out once all
    are read.
    """

    written: str
    folded: str
    key: str
    capital: bool
    name_like: bool = False
    begins: bool = False
    sure: bool = False
    right: bool = False
    scored: "_Scored" = None


class _Entry(NamedTuple):
    """A spelling of a name: folded without spaces, its length, the set of its letters as bits, the name."""

    folded: str
    length: int
    letters: int
    name: str


_Scored = tuple[float, str] | None
_Places = list[tuple[int, int]]


def phonetic_key(folded: str) -> str:
    """Return the consonant sounds of a folded word in order; letters of other scripts stay as they are."""
    word = DOUBLE.sub(r"\1", START_SILENT.sub("n", folded))
    return "".join([_sound(graph) for graph in GRAPH.findall(word)])


def _sound(graph: str) -> str:
    known = GRAPHS.get(graph)
    if known is not None:
        return known
    if graph in VOWELS:
        return ""
    return SOUNDS.get(graph, graph if graph.isalpha() else "")


class NameIndex:
    """Known names and their variant spellings, ready to be looked for.

    names is a list of names, or a mapping of each name to its variants. A variant is as right as the name.
    """

    def __init__(self, names: Iterable[str] | Mapping[str, Iterable[str]]) -> None:
        spelled = names if isinstance(names, Mapping) else dict.fromkeys(names, ())
        self.spellings: dict[str, set[str]] = defaultdict(set)
        self.proposed: dict[str, str] = {}
        self.whole: dict[str, list[_Entry]] = defaultdict(list)
        self.shortened: dict[str, list[_Entry]] = defaultdict(list)
        self.beginnings: set[str] = {""}
        for name, variants in spelled.items():
            for spelling in (name, *variants):
                self._add(name, spelling)

    def _add(self, name: str, spelling: str) -> None:
        folded = together(spelling)
        known = folded in self.spellings
        if not folded:
            return
        self.spellings[folded].add(_as_written(spelling))
        if known:
            return
        self.proposed[folded] = name
        entry = _Entry(folded, len(folded), letters_of(folded), name)
        key = "".join(phonetic_key(part) for part in fold(spelling).split())
        self.whole[key].append(entry)
        self.beginnings.update(key[:length] for length in range(1, len(key) + 1))
        for shorter in _without_one(key):
            self.shortened[shorter].append(entry)

    def near(self, key: str, changed: bool) -> list[_Entry]:
        """Return the names whose key is this one, but for one sound more or less; with changed, or one other."""
        found = self.whole.get(key, []) + self.shortened.get(key, [])
        for shorter in _without_one(key):
            found += self.whole.get(shorter, [])
            if changed and len(key) >= LEAST_SOUNDS_TOGETHER:
                found += self.shortened.get(shorter, [])
        return list(dict.fromkeys(found))


def together(text: str) -> str:
    """Return text folded, without spaces and hyphens."""
    return fold(text).replace(" ", "").replace("-", "")


def _as_written(text: str) -> str:
    return " ".join(text.casefold().split())


def _without_one(key: str) -> set[str]:
    return {key[:at] + key[at + 1 :] for at in range(len(key))} if len(key) > 2 else set()


def letters_of(folded: str) -> int:
    """Return the set of letters as bits, 64 at most: enough to see that two words have little in common."""
    bits = 0
    for letter in folded:
        bits |= 1 << (ord(letter) & 63)
    return bits


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
    search = _Search(NameIndex(names), least_score, {fold(word) for word in known_words})
    texts = [cue if isinstance(cue, str) else cue.text for cue in cues]
    lines = [[search.words[written] for written in TOKEN.findall(text)] for text in texts]
    search.learn_ordinary(lines)
    return [Suggestion(index, *found)
            for index, (text, words) in enumerate(zip(texts, lines, strict=True))
            for found in search.in_line(text, words)]


class _Words(dict[str, _Word]):
    """What is known of each word as it is written; a possessive ending is left out."""

    def __missing__(self, written: str) -> _Word:
        folded = fold(POSSESSIVE.sub("", written))
        word = self[written] = _Word(written, folded, phonetic_key(folded), written[0].isupper())
        return word


class _Search:
    """One run over a transcript; keeps what it has worked out for each word and each stretch of words."""

    def __init__(self, index: NameIndex, least_score: float, known_words: set[str]) -> None:
        self.index = index
        self.least_score = least_score
        self.ordinary = known_words
        self.names_by_key = index.whole
        self.words = _Words()
        self.stretches: dict[tuple[str, bool], _Scored] = {}
        self.near: dict[str, list[_Entry]] = {}
        self.cased = False

    def learn_ordinary(self, lines: list[list[_Word]]) -> None:
        """Take words that make up much of a long transcript, or also stand uncapitalised, for ordinary ones."""
        counts = Counter(chain.from_iterable(lines))
        total, capitals = counts.total(), sum(count for word, count in counts.items() if word.capital)
        small = {word.folded for word in counts if not word.capital}
        self.cased = 0 < capitals < total / 2
        if total >= ORDINARY_FROM_WORDS:
            self.ordinary |= {word.folded for word, count in counts.items()
                              if count > total * ORDINARY_SHARE and word.folded not in self.index.spellings}
        for word in counts:
            word.name_like = self.cased and word.capital and word.folded not in small
            word.begins = word.key in self.index.beginnings
            word.scored = self._score_alone(word)
            word.right = self._right(POSSESSIVE.sub("", word.written))
            word.sure = word.scored is not None and word.scored[0] >= SURE_ALONE

    def _score_alone(self, word: _Word) -> _Scored:
        if word.folded in self.index.spellings:
            return 1.0, self.index.proposed[word.folded]
        if len(word.folded) < LEAST_LETTERS or word.folded in self.ordinary:
            return None
        if word.name_like or not self.cased:
            same = _best(word.folded, self.names_by_key.get(word.key, ()), max(self.least_score, SURE_ALONE))
            return same or _best(word.folded, self.index.near(word.key, changed=True), self.least_score)
        least = max(self.least_score, LEAST_SCORE_SMALL_ALONE)
        return _best(word.folded, self.names_by_key.get(word.key, ()), least)

    def in_line(self, text: str, words: list[_Word]) -> list[tuple[int, int, str, str, float]]:
        """Return (start, end, heard, name, score) of the best suggestions in one cue that do not overlap."""
        found: list[tuple[float, int, int, str]] = []
        named = [at for at, word in enumerate(words) if word.name_like]
        near_names = {at - back for at in named for back in range(MOST_WORDS)} if named else ()
        beginnings = self.index.beginnings
        for at, (word, following) in enumerate(zip_longest(words, words[1:])):
            if word.scored is not None:
                found.append((word.scored[0], at, at, word.scored[1]))
            if following is not None and (
                    (word.begins and word.key + following.key in beginnings) or at in near_names):
                found += self._stretches_from(at, words)
        if not found:
            return []
        if len(found) == 1 and found[0][1] == found[0][2] and words[found[0][1]].right:
            return []
        places = _places(text, words[: max(last for _, _, last, _ in found) + 1])
        return self._chosen(text, words, places, [one for one in found if _joined(text, places, one[1], one[2])])

    def _stretches_from(self, at: int, words: list[_Word]) -> list[tuple[float, int, int, str]]:
        """Return (score, at, last, name) of the stretches of two words and more that begin with a word."""
        found = []
        known, beginnings = self.names_by_key, self.index.beginnings
        key, name_like = words[at].key, words[at].name_like
        sure = words[at].sure
        for last, other in enumerate(words[at + 1 : at + MOST_WORDS], at + 1):
            key += other.key
            name_like = name_like or other.name_like
            sure = sure or other.sure
            if (name_like and not sure) or key in known:
                scored = self._score_stretch(key, words[at : last + 1], name_like)
                if scored is not None:
                    found.append((scored[0], at, last, scored[1]))
            elif key not in beginnings and last + 1 < len(words) and not words[last + 1].name_like:
                break
        return found

    def _score_stretch(self, key: str, words: list[_Word], name_like: bool) -> _Scored:
        folded = "".join([word.folded for word in words])
        if folded in self.index.spellings:
            return 1.0, self.index.proposed[folded]
        if len(key) < LEAST_SOUNDS_TOGETHER or len(folded) < LEAST_LETTERS_TOGETHER:
            return None
        again = (folded, name_like)
        if again not in self.stretches:
            self.stretches[again] = self._best_stretch(key, folded, words, name_like)
        return self.stretches[again]

    def _best_stretch(self, key: str, folded: str, words: list[_Word], name_like: bool) -> _Scored:
        if all(word.folded in self.ordinary for word in words):
            return None
        if not name_like:
            least = max(self.least_score, LEAST_SCORE_SMALL) if self.cased else self.least_score
            return _best(folded, self.names_by_key.get(key, ()), least)
        if key not in self.near:
            self.near[key] = self.index.near(key, changed=False)
        return _best(folded, self.near[key], self.least_score)

    def _chosen(
        self, text: str, words: list[_Word], places: _Places, found: list[tuple[float, int, int, str]],
    ) -> list[tuple[int, int, str, str, float]]:
        taken: set[int] = set()
        chosen = []
        for score, at, last, name in sorted(found, key=lambda one: (-one[0], one[1] - one[2], one[1])):
            if taken.isdisjoint(range(at, last + 1)):
                taken.update(range(at, last + 1))
                start = places[at][0]
                heard = POSSESSIVE.sub("", text[start : places[last][1]])
                if not (words[at].right if at == last else self._right(heard)):
                    chosen.append((start, start + len(heard), heard, name, round(score, 3)))
        return sorted(chosen)

    def _right(self, heard: str) -> bool:
        """Whether words are a known name, written as it should be."""
        return _as_written(heard) in self.index.spellings.get(together(heard), ())


def _places(text: str, words: list[_Word]) -> _Places:
    places, at = [], 0
    for word in words:
        start = text.index(word.written, at)
        at = start + len(word.written)
        places.append((start, at))
    return places


def _joined(text: str, places: _Places, at: int, last: int) -> bool:
    gaps = pairwise(places[at : last + 1])
    return at == last or all(BETWEEN.fullmatch(text, before[1], after[0]) for before, after in gaps)


def _best(folded: str, candidates: Sequence[_Entry], least_score: float) -> _Scored:
    best_score, best_name = 0.0, ""
    for entry in _most_alike(folded, candidates, least_score):
        longer = max(len(folded), entry.length)
        most = (1 - max(least_score, best_score)) * longer
        score = 1 - distance(folded, entry.folded, most) / longer
        if score > best_score:
            best_score, best_name = score, entry.name
    return (best_score, best_name) if best_score >= least_score - 1e-9 else None


def _most_alike(folded: str, candidates: Sequence[_Entry], least_score: float) -> list[_Entry]:
    """Return the few candidates with the most letters in common, since reckoning the distance is slow."""
    length, letters = len(folded), letters_of(folded)
    shortest, longest = LEAST_LENGTH_RATIO * length, length / LEAST_LENGTH_RATIO
    most_others = min(MOST_OTHER_LETTERS, (1 - least_score) / OTHER_LETTER_COST)
    alike = []
    for entry in candidates:
        others = (letters ^ entry.letters).bit_count()
        if others <= most_others * max(length, entry.length) and shortest <= entry.length <= longest:
            alike.append((others + abs(entry.length - length), entry))
    if len(alike) > MOST_RECKONED:
        alike = sorted(alike)[:MOST_RECKONED]
    return [entry for _, entry in alike]


def distance(heard: str, name: str, most: float = math.inf) -> float:
    """Return the weighted edit distance of two folded spellings: what sounds alike costs less than 1.

    Once it is sure to be over `most`, some number over `most` is returned.
    """
    first, heard_stop, name_stop = _unlike(heard, name)
    middle = name[first:name_stop]
    name_gone = [_gone(name, at) for at in range(first, name_stop)]
    row = [0.0, *accumulate(name_gone)]
    for i in range(first, heard_stop):
        gone = _gone(heard, i)
        changes = _changes(heard[i])
        left = row[0] + gone
        new = [left]
        for j, other in enumerate(middle):
            change = row[j] + changes.get(other, OTHER)
            up = row[j + 1] + gone
            left += name_gone[j]
            if change < left:
                left = change
            if up < left:
                left = up
            new.append(left)
        row = new
        if min(row) > most:
            return min(row)
    return row[-1]


def _unlike(heard: str, name: str) -> tuple[int, int, int]:
    """Return where two words begin to differ, and where each has only their common ending left.

    A common letter is left in where it may be cheaper to leave it out than another: as the second of two, or a weak
    letter that sounds like a strong one.
    """
    first, heard_stop, name_stop = 0, len(heard), len(name)
    while first < heard_stop and first < name_stop and heard[first] == name[first] and _settled(heard, first):
        first += 1
    while (heard_stop > first and name_stop > first and heard[heard_stop - 1] == name[name_stop - 1]
           and _settled(heard, heard_stop - 1) and _settled(name, name_stop - 1)):
        heard_stop, name_stop = heard_stop - 1, name_stop - 1
    return first, heard_stop, name_stop


def _settled(word: str, at: int) -> bool:
    """Whether a letter that both words have is sure to be kept at the least cost."""
    letter = word[at]
    return letter not in WEAK_LIKE_STRONG and not (at and word[at - 1] == letter)


def _gone(word: str, at: int) -> float:
    letter = word[at]
    if at and word[at - 1] == letter:
        return DOUBLED
    if letter in WEAK:
        return WEAK_GONE
    return VOWEL_GONE if letter in VOWELS else OTHER


@lru_cache(maxsize=4_096)
def _changes(letter: str) -> dict[str, float]:
    """Return what it costs to change a letter into each letter that sounds like it; all others cost OTHER."""
    costs = dict.fromkeys(VOWELS, SAME_SOUND) if letter in VOWELS else {}
    sounds = set(SOUNDS.get(letter, ""))
    costs |= {other: SAME_SOUND for other, sound in SOUNDS.items() if sounds & set(sound)}
    if letter in "cszj":
        costs |= dict.fromkeys("cszj", SAME_SOUND)
    return costs | {letter: 0.0}
