"""Random worlds for the oracle: many side by side in a town.

A town is what worlds share (accounts, audiences, memberships, home zone); each world in it has items, ties, conditions
and trusts of its own, joined to no other world's. Names are made of the world's number, so that a town is one world.
`UNDERSKY_SEED` draws others; the seed stands in every failure, with the world that differs written out.
"""

from __future__ import annotations

import os
import random
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta
from pprint import pformat
from typing import Any

from . import oracle_sky
from .oracle import World

SEED = int(os.environ.get("UNDERSKY_SEED", "1"))
IN_A_TOWN = 250
LENGTH_MS = 24
ZONES = ("UTC", "Atlantic/Azores", "Pacific/Auckland", "America/Santiago")
MOMENTS = (
    datetime(2024, 2, 28, 23, 30, tzinfo=UTC),
    datetime(2024, 2, 29, 12, 0, tzinfo=UTC),
    datetime(2024, 6, 30, 11, 59, tzinfo=UTC),
    datetime(2024, 9, 1, 0, 0, tzinfo=UTC),
    datetime(2024, 12, 31, 23, 59, tzinfo=UTC),
    datetime(2025, 3, 1, 0, 0, tzinfo=UTC),
)
BY_THE_SKY = oracle_sky.steady(moment.date() for moment in MOMENTS)
EDGE_DAYS = ((1, 1), (2, 28), (2, 29), (3, 1), (6, 30), (7, 1), (8, 31), (9, 1), (12, 31))

# kind of tie -> (kind of source, kind of target)
TIES = (
    ("told_by", "segment", "person"),
    ("told_by", "recording", "person"),
    ("tells_of", "segment", "person"),
    ("had_from", "segment", "person"),
    ("belongs_to", "segment", "place"),
    ("recorded_at", "recording", "place"),
    ("names_figure", "segment", "figure"),
    ("learned_from", "person", "person"),
    ("part_of", "figure", "figure"),
    ("narrower_than", "topic", "topic"),
    ("mirrors", "mirror", "figure"),
    ("stands_at", "mirror", "place"),
    ("topic", "segment", "topic"),
)
HOW_MANY = (
    ("recording", 1, 2), ("segment", 0, 4), ("span", 0, 2), ("person", 0, 2),
    ("place", 0, 2), ("figure", 0, 3), ("mirror", 0, 2), ("topic", 0, 3), ("layer", 0, 2),
)


# --- making ---


