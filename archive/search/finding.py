"""Answering a query for one viewer: which passages, in which order, and by which way each was reached.

A passage is reached by its own words (title, summary, what is said in it) or by a tie to something met under a name
that was asked for (“told by”, “names the figure”, …). Names are never part of a passage's own text, so hiding the
thing takes the way with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..access import layout as lay
from ..access.gate import Gate
from ..access.indexing import Field
from ..access.layout import Flags, Numbers
from . import aims, facts, index, ranking
from .aims import Aim, Ask, Reached, Role
from .query import AIMS, AT, BY, OF, ON, TITLE, Clause, Query
from .sight import OPEN, TIE_WEIGHT, WEIGHTS, Sight, sight_of
from .stock import NO_NUMBERS, Damaged

FIT, MEANT, ALONG_RECORDING, OLDEST, NEWEST = "fit", "meant", "recording", "oldest", "newest"
SORTS = (FIT, MEANT, ALONG_RECORDING, OLDEST, NEWEST)
TIED, ONLY_WORDS = "tied", "words"
HOWS = (TIED, ONLY_WORDS)
MOST_THINGS = 12

# The ties that each field looks along, from a passage to what it is tied to.
ALONG: dict[str, tuple[str, ...]] = {
    BY: ("told_by", "had_from"),
    AT: ("belongs_to", "recorded_at"),
    OF: ("names_figure", "tells_of"),
    ON: ("topic",),
    "": ("told_by", "had_from", "belongs_to", "recorded_at", "names_figure", "tells_of", "topic"),
    TITLE: (),
}
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
    alone: list[tuple[Clause, int]] = field(default_factory=list)  # how many each clause finds by itself
    hows: list[tuple[str, int]] = field(default_factory=list)
    takes_in: list[tuple[int, Role]] = field(default_factory=list)
    troubles: list[tuple[str, str]] = field(default_factory=list)
    words: frozenset[str] = frozenset()


@dataclass(frozen=True)
class _Met:
    """Where one clause is met by the viewer. `times` are the weighted counts by document."""

    clause: Clause
    atoms: Numbers
    documents: Numbers  # the home of each of `atoms`
    times: NDArray[np.float64]
    named: Flags  # by item number: things whose name it is
    idf: float
    aim: Aim | None = None


def find(gate: Gate, wanted: Wanted, page: int = 1, size: int = 20) -> Found:
    """The page of the answer. Raises index.NotReady where there is no index yet."""
    try:
        return _find(gate, sight_of(gate, index.current()), wanted, page, size)
    except Damaged:
        index.found_damaged()
        return _find(gate, sight_of(gate, index.current()), wanted, page, size)


def _find(gate: Gate, sight: Sight, wanted: Wanted, page: int, size: int) -> Found:
    query = wanted.query
    ask = Ask(gate, sight, lambda clause: _standing(sight, clause))
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
        alone=[] if len(ordered) else [(group[0].clause, int(np.count_nonzero(_held(group)))) for group in groups],
        hows=[(how, int(np.count_nonzero(flags))) for how, flags in hows.items()],
        takes_in=_takes_in(sight, asked),
        troubles=[(each.clause.typed, each.aim.trouble) for each in met if each.aim is not None and each.aim.trouble],
        words=frozenset(word for aim in asked for word in aim.words),
    )


# --- meeting one clause ---


def _meet_any(ask: Ask, clause: Clause) -> _Met:
    return _aimed(ask, clause) if clause.field in AIMS else _meet(ask.sight, clause)


def _aimed(ask: Ask, clause: Clause) -> _Met:
    """An aim restricts; it counts for the order by how much of what was asked a passage is tied to."""
    aim = aims.meet(ask, clause)
    named = np.zeros(ask.sight.board.layout.size, dtype=np.bool_)
    return _Met(clause, aim.said, aim.said_in, aim.answers.astype(np.float64), named, 0.0, aim)


def _meet(sight: Sight, clause: Clause) -> _Met:
    atoms, times = _standing(sight, clause)
    parts = sight.board.stock.part[atoms]
    named = _named(sight, atoms[parts == Field.NAME])
    own = _is_own(parts, clause.field)
    which, documents = sight.homes_of(atoms[own])
    atoms, times = atoms[own][which], times[own][which]
    weighted = times * WEIGHTS[sight.board.stock.part[atoms]]
    counts = np.bincount(documents, weighted, minlength=len(sight.board.numbers)).astype(np.float64)
    counts += TIE_WEIGHT * _tied(sight, named, ALONG[clause.field])
    holding = int(np.count_nonzero(counts[sight.board.is_told]))
    return _Met(clause, atoms, documents, counts, named, ranking.rarity(sight.told[0], holding))


def _is_own(parts: Numbers, where: str) -> Flags:
    """Which atoms count as a document's own words under this field."""
    if where == TITLE:
        return parts == Field.TITLE
    return np.full(len(parts), where == "")


