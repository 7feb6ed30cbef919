"""The council's word: decisions make and lift conditions; people join audiences, are entrusted, take consent back.

Every act is one transaction: the rows, the closure and the ledger stand or fall together.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from ..models import (
    Account,
    Audience,
    Builtin,
    Condition,
    Consent,
    ConsentState,
    Decision,
    Entrustment,
    Item,
    Level,
    Membership,
    NoticePages,
    Offering,
    Reach,
    Recording,
    Scope,
    Season,
    Source,
)
from . import closure, ledger


class NotAllowed(Exception):
    """The account's roles do not let it do this."""


class TakenBack(ValidationError):
    """What was to be opened is closed because consent was taken back; `recordings` are those it was taken back for."""

    def __init__(self, recordings: Sequence[int]) -> None:
        super().__init__(_("Consent to this was taken back. No decision opens it; only a new consent does."))
        self.recordings = recordings


@dataclass(frozen=True)
class Terms:
    """The condition a decision makes on each of its targets."""

    audiences: Sequence[Audience] = ()
    scope: str = Scope.ITSELF
    season: Season | None = None
    starts_at: datetime | None = None
    ends_at: datetime | None = None
    review_on: date | None = None
    others_see: int = Level.NOTHING
    notice_words: str = ""
    whom_to_ask: str = ""
    notice_pages: str = NoticePages.OWN


@dataclass(frozen=True)
class Minute:
    """When the council met, under which minute, who was there, and why it decided so."""

    decided_on: date
    minute: str
    present: str = ""
    reason: str = ""


@dataclass(frozen=True)
class Act:
    """What is decided. `terms` None and nothing kept: the targets are open to whoever meets what holds them."""

    targets: Sequence[int]
    terms: Terms | None
    lift: Sequence[int] = ()  # conditions on the targets that end with this decision
    offering: str = ""  # recordings: how they are offered; empty leaves it as it is


def require(account: Account | None, role: str) -> Account:
    """The account, if it is active and has the role (`is_council`, `is_archivist`, …)."""
    if account is None or not account.is_active or not getattr(account, role):
        raise NotAllowed(role)
    return account


@transaction.atomic
def decide(by: Account, minute: Minute, *acts: Act) -> Decision:
    """Enter a decision: targets leave the queue, named conditions are lifted, the new conditions reach."""
    for act in acts:
        _check_act(act)
    decision = enter(by, minute)
    ledger.write(
        "decided",
        by,
        decision=decision.ref,
        decided_on=minute.decided_on,
        minute=minute.minute,
        present=minute.present,
        reason=minute.reason,
        acts=[_carry_out(act, decision) for act in acts],
    )
    return decision


def enter(by: Account, minute: Minute) -> Decision:
    """The decision's own row, once its minute is whole. Whoever calls this says in the ledger what it does."""
    require(by, "is_council")
    _check_minute(minute)
    return Decision.objects.create(
        decided_on=minute.decided_on,
        minute=minute.minute,
        present=minute.present,
        reason=minute.reason,
        entered_by=by,
    )


def _carry_out(act: Act, decision: Decision) -> dict[str, Any]:
    """Do what was decided; returns it as the ledger spells it."""
    targets = list(Item.ungated.filter(pk__in=act.targets))
    _lift(act, decision)
    Item.ungated.filter(pk__in=act.targets).update(decision=decision)
    if act.terms is not None:
        for target in targets:
            make(target, act.terms, decision)
    if act.offering:
        Recording.ungated.filter(pk__in=act.targets).update(offering=act.offering)
    return {
        "targets": [target.ref for target in targets],
        "lifted": sorted(act.lift),
        "terms": _spelled(act.terms),
        "offering": act.offering,
    }


def _check_minute(minute: Minute) -> None:
    if not minute.minute.strip():
        raise ValidationError({"minute": _("Name the minute this decision stands in, so that it can be answered for.")})
    if minute.decided_on > timezone.localdate() + timedelta(days=1):
        raise ValidationError({"decided_on": _("The meeting's date lies ahead. Enter the decision once it is taken.")})


