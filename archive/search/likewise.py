"""What answers a plain word without holding it: what is meant is called otherwise there, or its name was misheard.

Words typed without quotation marks stand for a name where they are all of it, but for an article. A word that hardly
stands anywhere stands for a name that it sounds like, too, and two or three such together for one that they sound
like in one. Then passages answer that say the thing's other names, and lines in which one of its names may be
misheard. So does what sounds much like a rare word, or like one word of a name. All is taken from what the viewer
meets, and none of it counts for the order.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ..access import found
from ..access import layout as lay
from ..access.indexing import Field
from ..access.layout import Numbers
from ..models import Kind
from . import heard, spoken
from .aims import CALLED, HEARD_AS, Ask, Likewise, Reached, kept_as_said
from .meeting import ALONG, Amounts, Met, meet, tied
from .query import Clause
from .sounding import LEAST_LETTERS, runs_like, same_sounds
from .stock import NO_NUMBERS
from .words import words_of

RARE = 5  # passages that hold a word, from which on it is taken to be what was meant
LEAST_LIKE_NAME = 0.75
LEAST_LIKE_JOINED = 0.7  # words that have together just the sounds of a name
LEAST_SURE = 0.84  # for words that are no whole name; for names as `heard` has it
KINDS = (Kind.PERSON, Kind.PLACE, Kind.FIGURE)
MOST_THINGS, MOST_NAMES = 200, 24
LONGEST_ARTICLE = 3
ASKED_SO = "likewise"  # under which it is kept
NOTHING = Likewise(NO_NUMBERS, NO_NUMBERS, {}, frozenset())


@dataclass(frozen=True, eq=False)
class _Typed:
    """A plain word that was met, the names' words that it sounds like, and the things that these name."""

    met: Met
    near: tuple[str, ...] = ()
    things: Numbers = field(default_factory=lambda: NO_NUMBERS)

    @property
    def clause(self) -> Clause:
        return self.met.clause

    @property
    def means(self) -> frozenset[str]:
        return frozenset((*self.clause.words, *self.near))


@dataclass(frozen=True, eq=False)
class _Wide:
    """The plain words of a query for which more was found."""

    mets: tuple[Met, ...]

    @property
    def size(self) -> int:
        return 1 + sum(met.size + 8 * len(met.likewise.ways if met.likewise else ()) for met in self.mets)


def widened(ask: Ask, groups: list[list[Met]], beside: Sequence[tuple[str, ...]] = ()) -> list[list[Met]]:
    """The same, with what answers plain words likewise; `beside` are such that were typed one after the other."""
    plain = [met for group in groups for met in group if met.clause.is_open]
    if not plain:
        return groups
    wide = {met.clause: met for met in _wide(ask, plain, beside)}
    return [[replace(wide[met.clause], clause=met.clause) if met.clause in wide else met for met in group]
            for group in groups]


def _wide(ask: Ask, plain: list[Met], beside: Sequence[tuple[str, ...]]) -> tuple[Met, ...]:
    asked = sorted({replace(met.clause, instead=()) for met in plain})
    clause = Clause(ASKED_SO, (), instead=(*asked, *(Clause(ASKED_SO, words) for words in beside)))
    found: _Wide = kept_as_said(ask, clause, lambda: _Wide(tuple(_widened(ask, plain, beside))))
    return found.mets


def _widened(ask: Ask, plain: list[Met], beside: Sequence[tuple[str, ...]]) -> list[Met]:
    typed = [_typed(ask, met) for met in plain]
    names = _names_meant(ask, typed)
    wide = [_with(ask, one, names.get(one.clause, [])) for one in typed]
    for words, whole in _in_one(ask, beside):
        wide = [_or(met, whole) if met.clause.words[0] in words else met for met in wide]
    return [met for met, one in zip(wide, typed, strict=True) if met is not one.met]


# --- which names are meant ---


