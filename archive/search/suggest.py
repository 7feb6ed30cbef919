"""Names to choose from while typing, and names near what found nothing. Only what the viewer meets is ever offered."""

from __future__ import annotations

import difflib
import threading
from bisect import bisect_left
from collections.abc import Container
from dataclasses import dataclass

from ..access import found
from ..access.found import Spelled
from ..access.gate import Gate
from .words import words_of

LEAST_LETTERS = 2
OFFERED = 8
LIKENESS = 0.72
LONGEST_TYPED = 80


@dataclass(frozen=True)
class _Words:
    """Every word of every name, sorted, with the names it begins or stands in (by their place in `names`)."""

    names: tuple[Spelled, ...]
    words: list[tuple[str, int]]


_lock = threading.Lock()
_held: _Words | None = None


def _words(gate: Gate) -> _Words:
    global _held
    names = found.names(gate.policy)
    with _lock:
        if _held is None or _held.names is not names:
            pairs = {(word, at) for at, name in enumerate(names) for word in words_of(name.text)}
            _held = _Words(names, sorted(pairs))
        return _held


def names_like(gate: Gate, typed: str) -> list[Spelled]:
    """Names met, some word of which begins with the last word typed, and all of which hold the words before it."""
    words = words_of(typed[:LONGEST_TYPED])
    if not words or len(words[-1]) < LEAST_LETTERS:
        return []
    held = _words(gate)
    met = {held.names[at] for at in _beginning(held, words[-1]) if found.is_met(gate, held.names[at])}
    met = {one for one in met if set(words[:-1]) <= set(words_of(one.text))}
    unlike = {one.text: one for one in sorted(met, key=lambda one: (one.text, one.kind, one.language))}
    return sorted(unlike.values(), key=lambda one: _order(one, words[-1]))[:OFFERED]


def _beginning(held: _Words, start: str) -> set[int]:
    places = set()
    at = bisect_left(held.words, (start, -1))
    while at < len(held.words) and held.words[at][0].startswith(start):
        places.add(held.words[at][1])
        at += 1
    return places


def _order(name: Spelled, start: str) -> tuple[bool, str, str]:
    """Names that begin so before those that hold it further on; then by name."""
    return not words_of(name.text)[0].startswith(start), name.text.casefold(), name.text


def spelled_so(gate: Gate, numbers: list[int], words: Container[str]) -> dict[int, str]:
    """For each of these things that is met, the name of it that holds most of the words; the first of equals."""
    best: dict[int, tuple[int, str]] = dict.fromkeys(numbers, (0, ""))
    for name in found.names(gate.policy):
        if name.number in best and found.is_met(gate, name):
            shared = len({word for word in words_of(name.text) if word in words})
            if shared > best[name.number][0]:
                best[name.number] = (shared, name.text)
    return {number: text for number, (_, text) in best.items()}


def names_near(gate: Gate, word: str) -> list[str]:
    """Names met that hold a word much like this one, the likest first (for a query that found nothing)."""
    held = _words(gate)
    near: dict[str, str] = {}
    for known, at in held.words:
        if abs(len(known) - len(word)) <= 2 and found.is_met(gate, held.names[at]):
            text = held.names[at].text
            near[known] = min(near.get(known, text), text, key=lambda one: (one.casefold(), one))
    likest = difflib.get_close_matches(word, sorted(near), n=3, cutoff=LIKENESS)
    return list(dict.fromkeys(near[known] for known in likest))
