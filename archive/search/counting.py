"""The answers of a search in order, and counted: by what they are tied to, by kind, by language, by sound.

Every number counts what the viewer meets.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..access import layout as lay
from ..access.layout import Flags, Numbers
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
    sight: Sight,
    documents: Numbers,
    scores: NDArray[np.float64],
    sort: str,
    amounts: NDArray[np.float64],
    upto: int,
) -> Numbers:
    """The first `upto`: by fit, by how much is meant, by recording or by date told; then by date, name, ref.

    What has no date comes last, and so does what lies in no recording that is met.
    """
    lies = sight.board.layout
    if sort == FIT:
        documents = _contenders(documents, scores[documents], upto)
    ranks, days = lies.rank[documents], sight.first_day[documents]
    days = np.where(days == 0, np.iinfo(np.int64).max if sort != NEWEST else np.iinfo(np.int64).min, days)
    keys: tuple[NDArray[np.generic], ...] = (ranks, days)
    if sort == NEWEST:
        keys = (ranks, -days)
    elif sort == FIT:
        keys = (ranks, days, -scores[documents])
    elif sort == MEANT:
        keys = (ranks, days, -scores[documents], -amounts[documents])
    elif sort == ALONG_RECORDING:
        known = sight.knows_recording[documents]
        holders = np.where(known, lies.rank[lies.holder[documents]], np.iinfo(np.int64).max)
        keys = (ranks, np.where(known, lies.start_ms[documents], 0), holders)
    return documents[np.lexsort(keys)][:upto]


def _contenders(documents: Numbers, worth: NDArray[np.float64], upto: int) -> Numbers:
    """Those that may be among the best `upto`, equals included: sorting them alone is many times faster."""
    if len(documents) <= 4 * upto:
        return documents
    least = np.partition(worth, len(worth) - upto)[len(worth) - upto]
    return documents[worth >= least]


def facets(sight: Sight, answers: Flags, documents: Numbers) -> dict[str, list[tuple[int, int]]]:
    """For each facet, the things that passages among the answers are tied to, and how many passages each.

    The answers are given twice, as flags and ascending: what is faster depends on how many there are.
    """
    ranks = sight.board.layout.rank
    found = {}
    for name, kinds in FACETS.items():
        facet = sight.facet(*kinds)
        counts = facet.counts(answers, documents)
        held = np.flatnonzero(counts)
        held = held[np.lexsort((ranks[facet.things[held]], -counts[held]))]
        found[name] = list(zip(facet.things[held].tolist(), counts[held].tolist(), strict=True))
    return found


def kinds(sight: Sight, documents: Numbers) -> list[tuple[str, int]]:
    kinds = sight.board.layout.kind[sight.board.numbers[documents]]
    counted = [(kind, int(np.count_nonzero(kinds == lay.code(kind)))) for kind in ("segment", "recording")]
    return [(kind, count) for kind, count in counted if count]


def languages(sight: Sight, documents: Numbers) -> list[tuple[str, int]]:
    names = sight.board.layout.languages
    counts = np.bincount(sight.language[documents], minlength=len(names) + 1)[1:].tolist()
    found = [(name, count) for name, count in zip(names, counts, strict=True) if count]
    return sorted(found, key=lambda one: (-one[1], one[0]))
