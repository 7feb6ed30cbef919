"""The gate's judgement against the oracle over random worlds, both readings, with no database.

10,000 worlds by default; UNDERSKY_WORLDS asks for more (`manage.py bench oracle` for a million), UNDERSKY_PART for a
part of them (2/3 is the second of three), and UNDERSKY_SEED for others.
"""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import datetime
from typing import Any

import pytest

from archive.access import closure, judging, seasons
from archive.models import TieKind

from . import oracle
from .oracle_fed import Fed
from .oracle_worlds import together, towns, viewers, written_out

WORLDS = int(os.environ.get("UNDERSKY_WORLDS", "10000"))
PART, PARTS = map(int, os.environ.get("UNDERSKY_PART", "1/1").split("/"))


def test_ten_thousand_worlds():
    """Every level of every item, for somebody at two moments of each world."""
    check(WORLDS, PART, PARTS)


def check(worlds: int, part: int = 1, parts: int = 1) -> None:
    for rng, town, drawn in towns(worlds, "worlds", part, parts):
        fed = Fed(town, drawn)
        for moment in town["moments"]:
            viewer = rng.choice(viewers(town))
            arrays, singly = fed.levels(viewer, moment), fed.levels_one_by_one(viewer, moment)
            for world in drawn:
                right = oracle.levels(together(town, [world]), viewer, moment)
                for name, level in right.items():
                    said = arrays[fed.items[name]], singly[fed.items[name]]
                    assert said == (level, level), written_out(town, world, name, viewer, moment, said, level)


# --- faults put in on purpose ---


def until_and_with(rule: judging.Rule, moment: datetime) -> bool:
    return (rule.starts_at is None or rule.starts_at <= moment) and (rule.ends_at is None or moment <= rule.ends_at)


def only_after(rule: judging.Rule, moment: datetime) -> bool:
    return (rule.starts_at is None or rule.starts_at < moment) and (rule.ends_at is None or moment < rule.ends_at)


def any_season(rule: judging.Rule, audiences: frozenset[int], _moment: datetime, _zone: Any) -> bool:
    return bool(rule.audiences & audiences)


def nobody_named_is_everybody(rule: judging.Rule, audiences: frozenset[int], moment: datetime, zone: Any) -> bool:
    named = not rule.audiences or bool(rule.audiences & audiences)
    return named and (rule.season is None or rule.season.is_open(moment, zone))


def never_round_the_year(season: seasons.DateSeason, moment: datetime, zone: Any) -> bool:
    local = moment.astimezone(zone)
    return season.first <= (local.month, local.day) <= season.last


def last_one_counts(policy: judging.Policy, levels: judging.Levels, rule: judging.Rule) -> None:
    levels[policy.reach[rule.number]] = rule.others_see


def nothing_inside(_policy: judging.Policy, items: set[int]) -> set[int]:
    return items


def consent_like_any_other(unmet: Any, is_waiting: bool, is_trusted: bool, is_council: bool) -> Any:
    plain = [replace(rule, from_consent=False) for rule in unmet]
    return AS_IT_IS(plain, is_waiting, is_trusted, is_council)


def council_hears(unmet: Any, is_waiting: bool, is_trusted: bool, is_council: bool) -> Any:
    return AS_IT_IS(unmet, is_waiting, is_trusted or is_council, is_council)


def one_part_is_enough(made: judging.Derived, own: Any) -> bool:
    return bool(made.parts & own)


def no_parts_hold_all(made: judging.Derived, own: Any) -> bool:
    return made.parts <= own if made.is_all else bool(made.parts & own)


AS_IT_IS = judging.level_of_one
FAULTS: dict[str, tuple[Any, str, Any]] = {
    "the end still counts": (judging.Rule, "in_force", until_and_with),
    "the start does not count yet": (judging.Rule, "in_force", only_after),
    "seasons are not asked about": (judging.Rule, "satisfied", any_season),
    "no audience named is everybody": (judging.Rule, "satisfied", nobody_named_is_everybody),
    "a season never wraps": (seasons.DateSeason, "is_open", never_round_the_year),
    "the last condition wins": (judging, "_lower", last_one_counts),
    "entrusted without what lies inside": (judging, "_with_contents", nothing_inside),
    "entrusting opens what consent closed": (judging, "level_of_one", consent_like_any_other),
    "the council hears": (judging, "level_of_one", council_hears),
    "an overlap is a union": (judging.Derived, "holds", one_part_is_enough),
    "an overlap of nothing is everybody": (judging.Derived, "holds", no_parts_hold_all),
    "parts and narrower topics stay open": (closure, "DOWNWARD", ()),
    "nothing lies inside": (closure.ReadTies, "within", lambda _ties, _items: set()),
    **{
        f"{kind} is not followed": (closure, "TELLING", tuple(each for each in closure.TELLING if each != kind))
        for kind in closure.TELLING if kind != TieKind.MIRRORS  # mirrors lie in their figure as well
    },
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_put_in_is_found(fault: str, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(*FAULTS[fault])
    with pytest.raises(AssertionError):
        check(2_000)
