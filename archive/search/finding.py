"""Answering a query for one viewer: which passages, in which order, and by which way each was reached.

A passage is reached by its own words (title, summary, what is said in it) or by a tie to something met under a name
that was asked for (“told by”, “names the figure”, …). Names are never part of a passage's own text, so hiding the
thing takes the way with it.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..access import layout as lay
from ..access.gate import Gate
from ..access.layout import Flags, Numbers
from . import aims, counting, engine, likewise, meeting, ranking
from .aims import Aim, Ask, Reached, Role
from .counting import FIT
from .meeting import ALONG, Met, tied
from .query import AIMS, Clause, Query
from .sight import Sight, sight_of
from .stock import Damaged

TIED, ONLY_WORDS = "tied", "words"
AS_TYPED, LIKEWISE = "typed", "likewise"
MOST_THINGS = 12


@dataclass(frozen=True)
class Wanted:
    """What is asked: the query, and what narrows it. `things` are item numbers, all of which must be tied.

    `how`: only passages that are tied to what an aim asks for, or only those that speak of it in words; only those that
    hold the words as they were typed, or only those that answer likewise. `unknown`: one of the narrowings leads
    nowhere for this viewer, so nothing can answer. `without`: item numbers to leave out.
    """

    query: Query
    kind: str = ""
    things: tuple[int, ...] = ()
    language: str = ""
    first_day: int | None = None
    last_day: int | None = None
    only_heard: bool = False
    how: str = ""
    unknown: bool = False
    without: frozenset[int] = frozenset()
    sort: str = FIT


@dataclass(frozen=True)
class Hit:
    """A segment or recording by its item number; `cue` is the row of its best matching cue, or 0.

    `ways` are the ties (kind, item number) that led to it, `reached` the ways by which it answers an aim; `score` is
    for ordering and for tests.
    """

    number: int
    score: float
    cue: int
    ways: tuple[tuple[str, int], ...]
    reached: tuple[Reached, ...] = ()


@dataclass(frozen=True)
class Found:
    """One page of the answer, and the counts over all of it. Counts are of what this viewer meets.

    `takes_in` are the things that the aims stand for and why; `troubles` what was wrong with an aim, as it was typed;
    `words` the names that aims looked for in what was said.
    """

    total: int
    page: int
    pages: int
    hits: list[Hit]
    things: list[int]
    facets: dict[str, list[tuple[int, int]]]  # name: (item number, how many), most first
    kinds: list[tuple[str, int]]
    languages: list[tuple[str, int]]
    heard: int
    alone: list[tuple[Clause, int]] = field(default_factory=list)
    hows: list[tuple[str, int]] = field(default_factory=list)
    takes_in: list[tuple[int, Role]] = field(default_factory=list)
    troubles: list[tuple[str, str]] = field(default_factory=list)
    words: frozenset[str] = frozenset()


def find(gate: Gate, wanted: Wanted, page: int = 1, size: int = 20) -> Found:
    """The page of the answer. Raises engine.NotReady where there is no index yet."""
    answer = _answered(gate, wanted)
    sight, met, asked = answer.sight, answer.met, answer.asked
    scores = _scores(sight, met)
    documents = np.flatnonzero(answer.flags)
    pages = max(1, -(-len(documents) // size))
    page = min(max(1, page), pages)
    ordered = counting.ordered(sight, documents, scores, wanted.sort, _amounts(sight, asked), page * size)
    shown = ordered[(page - 1) * size :]
    return Found(
        total=len(documents),
        page=page,
        pages=pages,
        hits=_hits(sight, shown, scores, met),
        things=[] if wanted.query.is_wordless else _things(sight, answer.groups),
        facets=counting.facets(sight, answer.flags, documents),
        kinds=counting.kinds(sight, documents),
        languages=counting.languages(sight, documents),
        heard=int(np.count_nonzero(sight.heard[documents])),
        alone=[] if len(documents) else _alone(sight, answer.groups),
        hows=[(how, int(np.count_nonzero(flags))) for how, flags in answer.hows.items()],
        takes_in=_takes_in(sight, asked),
        troubles=[(each.clause.typed, each.aim.trouble) for each in met if each.aim is not None and each.aim.trouble],
        words=_looked_for(met),
    )


def _looked_for(met: list[Met]) -> frozenset[str]:
    """Words to mark that were not typed."""
    told = [given.words for each in met for given in (each.aim, each.likewise) if given is not None]
    return frozenset(word for words in told for word in words)


def answering(gate: Gate, wanted: Wanted) -> list[int]:
    """The item numbers of all that answers, ascending. Raises engine.NotReady where there is no index yet."""
    answer = _answered(gate, wanted)
    return [int(number) for number in answer.sight.board.numbers[np.flatnonzero(answer.flags)]]


@dataclass(frozen=True)
class _Answer:
    """What answers, by document, before it is put in order."""

    sight: Sight
    groups: list[list[Met]]
    flags: Flags
    hows: dict[str, Flags]

    @property
    def met(self) -> list[Met]:
        return [each for group in self.groups for each in group]

    @property
    def asked(self) -> list[Aim]:
        return [each.aim for each in self.met if each.aim is not None]


def _answered(gate: Gate, wanted: Wanted) -> _Answer:
    try:
        return _answer(gate, sight_of(gate, engine.current()), wanted)
    except Damaged:
        engine.found_damaged()
        return _answer(gate, sight_of(gate, engine.current()), wanted)


def _answer(gate: Gate, sight: Sight, wanted: Wanted) -> _Answer:
    ask = Ask(gate, sight, lambda clause: meeting.standing(sight, clause))
    held = [[_meet_any(ask, option) for option in clause.options] for clause in wanted.query.wanted]
    groups = likewise.widened(ask, held, wanted.query.beside)
    flags = _answers(ask, wanted.query, groups) & _narrowed(sight, wanted)
    asked = [each.aim for group in groups for each in group if each.aim is not None]
    hows = _hows(asked, flags) | _as_typed(sight, groups, held, flags)
    return _Answer(sight, groups, hows.get(wanted.how, flags), hows)


def _alone(sight: Sight, groups: list[list[Met]]) -> list[tuple[Clause, int]]:
    """How many passages each clause finds by itself."""
    return [(group[0].clause, int(np.count_nonzero(_held(sight, group)))) for group in groups]


# --- meeting one clause ---


def _meet_any(ask: Ask, clause: Clause) -> Met:
    if clause.field in AIMS:
        return meeting.aimed(clause, aims.meet(ask, clause), ask.sight.board.is_told)
    return meeting.meet(ask.sight, clause)


# --- putting clauses together ---


def _held(sight: Sight, group: list[Met]) -> Flags:
    """By document: passages where any of these is met."""
    flags = np.zeros(len(sight.board.numbers), dtype=np.bool_)
    for each in group:
        flags[each.told] = True
    return flags


def _answers(ask: Ask, query: Query, groups: list[list[Met]]) -> Flags:
    """By document: passages that meet one of each group and nothing that is excluded."""
    sight = ask.sight
    if query.is_wordless:
        return np.zeros(len(sight.board.numbers), dtype=np.bool_)
    answers = sight.board.is_told & sight.is_met
    for group in groups:
        answers &= _held(sight, group)
    for clause in query.excluded:
        answers[_meet_any(ask, clause).told] = False
    return answers


def _scores(sight: Sight, met: list[Met]) -> NDArray[np.float64]:
    """BM25 of every document. Ties to a named thing restrict where a field asks for them, and do not rank; what an
    aim reaches by a tie comes before what only speaks of it, by how much of what was asked it is tied to.
    """
    scores = np.zeros(len(sight.board.numbers))
    for each in met:
        scores[each.told] += each.fits
    return scores


def _things(sight: Sight, groups: list[list[Met]]) -> list[int]:
    """People, places, figures, mirrors and topics that answer themselves, best first."""
    plain = [kept for group in groups if (kept := [each for each in group if each.clause.field == ""])]
    if not plain:
        return []
    count, average = sight.things
    held = functools.reduce(np.intersect1d, [_union([each.things for each in group]) for group in plain])
    scores = np.zeros(sight.board.layout.size)
    for each in (each for group in plain for each in group):
        idf = ranking.rarity(count, len(each.things))
        scores[each.things] += ranking.weights(each.times, sight.lengths[each.things], average, idf)
    order = np.lexsort((sight.board.layout.rank[held], -scores[held]))
    return [int(number) for number in held[order][:MOST_THINGS]]


def _union(found: list[Numbers]) -> Numbers:
    return np.unique(np.concatenate(found))


# --- narrowing ---


def _narrowed(sight: Sight, wanted: Wanted) -> Flags:
    numbers, lies = sight.board.numbers, sight.board.layout
    kept = np.full(len(numbers), not wanted.unknown)
    if wanted.kind:
        kept &= lies.kind[numbers] == lay.code(wanted.kind)
    for thing in wanted.things:
        kept &= tied(sight, np.array([thing if thing < lies.size else 0]), ALONG[""]) > 0
    if wanted.language:
        kept &= sight.language == _language_code(sight, wanted.language)
    if wanted.first_day is not None or wanted.last_day is not None:
        kept &= sight.told_between(wanted.first_day, wanted.last_day)
    if wanted.only_heard:
        kept &= sight.heard
    if wanted.without:
        kept &= ~np.isin(numbers, list(wanted.without))
    return kept


def _language_code(sight: Sight, language: str) -> int:
    languages = sight.board.layout.languages
    return languages.index(language) + 1 if language in languages else -1


# --- what aims add ---


def _amounts(sight: Sight, asked: list[Aim]) -> NDArray[np.float64]:
    """By document: how much of what was asked is meant, by the aim that asks for most."""
    return np.max([np.zeros(len(sight.board.numbers)), *(aim.amounts for aim in asked)], axis=0)


def _hows(asked: list[Aim], answers: Flags) -> dict[str, Flags]:
    """The answers that are tied to what every aim asks for, and those that only speak of it; nothing without aims."""
    if not any(len(aim.said) for aim in asked):
        return {}
    tied = np.logical_and.reduce([answers, *(aim.tied for aim in asked)])
    return {TIED: tied, ONLY_WORDS: answers & ~tied}


def _as_typed(sight: Sight, groups: list[list[Met]], held: list[list[Met]], answers: Flags) -> dict[str, Flags]:
    """The answers that hold the words as they were typed, and the others; nothing where there are no others."""
    if not any(each.likewise is not None for group in groups for each in group):
        return {}
    typed = functools.reduce(np.logical_and, [_held(sight, group) for group in held], answers)
    return {AS_TYPED: typed, LIKEWISE: answers & ~typed} if (answers & ~typed).any() else {}


def _takes_in(sight: Sight, asked: list[Aim]) -> list[tuple[int, Role]]:
    """The things that the aims stand for, the most direct first; each with its first role."""
    roles: dict[int, Role] = {}
    for aim in asked:
        roles = aim.roles | roles
    ranks = sight.board.layout.rank
    order = sorted(roles, key=lambda one: (aims.ROLES.index(roles[one].role), -roles[one].amount, int(ranks[one])))
    return [(number, roles[number]) for number in order]


# --- details of what is shown ---


def _hits(sight: Sight, shown: Numbers, scores: NDArray[np.float64], met: list[Met]) -> list[Hit]:
    cues = _best_cues(sight, shown, met)
    ways = _ways(sight, shown, met)
    numbers = sight.board.numbers
    return [
        Hit(
            int(numbers[at]),
            float(scores[at]),
            cues.get(at, 0),
            tuple(ways.get(at, ())),
            tuple(dict.fromkeys(way for each in met for way in _reached(each, at))),
        )
        for at in shown.tolist()
    ]


def _reached(each: Met, document: int) -> Iterable[Reached]:
    if each.aim is not None:
        return each.aim.ways(document)
    return each.likewise.ways.get(document, ()) if each.likewise is not None else ()


def _best_cues(sight: Sight, shown: Numbers, met: list[Met]) -> dict[int, int]:
    """For each document shown, the cue that holds most of what was asked, rarer words first; of equals the earliest."""
    stock = sight.board.stock
    worth: dict[tuple[int, int], float] = {}
    for each in met:
        if each.clause.field and each.aim is None:
            continue
        atoms, documents = meeting.lines_in(sight, each.atoms, shown)
        for document, atom in set(zip(documents.tolist(), atoms.tolist(), strict=True)):
            worth[document, atom] = worth.get((document, atom), 0.0) + each.idf
    best: dict[int, tuple[float, int, int]] = {}
    for (document, atom), value in worth.items():
        key = (-value, int(stock.start_ms[atom]), int(stock.cue[atom]))
        best[document] = min(best.get(document, key), key)
    return {document: key[2] for document, key in best.items()}


def _ways(sight: Sight, shown: Numbers, met: list[Met]) -> dict[int, list[tuple[str, int]]]:
    """For each document shown, the ties to things named in the query."""
    found: dict[int, set[tuple[str, int]]] = {}
    for each in met:
        if each.aim is not None or not len(each.named):
            continue
        ties = sight.ties(*ALONG[each.clause.field])
        for at in np.flatnonzero(np.isin(ties.targets, each.named) & np.isin(ties.documents, shown)).tolist():
            way = (lay.TIES[ties.kinds[at]], int(ties.targets[at]))
            found.setdefault(int(ties.documents[at]), set()).add(way)
    ranks = sight.board.layout.rank
    return {at: sorted(ways, key=lambda way: (way[0], int(ranks[way[1]]))) for at, ways in found.items()}
