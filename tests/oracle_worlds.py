"""Random worlds for the oracle, and the way they get into the database: many side by side, in a few statements.

A town is what worlds share (accounts, audiences, memberships, home zone); each world in it has items, ties, conditions
and trusts of its own, joined to no other world's. Names are made of the world's number, so that a town is one world.
"""

from __future__ import annotations

import random
from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.db import connection
from django.db.models import FloatField

from archive.access import closure, policy
from archive.models import (
    Account,
    Audience,
    ClosedSpan,
    Condition,
    Decision,
    Entrustment,
    Figure,
    House,
    Item,
    Layer,
    Level,
    Master,
    Membership,
    Mirror,
    Person,
    Place,
    Recording,
    Rest,
    Season,
    Segment,
    Tie,
    Topic,
    TopicTie,
)

from . import oracle_sky
from .oracle import World

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
MODELS = {
    model.KIND: model for model in (Recording, Segment, ClosedSpan, Person, Place, Figure, Mirror, Topic, Layer)
}


# --- making ---


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


# --- loading ---


class Loaded:
    """Where a loaded world's names are in the database."""

    def __init__(self) -> None:
        self.items: dict[str, int] = {}
        self.accounts: dict[str, Account] = {}
        self.audiences: dict[str, Audience] = {}
        self.conditions: list[Condition] = []


def load(world: World) -> Loaded:
    """Bring a town and its worlds in, closure and all. The caller rolls back, and has the policy forgotten."""
    held = Loaded()
    _load_people(world, held)
    _load_items(world, held)
    _load_ties(world, held)
    _load_conditions(world, held)
    _load_rests(world, held)
    Entrustment.ungated.bulk_create(
        [
            Entrustment(account=held.accounts[row["account"]], item_id=held.items[row["item"]],
                        starts_at=row["starts"], ends_at=row["ends"])
            for row in world["trusts"]
        ]
    )
    closure.rebuild()
    policy.forget()
    return held


def _load_people(world: World, held: Loaded) -> None:
    House.objects.update_or_create(pk=1, defaults={"time_zone": world["zone"]})
    for name, facts in world["accounts"].items():
        held.accounts[name] = Account.objects.create(
            username=name, password="!", is_council=facts["council"], is_active=facts["active"]
        )
    for name, builtin in world["audiences"].items():
        combining, parts = builtin if isinstance(builtin, tuple) else ("", [])
        held.audiences[name] = Audience.objects.create(
            name=name, builtin=None if combining else builtin, combining=combining
        )
        held.audiences[name].parts.set(held.audiences[part] for part in parts)
    for row in world["members"]:
        Membership.objects.create(
            account=held.accounts[row["account"]], audience=held.audiences[row["audience"]],
            starts_at=row["starts"], ends_at=row["ends"],
        )


def _load_items(world: World, held: Loaded) -> None:
    decision = Decision.objects.create(decided_on=date(2020, 1, 1), minute="1")
    rows = [
        Item(kind=item["kind"], decision=decision if item["decided"] else None) for item in world["items"].values()
    ]
    made = Item.ungated.bulk_create(rows, batch_size=500)
    held.items = {name: row.pk for name, row in zip(world["items"], made, strict=True)}
    for kind, model in MODELS.items():
        _insert(model, [_facts(world, held, name) for name in of_kind(world["items"], kind)])
    Master.ungated.bulk_create(
        [
            Master(recording_id=held.items[name], sha256=f"{held.items[name]:064d}", original_name="m.wav",
                   size_bytes=1, container="wav", codec="pcm", duration_ms=LENGTH_MS, rate_hz=8000, channels=1)
            for name in of_kind(world["items"], "recording")
        ]
    )


def _facts(world: World, held: Loaded, name: str) -> dict[str, Any]:
    """What the row of the item's own table holds, where it is not that column's default."""
    item = world["items"][name]
    facts: dict[str, Any] = {"item_ptr": held.items[name]}
    if item["kind"] == "recording":
        facts["offering"] = item["offering"]
    if item["kind"] == "topic":
        facts["slug"] = name
    if item["recording"]:
        facts |= {"recording": held.items[item["recording"]], "start_ms": item["start"], "end_ms": item["end"]}
    return facts


