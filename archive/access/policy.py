"""The array reading of the gate: one policy version as numpy arrays, from which a viewer's levels follow at once.

Each condition's reach is kept as an array of item numbers rather than as a bitset over all items: 140,000 closure
rows are then half a megabyte instead of twenty-five, and marking them for a viewer costs the same.
"""

from __future__ import annotations

import threading
from bisect import bisect_right
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import count
from typing import Any, TypedDict
from zoneinfo import ZoneInfo

import numpy as np
from django.db import connection, transaction
from django.db.models import Q, QuerySet

from ..models import (
    Account,
    Audience,
    Builtin,
    ClosedSpan,
    Combining,
    Condition,
    Entrustment,
    House,
    Item,
    Kind,
    Membership,
    PolicyVersion,
    Reach,
    Season,
    Segment,
    Source,
)
from . import closure, masks, seasons
from .columns import ascending, beside, grouped
from .judging import Derived, Levels, Numbers, Policy, Rule, judge, with_derived

LONG_AGO = datetime(1, 1, 2, tzinfo=UTC)
FAR_AHEAD = datetime(9999, 12, 30, tzinfo=UTC)
KEPT_VIEWERS = 256


@dataclass(frozen=True)
class ViewerLevels:
    levels: Levels
    since: datetime
    until: datetime

    def holds_at(self, moment: datetime) -> bool:
        return self.since <= moment < self.until


def rule_of(condition: Condition) -> Rule:
    return Rule(
        number=condition.pk,
        audiences=frozenset(audience.pk for audience in condition.audiences.all()),
        season=seasons.of(condition.season) if condition.season else None,
        starts_at=condition.starts_at,
        ends_at=condition.ends_at,
        others_see=condition.others_see,
        from_consent=condition.source == Source.CONSENT,
    )


def current_version() -> int:
    """The number that moves with every write which can change a level; a missing row is an error, not an answer."""
    return int(PolicyVersion.objects.values_list("number", flat=True).get(pk=1))


def known_version() -> int:
    """The version this process last read its policy under: that of the request, once its gate is open."""
    held = _policy
    return held.version if held is not None else current_version()


_lines = count(1)
_lock = threading.Lock()
_policy: Policy | None = None
# By policy version, and by account (0 for visitors) or by audiences.
_viewers: OrderedDict[tuple[int, int | frozenset[int]], ViewerLevels] = OrderedDict()


def current() -> Policy:
    """The policy as it stands. The version is read before the data, so that a race can only cause a rebuild."""
    global _policy
    version = current_version()
    held = _policy
    if held is not None and held.version == version:
        return held
    with _lock:
        held = _policy
        if held is None or held.version != version:
            from . import brought_up

            held = (held and brought_up.policy_after(held, version)) or read()
            _policy = held
            _viewers.clear()
    return held


def forget() -> None:
    """Drop what is kept in this process (tests that roll the database back need it)."""
    global _policy
    with _lock:
        _policy = None
        _viewers.clear()


def is_alone() -> bool:
    """Whether what is read now is committed: no transaction is open that may be taken back."""
    return not connection.in_atomic_block


def size_of(by_kind: dict[str, Numbers]) -> int:
    return max((int(numbers[-1]) for numbers in by_kind.values() if len(numbers)), default=0) + 1


class _Rules(TypedDict):
    everyone: frozenset[int]
    signed_in: frozenset[int]
    derived: tuple[Derived, ...]
    rules: tuple[Rule, ...]


def rules_and_audiences() -> _Rules:
    builtin = dict(Audience.objects.filter(builtin__isnull=False).values_list("builtin", "pk"))
    return _Rules(
        everyone=frozenset({builtin[Builtin.EVERYONE]} if Builtin.EVERYONE in builtin else ()),
        signed_in=frozenset({builtin[Builtin.SIGNED_IN]} if Builtin.SIGNED_IN in builtin else ()),
        derived=_derived(),
        rules=rules(Condition.ungated.filter(lifted_by__isnull=True)),
    )


def read() -> Policy:
    """The policy as this connection sees it now, kept nowhere: a transaction to be undone reads its own."""
    return replace(_read(), is_firm=is_alone(), line=next(_lines))


@transaction.atomic
def _read() -> Policy:
    version = current_version()
    by_kind = grouped(Item.ungated.all(), "kind", "pk")
    return Policy(
        version=version,
        zone=home_zone(),
        size=size_of(by_kind),
        rests=masks.read(),
        **rules_and_audiences(),
        reach=beside(Reach.ungated.all(), "condition_id", "item_id"),
        undecided=ascending(closure.stands_undecided()),
        by_kind={kind: by_kind.get(kind, ascending(())) for kind in Kind.values},
        within=within_recordings(),
    )


def _derived() -> tuple[Derived, ...]:
    """The audiences made of others, each after those it is made of. What goes round in a ring holds nobody."""
    rows = dict(Audience.objects.exclude(combining="").values_list("pk", "combining"))
    parts: dict[int, set[int]] = {number: set() for number in rows}
    for number, part in Audience.parts.through.objects.values_list("from_audience_id", "to_audience_id"):
        if number in parts:
            parts[number].add(part)
    ordered: list[Derived] = []
    ahead = dict(parts)
    while ready := [number for number in sorted(ahead) if not ahead[number] & set(ahead)]:
        for number in ready:
            del ahead[number]
            ordered.append(Derived(number, rows[number] == Combining.ALL, frozenset(parts[number])))
    return tuple(ordered)


