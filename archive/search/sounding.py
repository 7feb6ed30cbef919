"""Words of the index that sound like another: by themselves, or as two or three that were taken for one.

Over the words of the index: words whose sounds are those of the one given, or one
sound more, fewer or other (`timecode.sounds.phonetic_key`); and words that make up its sounds between them, where
they stand one after the other. A word counts for itself alone, never by how often it stands, and only where the viewer
reads it: what is hidden moves nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, islice, pairwise

import numpy as np

from ..access.layout import Numbers
from ..timecode.sounds import OTHER, Spelled, distances, phonetic_key
from .aims import Ask
from .meeting import chained
from .query import HEARD, Clause
from .stock import Part

LEAST_ALIKE = 0.6  # to be looked at; what is taken is decided by whoever asks
LEAST_ALIKE_PART = 0.5
BEGINNING_LONGER = (0, -1, 1, -2)  # letters by which the beginning of a word may be longer than what is said for it
LEAST_SOUNDS, LEAST_LETTERS = 2, 4
DRAWN_OUT = re.compile(r"(.)\1{2,}")  # a letter doubled costs little, so a long row of one would be like anything
LEAST_SOUNDS_APART, MOST_APART = 3, 3  # from which on, and into how many words, one is taken apart
SOUNDS = "FKLMNPRST"  # what phonetic_key is made of, for Latin letters
MOST_ALIKE = 24


@dataclass(frozen=True, eq=False)
class Run:
    """Words one after the other that sound like what was given, how much (0 to 1), and the atoms that hold them."""

    words: tuple[str, ...]
    score: float
    atoms: Numbers


@dataclass(frozen=True, eq=False)
class _Runs:
    """What sounds like one word, to be kept."""

    runs: tuple[Run, ...]

    @property
    def size(self) -> int:
        """Numbers held in memory, about: a word takes as much room as eight of them."""
        return 1 + sum(8 * len(run.words) + len(run.atoms) for run in self.runs)


def runs_like(ask: Ask, word: str) -> tuple[Run, ...]:
    """What sounds much like this word (folded) and is read by the viewer, the likest first; never the word itself.

    Kept with what else was worked out for this viewer, since a name is asked for page after page.
    """
    clause = Clause(HEARD, (word,))
    held = ask.sight.words.get(clause)
    if held is None:
        held = ask.sight.words.put(clause, _Runs(_likest(ask, word)))
    found: tuple[Run, ...] = held.runs
    return found


def same_sounds(ask: Ask, word: str) -> tuple[Run, ...]:
    """The words read by the viewer that have just the sounds of this one (folded), itself among them; likest first."""
    key = phonetic_key(word)
    if len(key) < LEAST_SOUNDS_APART:
        return ()
    others = _words_of(ask.sight.board.stock.pieces, [key])
    return _met(ask, dict(zip([(other,) for other in others], alike(others, [word] * len(others)), strict=True)), {})


def _likest(ask: Ask, word: str) -> tuple[Run, ...]:
    word = DRAWN_OUT.sub(r"\1\1", word)
    key = phonetic_key(word)
    if len(key) < LEAST_SOUNDS or len(word) < LEAST_LETTERS:
        return ()
    alone = [(other,) for other in _words_of(ask.sight.board.stock.pieces, _near_keys(key)) if other != word]
    apart = dict(_standing_apart(ask, key, word))
    runs = [*alone, *apart]
    scored = dict(zip(runs, alike(["".join(run) for run in runs], [word] * len(runs)), strict=True))
    return _met(ask, scored, apart)


def _met(ask: Ask, scored: dict[tuple[str, ...], float], apart: dict[tuple[str, ...], Numbers]) -> tuple[Run, ...]:
    """The likest of these that are read; of those of several words it is known where they stand.

    What others hold is passed over before any are counted off, so that it cannot push out what is met.
    """
    order = sorted((run for run, score in scored.items() if score >= LEAST_ALIKE), key=lambda run: (-scored[run], run))
    met = ((run, apart[run] if run in apart else ask.standing(Clause("", run))[0]) for run in order)
    found = (Run(run, scored[run], atoms) for run, atoms in met if len(atoms))
    return tuple(islice(found, MOST_ALIKE))


def alike(ones: Sequence[str], others: Sequence[str]) -> list[float]:
    """For each two at the same place: 1 for the same spelling, 0 for nothing in common."""
    one, other = Spelled.of(ones), Spelled.of(others)
    scores: list[float] = (1 - distances(one, other) / (OTHER * np.maximum(one.lengths, other.lengths))).tolist()
    return scores


# --- taken for several words ---


def _standing_apart(ask: Ask, key: str, word: str) -> Iterator[tuple[tuple[str, ...], Numbers]]:
    """Two words or three, one after the other, with the word's sounds (key) between them, and where they stand.

    The first is something like the word's beginning, the last something like its end.
    """

    def sounding(part: str) -> list[str]:
        return _words_of(ask.sight.board.stock.pieces, [part])

    places = range(1, len(key))
    firsts = {cut: _like_beginnings(sounding(key[:cut]), word) for cut in places}
    lasts = {cut: _turned(_like_beginnings(_turned(sounding(key[cut:])), word[::-1])) for cut in places}
    most = MOST_APART if len(key) >= LEAST_SOUNDS_APART else 2
    for cuts in (cuts for count in range(1, most) for cuts in combinations(places, count)):
        between = [sounding(key[first:after]) for first, after in pairwise(cuts)]
        yield from chained(ask.sight, [firsts[cuts[0]], *between, lasts[cuts[-1]]])


def _like_beginnings(parts: list[str], word: str) -> list[str]:
    """Those parts that are something like the beginning of the word, of about their own length."""
    short = [part for part in parts if len(part) < len(word) + 2]
    if not short:
        return []
    cuts = [[word[: max(1, len(part) + more)] for part in short] for more in BEGINNING_LONGER]
    scores = np.max([alike(short, cut) for cut in cuts], axis=0)
    return [part for part, score in zip(short, scores.tolist(), strict=True) if score >= LEAST_ALIKE_PART]


def _turned(words: list[str]) -> list[str]:
    return [word[::-1] for word in words]


# --- words by their sounds ---


def _near_keys(key: str) -> list[str]:
    """The key, and those with one sound more, fewer or other."""
    fewer = [key[:at] + key[at + 1 :] for at in range(len(key))] if len(key) > LEAST_SOUNDS else []
    more = [key[:at] + sound + key[at:] for at in range(len(key) + 1) for sound in SOUNDS]
    other = [key[:at] + sound + key[at + 1 :] for at in range(len(key)) for sound in SOUNDS] if len(key) > 2 else []
    return list(dict.fromkeys([key, *fewer, *more, *other]))


def _words_of(pieces: Sequence[Part], keys: Iterable[str]) -> list[str]:
    return sorted({word for key in keys for piece in pieces for word in piece.sounding(key)})
