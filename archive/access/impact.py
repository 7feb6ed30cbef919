"""What a decision would change, for whom, before it is taken.

The decision is carried out inside a savepoint, the levels of every audience are compared with those before it, and
the savepoint is undone: so the preview takes the very path that the decision will.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from django.db import transaction
from django.utils.translation import gettext as _

from ..models import Audience, Level, Recording
from . import chamber, decisions, judging, policy
from .gate import Gate
from .showing import Label

MOMENTS = 4  # how many changes are shown: now, and at the coming openings and closings
JUST_BEFORE = timedelta(microseconds=1)


@dataclass(frozen=True)
class Shift:
    """One audience meets an item differently from before.

    `is_averted`: time alone would have brought it to `before`, and with the decision it stays at `after`.
    """

    audience: str
    before: Level
    after: Level
    is_averted: bool = False

    @property
    def opens(self) -> bool:
        return self.after > self.before


@dataclass(frozen=True)
class Group:
    """Items that change alike, by name, with every audience for which they do."""

    shifts: tuple[Shift, ...]
    items: tuple[Label, ...]


@dataclass(frozen=True)
class Impact:
    """What is met from `moment` on otherwise than just before it, by this decision."""

    moment: datetime
    groups: tuple[Group, ...]

    @property
    def count(self) -> int:
        return sum(len(group.items) for group in self.groups)


class _Undo(Exception):
    pass


def viewers(held: judging.Policy) -> dict[str, frozenset[int]]:
    """Each audience with all the audiences that somebody in it alone belongs to, in a fixed order."""
    visitor = judging.with_derived(held, held.everyone)
    signed_in = judging.with_derived(held, held.everyone | held.signed_in)
    found = {_("Visitors who are not signed in"): visitor, _("Anyone signed in"): signed_in}
    for audience in Audience.objects.filter(builtin__isnull=True):
        found[audience.name] = judging.alone_in(held, audience)
    return found


def of(gate: Gate, act: Callable[[], Any]) -> list[Impact]:
    """What `act` would change now and at the next openings and closings; nothing of it is kept."""
    decisions.require(gate.account, "is_council")
    found: list[tuple[datetime, dict[int, tuple[Shift, ...]]]] = []
    try:
        with transaction.atomic():
            before = policy.read()
            act()
            after = policy.read()
            found = _compare(before, after, gate.moment)
            raise _Undo
    except _Undo:
        pass
    return [_impact(gate, moment, shifts) for moment, shifts in found if shifts][:MOMENTS]


def _compare(
    before: judging.Policy, after: judging.Policy, now: datetime
) -> list[tuple[datetime, dict[int, tuple[Shift, ...]]]]:
    changed = set(after.rules) ^ set(before.rules)
    coming = sorted({edge for rule in changed for edge in rule.edges(now, after.zone) if edge > now})
    return [(now, _shifts_now(before, after, now)), *((edge, _shifts_at(before, after, edge)) for edge in coming)]


def _shifts_now(before: judging.Policy, after: judging.Policy, moment: datetime) -> dict[int, tuple[Shift, ...]]:
    found: dict[int, list[Shift]] = {}
    for name, audiences in viewers(after).items():
        old, new = (_levels(policy, before, audiences, moment) for policy in (before, after))
        for number in np.flatnonzero(old != new).tolist():
            found.setdefault(number, []).append(Shift(name, Level(int(old[number])), Level(int(new[number]))))
    return {number: tuple(shifts) for number, shifts in found.items()}


def _shifts_at(before: judging.Policy, after: judging.Policy, edge: datetime) -> dict[int, tuple[Shift, ...]]:
    """What this moment brings by the decision: not what it would have brought without it, but what it then does not."""
    found: dict[int, list[Shift]] = {}
    for name, audiences in viewers(after).items():
        was, would_be, old, new = (
            _levels(policy, before, audiences, moment)
            for policy in (before, after)
            for moment in (edge - JUST_BEFORE, edge)
        )
        moved = (old != new) & ((was != old) | (would_be != new))
        averted = (old == new) & (was != would_be) & (would_be != new)
        for number in np.flatnonzero(moved | averted).tolist():
            first = would_be if averted[number] else old
            shift = Shift(name, Level(int(first[number])), Level(int(new[number])), bool(averted[number]))
            found.setdefault(number, []).append(shift)
    return {number: tuple(shifts) for number, shifts in found.items()}


def _levels(
    policy: judging.Policy, before: judging.Policy, audiences: frozenset[int], moment: datetime
) -> judging.Levels:
    """Levels of all that there was before the decision."""
    return judging.judge(policy, audiences, set(), False, moment)[: before.size]


def _impact(gate: Gate, moment: datetime, shifts: dict[int, tuple[Shift, ...]]) -> Impact:
    named = chamber.labels(gate, shifts)
    alike: dict[tuple[Shift, ...], list[Label]] = {}
    for number, moved in shifts.items():
        alike.setdefault(moved, []).append(named[number])
    groups = [
        Group(moved, tuple(sorted(items, key=lambda one: (one.kind, one.text.casefold(), one.ref))))
        for moved, items in alike.items()
    ]
    return Impact(moment, tuple(sorted(groups, key=lambda group: (-len(group.items), group.items[0].ref))))


def offered_otherwise(numbers: list[int], offering: str) -> int:
    """How many recordings among these would be offered in another way."""
    if not offering:
        return 0
    return int(Recording.ungated.filter(pk__in=numbers).exclude(offering=offering).count())