def _typed(ask: Ask, met: Met) -> _Typed:
    if not _is_rare(met):
        return _Typed(met)
    word = "".join(met.clause.words)
    near = {run.words[0]: run.atoms for run in runs_like(ask, word)
            if run.score >= LEAST_LIKE_NAME and len(run.words) == 1}
    if len(met.clause.words) > 1:  # a name in which somebody put a hyphen
        near[word] = ask.standing(Clause("", (word,)))[0]
    return _named_so(ask, met, near)


def _named_so(ask: Ask, met: Met, near: dict[str, Numbers]) -> _Typed:
    """With those of the words near it (and the atoms that hold them) that a name holds."""
    named = {word: things for word, atoms in near.items() if len(things := _named(ask, atoms))}
    return _Typed(met, tuple(named), np.unique(np.concatenate([NO_NUMBERS, *named.values()])))


def _in_one(ask: Ask, beside: Sequence[tuple[str, ...]]) -> Iterator[tuple[tuple[str, ...], Met]]:
    """Of words that stand one after the other: those that are one name in which somebody put spaces, and what it
    meets. It has to be a whole name, of just these sounds.
    """
    for words in beside:
        near = {run.words[0]: run.atoms for run in same_sounds(ask, "".join(words)) if run.score >= LEAST_LIKE_JOINED}
        if not near or not _is_rare(met := meet(ask.sight, Clause("", words))):
            continue
        one = _named_so(ask, met, near)
        if names := _names_meant(ask, [one]).get(one.clause):
            yield words, _with(ask, one, names)


def _is_rare(met: Met) -> bool:
    return len(met.told) <= RARE and not len(met.named)


def _named(ask: Ask, atoms: Numbers) -> Numbers:
    """The people, places and figures whose names these atoms are."""
    stock = ask.sight.board.stock
    return _proper(ask, np.unique(stock.owner[atoms[stock.part[atoms] == Field.NAME]]).astype(np.int64))


def _proper(ask: Ask, things: Numbers) -> Numbers:
    """Those of the things that have a name of their own: a topic goes by ordinary words."""
    kinds = ask.sight.board.layout.kind[things]
    return things[np.isin(kinds, [lay.code(kind) for kind in KINDS])]


def _names_meant(ask: Ask, typed: Sequence[_Typed]) -> dict[Clause, list[str]]:
    """By clause: every name of the things that the words typed are a whole name of."""
    means = frozenset(word for one in typed for word in one.means)
    things = [_proper(ask, np.union1d(one.met.named, one.things)) for one in typed]
    spelled: dict[int, list[str]] = {}
    for name in found.spelled(ask.gate, np.unique(np.concatenate([NO_NUMBERS, *things]))[:MOST_THINGS].tolist()):
        spelled.setdefault(name.number, []).append(name.text)
    meant: dict[Clause, list[str]] = {}
    for texts in spelled.values():
        whole = frozenset(word for text in texts for word in words_of(text) if _is_told(words_of(text), means))
        for one in typed:
            if one.means & whole:
                meant.setdefault(one.clause, []).extend(texts)
    return meant


def _is_told(words: list[str], means: frozenset[str]) -> bool:
    """Whether these words name it in whole; a short word that a name begins with may be left out, as an article is."""
    needed = words[1:] if len(words) > 1 and len(words[0]) <= LONGEST_ARTICLE else words
    return bool(words) and means.issuperset(needed)


# --- what answers ---


def _with(ask: Ask, one: _Typed, names: list[str]) -> Met:
    """What was met, with what answers likewise, and what is tied to things whose name is nearly that."""
    met = one.met
    if not (names or len(one.things) or _may_be_misheard(ask, one)):
        return met
    told = np.union1d(met.told, _tied_to(ask, one.things))
    likewise = _likewise(ask, one, sorted(set(names))[:MOST_NAMES], told)
    if not (len(likewise.documents) or len(one.things)):
        return met
    told = np.union1d(told, likewise.documents)
    return _wider(met, told, likewise.atoms, one.things, one.things, likewise if len(likewise.documents) else None)


