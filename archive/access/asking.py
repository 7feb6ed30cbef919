"""Asking to meet something, and the council's answer: once, until a day, by an audience, or no."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from ..models import Account, Ask, AskState, Audience, Item, Level
from . import audiences, chamber, decisions, ledger, showing
from .gate import Gate
from .showing import Label

ONCE = timedelta(hours=24)  # "once" is a sitting: from the answer, a day and a night
ANSWERED = 20  # how many answers are shown again to the council; the ledger has them all


@dataclass(frozen=True)
class OwnAsk:
    """As the person who asked sees it. `item` is None where they no longer meet even its description.

    `audience` is the one they were granted to belong to; "" where the thing itself was granted.
    """

    ref: str
    item: Label | None
    reason: str
    asked_at: datetime
    state: str
    answer: str
    audience: str
    ends_at: datetime | None


@dataclass(frozen=True)
class AskShown:
    """As the council sees it; the last five are empty while it waits."""

    ref: str
    item: Label
    name: str
    account_ref: str
    reason: str
    asked_at: datetime
    state: str
    answer: str
    audience: str
    ends_at: datetime | None
    answered_by: str
    answered_at: datetime | None


# --- asking ---


def is_offered(gate: Gate, item: Item) -> bool:
    """Where a notice or a description is met, and no more, one may ask. The council entrusts itself instead."""
    if gate.is_looking or (gate.account is not None and gate.account.is_council):
        return False
    return gate.level_of(item) in (Level.NOTICE, Level.DESCRIPTION)


def may_ask(gate: Gate, item: Item) -> bool:
    return gate.account is not None and is_offered(gate, item)


@transaction.atomic
def ask(gate: Gate, item: Item, reason: str) -> Ask:
    account = gate.account
    if account is None or not may_ask(gate, item):
        raise decisions.NotAllowed("ask")
    if not reason.strip():
        raise ValidationError({"reason": _("Say why you ask; the council reads it.")})
    if Ask.ungated.filter(item=item.pk, account=account, state=AskState.WAITING).exists():
        raise ValidationError(_("You have asked already. The council has yet to answer; you see it on your own page."))
    made = Ask.ungated.create(item_id=item.pk, account=account, reason=reason.strip())
    ledger.write("asked", account, item.ref, reason=made.reason)
    return made


def own(gate: Gate) -> list[OwnAsk]:
    """What this account has asked, the newest first."""
    if gate.account is None:
        return []
    rows = list(Ask.ungated.filter(account=gate.account).select_related("audience").order_by("-asked_at", "-pk"))
    named = showing.labels(gate, {row.item_id for row in rows})
    said = gate.mask.text
    return [
        OwnAsk(
            row.ref, named.get(row.item_id), said(row.reason), row.asked_at, row.state, said(row.answer),
            _audience_name(row), row.ends_at,
        )
        for row in rows
    ]


def _audience_name(row: Ask) -> str:
    return row.audience.name if row.audience is not None else ""


@transaction.atomic
def take_back(account: Account, ref: str) -> bool:
    """Whoever asked may take a waiting request back."""
    row = Ask.ungated.filter(ref=ref, account=account, state=AskState.WAITING).first()
    if row is None:
        return False
    ledger.write("request taken back", account, row.item.ref)
    row.delete()
    return True


# --- answering ---


def waiting(gate: Gate) -> list[AskShown]:
    """Requests without an answer, oldest first."""
    return _shown(gate, _rows(gate).filter(state=AskState.WAITING))


def answered(gate: Gate) -> list[AskShown]:
    """The requests that were answered last, the newest answer first."""
    return _shown(gate, _rows(gate).exclude(state=AskState.WAITING).order_by("-answered_at", "-pk")[:ANSWERED])


def one(gate: Gate, ref: str) -> AskShown | None:
    found = _shown(gate, _rows(gate).filter(ref=ref))
    return found[0] if found else None


def is_met(one: AskShown) -> bool:
    """Whether whoever asked meets the thing in full, as it stands now."""
    account = audiences.account(one.account_ref)
    return account is not None and Gate(account).meets(one.item.number)


def _rows(gate: Gate) -> QuerySet[Ask]:
    decisions.require(gate.account, "is_council")
    return Ask.ungated.select_related("account", "audience", "answered_by")


def _shown(gate: Gate, rows: Iterable[Ask]) -> list[AskShown]:
    rows = list(rows)
    named = chamber.labels(gate, {row.item_id for row in rows})
    return [
        AskShown(
            row.ref, named[row.item_id], str(row.account), row.account.ref, gate.mask.text(row.reason), row.asked_at,
            row.state, gate.mask.text(row.answer), _audience_name(row), row.ends_at, str(row.answered_by or ""),
            row.answered_at,
        )
        for row in rows
    ]


def _held(by: Account, ref: str) -> Ask:
    decisions.require(by, "is_council")
    row = Ask.ungated.select_for_update(of=("self",)).select_related("account", "item").filter(ref=ref).first()
    if row is None or row.state != AskState.WAITING:
        raise ValidationError(_("This was answered already, or taken back. Look at the page again."))
    if row.account_id == by.pk:
        raise ValidationError(_("Nobody answers their own request. Ask another council member."))
    return row


@transaction.atomic
def grant(by: Account, ref: str, words: str = "", ends_at: datetime | None = None) -> None:
    """Entrust whoever asked with the item, until `ends_at`."""
    row = _held(by, ref)
    if ends_at is None or ends_at <= timezone.now():
        raise ValidationError({"last_day": _("Give a last day that is still to come.")})
    decisions.entrust(by, row.account, row.item, _("asked: %(reason)s") % {"reason": row.reason}, ends_at=ends_at)
    _answer(by, row, AskState.GRANTED, words, ends_at)


@transaction.atomic
def grant_once(by: Account, ref: str, words: str = "") -> None:
    grant(by, ref, words, timezone.now() + ONCE)


@transaction.atomic
def grant_membership(
    by: Account, ref: str, audience: Audience, words: str = "", ends_at: datetime | None = None
) -> None:
    """Add whoever asked to an audience."""
    row = _held(by, ref)
    decisions.refuse_taken_back([row.item_id])
    decisions.join(by, audience, row.account, ends_at=ends_at)
    _answer(by, row, AskState.GRANTED, words, ends_at, audience)


@transaction.atomic
def decline(by: Account, ref: str, words: str) -> None:
    row = _held(by, ref)
    if not words.strip():
        raise ValidationError({"words": _("Write a few words to whoever asked.")})
    _answer(by, row, AskState.DECLINED, words, None)


def _answer(
    by: Account, row: Ask, state: str, words: str, ends_at: datetime | None, audience: Audience | None = None
) -> None:
    row.state, row.answer, row.ends_at, row.audience = state, words.strip(), ends_at, audience
    row.answered_by, row.answered_at = by, timezone.now()
    row.save()
    ledger.write(
        "request answered", by, row.item.ref, account=row.account.ref, state=state, words=row.answer, ends_at=ends_at,
        audience=audience.ref if audience is not None else "",
    )


def joinable() -> list[tuple[str, str]]:
    """Ref and name of the audiences that people are added to by name."""
    rows = Audience.objects.filter(builtin__isnull=True, combining="")
    return [(row.ref, row.name) for row in rows]


def audience(ref: str) -> Audience | None:
    return audiences.row_of(ref)
