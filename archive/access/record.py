"""The ledger as people read it: what was decided, granted and shown, to whom, when, through which surface."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Q, QuerySet
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from ..models import Account, AskState, Audience, ClosedSpan, ConsentState, Item, LedgerRow, Level, Segment
from . import chamber, decisions, policy, wording
from .gate import Gate
from .showing import Label


@dataclass(frozen=True)
class Entry:
    """One row. `item` is None where it names none; `gone` where the item has been taken away since."""

    at: datetime
    who: str
    event: str
    words: str
    item: Label | None
    item_ref: str
    gone: bool
    surface: str
    detail: tuple[str, ...]


@dataclass(frozen=True)
class Wanted:
    """Which rows to show; empty fields leave everything in."""

    items: tuple[str, ...] = ()
    actor: str = ""
    event: str = ""
    since: datetime | None = None
    until: datetime | None = None


def event_words(event: str) -> str:
    """What happened, in plain words; an event that is not known here is told by its own name."""
    known = {
        "met": _("was shown it"),
        "decided": _("entered a decision"),
        "joined": _("added a person to an audience"),
        "left": _("ended a person's belonging to an audience"),
        "entrusted": _("entrusted a person with it"),
        "trust ended": _("ended a trust"),
        "consent": _("wrote down what was said about consent"),
        "audience made": _("made an audience"),
        "audience described": _("changed what an audience is called"),
        "audience defined": _("made an audience of others"),
        "looked as": _("looked as an audience"),
        "asked": _("asked the council for it"),
        "request answered": _("answered a request"),
        "request taken back": _("took a request back"),
        "transcript taken out": _("took a transcript's file out of the archive, as it came"),
        "copy given": _("handed out a copy of it"),
        "copy told": _("told whoever has a copy that consent was taken back"),
        "cautions chosen": _("chose what is said before it is played"),
        "words changed": _("changed the words of the pages"),
        "season made": _("made a season"),
        "season opened": _("opened a season by hand"),
        "season closed": _("closed a season by hand"),
        "name at rest": _("let a name rest"),
        "name lifted": _("let a name be said again"),
        "own wish": _("asked to belong to an audience"),
        "own wish declined": _("declined a member's own wish"),
    }
    return known.get(event, event)


def surface_words(surface: str) -> str:
    known = {
        "page": _("its page"),
        "sound": _("its sound"),
        "captions": _("its words"),
        "find": _("a search"),
        "desk": _("the archivist's desk"),
        "copy": _("a copy taken home"),
        "print": _("a printed sheet"),
    }
    return known.get(surface, surface)


def events() -> list[tuple[str, str]]:
    """The events that the ledger holds, with their words, by words."""
    names = LedgerRow.objects.order_by().values_list("event", flat=True).distinct()
    return sorted(((name, event_words(name)) for name in names), key=lambda one: one[1].casefold())


def rows(wanted: Wanted) -> QuerySet[LedgerRow]:
    """The rows wanted, newest first."""
    found = LedgerRow.objects.order_by("-id")
    if wanted.items:
        about = Q(item__in=wanted.items)
        for ref in wanted.items:  # a decision names its targets in its detail
            about |= Q(event="decided", detail__contains=f'"{ref}"')
        found = found.filter(about)
    if wanted.actor:
        found = found.filter(actor="" if wanted.actor == "visitor" else wanted.actor)
    if wanted.event:
        found = found.filter(event=wanted.event)
    if wanted.since is not None:
        found = found.filter(at__gte=wanted.since)
    if wanted.until is not None:
        found = found.filter(at__lt=wanted.until)
    return found


def entries(gate: Gate, found: Iterable[LedgerRow]) -> list[Entry]:
    """The rows in words, in the order given."""
    decisions.require(gate.account, "is_council")
    held = list(found)
    people = dict(Account.objects.values_list("ref", "pk"))
    named = {row.ref: str(row) for row in Account.objects.filter(ref__in=people)}
    refs = {row.item for row in held if row.item}
    for row in held:
        refs |= _targets(json.loads(row.detail))
    labels = _labels(gate, refs)
    audiences = {one.ref: one.name for one in Audience.objects.all()}
    return [_entry(gate, row, named, labels, audiences) for row in held]


def _labels(gate: Gate, refs: Iterable[str]) -> dict[str, Label]:
    numbers = chamber.numbers_of(gate, refs)
    found = chamber.labels(gate, numbers.values())
    return {ref: found[number] for ref, number in numbers.items()}


def _targets(detail: dict[str, Any]) -> set[str]:
    return {ref for act in detail.get("acts", ()) for ref in act.get("targets", ())}


def _entry(
    gate: Gate,
    row: LedgerRow,
    people: dict[str, str],
    labels: dict[str, Label],
    audiences: dict[str, str],
) -> Entry:
    detail = json.loads(row.detail)
    return Entry(
        at=row.at,
        who=people.get(row.actor, _("an account since removed")) if row.actor else _("a visitor or the house itself"),
        event=row.event,
        words=event_words(row.event),
        item=labels.get(row.item),
        item_ref=row.item,
        gone=bool(row.item) and row.item not in labels,
        surface=surface_words(detail.get("surface", "")),
        detail=tuple(gate.mask.text(line) for line in _detail(detail, people, labels, audiences)),
    )


def _detail(
    detail: dict[str, Any], people: dict[str, str], labels: dict[str, Label], audiences: dict[str, str]
) -> list[str]:
    """What else the row says, a line each."""
    lines = []
    if detail.get("minute"):
        lines.append(
            _("Meeting of %(day)s, minute %(minute)s, present: %(present)s")
            % {
                "day": _written_day(detail["decided_on"]),
                "minute": detail["minute"],
                "present": detail.get("present") or "–",
            }
        )
    lines += [_act_words(act, labels, audiences) for act in detail.get("acts", ())]
    for name, words in (("audience", _("Audience")), ("account", _("Person"))):
        if detail.get(name):
            known = audiences if name == "audience" else people
            lines.append(f"{words}: {known.get(detail[name], detail[name])}")
    for name, words in _plain_names().items():
        if detail.get(name):
            lines.append(f"{words}: {_plainly(name, detail[name])}")
    return lines


def _plainly(name: str, kept: str) -> str:
    """What a row keeps, as people say it."""
    if name == "ends_at":
        return wording.last_day(datetime.fromisoformat(kept), policy.home_zone())
    if name == "stated_on":
        return _written_day(kept)
    if name == "state":
        return str({**dict(AskState.choices), **dict(ConsentState.choices)}.get(kept, kept))
    return kept


def _written_day(kept: str) -> str:
    return date_format(date.fromisoformat(kept), "j F Y")


def _plain_names() -> dict[str, str]:
    return {
        "reason": _("Reason"),
        "state": _("Said"),
        "given_by": _("By"),
        "stated_on": _("On"),
        "ends_at": _("Until"),
        "season": _("Season"),
        "to_whom": _("To"),
        "words": _("Words"),
    }


def _act_words(act: dict[str, Any], labels: dict[str, Label], audiences: dict[str, str]) -> str:
    names = ", ".join(labels[ref].text if ref in labels else _("something since removed") for ref in act["targets"])
    terms = act.get("terms")
    if terms is None:
        words = _("no new condition")
    elif not terms["audiences"]:
        words = _("closed to all but the entrusted")
    else:
        words = _("only for %(audiences)s") % {
            "audiences": wording.joined([audiences.get(ref, ref) for ref in terms["audiences"]])
        }
    if terms and terms.get("season"):
        words += ", " + _("in the season “%(season)s”") % {"season": terms["season"]}
    if terms and terms["others_see"] != "nothing":
        level = Level[terms["others_see"].upper()]
        words += ", " + _("the others see %(what)s") % {"what": wording.level_words(level)}
    if act.get("lifted"):
        words += ", " + _("earlier conditions ended: %(count)d") % {"count": len(act["lifted"])}
    return f"{names}: {words}"


# --- who met it ---


def met_of(gate: Gate, number: int, with_contents: bool = True) -> QuerySet[LedgerRow]:
    """The rows that tell who met this item (and what lies in it), oldest first."""
    decisions.require(gate.account, "is_council")
    numbers = {number}
    if with_contents:
        for model in (Segment, ClosedSpan):
            numbers |= set(model.ungated.filter(recording=number).values_list("pk", flat=True))
    refs = list(Item.ungated.filter(pk__in=numbers).values_list("ref", flat=True))
    return LedgerRow.objects.filter(item__in=refs, event="met").order_by("id")
