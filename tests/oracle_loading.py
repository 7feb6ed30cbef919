"""Random worlds brought into the database, many in a few statements."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import Any

from django.db import connection, transaction
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
from .oracle_worlds import LENGTH_MS, MOMENTS, of_kind

MODELS = {
    model.KIND: model for model in (Recording, Segment, ClosedSpan, Person, Place, Figure, Mirror, Topic, Layer)
}


class Loaded:
    """Where a loaded world's names are in the database."""

    def __init__(self) -> None:
        self.items: dict[str, int] = {}
        self.accounts: dict[str, Account] = {}
        self.audiences: dict[str, Audience] = {}
        self.conditions: list[Condition] = []


class Rollback(Exception):
    pass


@contextmanager
def loaded(world: World) -> Iterator[Loaded]:
    """The world in the database for as long as the block runs."""
    try:
        with transaction.atomic():
            yield load(world)
            raise Rollback
    except Rollback:
        pass
    finally:
        policy.forget()


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


def season_facts(season: Any) -> dict[str, Any]:
    """The columns of a season's row."""
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
            seasons[season] = Season.objects.create(name=str(season), **season_facts(season))
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
