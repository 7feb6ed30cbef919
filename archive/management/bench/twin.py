"""Random archives and their twins, crawled: `manage.py bench twin --worlds N`.

UNDERSKY_SEED=S draws other worlds. A failure names its seed; UNDERSKY_SHRINK=yes with the same seed and number has what
it does not need left out of the world.
"""

from __future__ import annotations

from typing import Any

from archive.management.bench import _checked

TEST = "tests/test_random_twins.py::test_the_twins_of_random_worlds_answer_alike"


def rows(worlds: int = 1_000) -> list[dict[str, Any]]:
    return _checked.run("twin", TEST, worlds, "UNDERSKY_TWINS")
