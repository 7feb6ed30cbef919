"""How long names take that may have been misheard: asked for as such, and typed plainly in a spelling that nobody has.

Each is asked once, with nothing kept of it: what is told is the slowest, since somebody waits for it.
"""

from __future__ import annotations

import random
import time
from typing import Any

from archive.management.bench._told import told

ASKED = 60
MOST_MS = 2_000


def rows(gate: Any, world: Any) -> list[dict[str, Any]]:
    drawn = random.Random(6)
    words = [word for word in world._words if len(word) >= 6]
    some = drawn.sample(words[: len(words) // 4], ASKED // 2) + drawn.sample(words, ASKED // 2)
    names = [*some, *(f'"{one} {other}"' for one, other in zip(some[::2], some[1::2], strict=True))]
    slips = [one[:3] + drawn.choice("aeiou") + one[4:] if one[3] in "aeiou" else one[:-1] + "y" for one in some]
    return [
        _row("find_heard_slowest", gate, [f"heard:{one}" for one in names], "heard: names of one word and of two"),
        _row("find_misspelt_slowest", gate, slips, "words typed with a slip"),
    ]


def _row(name: str, gate: Any, asked: list[str], what: str) -> dict[str, Any]:
    from archive.search import finding, query

    times = []
    for text in asked:
        began = time.perf_counter()
        finding.find(gate, finding.Wanted(query.read(text)))
        times.append(time.perf_counter() - began)
    slowest_ms = max(times) * 1000
    unit = f"ms, {len(asked)} {what}; the median {sorted(times)[len(times) // 2] * 1000:.0f}"
    return told(name, slowest_ms, None, None, unit, f"at most {MOST_MS}", slowest_ms <= MOST_MS)