def refuse_taken_back(numbers: Sequence[int]) -> None:
    """Nobody but those who took consent back opens what it closed: say so, rather than open nothing.

    Raises TakenBack where one of these items is a recording whose consent was taken back, or lies in one.
    """
    held = Reach.ungated.filter(
        item__in=numbers, condition__source=Source.CONSENT, condition__lifted_by__isnull=True
    ).values_list("condition__target", flat=True)
    if recordings := sorted(set(held)):
        raise TakenBack(recordings)


def _check_act(act: Act) -> None:
    if act.terms is None or act.terms.audiences:
        refuse_taken_back(act.targets)
    if act.offering and act.offering not in Offering.values:
        raise ValidationError({"offering": _("Choose one of the ways to offer a recording.")})
    terms = act.terms
    if terms is not None and terms.starts_at and terms.ends_at and terms.ends_at <= terms.starts_at:
        raise ValidationError({"ends_at": _("The condition would end before it starts. Change one of the two dates.")})
    if terms is not None and terms.others_see == Level.NOTICE and not terms.notice_words.strip():
        raise ValidationError({"notice_words": _("Write the words that the others are to see.")})


def _lift(act: Act, decision: Decision) -> None:
    lifted = Condition.ungated.filter(
        pk__in=act.lift, target__in=act.targets, lifted_by__isnull=True, source=Source.COUNCIL
    )
    if len(lifted) != len(set(act.lift)):
        raise ValidationError(
            _("One of the conditions to lift is not the council's to lift here: consent was withdrawn, it belongs to "
              "something else, or it was lifted meanwhile. Look at the page again.")
        )
    lift(list(lifted), decision)


def lift(conditions: Iterable[Condition], decision: Decision) -> None:
    """End conditions under a decision; what they reached, they reach no more."""
    for condition in conditions:
        condition.lifted_by = decision
        condition.lifted_at = timezone.now()
        condition.save(update_fields=["lifted_by", "lifted_at"])
        closure.refresh_condition(condition)


def make(target: Item, terms: Terms, decision: Decision | None, source: str = Source.COUNCIL) -> Condition:
    condition = Condition.ungated.create(
        target=target,
        scope=terms.scope,
        season=terms.season,
        starts_at=terms.starts_at,
        ends_at=terms.ends_at,
        review_on=terms.review_on,
        others_see=terms.others_see,
        notice_words=terms.notice_words,
        whom_to_ask=terms.whom_to_ask,
        notice_pages=terms.notice_pages,
        source=source,
        decision=decision,
    )
    condition.audiences.set(terms.audiences)
    closure.refresh_condition(condition)
    return condition


def _spelled(terms: Terms | None) -> dict[str, Any] | None:
    if terms is None:
        return None
    return {
        "audiences": [audience.ref for audience in terms.audiences],
        "scope": terms.scope,
        "season": terms.season.name if terms.season else "",
        "starts_at": terms.starts_at,
        "ends_at": terms.ends_at,
        "review_on": terms.review_on,
        "others_see": Level(terms.others_see).name.lower(),
    }


def conditions_on(number: int) -> list[Condition]:
    """The conditions in force or to come whose target is this item (for the council's page)."""
    rows = Condition.ungated.filter(target=number, lifted_by__isnull=True)
    return list(rows.select_related("season", "decision").prefetch_related("audiences"))


def made_by(decision: Decision) -> list[int]:
    """Numbers of the conditions that a decision made, in order."""
    return list(Condition.ungated.filter(decision=decision).order_by("pk").values_list("pk", flat=True))


# --- people ---


def runs_at(moment: datetime, or_later: bool = False) -> Q:
    """Rows with a start and an end that hold at this moment (or from a later one on)."""
    not_over = Q(ends_at__isnull=True) | Q(ends_at__gt=moment)
    return not_over if or_later else not_over & Q(starts_at__lte=moment)


