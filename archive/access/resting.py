"""Letting a name rest, and lifting that: what the council decides, and what holds the name so far."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from ..models import (
    Account,
    ClosedSpan,
    Condition,
    Decision,
    Figure,
    Item,
    Kind,
    Layer,
    Level,
    Mirror,
    Person,
    Place,
    Recording,
    Rest,
    Scope,
    Segment,
    Topic,
)
from . import chamber, decisions, indexing, ledger, masks, writing
from .chamber import DecisionShown
from .decisions import Minute
from .gate import Gate
from .showing import Label

Gated = TypeVar("Gated", bound=Item)

# The texts of a row that people wrote, and that a page may read off it.
TEXTS: dict[type[Item], tuple[str, ...]] = {
    Recording: ("title", "circumstances"),
    Segment: ("title", "summary"),
    ClosedSpan: ("reason",),
    Person: ("about", "family"),
    Place: ("about", "nature"),
    Figure: ("about",),
    Mirror: ("title", "about"),
    Topic: ("name", "about"),
    Layer: ("title", "about", "rights"),
}


@dataclass(frozen=True)
class Wish:
    """What is to rest, and how. `instead` holds (language tag, words), the leading ones first."""

    person: int
    starts_at: datetime
    ends_at: datetime | None
    instead: tuple[tuple[str, str], ...]
    spellings: tuple[str, ...] = ()
    hides_voice: bool = False


@dataclass(frozen=True)
class RestShown:
    ref: str
    person: Label
    starts_at: datetime
    ends_at: datetime | None
    instead: tuple[tuple[str, str], ...]
    hides_voice: bool
    state: str  # "now", "ahead" or "over"
    decision: DecisionShown | None


def masked(gate: Gate, item: Gated) -> Gated:
    """The fetched row with the names at rest replaced in its texts, and in those of the recording it lies in.

    It is for showing: never save it.
    """
    if gate.mask.rules:
        for name in TEXTS.get(type(item), ()):
            setattr(item, name, gate.mask.text(getattr(item, name)))
        if isinstance(item, Segment | ClosedSpan):
            item.recording = masked(gate, item.recording)
    return item


# --- reading ---


def every(gate: Gate) -> list[RestShown]:
    """The names that rest or are to rest, then those that ran out; lifted ones are in the ledger alone."""
    decisions.require(gate.account, "is_council")
    rows = list(Rest.ungated.filter(lifted_by__isnull=True).select_related("decision__entered_by"))
    named = chamber.labels(gate, {row.person_id for row in rows})
    shown = [_shown(gate, row, named[row.person_id]) for row in rows]
    return sorted(shown, key=lambda one: (one.state == "over", one.starts_at, one.ref))


def _shown(gate: Gate, row: Rest, person: Label) -> RestShown:
    rule = masks.rule_of(row)
    state = "now" if rule.runs_at(gate.moment) else "ahead" if gate.moment < row.starts_at else "over"
    return RestShown(
        row.ref, person, row.starts_at, row.ends_at, rule.instead, row.hides_voice, state,
        chamber.decision_shown(gate, row.decision),
    )


def people(gate: Gate) -> list[Label]:
    """Everybody whose name could rest, by name."""
    decisions.require(gate.account, "is_council")
    numbers = Item.ungated.filter(kind=Kind.PERSON).values_list("pk", flat=True)
    named = chamber.labels(gate, numbers)
    return sorted(named.values(), key=lambda one: (one.text.casefold(), one.ref))


def would_change(gate: Gate, wish: Wish) -> list[Label]:
    """Everything some text of which holds the name now, by name: for the council, before it decides."""
    decisions.require(gate.account, "is_council")
    numbers = indexing.owners_naming(masks.Mask((_rule(wish),)))
    named = chamber.labels(gate, numbers)
    return sorted(named.values(), key=lambda one: (one.kind, one.text.casefold(), one.ref))


def _rule(wish: Wish) -> masks.RestRule:
    row = Rest(
        person_id=wish.person,
        starts_at=wish.starts_at,
        ends_at=wish.ends_at,
        instead=[list(each) for each in wish.instead],
        spellings=list(wish.spellings),
    )
    return masks.rule_of(row)


# --- deciding ---


def check(wish: Wish) -> None:
    """Raises where the name cannot rest so; every message says how to mend it."""
    if not wish.instead or not all(words.strip() for _tag, words in wish.instead):
        raise ValidationError({"instead": _("Write the words that are said instead of the name.")})
    if wish.ends_at is not None and wish.ends_at <= wish.starts_at:
        raise ValidationError({"ends_at": _("It would end before it starts. Change one of the two days.")})
    if any(len(spelling.rstrip("*").strip()) < 2 for spelling in wish.spellings):
        raise ValidationError({"spellings": _("A spelling needs at least two letters.")})
    mask = masks.Mask((_rule(wish),))
    if any(mask.touches(words) for _tag, words in wish.instead):
        raise ValidationError({"instead": _("The words said instead hold the name itself. Write them without it.")})
    if _held(wish).exists():
        raise ValidationError({"person": _("This name rests already in those days. Lift that first.")})


def _held(wish: Wish) -> Any:
    rows = Rest.ungated.filter(person=wish.person, lifted_by__isnull=True)
    rows = rows.exclude(ends_at__lte=wish.starts_at)
    return rows.filter(starts_at__lt=wish.ends_at) if wish.ends_at is not None else rows


@transaction.atomic
def rest(by: Account, minute: Minute, wish: Wish) -> Rest:
    """Let a name rest. From this moment it is not findable; from its first day it is not shown."""
    decisions.require(by, "is_council")
    check(wish)
    person = Person.ungated.get(pk=wish.person)
    decision = decisions.enter(by, minute)
    made = Rest.ungated.create(
        person=person,
        starts_at=wish.starts_at,
        ends_at=wish.ends_at,
        instead=[list(each) for each in wish.instead],
        spellings=list(wish.spellings),
        hides_voice=wish.hides_voice,
        decision=decision,
    )
    if wish.hides_voice:
        terms = decisions.Terms(
            scope=Scope.TIED, starts_at=wish.starts_at, ends_at=wish.ends_at, others_see=Level.DESCRIPTION
        )
        decisions.make(person, terms, decision)
    _owe(made)
    _write("name at rest", by, person, minute, decision, made)
    return made


@transaction.atomic
def lift(by: Account, minute: Minute, ref: str) -> None:
    """Let the name be said again, and the voice be heard where it rested with it."""
    decisions.require(by, "is_council")
    held = Rest.ungated.select_for_update().filter(ref=ref, lifted_by__isnull=True).first()
    if held is None:
        raise ValidationError(_("That was lifted already. Look at the page again."))
    decision = decisions.enter(by, minute)
    if held.hides_voice:
        rows = Condition.ungated.filter(target=held.person_id, decision=held.decision, lifted_by__isnull=True)
        decisions.lift(list(rows), decision)
    _owe(held)
    held.lifted_by, held.lifted_at = decision, timezone.now()
    held.save(update_fields=["lifted_by", "lifted_at"])
    _write("name lifted", by, held.person, minute, decision, held)


def _owe(row: Rest) -> None:
    writing.owe_index(indexing.owners_naming(masks.Mask((masks.rule_of(row),))))


def _write(event: str, by: Account, person: Item, minute: Minute, decision: Decision, row: Rest) -> None:
    """The ledger says whose name by its ref, never the name itself."""
    ledger.write(
        event, by, person.ref, decision=decision.ref, decided_on=minute.decided_on, minute=minute.minute,
        present=minute.present, reason=minute.reason, starts_at=row.starts_at, ends_at=row.ends_at,
        words=" · ".join(words for _tag, words in row.instead),
    )


def spellings_of(lines: Sequence[str]) -> tuple[str, ...]:
    """Further spellings as typed, one a line."""
    return tuple(dict.fromkeys(line.strip() for line in lines if line.strip()))
