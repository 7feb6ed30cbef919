"""What follows from the conditions for somebody at a moment: the gate's judgement, without its database.

Both readings end here. `judge` is the array reading: a level for every item number at once. `level_of_one` is the
closure reading: the level of one item from the conditions that reach it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from ..models import Audience, Builtin, Level
from . import masks
from .seasons import AnySeason

Numbers = NDArray[np.int64]
Levels = NDArray[np.uint8]


@dataclass(frozen=True)
class Rule:
    """A condition, ready to be judged. An empty `audiences` is satisfied by nobody."""

    number: int
    audiences: frozenset[int]
    season: AnySeason | None
    starts_at: datetime | None
    ends_at: datetime | None
    others_see: int
    from_consent: bool

    def in_force(self, moment: datetime) -> bool:
        return (self.starts_at is None or self.starts_at <= moment) and (
            self.ends_at is None or moment < self.ends_at
        )

    def satisfied(self, audiences: frozenset[int], moment: datetime, zone: ZoneInfo) -> bool:
        if not self.audiences & audiences:
            return False
        return self.season is None or self.season.is_open(moment, zone)

    def is_unmet(self, audiences: frozenset[int], moment: datetime, zone: ZoneInfo) -> bool:
        """In force, and not satisfied by somebody in these audiences."""
        return self.in_force(moment) and not self.satisfied(audiences, moment, zone)

    def edges(self, moment: datetime, zone: ZoneInfo) -> list[datetime]:
        found = [edge for edge in (self.starts_at, self.ends_at) if edge is not None]
        return found + (self.season.edges(moment, zone) if self.season else [])


@dataclass(frozen=True)
class Derived:
    """An audience made of others: their overlap where `is_all`, else their union."""

    number: int
    is_all: bool
    parts: frozenset[int]

    def holds(self, own: frozenset[int] | set[int]) -> bool:
        if not self.parts:
            return False
        return self.parts <= own if self.is_all else bool(self.parts & own)


@dataclass(frozen=True)
class Policy:
    version: int
    zone: ZoneInfo
    size: int
    everyone: frozenset[int]
    signed_in: frozenset[int]
    derived: tuple[Derived, ...]
    rests: tuple[masks.RestRule, ...]
    rules: tuple[Rule, ...]
    reach: dict[int, Numbers]
    undecided: Numbers
    by_kind: dict[str, Numbers]
    within: dict[int, Numbers] = field(repr=False)
    # Read outside any transaction: it cannot be taken back, so later ones may be made from it.
    is_firm: bool = field(default=False, compare=False)
    # One number for a policy read whole and all that are made from it, one after the other.
    line: int = field(default=0, compare=False)


def with_derived(policy: Policy, own: frozenset[int]) -> frozenset[int]:
    """The audiences with those that are made of them."""
    found = set(own)
    for one in policy.derived:
        if one.holds(found):
            found.add(one.number)
    return frozenset(found)


def alone_in(policy: Policy, audience: Audience) -> frozenset[int]:
    """All the audiences of somebody who was added to this one alone."""
    if audience.builtin == Builtin.EVERYONE:
        return with_derived(policy, policy.everyone)
    return with_derived(policy, policy.everyone | policy.signed_in | {audience.pk})


def judge(
    policy: Policy, audiences: frozenset[int], trusted: set[int], is_council: bool, moment: datetime
) -> Levels:
    """A level for every item number, for whoever is in these audiences and entrusted with these items."""
    levels = np.zeros(policy.size, dtype=np.uint8)
    everything = np.concatenate(list(policy.by_kind.values()))
    levels[everything] = Level.OPEN
    levels[policy.undecided] = Level.NOTHING
    unmet = [rule for rule in policy.rules if rule.is_unmet(audiences, moment, policy.zone)]
    for rule in unmet:
        _lower(policy, levels, rule)
    levels[sorted(_with_contents(policy, trusted))] = Level.OPEN
    for rule in unmet:
        if rule.from_consent:  # nothing but a new consent lifts it
            _lower(policy, levels, rule)
    if is_council:
        levels[everything] = np.maximum(levels[everything], Level.DESCRIPTION)
    return levels


def _lower(policy: Policy, levels: Levels, rule: Rule) -> None:
    reached = policy.reach.get(rule.number)
    if reached is not None:
        levels[reached] = np.minimum(levels[reached], rule.others_see)


def _with_contents(policy: Policy, items: set[int]) -> set[int]:
    inside = {number for item in items if item in policy.within for number in policy.within[item].tolist()}
    return {item for item in items if item < policy.size} | inside


def level_of_one(unmet: Iterable[Rule], is_waiting: bool, is_trusted: bool, is_council: bool) -> Level:
    """The level of one item: `unmet` are the conditions reaching it that the viewer does not satisfy."""
    unmet = list(unmet)
    level = min([Level.NOTHING if is_waiting else Level.OPEN, *(Level(rule.others_see) for rule in unmet)])
    if is_trusted:
        level = Level.OPEN
    level = min([level, *(Level(rule.others_see) for rule in unmet if rule.from_consent)])
    return max(level, Level.DESCRIPTION) if is_council else level
