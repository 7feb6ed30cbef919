"""From what the council's chamber shows to what its templates draw."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _

from ...access import policy, wording
from ...access.chamber import ConditionShown, DecisionShown
from ...access.showing import Label
from ...models import Kind
from ..pages import parts as pages

Shown = dict[str, Any]

# Closed spans have no page of their own; the council meets them all the same.
MARKS = {**pages.MARKS, Kind.SPAN: "recording"}


def crumbs(*further: str | tuple[str, str]) -> list[Shown]:
    """The way to a page of the council's room; a pair is a link, a single word the page itself."""
    found: list[Shown] = [{"label": _("First page"), "url": reverse("home")}]
    found.append({"label": _("Council"), "url": reverse("council")})
    for one in further:
        found.append({"label": one} if isinstance(one, str) else {"label": one[0], "url": one[1]})
    return found


def kind_word(kind: str) -> str:
    return str(Kind(kind).label)


def address(label: Label) -> str:
    """The item's page; a closed span has none, so that its decision's page stands for it."""
    if label.kind == Kind.SPAN:
        return reverse("decide", args=[label.kind, label.ref])
    return reverse(label.kind, args=[label.ref])


def decide_url(label: Label) -> str:
    return reverse("decide", args=[label.kind, label.ref])


def chip(label: Label, note: str = "") -> Shown:
    return {
        "kind": MARKS[Kind(label.kind)],
        "label": label.text,
        "url": address(label),
        "lang": label.language,
        "note": note,
    }


def named(label: Label) -> Shown:
    """A label with its kind in words, for lists of unlike things."""
    return {
        "kind": label.kind,
        "kind_word": kind_word(label.kind),
        "mark": MARKS[Kind(label.kind)],
        "ref": label.ref,
        "text": label.text,
        "lang": label.language,
        "url": address(label),
        "decide_url": decide_url(label),
    }


def condition(one: ConditionShown, reaches: Label | None = None) -> Shown:
    """A condition; with `reaches`, it says by which other item's tie it comes there."""
    by_tie = reaches is not None and reaches.number != one.target.number
    return {
        "number": one.number,
        "words": one.words,
        "target": named(one.target),
        "by_tie": by_tie,
        "review_on": one.review_on,
        "ruling": decision(one.decision),
        "is_from_consent": one.is_from_consent,
    }


def decision(one: DecisionShown | None) -> Shown | None:
    if one is None:
        return None
    return {
        "decided_on": one.decided_on,
        "minute": one.minute,
        "present": one.present,
        "reason": one.reason,
        "entered_by": one.entered_by,
        "entered_at": one.entered_at,
    }


def number(raw: str) -> int:
    """A row's number as it came from a form; 0, which is none, for anything else."""
    return int(raw) if raw.isascii() and raw.isdigit() and len(raw) < 16 else 0


def moment_words(moment: datetime) -> str:
    return wording.day(moment, policy.home_zone())
