"""Answering a query for one viewer: which passages, in which order, and by which way each was reached.

A passage is reached by its own words (title, summary, what is said in it) or by a tie to something met under a name
that was asked for (“told by”, “names the figure”, …). Names are never part of a passage's own text, so hiding the
thing takes the way with it.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..access import layout as lay
from ..access.gate import Gate
from ..access.layout import Flags, Numbers
from . import aims, engine, facts, meeting, ranking
from .aims import Aim, Ask, Reached, Role
from .meeting import ALONG, Met, tied
from .query import AIMS, Clause, Query
from .sight import OPEN, Sight, sight_of
from .stock import Damaged

FIT, MEANT, ALONG_RECORDING, OLDEST, NEWEST = "fit", "meant", "recording", "oldest", "newest"
SORTS = (FIT, MEANT, ALONG_RECORDING, OLDEST, NEWEST)
TIED, ONLY_WORDS = "tied", "words"
HOWS = (TIED, ONLY_WORDS)
MOST_THINGS = 12

# What the results can be narrowed by, and the ties that each counts.
FACETS: dict[str, tuple[str, ...]] = {
    "topic": ("topic",),
    "person": ("told_by", "had_from", "tells_of"),
    "place": ("belongs_to", "recorded_at"),
    "figure": ("names_figure",),
}


@dataclass(frozen=True)
class Wanted:
    """What is asked: the query, and what narrows it. `things` are item numbers, all of which must be tied.

    `how`: only passages that are tied to what an aim asks for, or only those that speak of it in words. `unknown`: one
    of the narrowings leads nowhere for this viewer, so nothing can answer.
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
    try:
        return _find(gate, sight_of(gate, engine.current()), wanted, page, size)
    except Damaged:
        engine.found_damaged()
        return _find(gate, sight_of(gate, engine.current()), wanted, page, size)