def towns(count: int, salt: str, part: int = 1, parts: int = 1) -> Iterator[tuple[random.Random, World, list[World]]]:
    """So many worlds by the town, each drawn by its number alone; or of them the towns of one part (from 1 on)."""
    for number in range(part - 1, -(-count // IN_A_TOWN), parts):
        rng = random.Random(f"{SEED} {salt} {number}")
        town = random_town(rng)
        size = min(IN_A_TOWN, count - number * IN_A_TOWN)
        yield rng, town, [random_world(rng, town, each) for each in range(size)]


def random_town(rng: random.Random) -> World:
    accounts = {
        "nobody's": {"council": False, "active": True},
        "council": {"council": True, "active": True},
        "kin": {"council": False, "active": True},
        "gone": {"council": rng.random() < 0.5, "active": False},
    }
    audiences: dict[str, Any] = {"everyone": "everyone", "signed in": "signed_in", "kin": None, "crew": None}
    for name in ("made", "made of made"):
        parts = rng.sample(list(audiences), rng.choice((0, 1, 2, 2, 3)))
        audiences[name] = (rng.choice(("any", "all")), parts)
    moments = rng.sample(MOMENTS, 2)
    members = [
        {"account": account, "audience": audience, **random_run(rng, moments)}
        for account in ("council", "kin", "gone")
        for audience in ("kin", "crew")
        if rng.random() < 0.6
    ]
    return {
        "accounts": accounts, "audiences": audiences, "members": members, "zone": rng.choice(ZONES),
        "moments": moments, "items": {}, "ties": [], "conditions": [], "trusts": [], "rests": [],
    }


def random_run(rng: random.Random, moments: list[datetime], always: bool = False) -> dict[str, datetime | None]:
    """A start and an end, often at the very moment that will be asked about, or one microsecond off."""
    near = [moment + timedelta(microseconds=off) for moment in moments for off in (-1, 0, 1)]
    starts = rng.choice([datetime(2000, 1, 1, tzinfo=UTC), *near]) if rng.random() < 0.7 or not always else None
    later = [edge for edge in near if starts is None or edge > starts]
    return {"starts": starts, "ends": rng.choice(later) if later and rng.random() < 0.4 else None}


def random_world(rng: random.Random, town: World, number: int) -> World:
    """Items, ties, conditions and trusts of one world."""
    items = _random_items(rng, number)
    names = list(items)
    return {
        "items": items,
        "ties": _random_ties(rng, items),
        "conditions": [_random_condition(rng, town, items) for _ in range(rng.choice((0, 1, 1, 2, 2, 3)))],
        "trusts": [
            {"account": rng.choice(list(town["accounts"])), "item": rng.choice(names),
             **random_run(rng, town["moments"])}
            for _ in range(rng.choice((0, 0, 1, 2)))
        ],
        "rests": [
            {"person": name, "voice": rng.random() < 0.5, **random_run(rng, town["moments"])}
            for name in of_kind(items, "person") if rng.random() < 0.1
        ],
    }


def _random_items(rng: random.Random, number: int) -> dict[str, dict[str, Any]]:
    items: dict[str, dict[str, Any]] = {}
    recordings: list[str] = []
    for kind, least, most in HOW_MANY:
        for each in range(rng.randint(least, most)):
            name = f"{number}-{kind}{each}"
            item: dict[str, Any] = {"kind": kind, "decided": rng.random() < 0.8, "recording": None}
            if kind == "recording":
                recordings.append(name)
                item |= {"offering": rng.choice(("quiet", "clips")), "length": LENGTH_MS}
            if kind in ("segment", "span"):
                start = rng.randrange(LENGTH_MS - 1)
                item |= {"recording": rng.choice(recordings), "start": start}
                item["end"] = rng.randint(start + 1, LENGTH_MS)
            items[name] = item
    return items


def of_kind(items: dict[str, dict[str, Any]], kind: str) -> list[str]:
    return [name for name, item in items.items() if item["kind"] == kind]


def _random_ties(rng: random.Random, items: dict[str, dict[str, Any]]) -> list[tuple[str, str, str]]:
    possible = [
        (source, kind, target)
        for kind, first, second in TIES
        for source in of_kind(items, first)
        for target in of_kind(items, second)
        if source != target
    ]
    return [tie for tie in possible if rng.random() < 0.35]


def _random_season(rng: random.Random) -> Any:
    """By dates, (month, day) twice; or ("switch", whether it is open); or by the sky."""
    if rng.random() < 0.2:
        return ("switch", rng.random() < 0.5)
    if rng.random() < 0.2:
        return rng.choice(BY_THE_SKY)
    return (rng.choice(EDGE_DAYS), rng.choice(EDGE_DAYS))


def _random_condition(rng: random.Random, town: World, items: dict[str, dict[str, Any]]) -> dict[str, Any]:
    target = rng.choice(list(items))
    consent = items[target]["kind"] == "recording" and rng.random() < 0.3
    if consent:
        return {"target": target, "scope": "itself", "audiences": [], "season": None, "starts": None, "ends": None,
                "others": 0, "consent": True, "lifted": rng.random() < 0.1}
    run = random_run(rng, town["moments"], True) if rng.random() < 0.4 else {"starts": None, "ends": None}
    return {
        "target": target,
        "scope": rng.choice(("itself", "tied", "tied")),
        "audiences": rng.sample(list(town["audiences"]), rng.choice((0, 1, 1, 2))),
        "season": _random_season(rng) if rng.random() < 0.4 else None,
        "others": rng.choice((0, 0, 1, 2)),
        "consent": False,
        "lifted": rng.random() < 0.1,
        **run,
    }


def together(town: World, worlds: Iterable[World]) -> World:
    """The town with these worlds in it, as one world."""
    held = {**town, "items": {}, "ties": [], "conditions": [], "trusts": [], "rests": []}
    for world in worlds:
        held["items"].update(world["items"])
        for part in ("ties", "conditions", "trusts", "rests"):
            held[part].extend(world[part])
    return held


def viewers(town: World) -> list[str | None]:
    return [None, *town["accounts"]]


def written_out(town: World, world: World, *about: object) -> str:
    return f"seed {SEED}\n{about}\n{pformat(together(town, [world]), width=140)}"
