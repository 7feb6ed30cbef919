"""Audiences: who is in them, those that are made of others, and a council member's own wish to belong to one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from ..models import Account, Audience, Combining, Condition, Membership, OwnWish
from . import decisions, judging, ledger, policy
from .gate import Gate


@dataclass(frozen=True)
class MemberShown:
    """`number` names the membership in the council's own forms."""

    number: int
    account_ref: str
    name: str
    starts_at: datetime
    ends_at: datetime | None
    granted_by: str
    state: str  # "now", "ahead" or "ended"


@dataclass(frozen=True)
class WishShown:
    ref: str
    audience: str
    audience_ref: str
    name: str
    account_ref: str
    starts_at: datetime
    ends_at: datetime | None


@dataclass(frozen=True)
class AudienceShown:
    ref: str
    name: str
    about: str
    builtin: str
    combining: str
    parts: tuple[tuple[str, str], ...]  # ref, name
    members: tuple[MemberShown, ...]
    people_now: int
    uses: int  # conditions that name it
    through: tuple[str, ...] = ()  # who belongs to it now by belonging to others


# --- reading ---


def every(gate: Gate) -> list[AudienceShown]:
    """All audiences, by name."""
    decisions.require(gate.account, "is_council")
    rows = list(Audience.objects.prefetch_related("parts"))
    return sorted((_shown(row, gate.moment) for row in rows), key=lambda one: (one.name.casefold(), one.ref))


def one(gate: Gate, ref: str) -> AudienceShown | None:
    decisions.require(gate.account, "is_council")
    row = row_of(ref)
    if row is None:
        return None
    shown = _shown(row, gate.moment)
    return replace(shown, through=_through(gate, row)) if row.combining else shown


def _through(gate: Gate, row: Audience) -> tuple[str, ...]:
    """Everybody who belongs at this moment to an audience that is made of others, by name."""
    own: dict[int, set[int]] = {}
    held = Membership.objects.filter(decisions.runs_at(gate.moment), audience__combining="")
    for account, audience in held.values_list("account_id", "audience_id"):
        own.setdefault(account, set()).add(audience)
    everybody = gate.policy.everyone | gate.policy.signed_in
    found = [
        str(account)
        for account in Account.objects.filter(is_active=True)
        if row.pk in judging.with_derived(gate.policy, everybody | own.get(account.pk, set()))
    ]
    return tuple(sorted(found, key=str.casefold))


def row_of(ref: str) -> Audience | None:
    return Audience.objects.filter(ref=ref).first()


def _shown(row: Audience, now: datetime) -> AudienceShown:
    members = [_member(each, now) for each in row.memberships.select_related("account", "granted_by")]
    ordered = sorted(members, key=lambda each: (each.state == "ended", each.name.casefold(), each.starts_at))
    return AudienceShown(
        ref=row.ref,
        name=row.name,
        about=row.about,
        builtin=row.builtin or "",
        combining=row.combining,
        parts=tuple(sorted(((part.ref, part.name) for part in row.parts.all()), key=lambda part: part[1].casefold())),
        members=tuple(ordered),
        people_now=len({each.account_ref for each in members if each.state == "now"}),
        uses=Condition.ungated.filter(audiences=row, lifted_by__isnull=True).count(),
    )


def _member(row: Membership, now: datetime) -> MemberShown:
    state = "now"
    if row.ends_at is not None and row.ends_at <= now:
        state = "ended"
    elif row.starts_at > now:
        state = "ahead"
    by = str(row.granted_by or "")
    return MemberShown(row.pk, row.account.ref, str(row.account), row.starts_at, row.ends_at, by, state)


def membership(audience: Audience, number: int) -> Membership | None:
    """A belonging to this audience that is not over."""
    rows = Membership.objects.filter(decisions.runs_at(timezone.now(), or_later=True), audience=audience, pk=number)
    return rows.select_related("account", "audience").first()


def people() -> list[tuple[str, str]]:
    """Ref and name of every account that is in use, by name."""
    rows = Account.objects.filter(is_active=True)
    return sorted(((row.ref, str(row)) for row in rows), key=lambda row: row[1].casefold())


def account(ref: str) -> Account | None:
    return Account.objects.filter(ref=ref, is_active=True).first()


# --- making and defining ---


@transaction.atomic
def add(by: Account, name: str, about: str = "", combining: str = "", parts: Sequence[Audience] = ()) -> Audience:
    decisions.require(by, "is_council")
    _check_name(name, None)
    made = Audience.objects.create(name=name.strip(), about=about.strip())
    ledger.write("audience made", by, audience=made.ref, name=made.name)
    if combining:
        define(by, made, combining, parts)
    return made


@transaction.atomic
def describe(by: Account, audience: Audience, name: str, about: str) -> None:
    decisions.require(by, "is_council")
    _check_name(name, audience)
    audience.name, audience.about = name.strip(), about.strip()
    audience.save(update_fields=["name", "about"])
    ledger.write("audience described", by, audience=audience.ref, name=audience.name)