def _find(gate: Gate, sight: Sight, wanted: Wanted, page: int, size: int) -> Found:
    query = wanted.query
    ask = Ask(gate, sight, lambda clause: meeting.standing(sight, clause))
    groups = [[_meet_any(ask, option) for option in clause.options] for clause in query.wanted]
    met = [each for group in groups for each in group]
    asked = [each.aim for each in met if each.aim is not None]
    answers = _answers(ask, query, groups)
    scores = _scores(sight, met)
    things = [] if query.is_wordless else _things(sight, groups)
    answers &= _narrowed(sight, wanted)
    hows = _hows(asked, answers)
    if wanted.how in hows:
        answers = hows[wanted.how]
    documents = np.flatnonzero(answers)
    ordered = _ordered(sight, documents, scores, wanted.sort, _amounts(sight, asked))
    pages = max(1, -(-len(ordered) // size))
    page = min(max(1, page), pages)
    shown = ordered[(page - 1) * size : page * size]
    return Found(
        total=len(ordered),
        page=page,
        pages=pages,
        hits=_hits(sight, shown, scores, met),
        things=things,
        facets=_facets(sight, answers),
        kinds=_kinds(sight, documents),
        languages=_languages(sight, documents),
        heard=int(np.count_nonzero(_heard(sight)[documents])),
        alone=[] if len(ordered) else _alone(sight, groups),
        hows=[(how, int(np.count_nonzero(flags))) for how, flags in hows.items()],
        takes_in=_takes_in(sight, asked),
        troubles=[(each.clause.typed, each.aim.trouble) for each in met if each.aim is not None and each.aim.trouble],
        words=frozenset(word for aim in asked for word in aim.words),
    )


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
        kept &= facts.language(sight) == _language_code(sight, wanted.language)
    if wanted.first_day is not None or wanted.last_day is not None:
        kept &= facts.told_between(sight, wanted.first_day, wanted.last_day)
    if wanted.only_heard:
        kept &= _heard(sight)
    return kept


def _language_code(sight: Sight, language: str) -> int:
    languages = sight.board.layout.languages
    return languages.index(language) + 1 if language in languages else -1


def _heard(sight: Sight) -> Flags:
    """By document: passages with sound that this viewer may hear."""
    numbers, lies = sight.board.numbers, sight.board.layout
    whole = lay.offered_whole(lies, sight.level, sight.trusted)[numbers]
    segment = (lies.kind[numbers] == lay.code("segment")) & (sight.level[numbers] >= OPEN)
    return (whole | segment) & ~lay.silent(lies, sight.level, numbers)


# --- order, counts and details ---


def _ordered(
    sight: Sight, documents: Numbers, scores: NDArray[np.float64], sort: str, amounts: NDArray[np.float64]
) -> Numbers:
    """By fit, by how much is meant, by recording or by date told; equal ones by date, then name, then ref.

    What has no date comes last, and so does what lies in no recording that is met.
    """
    lies, numbers = sight.board.layout, sight.board.numbers[documents]
    days = facts.first_day(sight)[documents]
    days = np.where(days == 0, np.iinfo(np.int64).max if sort != NEWEST else np.iinfo(np.int64).min, days)
    ranks = lies.rank[numbers]
    known = facts.knows_recording(sight)[documents]
    holders = np.where(known, lies.rank[lies.holder[numbers]], np.iinfo(np.int64).max)
    starts = np.where(known, lies.start_ms[numbers], 0)
    keys = {
        FIT: (ranks, days, -scores[documents]),
        MEANT: (ranks, days, -scores[documents], -amounts[documents]),
        ALONG_RECORDING: (ranks, starts, holders),
        OLDEST: (ranks, days),
        NEWEST: (ranks, -days) if len(days) else (ranks, days),
    }[sort]
    return documents[np.lexsort(keys)]


def _amounts(sight: Sight, asked: list[Aim]) -> NDArray[np.float64]:
    """By document: how much of what was asked is meant, by the aim that asks for most."""
    return np.max([np.zeros(len(sight.board.numbers)), *(aim.amounts for aim in asked)], axis=0)


def _hows(asked: list[Aim], answers: Flags) -> dict[str, Flags]:
    """The answers that are tied to what every aim asks for, and those that only speak of it; nothing without aims."""
    if not any(len(aim.said) for aim in asked):
        return {}
    tied = np.logical_and.reduce([answers, *(aim.tied for aim in asked)])
    return {TIED: tied, ONLY_WORDS: answers & ~tied}


def _takes_in(sight: Sight, asked: list[Aim]) -> list[tuple[int, Role]]:
    """The things that the aims stand for, the most direct first; each with its first role."""
    roles: dict[int, Role] = {}
    for aim in asked:
        roles = aim.roles | roles
    ranks = sight.board.layout.rank
    order = sorted(roles, key=lambda one: (aims.ROLES.index(roles[one].role), -roles[one].amount, int(ranks[one])))
    return [(number, roles[number]) for number in order]


def _facets(sight: Sight, answers: Flags) -> dict[str, list[tuple[int, int]]]:
    """For each facet, the things that passages among the answers are tied to, and how many passages each."""
    ranks = sight.board.layout.rank
    found = {}
    for name, kinds in FACETS.items():
        ties = sight.ties(*kinds)
        taken = answers[ties.documents]
        numbers, counts = _counted_once(ties.targets[taken], ties.documents[taken], len(answers))
        order = np.lexsort((ranks[numbers], -counts))
        found[name] = list(zip(numbers[order].tolist(), counts[order].tolist(), strict=True))
    return found


def _counted_once(targets: Numbers, documents: Numbers, count: int) -> tuple[Numbers, Numbers]:
    """The targets, and how many different documents each stands beside."""
    pairs = np.unique(targets * count + documents)
    return np.unique(pairs // max(count, 1), return_counts=True)


def _kinds(sight: Sight, documents: Numbers) -> list[tuple[str, int]]:
    kinds = sight.board.layout.kind[sight.board.numbers[documents]]
    counted = [(kind, int(np.count_nonzero(kinds == lay.code(kind)))) for kind in ("segment", "recording")]
    return [(kind, count) for kind, count in counted if count]


def _languages(sight: Sight, documents: Numbers) -> list[tuple[str, int]]:
    codes, counts = np.unique(facts.language(sight)[documents], return_counts=True)
    names = sight.board.layout.languages
    found = [(names[code - 1], int(count)) for code, count in zip(codes, counts, strict=True) if code]
    return sorted(found, key=lambda one: (-one[1], one[0]))


def _hits(sight: Sight, shown: Numbers, scores: NDArray[np.float64], met: list[Met]) -> list[Hit]:
    cues = _best_cues(sight, shown, met)
    ways = _ways(sight, shown, met)
    numbers = sight.board.numbers
    asked = [each.aim for each in met if each.aim is not None]
    return [
        Hit(
            int(numbers[at]),
            float(scores[at]),
            cues.get(at, 0),
            tuple(ways.get(at, ())),
            tuple(dict.fromkeys(way for aim in asked for way in aim.ways(at))),
        )
        for at in shown.tolist()
    ]


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
