"""`Gate(viewer, moment)`: what is met. Every page, command and export starts from one of these.

Two readings of one truth. `levels` (arrays) serves lists, counts, maps and search. `level_now` reads the closure
rows of a single item and guards its page and its sound; where the two differ, the lower one holds.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import TypeVar

import numpy as np
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from ..models import (
    Account,
    Audience,
    ClosedSpan,
    Condition,
    Item,
    Kind,
    Level,
    Mirror,
    NoticePages,
    Offering,
    Reach,
    Recording,
    Segment,
)
from . import closure, judging, masks, policy
from .spans import Span, complement, merge

Gated = TypeVar("Gated", bound=Item)


class NotMet(Exception):
    """The viewer does not meet this, or it does not exist: the two cannot be told apart."""


@dataclass(frozen=True)
class Page:
    """One page of a list: item numbers in order, and how many there are in all for this viewer."""

    numbers: list[int]
    total: int
    number: int
    size: int

    @property
    def pages(self) -> int:
        return max(1, -(-self.total // self.size))

    @property
    def has_next(self) -> bool:
        return self.number < self.pages

    @property
    def has_previous(self) -> bool:
        return self.number > 1


def stretches_of(recording: Recording) -> list[tuple[int, int, int]]:
    """Number, start and end (ms) of all that may close seconds of a recording: its segments and closed spans."""
    return [
        *Segment.ungated.filter(recording=recording).values_list("pk", "start_ms", "end_ms"),
        *ClosedSpan.ungated.filter(recording=recording).values_list("pk", "start_ms", "end_ms"),
    ]


class Gate:
    """What one viewer meets at one moment. `account` is None for a visitor."""

    is_looking = False

    def __init__(self, account: Account | None = None, moment: datetime | None = None) -> None:
        self.account = account if account is not None and account.is_active else None
        self.moment = moment or timezone.now()
        self.policy = policy.current()
        self.levels = policy.levels_for(self.policy, self.account, self.moment)

    @property
    def hearer(self) -> Account | None:
        """Whose ears and eyes these are: the ledger names them."""
        return self.account

    def changes_at(self) -> datetime | None:
        """When these levels may next change by time alone; None where no such edge lies ahead."""
        until = policy.edge_after(self.policy, self.account, self.moment)
        return until if until < policy.FAR_AHEAD else None

    @cached_property
    def mask(self) -> masks.Mask:
        """The names at rest at this moment."""
        return masks.at(self.policy.rests, self.moment)

    # --- the array reading ---

    def level(self, number: int) -> Level:
        """The level of an item by the arrays; an item made after this gate was opened is not met."""
        return Level(int(self.levels[number])) if 0 <= number < len(self.levels) else Level.NOTHING

    def meets(self, number: int, at_least: Level = Level.OPEN) -> bool:
        return self.level(number) >= at_least

    def numbers(self, kind: str, at_least: Level = Level.DESCRIPTION) -> judging.Numbers:
        """Item numbers of one kind that are met, ascending."""
        found = self.policy.by_kind[kind]
        return found[self.levels[found] >= at_least]

    def count(self, kind: str, at_least: Level = Level.DESCRIPTION) -> int:
        return int(np.count_nonzero(self.levels[self.policy.by_kind[kind]] >= at_least))

    def keep(self, numbers: Iterable[int], at_least: Level = Level.DESCRIPTION) -> list[int]:
        """Those of the numbers that are met, in the order given."""
        return [number for number in numbers if self.meets(number, at_least)]

    def page(
        self, model: type[Gated], order: tuple[str, ...], number: int = 1, size: int = 20, where: Q | None = None
    ) -> Page:
        """A page of a list in SQL order. Rows are read in order and passed over where they are not met."""
        rows: QuerySet[Gated] = model.ungated.order_by(*order).values_list("pk", flat=True)  # type: ignore
        kind = model.KIND
        if where is None:
            total = self.count(kind)
        else:
            rows = rows.filter(where)
            total = len(self.keep(rows))  # type: ignore[arg-type]
        last = max(1, -(-total // size))
        number = min(max(1, number), last)
        met = self._met_in_order(rows, min(number * size, total))
        return Page(met[(number - 1) * size :], total, number, size)

    def _met_in_order(self, rows: QuerySet[Gated], wanted: int) -> list[int]:
        """The first `wanted` that are met. A bounded read lets the database keep the first rows only, unsorted past."""
        read = wanted * 2 + 20
        while True:
            found: list[int] = list(rows[:read])  # type: ignore[arg-type]
            met = self.keep(found)
            if len(met) >= wanted or len(found) < read:
                return met[:wanted]
            read *= 4

    # --- the closure reading ---

    @cached_property
    def audiences(self) -> frozenset[int]:
        return policy.audiences_of(self.policy, self.account, self.moment)

    @cached_property
    def trusted(self) -> set[int]:
        return policy.trusted_with(self.account, self.moment)

    def level_now(self, item: Item) -> Level:
        """The level of one item by the closure rows as they stand in the database now."""
        unmet = [rule for rule in self._reaching(item) if self._unmet(rule)]
        is_council = self.account is not None and self.account.is_council
        return judging.level_of_one(unmet, self._waits(item), self.is_trusted(item), is_council)

    @staticmethod
    def _reaching(item: Item) -> Iterable[judging.Rule]:
        """The conditions on an item, by their numbers first: a database that has not counted its rows yet would read
        the whole closure for one statement that joins the two."""
        numbers = list(Reach.ungated.filter(item=item.pk).values_list("condition_id", flat=True))
        standing = Condition.ungated.filter(pk__in=numbers, lifted_by__isnull=True).order_by()
        return policy.rules(standing) if numbers else ()

    def level_of(self, item: Item) -> Level:
        """The level by both readings: the lower one, should they ever differ."""
        return min(self.level_now(item), self.level(item.pk))

    def _unmet(self, rule: judging.Rule) -> bool:
        return rule.is_unmet(self.audiences, self.moment, self.policy.zone)

    def _waits(self, item: Item) -> bool:
        if isinstance(item, (Segment, ClosedSpan)) and item.recording.is_undecided:
            return True
        if item.kind == Kind.MIRROR and closure.undecided_mirrors().filter(source=item.pk).exists():
            return True
        return item.is_undecided

    def is_trusted(self, item: Item) -> bool:
        """Whether the viewer is entrusted with it, or with the recording it lies in."""
        holder = getattr(item, "recording_id", None)
        return item.pk in self.trusted or (holder is not None and holder in self.trusted)

    def fetch(self, model: type[Gated], ref: str, at_least: Level = Level.DESCRIPTION) -> Gated:
        """The item with this address, or NotMet. Both readings must allow it."""
        rows = model.ungated.filter(ref=ref)  # type: ignore[attr-defined]
        if issubclass(model, (Segment, ClosedSpan)):
            rows = rows.select_related("recording")  # it stands under the recording's decision
        item = next(iter(rows.order_by()), None)  # a ref is one item's alone: nothing to sort, which costs a third
        if item is None or self.level_of(item) < at_least:
            raise NotMet(ref)
        found: Gated = item
        return found

    def queryset(self, model: type[Gated], at_least: Level = Level.DESCRIPTION) -> QuerySet[Gated]:
        """What is met of a model, in SQL (NOT EXISTS over the closure), to be filtered and joined further."""
        rows: QuerySet[Gated] = model.ungated.all()  # type: ignore[attr-defined]
        if self.account is not None and self.account.is_council and at_least <= Level.DESCRIPTION:
            return rows
        unmet = [rule for rule in self.policy.rules if rule.others_see < at_least and self._unmet(rule)]
        allowed = ~self._reached_by(rule.number for rule in unmet) & self._decided(model)
        allowed |= self._entrusted(model)
        consent = self._reached_by(rule.number for rule in unmet if rule.from_consent)
        return rows.filter(allowed).filter(~consent)

    def _reached_by(self, conditions: Iterable[int]) -> Q:
        numbers = sorted(conditions)
        return Q(Exists(Reach.ungated.filter(item=OuterRef("pk"), condition__in=numbers)))

    def _decided(self, model: type[Gated]) -> Q:
        if issubclass(model, Segment):
            return Q(recording__decision__isnull=False)
        if issubclass(model, ClosedSpan):
            return Q(decision__isnull=False, recording__decision__isnull=False)
        if issubclass(model, Mirror):
            return Q(decision__isnull=False) & ~Q(Exists(closure.undecided_mirrors().filter(source=OuterRef("pk"))))
        return Q(decision__isnull=False)

    def _entrusted(self, model: type[Gated]) -> Q:
        trusted = Q(pk__in=self.trusted)
        if issubclass(model, (Segment, ClosedSpan)):
            trusted |= Q(recording__in=self.trusted)
        return trusted

    # --- seconds of a recording ---

    def closed_stretches(self, recording: Recording) -> list[Span]:
        """Milliseconds of the recording that this viewer may not hear or read: merged, ascending, half-open.

        Where the whole is not offered (its offering is clips, or the recording itself is not met in full), all but
        the open segments is closed. Whoever is entrusted with the recording hears it whole.
        """
        length = recording.master.duration_ms
        stretches = stretches_of(recording)
        closed = [(start, end) for number, start, end in stretches if not self.meets(number)]
        if not self.hears_whole(recording):
            segments = set(Segment.ungated.filter(recording=recording).values_list("pk", flat=True))
            opened = [(start, end) for number, start, end in stretches if number in segments and self.meets(number)]
            closed += complement(merge(opened), length)
        return merge(closed)

    def hears_whole(self, recording: Recording) -> bool:
        """Whether the recording is offered as a whole (its closed seconds, if any, silent)."""
        if not self.meets(recording.pk):
            return False
        return recording.offering == Offering.QUIET or self.is_trusted(recording)

    # --- what a notice says ---

    def notices_on_page(self, own: int, around: Iterable[int]) -> list[tuple[str, str]]:
        """The council's own public words, and whom to ask, where only a notice is met.

        `own` is the page's item; `around` are items tied to it, whose notices show where the council chose so. Equal
        words are said once, so that they do not tell how many there are.
        """
        near = [number for number in around if self.level(number) == Level.NOTICE]
        said = self._notice_words([own] if self.level(own) == Level.NOTICE else [], anywhere=True)
        return sorted(said | self._notice_words(near, anywhere=False))

    def _notice_words(self, numbers: list[int], anywhere: bool) -> set[tuple[str, str]]:
        if not numbers:
            return set()
        rows = Condition.ungated.filter(
            Exists(Reach.ungated.filter(condition=OuterRef("pk"), item__in=numbers)),
            lifted_by__isnull=True,
            others_see=Level.NOTICE,
        ).select_related("season")
        if not anywhere:
            rows = rows.filter(notice_pages=NoticePages.TIED)
        unmet = [row for row in rows.prefetch_related("audiences") if self._unmet(policy.rule_of(row))]
        return {(self.mask.text(row.notice_words), self.mask.text(row.whom_to_ask)) for row in unmet}


class AudienceGate(Gate):
    """What somebody meets who belongs to one audience, and is entrusted with nothing: for the council to look.

    Looking gives no ears: what the looking council member does not meet in full stays at its description, even where
    the audience hears it.
    """

    is_looking = True

    def __init__(self, audience: Audience, looker: Account, moment: datetime | None = None) -> None:
        self.account = None
        self.own = Gate(looker, moment)
        self.moment, self.policy = self.own.moment, self.own.policy
        self.belongs_to = judging.alone_in(self.policy, audience)
        theirs = policy.levels_of(self.policy, self.belongs_to, self.moment)
        self.levels = np.minimum(theirs, self.own.levels)

    @property
    def hearer(self) -> Account | None:
        return self.own.account

    def level_now(self, item: Item) -> Level:
        return min(super().level_now(item), self.own.level_now(item))

    def queryset(self, model: type[Gated], at_least: Level = Level.DESCRIPTION) -> QuerySet[Gated]:
        return super().queryset(model, at_least).filter(pk__in=self.own.queryset(model, at_least).values("pk"))

    @property
    def audiences(self) -> frozenset[int]:  # type: ignore[override]
        return self.belongs_to
