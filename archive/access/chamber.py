"""What the council's own pages hold: what waits, what conditions stand, what is due, what was withdrawn.

Everything here asks that the gate's viewer is a council member. Like `showing`, it gives plain frozen data.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime

from django.db.models import Count, F, Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from ..models import (
    ClosedSpan,
    Condition,
    Consent,
    ConsentState,
    Decision,
    Item,
    Kind,
    Level,
    Reach,
    Segment,
    Source,
    Tie,
    TopicTie,
)
from ..timecode.times import format_clock
from . import decisions, policy, showing, wording
from .gate import Gate
from .showing import Label

# What `tied` adds anything to.
TYING = (Kind.PERSON, Kind.PLACE, Kind.FIGURE, Kind.TOPIC)


@dataclass(frozen=True)
class DecisionShown:
    ref: str
    decided_on: date
    minute: str
    present: str
    reason: str
    entered_by: str
    entered_at: datetime


@dataclass(frozen=True)
class ConditionShown:
    """`number` names it in the council's own forms."""

    number: int
    target: Label
    words: str
    others_see: Level
    notice_words: str
    whom_to_ask: str
    review_on: date | None
    decision: DecisionShown | None
    is_from_consent: bool


@dataclass(frozen=True)
class Waiting:
    label: Label
    since: datetime
    brought_by: str
    within: Label | None
    ties: tuple[Label, ...]
    conditions: tuple[ConditionShown, ...]


@dataclass(frozen=True)
class Withdrawn:
    recording: Label
    given_by: str
    stated_on: date
    words: str


# --- names for the council ---


def labels(gate: Gate, numbers: Iterable[int]) -> dict[int, Label]:
    """As `showing.labels`, with words for closed spans, which have no title."""
    decisions.require(gate.account, "is_council")
    return unguarded_labels(gate, numbers)


def unguarded_labels(gate: Gate, numbers: Iterable[int]) -> dict[int, Label]:
    """Labels of items whatever the viewer meets: for the council's pages, and for commands at the machine itself."""
    found = showing.labels(gate, numbers, Level.NOTHING)
    spans = ClosedSpan.ungated.filter(pk__in=[pk for pk, one in found.items() if one.kind == Kind.SPAN])
    rows = list(spans)
    holders = showing.labels(gate, {row.recording_id for row in rows}, Level.NOTHING)
    for row in rows:
        found[row.pk] = replace(found[row.pk], text=_span_words(row, holders[row.recording_id].text), language="")
    return found


