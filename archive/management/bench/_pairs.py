"""Pairs of words, asked for together (AND) and either (OR), warm and cold: ours with all facets, FTS5 with none.

Cold is a word's first time: ours has kept nothing of any word; the peer's connection is fresh. What a viewer meets is
there on both sides (ours in arrays, the peer's in the closure). The operating system holds the files of both in its
memory. Warm is the least of several rounds.
"""

from __future__ import annotations

import random
import statistics
import time
from collections.abc import Callable, Iterator
from typing import Any

from archive.management.bench._told import told

PAIRS = 200
WARM_ROUNDS = 3
GOALS = {
    "or_p95_warm": (0.1, "at most a tenth of the peer's"),
    "and_p95_warm": (1.0, "no slower"),
    "or_p95_cold": (1.0, "no slower"),
}


def rows(gate: Any, peer: Any, world: Any) -> list[dict[str, Any]]:
    pairs = _pairs(world)
    found = []
    for name, ours, theirs in (("and", "{} {}", "{} AND {}"), ("or", "{} | {}", "{} OR {}")):
        asked = [(ours.format(*pair), theirs.format(*pair)) for pair in pairs]
        cold = [(_time(_cold_ours(gate), text), _time(_cold_peer(peer), fts)) for text, fts in asked]
        warm = [(_least(_ours(gate), text), _least(peer.first_twenty, fts)) for text, fts in asked]
        found += list(_told_of(name, "warm", warm)) + list(_told_of(name, "cold", cold))
    return found


def _pairs(world: Any) -> list[tuple[str, str]]:
    """Words of every frequency, as often from the hundred commonest as from the next ten thousand."""
    drawn = random.Random(6)
    words = world._words
    return [
        (words[int(len(words) ** drawn.random()) - 1], words[int(len(words) ** drawn.random()) - 1])
        for _ in range(PAIRS)
    ]


def _ours(gate: Any) -> Callable[[str], Any]:
    from archive.search import finding, query

    return lambda text: finding.find(gate, finding.Wanted(query.read(text)))


def _cold_ours(gate: Any) -> Callable[[str], Any]:
    from archive.search import engine, sight

    def ask(text: str) -> float:
        sight.sight_of(gate, engine.current()).words.clear()
        return _time(_ours(gate), text)

    return ask


def _cold_peer(peer: Any) -> Callable[[str], Any]:
    def ask(text: str) -> float:
        peer.open_anew()
        return _time(peer.first_twenty, text)

    return ask


def _time(work: Callable[[str], Any], text: str) -> float:
    """Seconds; of work that tells its own, those."""
    began = time.perf_counter()
    own = work(text)
    return own if isinstance(own, float) else time.perf_counter() - began


def _least(work: Callable[[str], Any], text: str) -> float:
    return min(_time(work, text) for _ in range(WARM_ROUNDS))


def _told_of(name: str, state: str, times: list[tuple[float, float]]) -> Iterator[dict[str, Any]]:
    mine, theirs = zip(*times, strict=True)
    for quantile, at in (("p50", 50), ("p95", 95)):
        ours, peer = _percentile(mine, at), _percentile(theirs, at)
        row = f"{name}_{quantile}_{state}"
        most, goal = GOALS.get(row, (None, ""))
        holds = None if most is None else ours <= most * peer
        yield told(f"find_{row}", ours * 1000, peer * 1000, ours / peer, "ms, FTS5 without facets", goal, holds)


def _percentile(values: tuple[float, ...], at: int) -> float:
    return statistics.quantiles(values, n=100, method="inclusive")[at - 1]
