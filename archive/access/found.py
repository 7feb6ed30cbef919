"""What the find page shows of its hits, beside the cards of `showing`: the words that matched, and names to type."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from ..models import Condition, Cue, Item, Kind, Level, Mirror, Name, Reach, Topic
from . import judging, layout, ledger, masks
from .gate import Gate

NAMED = (Kind.PERSON, Kind.PLACE, Kind.FIGURE, Kind.MIRROR, Kind.TOPIC)


@dataclass(frozen=True)
class FoundCue:
    """A line as it was said, and when it begins, in milliseconds of its recording."""

    text: str
    language: str
    start_ms: int


@dataclass(frozen=True)
class Spelled:
    """One name of one thing, as it can be typed."""

    number: int
    kind: str
    text: str
    language: str


def cues(gate: Gate, numbers: Iterable[int]) -> dict[int, FoundCue]:
    """The cues with these row numbers, as far as this viewer may read them."""
    columns = ("pk", "transcript__recording_id", "start_ms", "end_ms", "text", "transcript__language")
    rows = list(Cue.ungated.filter(pk__in=set(numbers)).values_list(*columns))
    if not rows:
        return {}
    held = layout.current(gate.policy)
    times = np.array([row[1:4] for row in rows], dtype=np.int64)
    level = layout.levels_at(gate.levels, np.arange(held.size))
    may = layout.readable(held, level, gate.trusted, times[:, 0], times[:, 1], times[:, 2])
    said = gate.mask.text
    shown = [row for row, allowed in zip(rows, may, strict=True) if allowed]
    return {row[0]: FoundCue(said(row[4], row[5]), row[5], row[2]) for row in shown}


def number_of(gate: Gate, kind: str, ref: str) -> int | None:
    """The number of the thing at this address, where its description is met."""
    if not (ref.isascii() and ref.isalnum()):  # some databases refuse some of what can be typed
        return None
    number = Item.ungated.filter(kind=kind, ref=ref).values_list("pk", flat=True).first()
    return number if number is not None and gate.meets(number, Level.DESCRIPTION) else None


def note_words(gate: Gate, numbers: Iterable[int]) -> None:
    """Write down which restricted items had words shown on the find page."""
    wanted = set(numbers)
    standing = Condition.ungated.filter(lifted_by__isnull=True)
    reached = Reach.ungated.filter(item__in=wanted, condition__in=standing).values_list("item_id", flat=True)
    for ref in Item.ungated.filter(pk__in=set(reached)).order_by("ref").values_list("ref", flat=True):
        ledger.write("met", gate.hearer, ref, surface="find")


# --- names to type ---

_names: tuple[judging.Policy, tuple[Spelled, ...]] | None = None


def names(standing: judging.Policy) -> tuple[Spelled, ...]:
    """All names of all things, as they stand under this policy: ask the gate before showing any."""
    global _names
    held = _names
    if held is None or held[0] is not standing:
        held = _names = (standing, tuple(_read_names(masks.standing(standing.rests))))
    return held[1]


_by_number: tuple[tuple[Spelled, ...], dict[int, list[Spelled]]] | None = None


def spelled(gate: Gate, numbers: Iterable[int]) -> list[Spelled]:
    """Every name of these things, as far as they are met."""
    global _by_number
    standing, held = names(gate.policy), _by_number
    if held is None or held[0] is not standing:
        held = _by_number = (standing, {})
        for name in standing:
            held[1].setdefault(name.number, []).append(name)
    return [name for number in dict.fromkeys(numbers) for name in held[1].get(number, ()) if is_met(gate, name)]


def is_met(gate: Gate, name: Spelled) -> bool:
    return gate.meets(name.number, Level.DESCRIPTION)


def _read_names(mask: masks.Mask) -> list[Spelled]:
    """Where a name rests, what is said instead is typed instead."""
    rows = Name.ungated.filter(item__kind__in=NAMED).exclude(item__in=mask.people).order_by("pk")
    found = [
        Spelled(number, kind, mask.text(text, language), language)
        for number, kind, text, language in rows.values_list("item_id", "item__kind", "text", "language")
    ]
    found += [
        Spelled(number, Kind.PERSON, words, tag) for number, rule in mask.people.items() for tag, words in rule.instead
    ]
    named = {one.number for one in found}
    found += [
        Spelled(number, kind, mask.text(text), "")
        for kind, model, column in ((Kind.MIRROR, Mirror, "title"), (Kind.TOPIC, Topic, "name"))
        for number, text in model.ungated.order_by("pk").values_list("pk", column)
        if number not in named
    ]
    return found