def _insert(model: type[Item], rows: list[dict[str, Any]]) -> None:
    """Rows of the child table alone (Django makes no bulk of models that have a parent)."""
    fields = model._meta.local_concrete_fields
    columns = ", ".join(field.column for field in fields)
    marks = ", ".join(["%s"] * len(fields))
    values = [[_value(field, facts) for field in fields] for facts in rows]
    with connection.cursor() as cursor:
        cursor.executemany(f"INSERT INTO {model._meta.db_table} ({columns}) VALUES ({marks})", values)


def _value(field: Any, facts: dict[str, Any]) -> Any:
    if field.name in facts:
        given = facts[field.name]
    elif getattr(field, "auto_now", False):
        given = MOMENTS[0]
    elif isinstance(field, FloatField) and not field.null and not field.has_default():
        given = 1.0
    else:
        given = field.get_default()
    return field.get_db_prep_save(given, connection)


def _load_ties(world: World, held: Loaded) -> None:
    Tie.ungated.bulk_create(
        [
            Tie(source_id=held.items[source], target_id=held.items[target], kind=kind)
            for source, kind, target in world["ties"]
            if kind != "topic"
        ],
        batch_size=500,
    )
    TopicTie.ungated.bulk_create(
        [
            TopicTie(content_object_id=held.items[source], tag_id=held.items[target])
            for source, kind, target in world["ties"]
            if kind == "topic"
        ],
        batch_size=500,
    )


def _season_facts(season: Any) -> dict[str, Any]:
    if season[0] == "switch":
        return {"kind": "switch", "is_on": season[1]}
    if season[0] == "sky":
        _sky, rule, star, (latitude_deg, longitude_deg) = season
        return {"kind": "sky", "sky_rule": rule, "stars": [oracle_sky.STARS[star][0]], "latitude_deg": latitude_deg,
                "longitude_deg": longitude_deg}
    (from_month, from_day), (to_month, to_day) = season
    return {"from_month": from_month, "from_day": from_day, "to_month": to_month, "to_day": to_day}


def _load_rests(world: World, held: Loaded) -> None:
    """Names at rest; the condition that lets a voice rest is the council's own."""
    decision = Decision.objects.create(decided_on=date(2020, 1, 1), minute="3")
    for rest in world["rests"]:
        number = held.items[rest["person"]]
        Rest.ungated.create(
            person_id=number, starts_at=rest["starts"], ends_at=rest["ends"], instead=[["en", "somebody"]],
            hides_voice=rest["voice"], decision=decision,
        )
        if rest["voice"]:
            Condition.ungated.create(target_id=number, scope="tied", starts_at=rest["starts"], ends_at=rest["ends"],
                                     others_see=Level.DESCRIPTION, decision=decision)


def _load_conditions(world: World, held: Loaded) -> None:
    decision = Decision.objects.create(decided_on=date(2020, 1, 1), minute="2")
    seasons: dict[Any, Season] = {}
    rows = []
    for condition in world["conditions"]:
        season = condition["season"]
        if season is not None and season not in seasons:
            seasons[season] = Season.objects.create(name=str(season), **_season_facts(season))
        rows.append(
            Condition(
                target_id=held.items[condition["target"]], scope=condition["scope"], season=seasons.get(season),
                starts_at=condition["starts"], ends_at=condition["ends"], others_see=condition["others"],
                source="consent" if condition["consent"] else "council",
                decision=None if condition["consent"] else decision,
                lifted_by=decision if condition["lifted"] else None,
            )
        )
    held.conditions = Condition.ungated.bulk_create(rows, batch_size=500)
    through = Condition.audiences.through
    through.objects.bulk_create(
        [
            through(condition=row, audience=held.audiences[audience])
            for row, condition in zip(held.conditions, world["conditions"], strict=True)
            for audience in condition["audiences"]
        ],
        batch_size=500,
    )
