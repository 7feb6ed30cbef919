"""Why somebody meets an item or not, at a moment: every condition that reaches it, by which tie, and what follows.

The level is put together here from the very parts that are told, and not taken from the gate; a test holds the two
together over random worlds.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from ..models import (
    Account,
    Audience,
    ClosedSpan,
    Condition,
    Decision,
    Entrustment,
    Item,
    Kind,
    Level,
    Reach,
    Recording,
    Segment,
    Tie,
    TieKind,
    TopicTie,
)
from . import chamber, closure, judging, policy, seasons, wording
from .chamber import DecisionShown
from .gate import Gate
from .showing import Label


@dataclass(frozen=True)
class Step:
    """One tie on the way from the item to a condition's target: what joins it, and to what."""

    words: str
    to: Label


@dataclass(frozen=True)
class Verdict:
    """One condition on this item, for this person, at this moment. `way` is empty where it is the item's own."""

    words: str
    target: Label
    way: tuple[Step, ...]
    holds: bool  # in force at this moment
    satisfied: bool
    why: str
    leaves: Level
    is_from_consent: bool
    decision: DecisionShown | None


@dataclass(frozen=True)
class TrustFact:
    item: Label
    starts_at: datetime
    ends_at: datetime | None
    granted_by: str
    reason: str


@dataclass(frozen=True)
class Explanation:
    item: Label
    who: str
    moment: datetime
    level: Level
    reasons: tuple[str, ...]  # from the first that counts to the last
    waits_for: tuple[Label, ...]
    trusts: tuple[TrustFact, ...]
    verdicts: tuple[Verdict, ...]
    audiences: tuple[str, ...]
    decision: DecisionShown | None
    changes_at: datetime | None

    @property
    def is_met(self) -> bool:
        return self.level > Level.NOTHING


def of(item: Item, account: Account | None, moment: datetime | None = None) -> Explanation:
    """Explain one item for one person (None: a visitor). The caller asks whether the asker may know."""
    gate = Gate(account, moment or timezone.now())
    held = list(
        Condition.ungated.filter(pk__in=Reach.ungated.filter(item=item.pk).values("condition"), lifted_by__isnull=True)
        .select_related("season", "decision__entered_by")
        .prefetch_related("audiences")
        .order_by("pk")
    )
    ways = _ways(item.pk, {row.target_id: row.scope for row in held})
    waiting = _waits_for(item)
    trusts = _trusts(item, gate)
    named = _named(gate, item, held, ways, waiting, trusts)
    verdicts = tuple(_verdict(gate, row, named, ways.get(row.target_id, ())) for row in held)
    level, reasons = _put_together(gate, bool(waiting), trusts, verdicts)
    return Explanation(
        item=named[item.pk],
        who=_who(gate.account, account),
        moment=gate.moment,
        level=level,
        reasons=tuple(reasons),
        waits_for=tuple(named[number] for number in waiting),
        trusts=tuple(_trust(gate, row, named) for row in trusts),
        verdicts=verdicts,
        audiences=_audience_names(gate),
        decision=chamber.decision_shown(gate, Decision.objects.filter(pk=item.decision_id or 0).first()),
        changes_at=gate.changes_at(),
    )


def _named(
    gate: Gate,
    item: Item,
    held: Iterable[Condition],
    ways: dict[int, tuple[tuple[str, int], ...]],
    waiting: Iterable[int],
    trusts: Iterable[Entrustment],
) -> dict[int, Label]:
    wanted = {item.pk, *waiting, *(row.target_id for row in held), *(row.item_id for row in trusts)}
    wanted |= {number for way in ways.values() for _kind, number in way}
    return chamber.unguarded_labels(gate, wanted)


def _who(counted: Account | None, asked: Account | None) -> str:
    if asked is not None and counted is None:
        return _("%(name)s (the account is switched off: like a visitor)") % {"name": asked}
    return str(counted) if counted is not None else _("a visitor who is not signed in")


def _audience_names(gate: Gate) -> tuple[str, ...]:
    rows = Audience.objects.filter(pk__in=gate.audiences)
    return tuple(sorted((row.name for row in rows), key=str.casefold))


# --- the parts ---


def _waits_for(item: Item) -> list[int]:
    """The items whose decision is missing: the item's own, its recording's, or that of the figure it mirrors."""
    found = [item.pk] if item.is_undecided else []
    holder = _holder(item)
    if holder is not None and Recording.ungated.filter(pk=holder, decision__isnull=True).exists():
        found.append(holder)
    return found + list(closure.undecided_mirrors().filter(source=item.pk).values_list("target_id", flat=True))


