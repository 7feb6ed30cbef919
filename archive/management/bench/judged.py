"""Whether star-group questions find what they should: over the demo archive, and over a made-up one of 2,000 segments.

For every sort of viewer every figure is asked for by name and every star of every tenth figure by number; what should
answer is reckoned apart (`_judged`). Names misheard are planted; they are asked for by the figure's right name.
"""

from __future__ import annotations

import json
import statistics
import time
from typing import Any

from archive.management.bench import _apart

SEGMENTS = 2_000
DEMO = 0  # in place of a number of segments
VIEWERS = ("visitor", "family", "archivist", "educator", "keeper", "council")


def rows(segments: int = SEGMENTS) -> list[dict[str, Any]]:
    """Measure each in a process of its own, over a database of its own that is thrown away; about two minutes."""
    return _apart.rows_of("judged", DEMO) + _apart.rows_of("judged", segments)


def measure(segments: int) -> None:
    _apart.ready()
    from archive.management.bench import _judged
    from archive.search import index

    if segments == DEMO:
        print(json.dumps(judge_demo()))
        return
    made = _judged.make(segments)
    index.rebuild()
    print(json.dumps(judge(made)))


def judge_demo() -> list[dict[str, Any]]:
    """The demo archive, for a visitor and each of its people; it is brought in first."""
    from archive.exchange import demo
    from archive.management.bench import _judged
    from archive.models import Account
    from archive.search import index

    demo.load("a long enough word", lambda said: None)
    index.rebuild()
    made = _judged.as_it_is()
    viewers = {"visitor": None} | {one.username: one for one in Account.objects.order_by("username")}
    return [row for name, account in viewers.items() for row in _tied(made, f"demo_{name}", account)]


def judge(made: Any) -> list[dict[str, Any]]:
    """The figures over this archive, as rows; it is written and indexed already."""
    accounts = _accounts()
    found = [_tied(made, viewer, account) for viewer, account in accounts.items()]
    return [row for pair in found for row in pair] + _misheard(made)


def _accounts() -> dict[str, Any]:
    from archive.access import decisions
    from archive.models import Account, Audience

    made: dict[str, Any] = {"visitor": None}
    for viewer in VIEWERS[1:]:
        roles = {} if viewer == "family" else {f"is_{viewer}": True}
        made[viewer] = Account.objects.create_user(username=f"judge-{viewer}", **roles)
    decisions.join(made["council"], Audience.objects.get(name="family"), made["family"])
    return made


def _ask(gate: Any, text: str) -> tuple[set[int], set[int], set[int]]:
    """The segments that answer: tied, spoken of in words, misheard."""
    from archive.models import Kind
    from archive.search import aims, finding, query

    hits = finding.find(gate, finding.Wanted(query.read(text), kind=Kind.SEGMENT), size=1_000_000).hits
    ways = {hit.number: {way.way for way in hit.reached} for hit in hits}
    words, heard = ({number for number, way in ways.items() if kind in way} for kind in (aims.IN_WORDS, aims.HEARD_AS))
    return set(ways) - words - heard, words, heard


def _tied(made: Any, viewer: str, account: Any) -> list[dict[str, Any]]:
    from archive.access.gate import Gate
    from archive.management.bench import _judged

    gate = Gate(account)
    right = wrong = missed = 0
    figures = [number for number in made.names if gate.meets(number, 2)]
    asked = [(f'sky:"{made.names[number]}"', {"figure": number}) for number in figures]
    hips = sorted({hip for number in list(made.stars)[::10] for hip in made.stars[number]})
    asked += [(f"sky:HIP {hip}", {"hip": hip}) for hip in hips]
    for text, of in asked:
        wanted, (tied, _, _) = _judged.expected(made, gate, **of), _ask(gate, text)
        right, wrong, missed = right + len(tied & wanted), wrong + len(tied - wanted), missed + len(wanted - tied)
    unit = f"of {right + missed} right answers to {len(asked)} questions"
    return [
        _row(f"judged_tied_recall_{viewer}", _share(right, missed), unit, "1", 1.0),
        _row(f"judged_tied_precision_{viewer}", _share(right, wrong), unit, "1", 1.0),
    ]


def _misheard(made: Any) -> list[dict[str, Any]]:
    """By the visitor: of the segments that they read, those in which the name was planted misheard."""
    from archive.access.gate import Gate

    gate = Gate(None)
    right = wrong = missed = 0
    times: list[float] = []
    for figure, segments in made.misheard.items():
        wanted = {number for number in segments if gate.meets(number) and gate.meets(made.holder[number])}
        began = time.perf_counter()
        _, _, heard = _ask(gate, f"heard:{made.names[figure]}")
        times.append(time.perf_counter() - began)
        right, missed = right + len(heard & wanted), missed + len(wanted - heard)
        wrong += len(heard - wanted)
    unit = f"of {right + missed} names planted misheard"
    return [
        _row("judged_heard_recall", _share(right, missed), unit, "0.9", 0.9),
        _row("judged_heard_precision", _share(right, wrong), unit, "0.8", 0.8),
        _row("judged_heard_ms", statistics.median(times) * 1000, "ms, one name", "", None),
    ]


def _share(right: int, others: int) -> float:
    return right / (right + others) if right + others else 1.0


def _row(name: str, ours: float, unit: str, goal: str, least: float | None) -> dict[str, Any]:
    holds = None if least is None else ours >= least
    return {"name": name, "ours": round(ours, 4), "unit": unit, "goal": goal, "holds": holds}
