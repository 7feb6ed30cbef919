"""What the gate costs at 100,000 segments and 2,000 conditions, beside the same reading with no gate at all.

In a process and a database of their own: on SQLite, or on the PostgreSQL server that UNDERSKY_DATABASE names.
"""

from __future__ import annotations

import json
import statistics
import time
from collections.abc import Callable
from typing import Any

from archive.management.bench import _apart

ROUNDS = 9
PAIRS = 41
SEGMENTS = 100_000
CONDITIONS = 2_000


def rows(segments: int = SEGMENTS) -> list[dict[str, Any]]:
    return _apart.rows_of("gate", segments)


def measure(segments: int) -> None:
    size = {"segments": segments, "cues_in_segment": 1, "words_in_cue": 2, "topics": 300, "conditions": CONDITIONS}
    print(json.dumps(_measured(_apart.world(**size))))


def least_ms(act: Callable[[], Any], rounds: int = 3 * ROUNDS) -> float:
    """The shortest of several rounds: what is over it is other programs' doing (Python's manual, `timeit.repeat`)."""
    return min(_once_ms(act) for _ in range(rounds))


def _once_ms(act: Callable[[], Any]) -> float:
    began = time.perf_counter()
    act()
    return (time.perf_counter() - began) * 1000


def _measured(world: Any) -> list[dict[str, Any]]:
    from archive.access import explain, layout, policy
    from archive.access.gate import Gate
    from archive.models import Segment

    gate = Gate(None)
    busiest = world.numbers["topic"][0]
    some = Segment.ungated.get(pk=world.numbers["segment"][len(world.numbers["segment"]) // 2])
    layout.current(gate.policy)
    order = ("title", "ref")
    listed = Segment.ungated.order_by(*order)
    return [
        _ratio("page_20", lambda: gate.page(Segment, order), lambda: _ungated_page(listed), 1.5),
        _ratio("count", lambda: gate.count("segment"), lambda: Segment.ungated.count(), 1.0),
        _ceiling("one_item", least_ms(lambda: gate.fetch(Segment, some.ref, 0)), 3.0),
        _ceiling("facets_300", least_ms(lambda: _facets(gate, layout.current(gate.policy))), 2.0),
        _ceiling("new_condition", least_ms(lambda: _new_condition(busiest), 9), 50.0),
        _ceiling("new_version", min(_new_version_ms(busiest) for _ in range(9)), 300.0),
        _told("first_version", least_ms(lambda: (policy.forget(), Gate(None)), 9)),
        _ceiling("explain", least_ms(lambda: explain.of(some, None)), 50.0),
    ]


def _ungated_page(listed: Any) -> tuple[int, list[int]]:
    return listed.count(), list(listed.values_list("pk", flat=True)[:20])


def _facets(gate: Any, held: Any) -> Any:
    """How many segments met each topic has: one pass over the ties."""
    import numpy as np

    from archive.access import layout

    met = (held.tie_kind == layout.tie_code("topic")) & (gate.levels[held.tie_source] >= 2)
    return np.bincount(held.tie_target[met], minlength=len(gate.levels))


def _new_condition(topic: int) -> None:
    """What a decision writes for the busiest topic with all that is tied to it, and takes back again."""
    from django.db import transaction

    from archive.access import closure
    from archive.models import Condition, Item

    with transaction.atomic():
        made = Condition.ungated.create(target=Item.ungated.get(pk=topic), scope="tied")
        closure.refresh_condition(made)
        transaction.set_rollback(True)


def _new_version_ms(topic: int) -> float:
    """From a condition on the busiest topic, committed, to a gate that goes by it, in a process that knew the last."""
    from archive.access import closure
    from archive.access.gate import Gate
    from archive.models import Condition, Item

    Gate(None)
    made = Condition.ungated.create(target=Item.ungated.get(pk=topic), scope="tied")
    closure.refresh_condition(made)
    took_ms = _once_ms(lambda: Gate(None))
    assert not Gate(None).meets(topic), "the gate goes by an earlier version"
    made.delete()
    return took_ms


def _told(name: str, ours: float) -> dict[str, Any]:
    """A figure beside the goals: reading the whole policy anew, as a process does that starts."""
    return {"name": name, "ours": ours, "peer": None, "ratio": None, "unit": f"ms, {_database()}", "goal": None,
            "holds": None}


def _ratio(name: str, ours: Callable[[], Any], peer: Callable[[], Any], most: float) -> dict[str, Any]:
    """Both in turn, so that a busy second weighs on both; the median of the ratios of each pair."""
    pairs = [(_once_ms(ours), _once_ms(peer)) for _ in range(PAIRS)]
    ratio = statistics.median(mine / theirs for mine, theirs in pairs)
    return {
        "name": name,
        "ours": statistics.median(mine for mine, _ in pairs),
        "peer": statistics.median(theirs for _, theirs in pairs),
        "ratio": ratio,
        "unit": f"times the cost of the same list with no gate (ms, {_database()})",
        "goal": f"<= {most}",
        "holds": ratio <= most,
    }


def _ceiling(name: str, ours: float, most_ms: float) -> dict[str, Any]:
    return {
        "name": name,
        "ours": ours,
        "peer": None,
        "ratio": ours / most_ms,
        "unit": f"share of the goal (ms, {_database()})",
        "goal": f"<= {most_ms:g} ms",
        "holds": ours <= most_ms,
    }


def _database() -> str:
    from django.db import connection

    return connection.display_name
