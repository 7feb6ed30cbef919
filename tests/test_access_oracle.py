"""The gate against the oracle, over random worlds in the database; and laws that hold whatever the world.

The first 2,000 of the worlds that tests/test_access_fed.py gives the gate without a database go through it here, by
every reading; UNDERSKY_STORED asks for more and UNDERSKY_SEED for others.
"""

from __future__ import annotations

import os
import random
from datetime import datetime, timedelta
from itertools import pairwise

import pytest

from archive.access import closure, writing
from archive.access.gate import AudienceGate, Gate
from archive.models import (
    TIE_ENDS,
    Audience,
    Condition,
    Decision,
    Item,
    Level,
    Membership,
    PolicyVersion,
    Reach,
    Recording,
    Segment,
    Tie,
)

from . import oracle, oracle_sky
from .oracle import World
from .oracle_loading import MODELS, Loaded, loaded
from .oracle_worlds import BY_THE_SKY, MOMENTS, SEED, TIES, of_kind, together, towns, viewers, written_out

pytestmark = pytest.mark.django_db

WORLDS = int(os.environ.get("UNDERSKY_STORED", "2000"))


def gate_for(held: Loaded, viewer: str | None, moment: datetime) -> Gate:
    return Gate(held.accounts[viewer] if viewer else None, moment)


def test_two_thousand_worlds():
    """Every level by the arrays; of each world one item by the closure rows; of each town lists in SQL and seconds."""
    for rng, town, worlds in towns(WORLDS, "worlds"):
        with loaded(together(town, worlds)) as held:
            for moment in town["moments"]:
                viewer = rng.choice(viewers(town))
                gate = gate_for(held, viewer, moment)
                right = [oracle.levels(together(town, [world]), viewer, moment) for world in worlds]
                check_arrays(town, worlds, held, gate, right)
                check_rows(rng, town, worlds, held, gate, right)
                check_lists(rng, held, gate, right)
                check_seconds(rng, town, worlds, held, gate, viewer)
                check_names(town, worlds, held, gate)
                check_looking(rng, town, worlds, held, moment)


def check_arrays(town: World, worlds: list[World], held: Loaded, gate: Gate, right: list[dict[str, int]]) -> None:
    for world, levels in zip(worlds, right, strict=True):
        for name, level in levels.items():
            said = gate.level(held.items[name])
            assert said == level, written_out(town, world, "arrays", name, gate.account, gate.moment, int(said), level)