def home_zone() -> ZoneInfo:
    name = House.objects.values_list("time_zone", flat=True).filter(pk=1).first()
    return ZoneInfo(name or "UTC")


def rules(conditions: QuerySet[Condition]) -> tuple[Rule, ...]:
    """These conditions, read as plain columns: as objects, thousands of them cost ten times as much."""
    rows: dict[int, tuple[Any, ...]] = {}
    named: dict[int, list[int]] = {}
    columns = ("pk", "audiences", "season_id", "starts_at", "ends_at", "others_see", "source")
    for number, audience, *row in conditions.values_list(*columns):  # a row for each audience, or one without
        rows[number] = tuple(row)
        named.setdefault(number, []).append(audience)
    wanted = {season for season, *_ in rows.values()} - {None}
    held = {season.pk: seasons.of(season) for season in Season.objects.filter(pk__in=wanted)} if wanted else {}
    return tuple(
        Rule(
            number=number,
            audiences=frozenset(named[number]) - {None},
            season=held[season] if season is not None else None,
            starts_at=starts_at,
            ends_at=ends_at,
            others_see=others_see,
            from_consent=source == Source.CONSENT,
        )
        for number, (season, starts_at, ends_at, others_see, source) in rows.items()
    )


def within_recordings(recordings: Sequence[int] | None = None) -> dict[int, Numbers]:
    """Segments and spans by recording; of these recordings alone, where they are given."""
    where = Q() if recordings is None else Q(recording__in=recordings)
    held = beside(Segment.ungated.filter(where), "recording_id", "pk")
    for recording, spans in beside(ClosedSpan.ungated.filter(where), "recording_id", "pk").items():
        held[recording] = np.concatenate([held.get(recording, spans[:0]), spans])
    return held


def audiences_of(policy: Policy, account: Account | None, moment: datetime) -> frozenset[int]:
    if account is None:
        return with_derived(policy, policy.everyone)
    at = Q(starts_at__lte=moment) & (Q(ends_at__isnull=True) | Q(ends_at__gt=moment))
    own = Membership.objects.filter(at, account=account, audience__combining="").values_list("audience_id", flat=True)
    return with_derived(policy, policy.everyone | policy.signed_in | frozenset(own))


def trusted_with(account: Account | None, moment: datetime) -> set[int]:
    """Items entrusted to this account at that moment; what lies inside them is not included."""
    if account is None:
        return set()
    at = Q(starts_at__lte=moment) & (Q(ends_at__isnull=True) | Q(ends_at__gt=moment))
    return set(Entrustment.ungated.filter(at, account=account).values_list("item_id", flat=True))


def levels_for(policy: Policy, account: Account | None, moment: datetime) -> Levels:
    """A level for every item number, by the arrays. What is not an item stays at nothing."""
    return _kept(policy, account.pk if account else 0, moment, lambda: _judge(policy, account, moment))


def levels_of(policy: Policy, audiences: frozenset[int], moment: datetime) -> Levels:
    """A level for every item number, for somebody who is in these audiences and entrusted with nothing."""
    return _kept(policy, audiences, moment, lambda: _judge_audiences(policy, audiences, moment))


def _kept(
    policy: Policy, viewer: int | frozenset[int], moment: datetime, judged: Callable[[], ViewerLevels]
) -> Levels:
    key = (policy.version, viewer)
    held = _viewers.get(key)
    if held is None or not held.holds_at(moment):
        held = judged()
        with _lock:
            _viewers[key] = held
            while len(_viewers) > KEPT_VIEWERS:
                _viewers.popitem(last=False)
    return held.levels


def _judge_audiences(policy: Policy, audiences: frozenset[int], moment: datetime) -> ViewerLevels:
    levels = judge(policy, audiences, set(), False, moment)
    levels.setflags(write=False)
    return ViewerLevels(levels, *_edges_around(policy, None, moment))


def _judge(policy: Policy, account: Account | None, moment: datetime) -> ViewerLevels:
    levels = judge(
        policy,
        audiences_of(policy, account, moment),
        trusted_with(account, moment),
        account is not None and account.is_council,
        moment,
    )
    since, until = _edges_around(policy, account, moment)
    levels.setflags(write=False)
    return ViewerLevels(levels, since, until)


def edge_after(policy: Policy, account: Account | None, moment: datetime) -> datetime:
    """The next moment at which time alone may change a level of this viewer's."""
    return _edges_around(policy, account, moment)[1]


def _edges_around(policy: Policy, account: Account | None, moment: datetime) -> tuple[datetime, datetime]:
    edges = {edge for rule in policy.rules for edge in rule.edges(moment, policy.zone)}
    if account is not None:
        for model in (Membership.objects, Entrustment.ungated):
            for starts_at, ends_at in model.filter(account=account).values_list("starts_at", "ends_at"):
                edges |= {edge for edge in (starts_at, ends_at) if edge is not None}
    ordered = sorted(edges)
    at = bisect_right(ordered, moment)
    before = ordered[at - 1] if at else LONG_AGO
    return before, ordered[at] if at < len(ordered) else FAR_AHEAD
