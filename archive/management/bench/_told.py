"""One row of figures."""

from __future__ import annotations

from typing import Any


def told(
    name: str, ours: float, peer: float | None, ratio: float | None, unit: str, goal: str, holds: bool | None
) -> dict[str, Any]:
    """`ratio` in the sense of `goal`; `holds` says whether it was reached, None where there is no goal."""
    return {
        "name": name,
        "ours": round(ours, 3),
        "peer": None if peer is None else round(peer, 3),
        "ratio": None if ratio is None else round(ratio, 3),
        "unit": unit,
        "goal": goal,
        "holds": holds,
    }