def _span_words(row: ClosedSpan, title: str) -> str:
    return _("closed stretch %(start)s to %(end)s of “%(title)s”") % {
        "start": format_clock(row.start_ms // 1000 * 1000),
        "end": format_clock(row.end_ms // 1000 * 1000),
        "title": title,
    }


def find(gate: Gate, kind: str, ref: str) -> Item | None:
    """The item of this kind at this address, of whatever level."""
    decisions.require(gate.account, "is_council")
    return Item.ungated.filter(kind=kind, ref=ref).select_related("decision").first()


def numbers_of(gate: Gate, refs: Iterable[str]) -> dict[str, int]:
    """Item numbers by ref, in the order given; what is not there is left out."""
    decisions.require(gate.account, "is_council")
    wanted = list(dict.fromkeys(refs))
    found = dict(Item.ungated.filter(ref__in=wanted).values_list("ref", "pk"))
    return {ref: found[ref] for ref in wanted if ref in found}


# --- what waits ---


def waiting(gate: Gate, kind: str = "", by: int | None = None) -> list[int]:
    """Numbers of what the council has yet to speak about, oldest first; `by` keeps what is tied to that item."""
    decisions.require(gate.account, "is_council")
    rows = Item.ungated.filter(decision__isnull=True).exclude(kind=Kind.SEGMENT)
    if kind:
        rows = rows.filter(kind=kind)
    found = [*rows.values_list("created_at", "pk")]
    if kind in ("", Kind.SEGMENT):
        found += _new_segments().values_list("created_at", "pk")
    kept = tied_to(gate, by) if by is not None else None
    return [number for _at, number in sorted(found) if kept is None or number in kept]


def _new_segments() -> QuerySet[Segment]:
    """Segments cut after their recording was decided, and not spoken about since."""
    rows: QuerySet[Segment] = Segment.ungated.filter(
        decision__isnull=True, recording__decision__entered_at__lt=F("created_at")
    )
    return rows


def tied_to(gate: Gate, number: int) -> set[int]:
    """The item itself, what lies in it, and whatever is tied to it or told in what is tied to it."""
    decisions.require(gate.account, "is_council")
    found = {number}
    found |= set(Tie.ungated.filter(target=number).values_list("source_id", flat=True))
    found |= set(TopicTie.ungated.filter(tag=number).values_list("content_object_id", flat=True))
    for model in (Segment, ClosedSpan):
        found |= set(model.ungated.filter(recording__in=found).values_list("pk", flat=True))
    return found


def counts(gate: Gate) -> dict[str, int]:
    """How many wait of each kind."""
    numbers = waiting(gate)
    kinds = [one.kind for one in Item.ungated.filter(pk__in=numbers)]
    return {kind: kinds.count(kind) for kind in Kind.values if kind in kinds}


def waiting_cards(gate: Gate, numbers: list[int]) -> list[Waiting]:
    """Cards of what waits, in the order given."""
    rows = {row.pk: row for row in Item.ungated.filter(pk__in=numbers).select_related("created_by")}
    ends = _ends(numbers)
    holders = _holders(numbers)
    named = labels(gate, {*numbers, *holders.values(), *(other for others in ends.values() for other in others)})
    standing = reaching(gate, numbers)
    return [
        Waiting(
            label=named[number],
            since=rows[number].created_at,
            brought_by=str(rows[number].created_by or ""),
            within=named.get(holders.get(number, 0)),
            ties=tuple(sorted((named[other] for other in ends.get(number, ())), key=_by_name)),
            conditions=tuple(standing.get(number, ())),
        )
        for number in numbers
        if number in rows
    ]


def _by_name(label: Label) -> tuple[str, str, str]:
    return label.kind, label.text.casefold(), label.ref


def _ends(numbers: list[int]) -> dict[int, set[int]]:
    """What each item is tied to, either way, segments left out (a recording's are many)."""
    found: dict[int, set[int]] = {}
    for source, target in Tie.ungated.filter(source__in=numbers).values_list("source_id", "target_id"):
        found.setdefault(source, set()).add(target)
    inward = Tie.ungated.filter(target__in=numbers).exclude(source__kind=Kind.SEGMENT)
    for source, target in inward.values_list("source_id", "target_id"):
        found.setdefault(target, set()).add(source)
    tagged = TopicTie.ungated.filter(content_object__in=numbers).values_list("content_object_id", "tag_id")
    for segment, topic in tagged:
        found.setdefault(segment, set()).add(topic)
    return found


def _holders(numbers: list[int]) -> dict[int, int]:
    found: dict[int, int] = {}
    for model in (Segment, ClosedSpan):
        found.update(model.ungated.filter(pk__in=numbers).values_list("pk", "recording_id"))
    return found


def withdrawn(gate: Gate) -> list[Withdrawn]:
    """Recordings whose newest consent is a withdrawal, the newest first."""
    decisions.require(gate.account, "is_council")
    newest: dict[int, Consent] = {}
    for row in Consent.ungated.order_by("recording_id", "-recorded_at", "-id"):
        newest.setdefault(row.recording_id, row)
    rows = [row for row in newest.values() if row.state == ConsentState.WITHDRAWN]
    named = labels(gate, [row.recording_id for row in rows])
    said = gate.mask.text
    shown = [Withdrawn(named[row.recording_id], said(row.given_by), row.stated_on, said(row.words)) for row in rows]
    return sorted(shown, key=lambda one: (-one.stated_on.toordinal(), *_by_name(one.recording)))


# --- conditions ---


def reaching(gate: Gate, numbers: Iterable[int]) -> dict[int, list[ConditionShown]]:
    """The conditions standing that reach each of these items, its own and by ties."""
    rows = list(Reach.ungated.filter(item__in=list(numbers)).values_list("item_id", "condition_id"))
    shown = {one.number: one for one in _shown(gate, Condition.ungated.filter(pk__in={pk for _n, pk in rows}))}
    found: dict[int, list[ConditionShown]] = {}
    for number, condition in sorted(rows):
        if condition in shown:
            found.setdefault(number, []).append(shown[condition])
    return found


def conditions_on(gate: Gate, numbers: Iterable[int]) -> list[ConditionShown]:
    """The conditions whose targets these are, the council's and consent's, lifted ones left out."""
    return _shown(gate, Condition.ungated.filter(target__in=list(numbers)))


def reviews_due(gate: Gate, today: date | None = None) -> list[ConditionShown]:
    """Conditions to be looked at again by now, the longest due first."""
    day = today or timezone.localdate(timezone=policy.home_zone())
    due = _shown(gate, Condition.ungated.filter(review_on__lte=day))
    return sorted(due, key=lambda one: (one.review_on or day, one.number))


def colliding(gate: Gate) -> list[tuple[Label, tuple[ConditionShown, ...]]]:
    """Things on which conditions of several decisions hold, by name: all of them count, so that the stricter does."""
    decisions.require(gate.account, "is_council")
    standing = Condition.ungated.filter(lifted_by__isnull=True, source=Source.COUNCIL)
    many = standing.values("target").annotate(several=Count("decision", distinct=True)).filter(several__gt=1)
    by_target: dict[int, list[ConditionShown]] = {}
    for one in conditions_on(gate, many.values_list("target", flat=True)):
        by_target.setdefault(one.target.number, []).append(one)
    found = [
        (held[0].target, tuple(held))
        for held in by_target.values()
        if len({one.decision.ref for one in held if one.decision}) > 1
    ]
    return sorted(found, key=lambda each: _by_name(each[0]))


def _shown(gate: Gate, rows: QuerySet[Condition]) -> list[ConditionShown]:
    decisions.require(gate.account, "is_council")
    found = list(
        rows.filter(lifted_by__isnull=True)
        .filter(Q(ends_at__isnull=True) | Q(ends_at__gt=gate.moment))
        .select_related("season", "decision__entered_by")
        .prefetch_related("audiences")
        .order_by("pk")
    )
    named = labels(gate, {row.target_id for row in found})
    zone, said = policy.home_zone(), gate.mask.text
    return [
        ConditionShown(
            number=row.pk,
            target=named[row.target_id],
            words=said(wording.condition(row, zone)),
            others_see=Level(row.others_see),
            notice_words=said(row.notice_words),
            whom_to_ask=said(row.whom_to_ask),
            review_on=row.review_on,
            decision=decision_shown(gate, row.decision),
            is_from_consent=row.source == Source.CONSENT,
        )
        for row in found
    ]


def decision_shown(gate: Gate, row: Decision | None) -> DecisionShown | None:
    if row is None:
        return None
    said = gate.mask.text
    return DecisionShown(
        ref=row.ref,
        decided_on=row.decided_on,
        minute=said(row.minute),
        present=said(row.present),
        reason=said(row.reason),
        entered_by=str(row.entered_by or ""),
        entered_at=row.entered_at,
    )


def standing(numbers: Iterable[int]) -> str:
    """A short mark of what is decided about these items now: it changes when anybody decides about one of them."""
    wanted = sorted(set(numbers))
    decided = sorted(Item.ungated.filter(pk__in=wanted).values_list("pk", "decision_id"))
    rows = Condition.ungated.filter(target__in=wanted, lifted_by__isnull=True)
    held = sorted(rows.values_list("pk", flat=True))
    return hashlib.sha256(repr((decided, held)).encode()).hexdigest()[:20]


def newest_decision(gate: Gate, number: int) -> DecisionShown | None:
    decisions.require(gate.account, "is_council")
    row = Decision.objects.filter(pk__in=Item.ungated.filter(pk=number).values("decision")).first()
    return decision_shown(gate, row)
