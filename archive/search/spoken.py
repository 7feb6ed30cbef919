"""Passages that speak of something by name without being tied to it; and heard: for names as they may be misheard."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from ..access import found
from ..access.indexing import Field
from ..access.layout import Numbers
from . import heard
from .aims import Aim, Ask, nothing
from .query import Clause
from .stock import NO_NUMBERS
from .words import words_of

OWN_WORDS = (Field.TITLE, Field.SUMMARY, Field.CUE)
TELLING_LETTERS = 4


def aim(ask: Ask, clause: Clause) -> Aim:
    """What was typed, under any spelling of the things that are met and called so; misheard alone."""
    atoms, _ = ask.standing(Clause("", clause.words))
    stock = ask.sight.board.stock
    called = np.unique(stock.owner[atoms[stock.part[atoms] == Field.NAME]]).tolist()
    return _with_heard(ask, nothing(ask.sight), [clause.value, *names_of(ask, called)])


def names_of(ask: Ask, numbers: Iterable[int]) -> list[str]:
    """Every spelling of the names of these things, as far as they are met."""
    return [one.text for one in found.spelled(ask.gate, numbers)]


def with_words(ask: Ask, aim: Aim, names: list[str]) -> Aim:
    """The aim, with the passages in which one of the names stands, or may be misheard."""
    phrases = sorted({tuple(words) for name in names if (words := words_of(name))})
    said, said_in = _said(ask, phrases)
    marked = frozenset(word for phrase in phrases for word in telling(phrase))
    return _with_heard(ask, replace(aim, said=said, said_in=said_in, words=marked), names)


def _with_heard(ask: Ask, aim: Aim, names: list[str]) -> Aim:
    """Lines in which a name is misheard count for passages that do not say it rightly."""
    lines = heard.heard(ask, names)
    which, documents = homes(ask, lines.atoms)
    new = ~np.isin(documents, aim.said_in)
    which, documents = which[new], documents[new]
    instead = [lines.instead[at] for at in which.tolist()]
    return replace(
        aim,
        said=np.concatenate([aim.said, lines.atoms[which]]),
        said_in=np.concatenate([aim.said_in, documents]),
        heard=tuple(zip(documents.tolist(), instead, strict=True)),
        words=aim.words | {word for text in instead for word in words_of(text)},
    )


def telling(phrase: tuple[str, ...]) -> list[str]:
    """The words of a name that tell it from others: its longer ones, or its longest."""
    longest = max(len(word) for word in phrase)
    return [word for word in phrase if len(word) >= min(TELLING_LETTERS, longest)]


def telling_of(text: str) -> list[str]:
    """The same, of a name or of what was heard instead, as it is written."""
    words = tuple(words_of(text))
    return telling(words) if words else []


def _said(ask: Ask, phrases: list[tuple[str, ...]]) -> tuple[Numbers, Numbers]:
    """The atoms of segments and recordings in which one of these stands, and the documents they belong to."""
    part = ask.sight.board.stock.part
    atoms = [NO_NUMBERS, *(ask.standing(Clause("", phrase))[0] for phrase in phrases)]
    own = np.unique(np.concatenate(atoms))
    own = own[np.isin(part[own], OWN_WORDS)]
    which, documents = homes(ask, own)
    return own[which], documents


def homes(ask: Ask, atoms: Numbers) -> tuple[Numbers, Numbers]:
    """The passages that these atoms belong to: which of the atoms, and the passage."""
    which, documents = ask.sight.homes_of(atoms)
    told = ask.sight.board.is_told[documents]
    return which[told], documents[told]