def _standing(sight: Sight, clause: Clause) -> tuple[Numbers, NDArray[np.float64]]:
    """The atoms met that hold the clause's words one after the other, and how often."""
    if len(clause.words) > 1:
        return _following(sight, clause.words)
    stock = sight.board.stock
    found = stock.beginning(clause.words[0]) if clause.is_beginning else stock.postings(clause.words[0])
    seen = sight.is_seen[found.atoms]
    return found.atoms[seen], found.times[seen].astype(np.float64)


def _following(sight: Sight, words: Sequence[str]) -> tuple[Numbers, NDArray[np.float64]]:
    """Phrases: places on the line of all words met (Sight.first_word) from which every word stands in its turn.

    The rarest word is taken first, and nothing more is read once no place is left.
    """
    stock = sight.board.stock
    counts = {word: int(np.count_nonzero(sight.is_seen[stock.postings(word).atoms])) for word in words}
    starts: Numbers | None = None
    for turn in sorted(range(len(words)), key=lambda turn: (counts[words[turn]], turn)):
        if not counts[words[turn]] or (starts is not None and not len(starts)):
            return NO_NUMBERS, np.zeros(0)
        found = stock.positions(words[turn])
        seen = sight.is_seen[found.atoms]
        places = sight.first_word[found.atoms[seen]] + found.times[seen] - turn
        starts = places if starts is None else starts[np.isin(starts, places)]
    atoms, times = np.unique(_home_of(sight, starts), return_counts=True)
    return atoms, times.astype(np.float64)


def _home_of(sight: Sight, places: Numbers | None) -> Numbers:
    """The atoms in which these places of the line lie."""
    atoms, starts = sight.line
    return atoms[np.searchsorted(starts, NO_NUMBERS if places is None else places, side="right") - 1]


def _named(sight: Sight, atoms: Numbers) -> Flags:
    named = np.zeros(sight.board.layout.size, dtype=np.bool_)
    named[sight.board.stock.owner[atoms]] = True
    return named


def _tied(sight: Sight, named: Flags, kinds: Sequence[str]) -> NDArray[np.float64]:
    """By document: how many things of these names it is tied to, where both ends are met."""
    ties = sight.ties(*kinds)
    documents = ties.documents[named[ties.targets]]
    return np.bincount(documents, minlength=len(sight.board.numbers)).astype(np.float64)


# --- putting clauses together ---


def _held(group: list[_Met]) -> Flags:
    """By document: whether any of these is met there."""
    return np.logical_or.reduce([each.times > 0 for each in group])


def _answers(ask: Ask, query: Query, groups: list[list[_Met]]) -> Flags:
    """By document: passages that meet one of each group and nothing that is excluded."""
    sight = ask.sight
    answers = sight.board.is_told & sight.is_met
    if query.is_wordless:
        return np.zeros_like(answers)
    for group in groups:
        answers &= _held(group)
    for clause in query.excluded:
        answers &= _meet_any(ask, clause).times == 0
    return answers


