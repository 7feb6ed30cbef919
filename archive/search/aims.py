"""Asking for things: sky: near: who: from: when: in: season: heard:. Each becomes an `Aim`.

Everything is worked out from what the viewer meets: ties of which both ends are met, stars of figures met in full,
spots of places as far as they may be known. The language is explained on the find page.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from django.utils import translation
from numpy.typing import NDArray

from ..access import inseason
from ..access import layout as lay
from ..access.gate import Gate
from ..access.indexing import Field
from ..access.layout import Flags, Numbers
from ..access.masks import Mask
from ..models import Kind, Level, TieKind
from ..timecode import edtf
from .query import FROM, HEARD, IN, NEAR, SEASON, SKY, WHEN, WHO, Clause
from .sight import Sight, Ties
from .stock import NO_NUMBERS

# Why a thing is among what was asked for, the most direct first.
ASKED, HOLDS, PART, WHOLE, OVERLAPS, MIRRORS, LEARNED, WITHIN = (
    "asked", "holds", "part", "whole", "overlaps", "mirrors", "learned", "within",
)
ROLES = (ASKED, HOLDS, PART, WHOLE, OVERLAPS, MIRRORS, LEARNED, WITHIN)
# Ways that are no tie.
IN_WORDS, HEARD_AS, CALLED = "in_words", "heard_as", "called"

Standing = Callable[[Clause], tuple[Numbers, NDArray[np.float64]]]


@dataclass(frozen=True)
class Ask:
    """Who asks, what they meet, and how words are looked up among it (atoms, and how often in each)."""

    gate: Gate
    sight: Sight
    standing: Standing


@dataclass(frozen=True)
class Role:
    """Why a thing is among what was asked for. `amount` from 0 to 1: how much of that it is; `km`: how far off."""

    role: str
    amount: float = 1.0
    km: float = 0.0


@dataclass(frozen=True)
class Reached:
    """One way to a passage: a tie (its kind) to a thing, by number, or words that were said (no thing)."""

    way: str
    thing: int = 0
    role: Role = Role(ASKED)
    heard: str = ""


def _no_ties() -> Ties:
    return Ties(NO_NUMBERS, NO_NUMBERS, NO_NUMBERS)


@dataclass(frozen=True)
class Aim:
    """What answers. `plain` by document: it does without a tie (a date, a language). `said` are atoms in which the
    thing is spoken of, side by side with their documents; `heard` are documents in which its name may be misheard, with
    what stands there instead. `trouble` says what is wrong with the question.
    """

    plain: Flags
    ties: Ties = field(default_factory=_no_ties)
    roles: dict[int, Role] = field(default_factory=dict)
    said: Numbers = field(default_factory=lambda: NO_NUMBERS)
    said_in: Numbers = field(default_factory=lambda: NO_NUMBERS)
    words: frozenset[str] = frozenset()
    heard: tuple[tuple[int, str], ...] = ()
    trouble: str = ""

    @property
    def amounts(self) -> NDArray[np.float64]:
        """By document: the most that a thing it is tied to makes of what was asked; 0 where it is not tied."""
        found = self.plain.astype(np.float64)
        worth = np.array([self.roles[thing].amount for thing in self.ties.targets.tolist()], dtype=np.float64)
        np.maximum.at(found, self.ties.documents, worth)
        return found

    @property
    def tied(self) -> Flags:
        found = self.plain.copy()
        found[self.ties.documents] = True
        return found

    @property
    def answers(self) -> Flags:
        """By document: tied, or spoken of in words."""
        found = self.tied
        found[self.said_in] = True
        return found

    def ways(self, document: int) -> list[Reached]:
        """The ways to one document, each thing once, the most direct first; words only where nothing is tied."""
        here = np.flatnonzero(self.ties.documents == document).tolist()
        pairs = {(int(self.ties.targets[at]), lay.TIES[self.ties.kinds[at]]) for at in here}
        found = [Reached(kind, thing, self.roles[thing]) for thing, kind in pairs]
        if not found:
            instead = [Reached(HEARD_AS, heard=words) for where, words in self.heard if where == document]
            is_said = document in self.said_in and not instead
            return [Reached(IN_WORDS)] if is_said else list(dict.fromkeys(instead))
        return sorted(found, key=lambda one: (ROLES.index(one.role.role), -one.role.amount, one.way, one.thing))


@dataclass(frozen=True, eq=False)
class Likewise:
    """What answers a plain word without holding it (archive.search.likewise): the documents, ascending; the atoms that
    say so, ascending; by document what is said instead, where that led to it; and which words of it are to be marked.
    """

    documents: Numbers
    atoms: Numbers
    ways: dict[int, tuple[Reached, ...]]
    words: frozenset[str]


@dataclass(frozen=True, eq=False)
class _AsSaid:
    """What was worked out, and the names at rest and the language of the page that it was worked out under."""

    found: Any
    under: tuple[Mask, str]

    @property
    def size(self) -> int:
        return int(self.found.size)


def kept_as_said(ask: Ask, clause: Clause, work: Callable[[], Any]) -> Any:
    """What `work` finds, kept for this viewer as long as the same names rest, in the language of the page."""
    under = ask.gate.mask, translation.get_language() or ""
    held: _AsSaid | None = ask.sight.words.get(clause)
    if held is None or held.under != under:
        held = ask.sight.words.put(clause, _AsSaid(work(), under))
    return held.found


def meet(ask: Ask, clause: Clause) -> Aim:
    """What answers this aim for this viewer."""
    from . import nearby, skyward, spoken

    reading: dict[str, Callable[[Ask, Clause], Aim]] = {
        SKY: skyward.aim, NEAR: nearby.aim, WHO: _who, FROM: _from, WHEN: _when, IN: _in, SEASON: _season,
        HEARD: spoken.aim,
    }
    return reading[clause.field](ask, clause)


def nothing(sight: Sight, trouble: str = "") -> Aim:
    return Aim(np.zeros(len(sight.board.numbers), dtype=np.bool_), trouble=trouble)


def named(ask: Ask, clause: Clause, kind: str) -> list[int]:
    """Things of a kind that are met and some name of which holds the words one after the other; ascending."""
    board = ask.sight.board
    atoms, _ = ask.standing(Clause("", clause.words))
    owners = board.stock.owner[atoms[board.stock.part[atoms] == Field.NAME]]
    return [int(owner) for owner in np.unique(owners) if board.layout.kind[owner] == lay.code(kind)]


def along(sight: Sight, kinds: tuple[str, ...], roles: dict[int, Role]) -> Ties:
    """The ties of these kinds from segments and recordings to the things that have a role, and to no part of these."""
    wanted = np.zeros(sight.board.layout.size, dtype=np.bool_)
    wanted[list(roles)] = True
    found = [(NO_NUMBERS, NO_NUMBERS, NO_NUMBERS)]
    for kind in kinds:
        sources, targets = met_ties(sight, kind)
        kept = wanted[targets] & sight.board.is_told[sources]
        found.append((sources[kept], targets[kept], np.full(np.count_nonzero(kept), lay.tie_code(kind))))
    return Ties(*(np.concatenate(column) for column in zip(*found, strict=True)))


# --- people ---


def _who(ask: Ask, clause: Clause) -> Aim:
    """Told by, told about or learned from."""
    roles = {number: Role(ASKED) for number in named(ask, clause, Kind.PERSON)}
    if not roles:
        return nothing(ask.sight, "who")
    kinds = (TieKind.TOLD_BY.value, TieKind.TELLS_OF.value, TieKind.HAD_FROM.value)
    return Aim(nothing(ask.sight).plain, along(ask.sight, kinds, roles), roles)


def _from(ask: Ask, clause: Clause) -> Aim:
    """Had from these people, or told by somebody who learned from them."""
    asked = named(ask, clause, Kind.PERSON)
    if not asked:
        return nothing(ask.sight, "who")
    had = along(ask.sight, (TieKind.HAD_FROM.value,), dict.fromkeys(asked, Role(ASKED)))
    learners = {number: Role(LEARNED, 0.5) for number in _learners(ask, asked) if number not in asked}
    told = along(ask.sight, (TieKind.TOLD_BY.value,), learners)
    ties = Ties(*(np.concatenate(pair) for pair in zip(_columns(had), _columns(told), strict=True)))
    return Aim(nothing(ask.sight).plain, ties, dict.fromkeys(asked, Role(ASKED)) | learners)


def _columns(ties: Ties) -> tuple[Numbers, Numbers, Numbers]:
    return ties.documents, ties.targets, ties.kinds


def _learners(ask: Ask, people: list[int]) -> list[int]:
    sources, targets = met_ties(ask.sight, TieKind.LEARNED_FROM)
    return [int(number) for number in np.unique(sources[np.isin(targets, people)])]


def met_ties(sight: Sight, kind: str) -> tuple[Numbers, Numbers]:
    return lay.met_ties(sight.board.layout, sight.level, kind)


# --- when, in which language, in which season ---


def _told(sight: Sight, flags: Flags) -> Aim:
    return Aim(flags & sight.board.is_told & sight.is_met)


def _when(ask: Ask, clause: Clause) -> Aim:
    days = edtf.asked(clause.value)
    if days is None:
        return nothing(ask.sight, "when")
    return _told(ask.sight, ask.sight.told_between(days.first, days.last))


def _in(ask: Ask, clause: Clause) -> Aim:
    """Basic filtering of language tags: equal, or followed by a hyphen (RFC 4647, section 3.3.1)."""
    wanted = clause.value.lower()
    tags = [tag.lower() for tag in ask.sight.board.layout.languages]
    codes = [at for at, tag in enumerate(tags, start=1) if tag == wanted or tag.startswith(wanted + "-")]
    return _told(ask.sight, np.isin(ask.sight.language, codes))


def _season(ask: Ask, clause: Clause) -> Aim:
    """Met in full, and told only in a season: now is that season."""
    if clause.words != ("now",):
        return nothing(ask.sight, "season")
    sight = ask.sight
    lies, numbers = sight.board.layout, sight.board.numbers
    ties = sight.ties(*lay.TIES)
    bound = np.zeros(lies.size, dtype=np.bool_)
    for one in inseason.standing_now(ask.gate):
        bound[one.target] = True
        if one.with_tied:
            bound[ties.documents[ties.targets == one.target]] = True
    holders = lies.holder[numbers]
    in_bound = bound[holders] & sight.knows_recording
    return _told(sight, (bound[numbers] | in_bound) & (sight.level[numbers] >= Level.OPEN))
