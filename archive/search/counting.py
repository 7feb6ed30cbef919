"""The answers of a search in order, and counted: by what they are tied to, by kind, by language, by sound.

Every number counts what the viewer meets.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..access import layout as lay
from ..access.layout import Flags, Numbers
from . import facts
from .sight import Sight

FIT, MEANT, ALONG_RECORDING, OLDEST, NEWEST = "fit", "meant", "recording", "oldest", "newest"
SORTS = (FIT, MEANT, ALONG_RECORDING, OLDEST, NEWEST)

# What the results can be narrowed by, and the ties that each counts.
FACETS: dict[str, tuple[str, ...]] = {
    "topic": ("topic",),
    "person": ("told_by", "had_from", "tells_of"),
    "place": ("belongs_to", "recorded_at"),
    "figure": ("names_figure",),
}


def ordered(
    sight: Sight, documents: Numbers, scores: NDArray[np.float64], sort: str, amounts: NDArray[np.float64]
) -> Numbers:
    """By fit, by how much is meant, by recording or by date told; equal ones by date, then name, then ref.

    What has no date comes last, and so does what lies in no recording that is met.
    """
    lies, numbers = sight.board.layout, sight.board.numbers[documents]
    days = facts.first_day(sight)[documents]
    days = np.where(days == 0, np.iinfo(np.int64).max if sort != NEWEST else np.iinfo(np.int64).min, days)
    ranks = lies.rank[numbers]
    known = facts.knows_recording(sight)[documents]
    holders = np.where(known, lies.rank[lies.holder[numbers]], np.iinfo(np.int64).max)
    starts = np.where(known, lies.start_ms[numbers], 0)
    keys = {
        FIT: (ranks, days, -scores[documents]),
        MEANT: (ranks, days, -scores[documents], -amounts[documents]),
        ALONG_RECORDING: (ranks, starts, holders),
        OLDEST: (ranks, days),
        NEWEST: (ranks, -days) if len(days) else (ranks, days),
    }[sort]
    return documents[np.lexsort(keys)]


def facets(sight: Sight, answers: Flags) -> dict[str, list[tuple[int, int]]]:
    """For each facet, the things that passages among the answers are tied to, and how many passages each."""
    ranks = sight.board.layout.rank
    found = {}
    for name, kinds in FACETS.items():
        ties = sight.ties(*kinds)
        taken = answers[ties.documents]
        numbers, counts = _counted_once(ties.targets[taken], ties.documents[taken], len(answers))
        order = np.lexsort((ranks[numbers], -counts))
        found[name] = list(zip(numbers[order].tolist(), counts[order].tolist(), strict=True))
    return found


def _counted_once(targets: Numbers, documents: Numbers, count: int) -> tuple[Numbers, Numbers]:
    """The targets, and how many different documents each stands beside."""
    pairs = np.unique(targets * count + documents)
    return np.unique(pairs // max(count, 1), return_counts=True)


def kinds(sight: Sight, documents: Numbers) -> list[tuple[str, int]]:
    kinds = sight.board.layout.kind[sight.board.numbers[documents]]
    counted = [(kind, int(np.count_nonzero(kinds == lay.code(kind)))) for kind in ("segment", "recording")]
    return [(kind, count) for kind, count in counted if count]


def languages(sight: Sight, documents: Numbers) -> list[tuple[str, int]]:
    codes, counts = np.unique(facts.language(sight)[documents], return_counts=True)
    names = sight.board.layout.languages
    found = [(names[code - 1], int(count)) for code, count in zip(codes, counts, strict=True) if code]
    return sorted(found, key=lambda one: (-one[1], one[0]))
