"""A name as it may have been misheard: what the transcript says instead, found by its sounds.

Lines that hold what sounds like the name (`sounding`), as far as the viewer reads them, are judged as the archivist's
desk judges them (`timecode.misheard.find_misheard`: weighted edit distance, capitals, ordinary words).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from ..access import found
from ..access.indexing import Field
from ..access.layout import Numbers
from ..timecode.misheard import Suggestion, find_misheard
from .aims import Ask, kept_as_said
from .meeting import chained
from .query import HEARD, Clause
from .sounding import LEAST_ALIKE, runs_like
from .stock import NO_NUMBERS
from .words import words_of

MOST_LINES = 1_500
# Words without a capital are ordinary ones most of the time: they have to be this much like the name (as
# `misheard.LEAST_SCORE_SMALL_ALONE` has it for transcripts with capitals), and where there are more ways than this in
# which they are, it is chance: with two, the precision of `bench judged` fell from 0.89 to 0.79 (0.8 is asked for).
LEAST_SMALL, MOST_SMALL = 0.88, 1


@dataclass(frozen=True, eq=False)
class Heard:
    """Atoms that may hold a name misheard, ascending, and beside each what stands there instead and how sure it is."""

    atoms: Numbers
    instead: tuple[str, ...]
    scores: tuple[float, ...]

    @property
    def size(self) -> int:
        return 1 + 8 * len(self.atoms)


NOTHING = Heard(NO_NUMBERS, (), ())


def heard(ask: Ask, names: Iterable[str]) -> Heard:
    """Lines that the viewer reads in which one of these names may be misheard."""
    spelled = tuple(sorted({name for name in names if words_of(name)}))
    clause = Clause(HEARD, spelled, is_exact=True)
    lines: Heard = kept_as_said(ask, clause, lambda: _judged(ask, _lines(ask, spelled), spelled))
    return lines


def _judged(ask: Ask, lines: Numbers, spelled: tuple[str, ...]) -> Heard:
    read = found.cues(ask.gate, ask.sight.board.stock.cue[lines].tolist())
    kept = [(atom, read[cue]) for atom in lines.tolist() if (cue := int(ask.sight.board.stock.cue[atom])) in read]
    found_so = find_misheard([line.text for _, line in kept], spelled)
    names = {text for text in {one.heard for one in found_so} if _is_name(ask, text)}
    best: dict[int, Suggestion] = {}
    for one in _likely([one for one in found_so if one.heard not in names]):
        best.setdefault(kept[one.cue_index][0], one)
    atoms = sorted(best)
    instead, scores = (tuple(getattr(best[atom], name) for atom in atoms) for name in ("heard", "score"))
    return Heard(np.array(atoms, dtype=np.int64), instead, scores)


def _is_name(ask: Ask, text: str) -> bool:
    """Whether it is a name of something else that is met, as it should be: then it was not misheard."""
    words = tuple(words_of(text))
    atoms = ask.standing(Clause("", words))[0] if words else NO_NUMBERS
    stock = ask.sight.board.stock
    return bool(((stock.part[atoms] == Field.NAME) & (stock.words[atoms] == len(words))).any())


def _likely(found: list[Suggestion]) -> list[Suggestion]:
    """Those with a capital, and those few of a name's without one that are much like it."""
    said: dict[str, set[str]] = {}
    for one in found:
        if _is_small(one) and one.score >= LEAST_SMALL:
            said.setdefault(one.name, set()).add("".join(words_of(one.heard)))
    few = {name for name, ways in said.items() if len(ways) <= MOST_SMALL}
    return [one for one in found if not _is_small(one) or (one.score >= LEAST_SMALL and one.name in few)]


def _is_small(one: Suggestion) -> bool:
    """Without a capital, where the script has them."""
    return one.heard == one.heard.lower() != one.heard.upper()


def _lines(ask: Ask, names: Iterable[str]) -> Numbers:
    """The cues that hold something that sounds like one of these names; the likest where there are too many."""
    stock = ask.sight.board.stock
    found = [run for name in names for run in _stretches(ask, tuple(words_of(name)))]
    lines = NO_NUMBERS
    for _, atoms in sorted(found, key=lambda run: -run[0]):
        lines = np.union1d(lines, atoms[stock.part[atoms] == Field.CUE])
        if len(lines) > MOST_LINES:
            break
    return lines[:MOST_LINES]


def _stretches(ask: Ask, words: tuple[str, ...]) -> list[tuple[float, Numbers]]:
    """Of runs of words that sound like the name: how much, and the atoms. Word for word, and all of it as one."""
    found = [(run.score, run.atoms) for run in runs_like(ask, "".join(words)) if run.words != words]
    if len(words) > 1:
        each = [[word, *(run.words[0] for run in runs_like(ask, word) if len(run.words) == 1)] for word in words]
        found += [(LEAST_ALIKE, atoms) for run, atoms in chained(ask.sight, each) if run != words]
    return found