def _holder(item: Item) -> int | None:
    for kind, model in ((Kind.SEGMENT, Segment), (Kind.SPAN, ClosedSpan)):
        if item.kind == kind:
            found: int | None = model.ungated.filter(pk=item.pk).values_list("recording_id", flat=True).first()
            return found
    return None


def _trusts(item: Item, gate: Gate) -> list[Entrustment]:
    """Trusts in the item, or in the recording it lies in, that run at this moment."""
    if gate.account is None:
        return []
    runs = Q(starts_at__lte=gate.moment) & (Q(ends_at__isnull=True) | Q(ends_at__gt=gate.moment))
    rows = Entrustment.ungated.filter(runs, account=gate.account, item__in=[item.pk, _holder(item) or item.pk])
    return list(rows.select_related("granted_by").order_by("starts_at", "pk"))


def _trust(gate: Gate, row: Entrustment, named: dict[int, Label]) -> TrustFact:
    reason = gate.mask.text(row.reason)
    return TrustFact(named[row.item_id], row.starts_at, row.ends_at, str(row.granted_by or ""), reason)


def _verdict(gate: Gate, row: Condition, named: dict[int, Label], way: tuple[tuple[str, int], ...]) -> Verdict:
    rule = policy.rule_of(row)
    holds = rule.in_force(gate.moment)
    satisfied = rule.satisfied(gate.audiences, gate.moment, gate.policy.zone)
    return Verdict(
        words=gate.mask.text(wording.condition(row, gate.policy.zone)),
        target=named[row.target_id],
        way=tuple(Step(_tie_words(kind), named[number]) for kind, number in way),
        holds=holds,
        satisfied=satisfied,
        why=_why(gate, row, rule, holds),
        leaves=Level.OPEN if satisfied or not holds else Level(row.others_see),
        is_from_consent=rule.from_consent,
        decision=chamber.decision_shown(gate, row.decision),
    )


def _why(gate: Gate, row: Condition, rule: judging.Rule, holds: bool) -> str:
    """Why it is satisfied or not, in one sentence."""
    zone = gate.policy.zone
    if not holds:
        ahead = rule.starts_at is not None and gate.moment < rule.starts_at
        edge = rule.starts_at if ahead else rule.ends_at
        assert edge is not None
        words = _("It only begins on %(day)s.") if ahead else _("It has run out since %(day)s.")
        return words % {"day": wording.day(edge, zone)}
    if rule.from_consent:
        return _("Consent was taken back; nobody satisfies it.")
    if not rule.audiences:
        return _("It names no audience; nobody satisfies it.")
    names = {audience.pk: audience.name for audience in row.audiences.all()}
    own = sorted((names[number] for number in rule.audiences & gate.audiences), key=str.casefold)
    if not own:
        words = _("Belongs to none of: %(audiences)s.")
        return words % {"audiences": ", ".join(sorted(names.values(), key=str.casefold))}
    said = _("Belongs to %(audiences)s.") % {"audiences": ", ".join(own)}
    return f"{said} {_season_words(gate, row, rule)}".strip()


def _season_words(gate: Gate, row: Condition, rule: judging.Rule) -> str:
    if rule.season is None or row.season is None:
        return ""
    is_open = rule.season.is_open(gate.moment, gate.policy.zone)
    turn = seasons.next_turn(rule.season, gate.moment, gate.policy.zone)
    words = _("The season “%(season)s” is open") if is_open else _("The season “%(season)s” is closed")
    said = words % {"season": row.season.name}
    if turn is None:
        return f"{said}."
    until = _("%(said)s until %(day)s.") if is_open else _("%(said)s; it opens on %(day)s.")
    return until % {"said": said, "day": wording.day(turn, gate.policy.zone)}


def _put_together(
    gate: Gate, waits: bool, trusts: list[Entrustment], verdicts: tuple[Verdict, ...]
) -> tuple[Level, list[str]]:
    """The level, and the reasons for it in the order in which they count."""
    level, reasons = Level.OPEN, []
    if waits:
        level = Level.NOTHING
        reasons.append(_("The council has not decided yet: it is closed until then."))
    unmet = [each for each in verdicts if each.holds and not each.satisfied]
    level = min([level, *(each.leaves for each in unmet)])
    if unmet:
        reasons.append(_("Conditions that are not satisfied: %(count)d.") % {"count": len(unmet)})
    elif not waits:
        reasons.append(_("The council has decided, and every condition that reaches it is satisfied."))
    if trusts:
        level = Level.OPEN
        reasons.append(_("Entrusted with it: no condition counts against that, but for consent."))
    by_consent = [each.leaves for each in unmet if each.is_from_consent]
    level = min([level, *by_consent])
    if by_consent:
        reasons.append(_("Consent was taken back: that counts against everybody, the entrusted too."))
    if gate.account is not None and gate.account.is_council and level < Level.DESCRIPTION:
        level = Level.DESCRIPTION
        reasons.append(_("As a council member: the description, so as to decide, but neither voice nor words."))
    return level, reasons