@transaction.atomic
def join(
    by: Account | None,
    audience: Audience,
    account: Account,
    starts_at: datetime | None = None,
    ends_at: datetime | None = None,
) -> Membership:
    """Make an account a member. Nobody can add themselves."""
    if audience.builtin in Builtin.values:
        raise ValidationError(_("“%(name)s” fills itself; nobody is added to it.") % {"name": audience.name})
    if audience.combining:
        raise ValidationError(
            _("“%(name)s” is made of other audiences. Add the person to one of those.") % {"name": audience.name}
        )
    starts_at = starts_at or timezone.now()
    if ends_at is not None and ends_at <= starts_at:
        raise ValidationError({"ends_at": _("It would end before it starts. Change one of the two dates.")})
    if by is not None:
        require(by, "is_council")
        if by.pk == account.pk:
            raise ValidationError(_("Nobody adds themselves to an audience. Ask another council member to do it."))
    member = Membership.objects.create(
        audience=audience, account=account, starts_at=starts_at, ends_at=ends_at, granted_by=by
    )
    ledger.write("joined", by, audience=audience.ref, account=account.ref, starts_at=starts_at, ends_at=ends_at)
    return member


@transaction.atomic
def leave(by: Account, membership: Membership) -> None:
    require(by, "is_council")
    membership.ends_at = max(timezone.now(), membership.starts_at + timedelta(microseconds=1))
    membership.save(update_fields=["ends_at"])
    ledger.write("left", by, audience=membership.audience.ref, account=membership.account.ref)


@transaction.atomic
def entrust(
    by: Account | None,
    account: Account,
    item: Item,
    reason: str = "",
    starts_at: datetime | None = None,
    ends_at: datetime | None = None,
) -> Entrustment:
    """Let one person meet an item whatever the conditions say. Council members may entrust themselves; it is written.

    `by` None is the house itself: whoever brings a recording in is entrusted with it.
    """
    if by is not None:
        require(by, "is_council")
        refuse_taken_back([item.pk])
    starts_at = starts_at or timezone.now()
    if ends_at is not None and ends_at <= starts_at:
        raise ValidationError({"ends_at": _("It would end before it starts. Change one of the two dates.")})
    trust = Entrustment.ungated.create(
        account=account,
        item=item,
        starts_at=starts_at,
        ends_at=ends_at,
        granted_by=by,
        reason=reason,
    )
    ledger.write("entrusted", by, item.ref, account=account.ref, reason=reason, ends_at=ends_at)
    return trust


@transaction.atomic
def end_trust(by: Account, trust: Entrustment) -> None:
    require(by, "is_council")
    trust.ends_at = timezone.now()
    trust.save(update_fields=["ends_at"])
    ledger.write("trust ended", by, trust.item.ref, account=trust.account.ref)


# --- consent ---


@transaction.atomic
def state_consent(
    by: Account | None,
    recording: Recording,
    state: str,
    given_by: str,
    stated_on: date,
    words: str = "",
    paper: tuple[str, str] = ("", ""),
) -> Consent:
    """Keep what the people heard said. Withdrawal closes everything of it at once; only a new consent opens it.

    `paper` is the name of the signed paper's file, and the SHA-256 that it is kept under.
    """
    if by is not None and not (by.is_archivist or by.is_council):
        raise NotAllowed("is_archivist")
    consent = Consent.ungated.create(
        recording=recording,
        state=state,
        given_by=given_by,
        stated_on=stated_on,
        words=words,
        paper_name=paper[0],
        paper_sha256=paper[1],
        recorded_by=by,
    )
    held = Condition.ungated.filter(target=recording.pk, source=Source.CONSENT, lifted_by__isnull=True)
    if state == ConsentState.WITHDRAWN and not held.exists():
        make(recording, Terms(), None, Source.CONSENT)
    elif state != ConsentState.WITHDRAWN:
        held.delete()  # the closure rows go with it; the ledger keeps what was
    ledger.write(
        "consent", by, recording.ref, state=state, given_by=given_by, stated_on=stated_on, paper_sha256=paper[1]
    )
    return consent


