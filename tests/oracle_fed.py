"""Random worlds given to the gate's judgement as plain numbers, with no database: many times as fast.

What is tried so is the gate's own: how far a condition reaches (`closure.members`), whether it is satisfied (`Rule`,
seasons, audiences made of others), and both readings (`judge` and `level_of_one`). Its columns are filled here; that
they are read rightly from tables is for the worlds in tests/test_access_oracle.py to show.
"""

from __future__ import annotations

from datetime import datetime
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from archive.access import closure, judging, seasons
from archive.models import Kind, Level, Season

from . import oracle
from .oracle import World
from .oracle_loading import season_facts
from .oracle_worlds import together


class Fed:
    """A town with its worlds as the gate keeps them; items and audiences are numbered from 1."""

    def __init__(self, town: World, worlds: list[World]) -> None:
        self.world = together(town, worlds)
        self.items = {name: number for number, name in enumerate(self.world["items"], 1)}
        self.audiences = {name: number for number, name in enumerate(self.world["audiences"], 1)}
        self.conditions = dict(enumerate(_unlifted(self.world)))
        undecided = [self.items[name] for each in worlds for name in each["items"] if not oracle.decided(each, name)]
        self.policy = judging.Policy(
            version=1,
            zone=ZoneInfo(self.world["zone"]),
            size=len(self.items) + 1,
            everyone=frozenset({self.audiences["everyone"]}),
            signed_in=frozenset({self.audiences["signed in"]}),
            derived=self._derived(),
            rests=(),
            rules=tuple(self._rule(number, condition) for number, condition in self.conditions.items()),
            reach=self._reach(),
            undecided=_ascending(undecided),
            by_kind=self._by_kind(),
            within=self._within(),
        )
        self._rules_on: dict[int, list[int]] = {}
        for condition, reached in self.policy.reach.items():
            for number in reached.tolist():
                self._rules_on.setdefault(number, []).append(condition)

    def levels(self, viewer: str | None, moment: datetime) -> list[int]:
        """By the arrays: a level for every item's number."""
        audiences, trusted = self._audiences(viewer, moment), self._trusted(viewer, moment)
        found: list[int] = judging.judge(self.policy, audiences, trusted, self._is_council(viewer), moment).tolist()
        return found

    def levels_one_by_one(self, viewer: str | None, moment: datetime) -> list[Level]:
        """By the conditions that reach each item: a level for every item's number, and nothing at 0."""
        audiences, trusted = self._audiences(viewer, moment), self._trusted(viewer, moment)
        unmet = {
            rule.number: rule for rule in self.policy.rules if rule.is_unmet(audiences, moment, self.policy.zone)
        }
        waiting, is_council = set(self.policy.undecided.tolist()), self._is_council(viewer)
        found = [Level.NOTHING]
        for name, number in self.items.items():
            reaching = [unmet[rule] for rule in self._rules_on.get(number, ()) if rule in unmet]
            holder = self.items.get(self.world["items"][name]["recording"])
            is_trusted = number in trusted or holder in trusted
            found.append(judging.level_of_one(reaching, number in waiting, is_trusted, is_council))
        return found

    # --- who ---

    def _is_council(self, viewer: str | None) -> bool:
        return oracle.signed_in(self.world, viewer) and self.world["accounts"][viewer]["council"]

    def _audiences(self, viewer: str | None, moment: datetime) -> frozenset[int]:
        own = self.policy.everyone
        if oracle.signed_in(self.world, viewer):
            rows = [row for row in self.world["members"] if row["account"] == viewer and oracle.runs(row, moment)]
            own |= self.policy.signed_in | {self.audiences[row["audience"]] for row in rows}
        return judging.with_derived(self.policy, own)

    def _trusted(self, viewer: str | None, moment: datetime) -> set[int]:
        if not oracle.signed_in(self.world, viewer):
            return set()
        rows = [row for row in self.world["trusts"] if row["account"] == viewer and oracle.runs(row, moment)]
        return {self.items[row["item"]] for row in rows}

    # --- the columns ---

    def _derived(self) -> tuple[judging.Derived, ...]:
        made = [(name, given) for name, given in self.world["audiences"].items() if isinstance(given, tuple)]
        return tuple(
            judging.Derived(self.audiences[name], how == "all", frozenset(self.audiences[part] for part in parts))
            for name, (how, parts) in made
        )

    def _rule(self, number: int, condition: dict[str, Any]) -> judging.Rule:
        return judging.Rule(
            number=number,
            audiences=frozenset(self.audiences[name] for name in condition["audiences"]),
            season=_season(condition["season"]) if condition["season"] else None,
            starts_at=condition["starts"],
            ends_at=condition["ends"],
            others_see=condition["others"],
            from_consent=condition["consent"],
        )

    def _reach(self) -> dict[int, judging.Numbers]:
        ties = [(self.items[source], kind, self.items[target]) for source, kind, target in self.world["ties"]]
        read = closure.ReadTies(
            [tie for tie in ties if tie[1] != "topic"],
            [(source, target) for source, kind, target in ties if kind == "topic"],
            [
                (self.items[name], self.items[item["recording"]])
                for name, item in self.world["items"].items() if item["recording"]
            ],
        )
        return {
            number: _ascending(closure.members(self.items[condition["target"]], condition["scope"], read))
            for number, condition in self.conditions.items()
        }

    def _by_kind(self) -> dict[str, judging.Numbers]:
        found: dict[str, list[int]] = {kind: [] for kind in Kind.values}
        for name, number in self.items.items():
            found[self.world["items"][name]["kind"]].append(number)
        return {kind: _ascending(numbers) for kind, numbers in found.items()}

    def _within(self) -> dict[int, judging.Numbers]:
        found: dict[int, list[int]] = {}
        for name, item in self.world["items"].items():
            if item["recording"]:
                found.setdefault(self.items[item["recording"]], []).append(self.items[name])
        return {recording: _ascending(numbers) for recording, numbers in found.items()}


def _unlifted(world: World) -> list[dict[str, Any]]:
    found = [*world["conditions"], *oracle.resting_voices(world)]
    return [condition for condition in found if not condition["lifted"]]


def _ascending(numbers: Any) -> judging.Numbers:
    return np.array(sorted(numbers), dtype=np.int64)


@lru_cache
def _season(given: Any) -> seasons.AnySeason:
    return seasons.of(Season(**season_facts(given)))
