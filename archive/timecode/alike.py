"""Two tellings beside one another: which lines say the same, and which words differ.

Pure text in, plain data out. Lines are paired in their order (the longest run of pairs that does not cross), by the
share of words that they have in common after folding (case, marks and letters apart; see ``folding``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from itertools import zip_longest

from .folding import fold

ALIKE = 0.5
"""Share of words in common, Dice's coefficient (Ecology 26, 297, 1945), from which two lines are paired."""
FEWEST_WORDS = 3


@dataclass(frozen=True)
class Piece:
    """A run of words of a line; `is_own` where the other line does not have them."""

    text: str
    is_own: bool


@dataclass(frozen=True)
class Row:
    """Positions of lines in the two tellings, and their words in pieces.

    Lines that have no like one stand beside whatever is told meanwhile, or alone (None).
    """

    left: int | None
    right: int | None
    is_alike: bool
    left_pieces: tuple[Piece, ...] = ()
    right_pieces: tuple[Piece, ...] = ()


def compare(left: Sequence[str], right: Sequence[str]) -> list[Row]:
    """Every line of both, in order, like ones in one row."""
    lefts, rights = [_words(line) for line in left], [_words(line) for line in right]
    rows: list[Row] = []
    at_left = at_right = 0
    for one, other in [*_pairs(lefts, rights), (len(left), len(right))]:
        rows += [
            Row(ours, theirs, False, _whole(left, ours), _whole(right, theirs))
            for ours, theirs in zip_longest(range(at_left, one), range(at_right, other))
        ]
        if one < len(left) and other < len(right):
            rows.append(Row(one, other, True, *_pieces(left[one], right[other])))
        at_left, at_right = one + 1, other + 1
    return rows


def _words(line: str) -> list[str]:
    return [folded for word in line.split() if (folded := fold(word).strip())]


def likeness(left: Sequence[str], right: Sequence[str]) -> float:
    """Twice the words in common over all words; 0 for lines too short to tell."""
    if min(len(left), len(right)) < FEWEST_WORDS:
        return 0.0
    rest = list(right)
    shared = 0
    for word in left:
        if word in rest:
            rest.remove(word)
            shared += 1
    return 2 * shared / (len(left) + len(right))


def _pairs(lefts: list[list[str]], rights: list[list[str]]) -> list[tuple[int, int]]:
    """Pairs that do not cross, of the greatest likeness in all (Needleman and Wunsch, J. Mol. Biol. 48, 443, 1970)."""
    alike = [[_at_least(likeness(one, other)) for other in rights] for one in lefts]
    best = [[0.0] * (len(rights) + 1) for _ in range(len(lefts) + 1)]
    for i in range(len(lefts) - 1, -1, -1):
        for j in range(len(rights) - 1, -1, -1):
            best[i][j] = max(best[i + 1][j], best[i][j + 1], alike[i][j] + best[i + 1][j + 1])
    found, i, j = [], 0, 0
    while i < len(lefts) and j < len(rights):
        if alike[i][j] and best[i][j] == alike[i][j] + best[i + 1][j + 1]:
            found.append((i, j))
            i, j = i + 1, j + 1
        elif best[i][j] == best[i + 1][j]:
            i += 1
        else:
            j += 1
    return found


def _at_least(share: float) -> float:
    return share if share >= ALIKE else 0.0


def _whole(lines: Sequence[str], at: int | None) -> tuple[Piece, ...]:
    return () if at is None else (Piece(lines[at], True),)


def _pieces(left: str, right: str) -> tuple[tuple[Piece, ...], tuple[Piece, ...]]:
    """The words of two like lines in runs: those that both have in this order, and those of one alone."""
    lefts, rights = left.split(), right.split()
    matched = SequenceMatcher(None, [fold(word) for word in lefts], [fold(word) for word in rights], autojunk=False)
    ours: list[Piece] = []
    theirs: list[Piece] = []
    for tag, i1, i2, j1, j2 in matched.get_opcodes():
        ours += [Piece(" ".join(lefts[i1:i2]), tag != "equal")] * (i2 > i1)
        theirs += [Piece(" ".join(rights[j1:j2]), tag != "equal")] * (j2 > j1)
    return tuple(ours), tuple(theirs)