# --- by which tie ---


def _tie_words(kind: str) -> str:
    known = {
        "within": _("lies in the recording"),
        "topic": _("is told under the topic"),
        TieKind.TOLD_BY: _("told by"),
        TieKind.TELLS_OF: _("tells of"),
        TieKind.HAD_FROM: _("had from"),
        TieKind.BELONGS_TO: _("belongs to the place"),
        TieKind.RECORDED_AT: _("recorded at"),
        TieKind.NAMES_FIGURE: _("names the figure"),
        TieKind.PART_OF: _("is part of"),
        TieKind.NARROWER_THAN: _("is narrower than"),
        TieKind.MIRRORS: _("is a mirror of"),
        TieKind.STANDS_AT: _("stands at"),
    }
    return known.get(kind, kind)


Way = tuple[tuple[str, int], ...]


def _ways(item: int, targets: dict[int, str]) -> dict[int, Way]:
    """For each target, the shortest way from the item up to it, by the ties that the closure follows.

    First what the item lies in, then what that is told by, at or under, then the wholes of those.
    """
    found: dict[int, Way] = {item: ()}
    for step in (_up_to_holders, _up_by_telling):
        for number, way in list(found.items()):
            for kind, above in step(number):
                found.setdefault(above, (*way, (kind, above)))
    edge = set(found)
    while edge and not set(targets) <= set(found):
        rows = Tie.ungated.filter(source__in=edge, kind__in=closure.DOWNWARD).values_list("source", "kind", "target")
        edge = set()
        for source, kind, target in rows.order_by("pk"):
            if target not in found:
                found[target] = (*found[source], (kind, target))
                edge.add(target)
    return {target: found.get(target, ()) for target in targets}


def _up_to_holders(item: int) -> list[tuple[str, int]]:
    """The recording it lies in; for a mirror, its figure."""
    held = [
        ("within", number)
        for model in (Segment, ClosedSpan)
        for number in model.ungated.filter(pk=item).values_list("recording_id", flat=True)
    ]
    mirrors = Tie.ungated.filter(source=item, kind=TieKind.MIRRORS).values_list("target_id", flat=True)
    return held + [(TieKind.MIRRORS, number) for number in mirrors]


def _up_by_telling(item: int) -> list[tuple[str, int]]:
    ties = Tie.ungated.filter(source=item, kind__in=closure.TELLING).order_by("pk").values_list("kind", "target_id")
    topics = TopicTie.ungated.filter(content_object=item).values_list("tag_id", flat=True)
    return [*ties, *(("topic", number) for number in topics)]


# --- as plain data ---


def as_data(one: Explanation) -> dict[str, Any]:
    """The explanation as plain data, for JSON."""
    return {
        "item": _label_data(one.item),
        "as": one.who,
        "at": one.moment.isoformat(),
        "met": one.is_met,
        "level": one.level.name.lower(),
        "reasons": list(one.reasons),
        "waits_for": [_label_data(label) for label in one.waits_for],
        "audiences": list(one.audiences),
        "entrusted": [
            {"item": _label_data(each.item), "by": each.granted_by, "reason": each.reason} for each in one.trusts
        ],
        "conditions": [_verdict_data(each) for each in one.verdicts],
        "decision": _decision_data(one.decision),
        "changes_at": one.changes_at.isoformat() if one.changes_at else None,
    }


def _label_data(label: Label) -> dict[str, str]:
    return {"kind": label.kind, "ref": label.ref, "name": label.text}


def _verdict_data(one: Verdict) -> dict[str, Any]:
    return {
        "condition": one.words,
        "target": _label_data(one.target),
        "way": [{"tie": step.words, "to": _label_data(step.to)} for step in one.way],
        "in_force": one.holds,
        "satisfied": one.satisfied,
        "why": one.why,
        "leaves": one.leaves.name.lower(),
        "consent": one.is_from_consent,
        "decision": _decision_data(one.decision),
    }


def _decision_data(one: DecisionShown | None) -> dict[str, str] | None:
    if one is None:
        return None
    return {"decided_on": one.decided_on.isoformat(), "minute": one.minute, "reason": one.reason}


def find(words: str) -> Item | None:
    """The item of this ref, or of this `kind/ref` (the last two parts of its address)."""
    ref = words.strip().strip("/").rpartition("/")[2]
    return Item.ungated.filter(ref=ref).first()