def _scores(sight: Sight, met: list[_Met]) -> NDArray[np.float64]:
    """BM25 of every document. Ties to a named thing restrict where a field asks for them, and do not rank; what an
    aim reaches by a tie comes before what only speaks of it, by how much of what was asked it is tied to.
    """
    scores = np.zeros(len(sight.board.numbers))
    for each in met:
        if each.aim is not None:
            scores += each.aim.tied + each.aim.amounts
        elif each.clause.field in ("", TITLE):
            held = np.flatnonzero((each.times > 0) & sight.board.is_told)
            scores[held] += ranking.weights(each.times[held], sight.lengths[held], sight.told[1], each.idf)
    return scores


def _things(sight: Sight, groups: list[list[_Met]]) -> list[int]:
    """People, places, figures, mirrors and topics that answer themselves, best first."""
    plain = [kept for group in groups if (kept := [each for each in group if each.clause.field == ""])]
    if not plain:
        return []
    count, average = sight.things
    held = sight.is_met & ~sight.board.is_told
    for group in plain:
        held &= _held(group)
    documents = np.flatnonzero(held)
    scores = np.zeros(len(documents))
    for each in (each for group in plain for each in group):
        idf = ranking.rarity(count, int(np.count_nonzero(each.times[~sight.board.is_told])))
        scores += ranking.weights(each.times[documents], sight.lengths[documents], average, idf)
    numbers = sight.board.numbers[documents]
    order = np.lexsort((sight.board.layout.rank[numbers], -scores))
    return [int(number) for number in numbers[order][:MOST_THINGS]]


# --- narrowing ---


def _narrowed(sight: Sight, wanted: Wanted) -> Flags:
    numbers, lies = sight.board.numbers, sight.board.layout
    kept = np.full(len(numbers), not wanted.unknown)
    if wanted.kind:
        kept &= lies.kind[numbers] == lay.code(wanted.kind)
    for thing in wanted.things:
        named = np.zeros(lies.size, dtype=np.bool_)
        named[thing if thing < lies.size else 0] = True
        kept &= _tied(sight, named, ALONG[""]) > 0
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


def _hits(sight: Sight, shown: Numbers, scores: NDArray[np.float64], met: list[_Met]) -> list[Hit]:
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


def _best_cues(sight: Sight, shown: Numbers, met: list[_Met]) -> dict[int, int]:
    """For each document shown, the cue that holds most of what was asked, rarer words first; of equals the earliest."""
    stock = sight.board.stock
    worth: dict[tuple[int, int], float] = {}
    for each in met:
        if each.clause.field and each.aim is None:
            continue
        taken = np.isin(each.documents, shown) & (stock.part[each.atoms] == Field.CUE)
        for document, atom in zip(each.documents[taken].tolist(), each.atoms[taken].tolist(), strict=True):
            worth[document, atom] = worth.get((document, atom), 0.0) + each.idf
    best: dict[int, tuple[float, int, int]] = {}
    for (document, atom), value in worth.items():
        key = (-value, int(stock.start_ms[atom]), int(stock.cue[atom]))
        best[document] = min(best.get(document, key), key)
    return {document: key[2] for document, key in best.items()}


def _ways(sight: Sight, shown: Numbers, met: list[_Met]) -> dict[int, list[tuple[str, int]]]:
    """For each document shown, the ties to things named in the query."""
    found: dict[int, set[tuple[str, int]]] = {}
    for each in met:
        if each.aim is not None:
            continue
        kinds = ALONG[each.clause.field]
        ties = sight.ties(*kinds)
        for at in np.flatnonzero(each.named[ties.targets] & np.isin(ties.documents, shown)).tolist():
            way = (lay.TIES[ties.kinds[at]], int(ties.targets[at]))
            found.setdefault(int(ties.documents[at]), set()).add(way)
    ranks = sight.board.layout.rank
    return {at: sorted(ways, key=lambda way: (way[0], int(ranks[way[1]]))) for at, ways in found.items()}