def _wider(
    met: Met, told: Numbers, atoms: Numbers, things: Numbers, named: Numbers, likewise: Likewise | None
) -> Met:
    """What was met, and these too: what is told so counts for nothing in the order, and each thing once."""
    told, things = np.union1d(met.told, told), np.union1d(met.things, things)
    return replace(
        met,
        told=told,
        fits=_beside(told, met.told, met.fits, 0.0),
        atoms=np.union1d(met.atoms, atoms),
        things=things,
        times=_beside(things, met.things, met.times, 1.0),
        named=np.union1d(met.named, named),
        likewise=likewise,
    )


def _beside(numbers: Numbers, known: Numbers, values: Amounts, other: float) -> Amounts:
    """Beside these numbers (ascending) the values of those that are known, and the other for the rest."""
    found = np.full(len(numbers), other)
    found[np.searchsorted(numbers, known)] = values
    return found


def _or(met: Met, whole: Met) -> Met:
    """What is met by the word, and what by the name that it is a part of."""
    documents = np.setdiff1d(whole.told, met.told)
    likewise = _together(met.likewise or NOTHING, whole.likewise or NOTHING, documents)
    return _wider(met, whole.told, whole.atoms, whole.things, whole.named, likewise)


def _together(one: Likewise, other: Likewise, documents: Numbers) -> Likewise:
    return Likewise(
        documents=np.union1d(one.documents, documents),
        atoms=np.union1d(one.atoms, other.atoms),
        ways=other.ways | one.ways,
        words=one.words | other.words,
    )


def _tied_to(ask: Ask, things: Numbers) -> Numbers:
    found = np.flatnonzero(tied(ask.sight, things, ALONG[""]))
    return found[ask.sight.board.is_told[found]]


def _likewise(ask: Ask, one: _Typed, names: list[str], told: Numbers) -> Likewise:
    """What answers beside the passages told."""
    parts = [*_called(ask, names, one.clause), *_misheard(ask, names, 0.0)]
    if not names and _may_be_misheard(ask, one):
        parts += _misheard(ask, ["".join(one.clause.words)], LEAST_SURE)
    atoms = np.array([atom for atom, _ in parts], dtype=np.int64)
    which, documents = spoken.homes(ask, atoms)
    new = ~np.isin(documents, told)
    ways: dict[int, dict[Reached, None]] = {}
    for at, document in zip(which[new].tolist(), documents[new].tolist(), strict=True):
        ways.setdefault(document, {})[parts[at][1]] = None
    kept = {document: tuple(said) for document, said in ways.items()}
    return Likewise(
        documents=np.union1d(np.setdiff1d(told, one.met.told), np.array(sorted(kept), dtype=np.int64)),
        atoms=np.unique(atoms[which[new]]),
        ways=kept,
        words=frozenset(word for said in kept.values() for way in said for word in spoken.telling_of(way.heard)),
    )


def _may_be_misheard(ask: Ask, one: _Typed) -> bool:
    """A rare word, or one word of a name."""
    words = one.clause.words
    if len("".join(words)) < LEAST_LETTERS or not all(word.isalpha() for word in words):
        return False
    return _is_rare(one.met) or len(_proper(ask, one.met.named)) > 0


def _called(ask: Ask, names: Iterable[str], clause: Clause) -> list[tuple[int, Reached]]:
    """Atoms of passages that say one of the names, but for what the words typed find by themselves."""
    part = ask.sight.board.stock.part
    said = []
    for name in names:
        words = tuple(words_of(name))
        if words and not set(clause.words) <= set(words):
            atoms, _ = ask.standing(Clause("", words))
            own = atoms[np.isin(part[atoms], spoken.OWN_WORDS)]
            said += [(atom, Reached(CALLED, heard=name)) for atom in own.tolist()]
    return said


def _misheard(ask: Ask, names: list[str], least: float) -> list[tuple[int, Reached]]:
    lines = heard.heard(ask, names) if names else heard.NOTHING
    return [
        (atom, Reached(HEARD_AS, heard=instead))
        for atom, instead, score in zip(lines.atoms.tolist(), lines.instead, lines.scores, strict=True)
        if score >= least
    ]
