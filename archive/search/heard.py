"""heard: a name as it may have been misheard. What the transcript says instead, found by its sounds.

Two steps. Over the words of the index, kept as long as its pieces stand: words whose sounds are those of the name, or
one sound more, fewer or other (`timecode.sounds.phonetic_key`), and pairs of words that make them up. Then the lines
that hold these, as far as the viewer reads them, are judged as the archivist's desk judges them
(`timecode.misheard.find_misheard`: weighted edit distance, capitals, ordinary words). A word counts for itself alone,
never by how often it stands, so what is hidden moves nothing.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import islice, product

import numpy as np

from ..access import found
from ..access.indexing import Field
from ..access.layout import Numbers
from ..timecode.misheard import find_misheard
from ..timecode.sounds import OTHER, Spelled, distances, phonetic_key
from .aims import Ask
from .meeting import beside
from .query import HEARD, Clause
from .stock import NO_NUMBERS, Part
from .words import words_of

LEAST_ALIKE = 0.6  # to be looked at; what is taken is decided by the second step
LEAST_ALIKE_PART = 0.5
LEAST_SOUNDS, LEAST_LETTERS = 2, 4
SOUNDS = "FKLMNPRST"  # what phonetic_key is made of, for Latin letters
MOST_ALIKE, MOST_RUNS, MOST_LINES = 24, 200, 3_000
KEPT_PIECES = 64

Sounding = dict[str, list[str]]
_lock = threading.Lock()
_held: OrderedDict[str, Sounding] = OrderedDict()


@dataclass(frozen=True)
class Heard:
    """Atoms that may hold a name misheard, ascending, and beside each what stands there instead."""

    atoms: Numbers
    instead: tuple[str, ...]


@dataclass(frozen=True)
class _Likely:
    """What sounds like one word, to be kept."""

    runs: tuple[tuple[str, ...], ...]

    @property
    def size(self) -> int:
        """Numbers held in memory, about: a word takes as much room as eight of them."""
        return 1 + 8 * sum(len(run) for run in self.runs)


def heard(ask: Ask, names: Iterable[str]) -> Heard:
    """Lines that the viewer reads in which one of these names may be misheard."""
    spelled = sorted({name for name in names if words_of(name)})
    kept = [piece_sounds(piece) for piece in ask.sight.board.stock.pieces]
    stretches = sorted({stretch for name in spelled for stretch in _stretches(ask, kept, name)})
    atoms = [NO_NUMBERS, *(ask.standing(Clause("", stretch))[0] for stretch in stretches)]
    lines = np.unique(np.concatenate(atoms))
    stock = ask.sight.board.stock
    return _judged(ask, lines[stock.part[lines] == Field.CUE][:MOST_LINES], spelled)


def _judged(ask: Ask, lines: Numbers, spelled: list[str]) -> Heard:
    read = found.cues(ask.gate, ask.sight.board.stock.cue[lines].tolist())
    kept = [(atom, read[cue]) for atom in lines.tolist() if (cue := int(ask.sight.board.stock.cue[atom])) in read]
    instead: dict[int, list[str]] = {}
    for one in find_misheard([line.text for _, line in kept], spelled):
        instead.setdefault(kept[one.cue_index][0], []).append(one.heard)
    return Heard(np.array(sorted(instead), dtype=np.int64), tuple(instead[atom][0] for atom in sorted(instead)))


# --- over the words of the index ---


def _stretches(ask: Ask, kept: list[Sounding], name: str) -> list[tuple[str, ...]]:
    """Runs of words that sound like the name: word for word, and all of it as one or two words."""
    words = words_of(name)
    each = [[(word,), *_alike(ask, kept, word)] for word in words]
    runs = [tuple(one for part in chosen for one in part) for chosen in islice(product(*each), MOST_RUNS)]
    if len(words) > 1:
        runs += _alike(ask, kept, "".join(words))
    return [run for run in runs if run != tuple(words)]


def _alike(ask: Ask, kept: list[Sounding], word: str) -> list[tuple[str, ...]]:
    """Words, and pairs of words, that sound much like this one, the likest first; only such as the viewer reads.

    Kept with what else was worked out for this viewer, since a name is asked for page after page.
    """
    clause = Clause(HEARD, (word,))
    held = ask.sight.words.get(clause)
    if held is None:
        held = ask.sight.words.put(clause, _Likely(tuple(_likely(ask, kept, word))))
    return list(held.runs)


def _likely(ask: Ask, kept: list[Sounding], word: str) -> list[tuple[str, ...]]:
    """What others hold is passed over before any are counted off, so that it cannot push out what is met.

    Pairs are many and few of them are ever said, so that they are looked for first and compared afterwards.
    """
    key = phonetic_key(word)
    if len(key) < LEAST_SOUNDS or len(word) < LEAST_LETTERS:
        return []
    runs: set[tuple[str, ...]] = {(other,) for other in _words_of_keys(kept, _near_keys(key)) if other != word}
    for at in range(1, len(key)):
        first = _like_beginnings(_words_of_keys(kept, [key[:at]]), word)
        second = _turned(_like_beginnings(_turned(_words_of_keys(kept, [key[at:]])), word[::-1]))
        runs |= beside(ask.sight, first, second)
    ordered = sorted(runs)
    scored = dict(zip(ordered, alike(["".join(run) for run in ordered], [word] * len(ordered)), strict=True))
    likely = sorted((run for run, score in scored.items() if score >= LEAST_ALIKE), key=lambda run: (-scored[run], run))
    return list(islice((run for run in likely if len(ask.standing(Clause("", run))[0])), MOST_ALIKE))


def alike(ones: Sequence[str], others: Sequence[str]) -> list[float]:
    """For each two at the same place: 1 for the same spelling, 0 for nothing in common."""
    one, other = Spelled.of(ones), Spelled.of(others)
    scores: list[float] = (1 - distances(one, other) / (OTHER * np.maximum(one.lengths, other.lengths))).tolist()
    return scores


def _like_beginnings(parts: list[str], word: str) -> list[str]:
    """Those parts that are something like the beginning of the word."""
    short = [part for part in parts if len(part) < len(word) + 2]
    scores = alike(short, [word[: len(part)] for part in short])
    return [part for part, score in zip(short, scores, strict=True) if score >= LEAST_ALIKE_PART]


def _turned(words: list[str]) -> list[str]:
    return [word[::-1] for word in words]


def _near_keys(key: str) -> list[str]:
    """The key, and those with one sound more, fewer or other."""
    fewer = [key[:at] + key[at + 1 :] for at in range(len(key))] if len(key) > LEAST_SOUNDS else []
    more = [key[:at] + sound + key[at:] for at in range(len(key) + 1) for sound in SOUNDS]
    other = [key[:at] + sound + key[at + 1 :] for at in range(len(key)) for sound in SOUNDS] if len(key) > 2 else []
    return list(dict.fromkeys([key, *fewer, *more, *other]))


def _words_of_keys(kept: list[Sounding], keys: Iterable[str]) -> list[str]:
    return sorted({word for key in keys for sounding in kept for word in sounding.get(key, ())})


def piece_sounds(piece: Part) -> Sounding:
    """The words of a piece by their sounds; a piece is never changed, so this is worked out once."""
    with _lock:
        known = _held.get(piece.name)
        if known is not None:
            _held.move_to_end(piece.name)
            return known
    made: Sounding = {}
    for word in piece.vocabulary():
        if word.isalpha():
            made.setdefault(phonetic_key(word), []).append(word)
    with _lock:
        _held[piece.name] = made
        while len(_held) > KEPT_PIECES:
            _held.popitem(last=False)
    return made
