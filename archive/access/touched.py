"""What was written since a policy version, so that what is kept in memory is brought in line and not read anew.

Database triggers note every row that a policy or a layout is made from, with the version of its writing, in the same
transaction (archive.access.triggers). The version's row is locked by whoever writes, so versions are committed in
their order, and whoever read version n has missed exactly what is noted under a later one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..models import Touched

Numbers = NDArray[np.int64]
MOST = 1_000  # where more was written, everything is read anew


@dataclass(frozen=True)
class Since:
    """Items some of whose rows were written, ascending; conditions whose reach was; whether any rule was."""

    items: Numbers
    conditions: tuple[int, ...]
    rules: bool


def since(version: int) -> Since | None:
    """What was written after this version; None where that is too much, or touches everything."""
    rows = list(Touched.ungated.filter(version__gt=version).values_list("sort", "number")[: MOST + 1])
    if len(rows) > MOST or any(sort == Touched.Sort.ALL for sort, _ in rows):
        return None
    return Since(
        items=np.array(sorted(number for sort, number in rows if sort == Touched.Sort.ITEM), dtype=np.int64),
        conditions=tuple(sorted(number for sort, number in rows if sort == Touched.Sort.REACH)),
        rules=any(sort == Touched.Sort.RULES for sort, _ in rows),
    )