def _check_name(name: str, but: Audience | None) -> None:
    if not name.strip():
        raise ValidationError({"name": _("Give the audience a name.")})
    held = Audience.objects.filter(name__iexact=name.strip()).exclude(pk=but.pk if but else 0)
    if held.exists():
        raise ValidationError({"name": _("There is an audience of that name already. Give another name.")})


@transaction.atomic
def define(by: Account, audience: Audience, combining: str, parts: Sequence[Audience]) -> None:
    """Make the audience the union or the overlap of others."""
    decisions.require(by, "is_council")
    if audience.builtin:
        raise ValidationError(_("“%(name)s” fills itself and cannot be made of others.") % {"name": audience.name})
    if combining not in Combining.values:
        raise ValidationError({"combining": _("Choose how the others are joined.")})
    if len(set(parts)) < 2:
        raise ValidationError({"parts": _("Mark at least two audiences that it is to be made of.")})
    if audience.memberships.filter(decisions.runs_at(timezone.now(), or_later=True)).exists():
        raise ValidationError(
            {"parts": _("“%(name)s” has people of its own. End their belonging first, or make another audience.")
             % {"name": audience.name}}
        )
    _check_rings(audience, parts)
    before = _belongs(by, audience)
    audience.combining = combining
    audience.save(update_fields=["combining"])
    audience.parts.set(parts)
    if _belongs(by, audience) and not before and Condition.ungated.filter(audiences=audience).exists():
        raise ValidationError(
            {"parts": _("This would put you yourself into “%(name)s”. Ask another council member to do it.")
             % {"name": audience.name}}
        )
    ledger.write(
        "audience defined", by, audience=audience.ref, combining=combining, parts=sorted(part.ref for part in parts)
    )


def _check_rings(audience: Audience, parts: Iterable[Audience]) -> None:
    for part in parts:
        if part.pk == audience.pk or audience.pk in _inside(part.pk):
            raise ValidationError(
                {"parts": _("“%(name)s” would contain itself, by way of “%(part)s”. Take that one away.")
                 % {"name": audience.name, "part": part.name}}
            )


def _inside(number: int) -> set[int]:
    """The audiences that this one is made of, all the way down."""
    found: set[int] = set()
    edge = {number}
    through = Audience.parts.through.objects
    while edge:
        below = set(through.filter(from_audience__in=edge).values_list("to_audience_id", flat=True))
        edge = below - found
        found |= edge
    return found


def _belongs(who: Account, audience: Audience) -> bool:
    return audience.pk in policy.audiences_of(policy.read(), who, timezone.now())


@transaction.atomic
def undefine(by: Account, audience: Audience) -> None:
    """Let the audience hold people by name again; it is empty then."""
    decisions.require(by, "is_council")
    audience.combining = ""
    audience.save(update_fields=["combining"])
    audience.parts.clear()
    ledger.write("audience defined", by, audience=audience.ref, combining="", parts=[])


# --- a member's own wish ---


@transaction.atomic
def wish(by: Account, audience: Audience, starts_at: datetime, ends_at: datetime | None) -> OwnWish:
    """A council member asks to belong to an audience; nothing is granted by it."""
    decisions.require(by, "is_council")
    if audience.builtin or audience.combining:
        raise ValidationError(_("Nobody is added to “%(name)s” by name.") % {"name": audience.name})
    if ends_at is not None and ends_at <= starts_at:
        raise ValidationError({"ends_at": _("It would end before it starts. Change one of the two dates.")})
    made = OwnWish.ungated.create(audience=audience, account=by, starts_at=starts_at, ends_at=ends_at)
    ledger.write("own wish", by, audience=audience.ref, account=by.ref, ends_at=ends_at)
    return made


def wishes(gate: Gate) -> list[WishShown]:
    """What waits for a second member's word, oldest first."""
    decisions.require(gate.account, "is_council")
    rows = OwnWish.ungated.filter(answered_at__isnull=True).select_related("audience", "account")
    return [
        WishShown(
            row.ref, row.audience.name, row.audience.ref, str(row.account), row.account.ref, row.starts_at, row.ends_at
        )
        for row in rows
    ]


@transaction.atomic
def answer_wish(by: Account, ref: str, confirms: bool) -> Membership | None:
    """Another council member confirms (and so grants) or declines."""
    decisions.require(by, "is_council")
    held = OwnWish.ungated.select_for_update().filter(ref=ref, answered_at__isnull=True).first()
    if held is None:
        raise ValidationError(_("This was answered already. Look at the page again."))
    if held.account_id == by.pk and confirms:
        raise ValidationError(_("Nobody confirms their own wish. Ask another council member."))
    held.answered_by, held.answered_at = by, timezone.now()
    held.save(update_fields=["answered_by", "answered_at"])
    if not confirms:
        ledger.write("own wish declined", by, audience=held.audience.ref, account=held.account.ref)
        return None
    starts_at = max(held.starts_at, timezone.now()) if held.ends_at is None else held.starts_at
    return decisions.join(by, held.audience, held.account, starts_at, held.ends_at)