def check_rows(
    rng: random.Random, town: World, worlds: list[World], held: Loaded, gate: Gate, by_world: list[dict[str, int]]
) -> None:
    """One item in four worlds: the closure rows of a single item cost a few queries each."""
    for world, levels in rng.sample(list(zip(worlds, by_world, strict=True)), -(-len(worlds) // 4)):
        name = rng.choice(list(levels))
        item = MODELS[world["items"][name]["kind"]].ungated.get(pk=held.items[name])
        said, right = gate.level_now(item), levels[name]
        assert said == right, written_out(town, world, "rows", name, gate.account, gate.moment, said, right)


def check_lists(rng: random.Random, held: Loaded, gate: Gate, right: list[dict[str, int]]) -> None:
    """Every kind, at one of the levels a list may ask for: in SQL, by the arrays, and counted."""
    at_least = rng.choice((Level.NOTICE, Level.DESCRIPTION, Level.OPEN))
    met = {held.items[name] for levels in right for name, level in levels.items() if level >= at_least}
    by_sql: set[int] = set()
    by_arrays: set[int] = set()
    for kind, model in MODELS.items():
        by_sql |= set(gate.queryset(model, at_least).values_list("pk", flat=True))
        numbers = gate.numbers(kind, at_least)
        assert gate.count(kind, at_least) == len(numbers)
        by_arrays |= {int(number) for number in numbers}
    assert by_sql == met, (SEED, gate.account, gate.moment, at_least, _named(held, by_sql ^ met))
    assert by_arrays == met, (SEED, gate.account, gate.moment, at_least, _named(held, by_arrays ^ met))


def _named(held: Loaded, numbers: set[int]) -> list[str]:
    return sorted(name for name, number in held.items.items() if number in numbers)


def check_seconds(
    rng: random.Random, town: World, worlds: list[World], held: Loaded, gate: Gate, viewer: str | None
) -> None:
    for world in rng.sample(worlds, -(-len(worlds) // 4)):
        alone = together(town, [world])
        name = rng.choice(of_kind(world["items"], "recording"))
        recording = Recording.ungated.get(pk=held.items[name])
        stretches = gate.closed_stretches(recording)
        said = {ms for start, end in stretches for ms in range(start, end)}
        right = oracle.closed_ms(alone, viewer, name, gate.moment)
        assert said == right, written_out(town, world, "seconds", name, viewer, gate.moment, sorted(said ^ right))
        assert all(end < start for (_, end), (start, _) in pairwise(stretches)), "in order, and merged"
        whole = oracle.whole_is_offered(alone, viewer, name, gate.moment)
        assert gate.hears_whole(recording) == whole, written_out(town, world, "whole", name, viewer, gate.moment)


def check_names(town: World, worlds: list[World], held: Loaded, gate: Gate) -> None:
    """Whose names are at rest; nobody's role or audience has a part in it."""
    at_rest = oracle.unsaid(together(town, worlds), gate.moment)
    assert set(gate.mask.people) == {held.items[name] for name in at_rest}, (SEED, gate.moment)


def check_looking(rng: random.Random, town: World, worlds: list[World], held: Loaded, moment: datetime) -> None:
    """The council looks as an audience: a quarter of the worlds by the arrays, and an item of each by the rows."""
    audience = rng.choice(list(town["audiences"]))
    gate = AudienceGate(held.audiences[audience], held.accounts["council"], moment)
    for world in rng.sample(worlds, -(-len(worlds) // 4)):
        alone = together(town, [world])
        right = oracle.levels_looking(alone, "council", audience, moment)
        said = {name: int(gate.level(held.items[name])) for name in right}
        assert said == right, written_out(town, world, "looking", audience, moment)
        name = rng.choice(list(right))
        item = MODELS[world["items"][name]["kind"]].ungated.get(pk=held.items[name])
        assert gate.level_now(item) == right[name], written_out(town, world, "looking, rows", audience, name, moment)


def test_levels_kept_for_a_while_end_at_the_next_edge():
    """One policy, asked at many moments in any order: what is kept from one moment never answers for another."""
    for rng, town, worlds in towns(150, "edges"):
        world = together(town, worlds)
        edges = {
            row[end]
            for part in ("conditions", "trusts", "members")
            for row in world[part]
            for end in ("starts", "ends")
            if row[end] is not None
        }
        moments = [edge + timedelta(microseconds=off) for edge in sorted(edges) for off in (-1, 0, 1)]
        with loaded(world) as held:
            for moment in rng.sample(moments * 2, 12):
                for viewer in (None, "kin"):
                    gate = gate_for(held, viewer, moment)
                    for each in rng.sample(worlds, 20):
                        right = oracle.levels(together(town, [each]), viewer, moment)
                        said = {name: int(gate.level(held.items[name])) for name in right}
                        assert said == right, written_out(town, each, viewer, moment)


def test_the_seasons_by_the_sky_are_both_open_and_closed_at_the_moments_asked_about():
    said = {oracle_sky.holds(*sky[1:], moment.date()) for sky in BY_THE_SKY for moment in MOMENTS}
    assert said == {True, False}
    assert {sky[1] for sky in BY_THE_SKY} == set(oracle_sky.RULES)


def test_the_oracle_knows_every_tie():
    """A new kind of tie has to be thought about: does a condition go along it?"""
    known = {(kind, source, target) for kind, source, target in TIES if kind != "topic"}
    assert known == {(str(kind), *map(str, ends)) for kind, pairs in TIE_ENDS.items() for ends in pairs}


# --- laws: they need no oracle ---


def test_a_new_condition_never_enlarges():
    for rng, town, worlds in towns(250, "condition"):
        with loaded(together(town, worlds)) as held:
            who = [(viewer, moment) for viewer in viewers(town) for moment in town["moments"]]
            before = {each: gate_for(held, *each).levels.copy() for each in who}
            for world in worlds:
                add_condition(rng, held, world)
            for each, levels in before.items():
                after = gate_for(held, *each).levels
                assert (after <= levels).all(), (SEED, each, (after > levels).nonzero())


def add_condition(rng: random.Random, held: Loaded, world: World) -> None:
    condition = Condition.ungated.create(
        target_id=held.items[rng.choice(list(world["items"]))],
        scope=rng.choice(("itself", "tied")),
        others_see=rng.choice((0, 1, 2)),
    )
    condition.audiences.set(rng.sample(list(held.audiences.values()), rng.choice((0, 1, 2))))
    closure.refresh_condition(condition)


def test_joining_an_audience_never_shrinks():
    for _rng, town, worlds in towns(250, "joining"):
        with loaded(together(town, worlds)) as held:
            who = [(viewer, moment) for viewer in viewers(town) for moment in town["moments"]]
            before = {each: gate_for(held, *each).levels.copy() for each in who}
            for account in held.accounts.values():
                for audience in held.audiences.values():
                    Membership.objects.create(account=account, audience=audience, starts_at=MOMENTS[0])
            for each, levels in before.items():
                after = gate_for(held, *each).levels
                assert (after >= levels).all(), (SEED, each, (after < levels).nonzero())


def test_signing_in_never_shrinks():
    for _rng, town, worlds in towns(250, "visitor"):
        with loaded(together(town, worlds)) as held:
            for moment in town["moments"]:
                visitor = gate_for(held, None, moment).levels
                for viewer in town["accounts"]:
                    assert (gate_for(held, viewer, moment).levels >= visitor).all(), (SEED, viewer, moment)


# --- the closure, kept up as ties come and go ---


def test_the_kept_closure_equals_a_rebuilt_one():
    """Ties, segments and spans come and go by the writing calls; no row may be missing or left over."""
    for rng, town, worlds in towns(150, "closure"):
        with loaded(together(town, worlds)) as held:
            for world in worlds:
                for _ in range(3):
                    change_something(rng, held, world)
            kept = reach_rows()
            closure.rebuild()
            assert kept == reach_rows(), (SEED, sorted(kept ^ reach_rows()))


def reach_rows() -> set[tuple[int, int]]:
    return set(Reach.ungated.values_list("condition_id", "item_id"))


def change_something(rng: random.Random, held: Loaded, world: World) -> None:
    """One act of an archivist on this world."""
    items = world["items"]
    recording = Recording.ungated.get(pk=held.items[rng.choice(of_kind(items, "recording"))])
    segments = list(Segment.ungated.filter(recording=recording))
    act = rng.choice(("tie", "tie", "add", "change", "change", "remove", "span", "mirror"))
    if act == "tie":
        tie_two(rng, held, world)
    elif act == "add":
        writing.add_segment(None, recording, some_segment(rng, held, items))
    elif act == "span":
        writing.close_span(None, recording, 1, 5, "")
    elif act == "mirror":
        add_mirror(rng, held, items)
    elif act == "change" and segments:
        segment = rng.choice(segments)
        writing.change_segment(None, segment, some_segment(rng, held, items), segment.version)
    elif act == "remove" and segments:
        writing.remove_segment(None, rng.choice(segments))


def tie_two(rng: random.Random, held: Loaded, world: World) -> None:
    kind, first, second = rng.choice([tie for tie in TIES if tie[0] != "topic"])
    standing = set(Tie.ungated.filter(kind=kind).values_list("source_id", "target_id"))
    missing = [
        (held.items[source], held.items[target])
        for source in of_kind(world["items"], first)
        for target in of_kind(world["items"], second)
        if source != target and (held.items[source], held.items[target]) not in standing
    ]
    if missing:
        source, target = rng.choice(missing)
        ends = Item.ungated.in_bulk([source, target])
        if len(ends) == 2:  # a segment may have been removed meanwhile
            writing.tie(ends[source], kind, ends[target])


def add_mirror(rng: random.Random, held: Loaded, items: dict[str, dict[str, object]]) -> None:
    figures, places = of_kind(items, "figure"), of_kind(items, "place")
    if figures and len(places) == 2:
        figure, *spots = (Item.ungated.get(pk=held.items[name]) for name in (rng.choice(figures), *places))
        writing.add_mirror(None, figure, list(zip(spots, (1, 2), strict=True)), title="m")


def some_segment(rng: random.Random, held: Loaded, items: dict[str, dict[str, object]]) -> writing.SegmentGiven:
    def some(kind: str) -> list[int]:
        return [held.items[name] for name in of_kind(items, kind) if rng.random() < 0.5]

    return writing.SegmentGiven(
        2, 9, "t", speakers=some("person"), topics=some("topic"), places=some("place"),
        figures=some("figure"), told_of=some("person"),
    )


# --- closed, should anything be missing ---


def test_without_the_everyone_audience_its_conditions_admit_nobody():
    for rng, town, worlds in towns(50, "empty"):
        world = together(town, worlds)
        world["conditions"] = [
            {**condition, "audiences": ["everyone"], "season": None, "others": 0} for condition in world["conditions"]
        ]
        with loaded(world) as held:
            Audience.objects.filter(builtin="everyone").update(builtin=None)
            gate = gate_for(held, None, rng.choice(town["moments"]))
            for condition in world["conditions"]:
                if not condition["lifted"] and oracle.runs(condition, gate.moment):
                    assert not gate.meets(held.items[condition["target"]])


def test_without_a_policy_version_nothing_opens():
    PolicyVersion.objects.all().delete()
    with pytest.raises(PolicyVersion.DoesNotExist):
        Gate(None)


def test_an_item_made_after_the_gate_opened_is_not_met():
    gate = Gate(None)
    person = writing.add_person(None, [writing.NameGiven("en", "New", True)])
    person.decision = Decision.objects.create(decided_on=MOMENTS[0].date(), minute="1")
    person.save()
    assert gate.level_now(person) == Level.OPEN
    assert gate.level_of(person) == Level.NOTHING
