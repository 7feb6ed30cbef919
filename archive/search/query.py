"""The query language: words, beginnings*, “phrases”, this | or that, -without, and by: at: of: on: title: for where.

sky: near: who: from: when: in: season: heard: ask for things rather than words (archive.search.aims).

All that is asked must be met, or one of what bars stand between; what a minus stands before must not. Reading never
fails: what is no word is passed over, an open quotation mark is closed at the end, and what is too long is cut and
said to be.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from dataclasses import field as dataclass_field
from itertools import islice

from .words import words_of

MOST_CHARS = 2_000
MOST_WORDS = 40
MOST_BESIDE, MOST_STRETCHES = 3, 16  # words that may be one name in which spaces were put, and how many such are tried
LEAST_LETTERS = 3  # before the star of a beginning

# Field names as they are typed, before a colon.
BY, AT, OF, ON, TITLE = "by", "at", "of", "on", "title"
SKY, NEAR, WHO, FROM, WHEN, IN, SEASON = "sky", "near", "who", "from", "when", "in", "season"
HEARD = "heard"
# What follows these is a value of its own: it is not looked for in what was said.
AIMS = (SKY, NEAR, WHO, FROM, WHEN, IN, SEASON, HEARD)
FIELDS = (BY, AT, OF, ON, TITLE, *AIMS)

BAR = "|"
QUOTES = str.maketrans(dict.fromkeys("“”„‟«»＂", '"'))
PART = re.compile(
    r'(?P<minus>[-−–])?(?:(?P<field>' + "|".join(FIELDS) + r'):\s*)?'
    r'(?:"(?P<phrase>[^"]*)"?(?P<far>\s*,\s*[\d.]+\s*km\b)?'
    r'|(?P<word>\||hip\s+\d{1,9}(?![^\s|])|[α-ω]\s+[a-z]{3}(?![^\s|])|[^\s"|]+))',
    re.IGNORECASE,
)


@dataclass(frozen=True, order=True)
class Clause:
    """One thing asked for. More than one word: they must follow each other. `field` empty: anywhere.

    `is_beginning`: any word that begins with the one word given. `is_exact`: these words and no others that may have
    been meant by them (in quotation marks). `value`: what follows the name of an aim, as typed
    (with the case and signs that the words have lost). `instead`: any of these does as well (they have none
    of their own). `typed` is how it was written; it makes no difference to what is meant.
    """

    field: str
    words: tuple[str, ...]
    is_excluded: bool = False
    is_beginning: bool = False
    is_exact: bool = False
    value: str = ""
    instead: tuple[Clause, ...] = ()
    typed: str = dataclass_field(default="", compare=False)

    @property
    def options(self) -> tuple[Clause, ...]:
        """What each by itself is enough: this and what may be met instead."""
        return self, *self.instead

    @property
    def is_open(self) -> bool:
        """Whether more may be meant than the words themselves."""
        return not (self.field or self.is_beginning or self.is_exact or self.is_excluded)

    @property
    def is_plain_word(self) -> bool:
        return self.is_open and len(self.words) == 1


@dataclass(frozen=True)
class Marks:
    """A set of words: those named, and all that begin so."""

    words: frozenset[str]
    beginnings: tuple[str, ...] = ()

    def __contains__(self, word: object) -> bool:
        return word in self.words or (isinstance(word, str) and word.startswith(self.beginnings))


@dataclass(frozen=True)
class Query:
    """`clauses` in an order of their own, each once. `beside` are plain words that were typed one after the other, two
    and three at a time. `was_cut`: there was more than is looked at.
    """

    clauses: tuple[Clause, ...] = ()
    beside: tuple[tuple[str, ...], ...] = dataclass_field(default=(), compare=False)
    was_cut: bool = False
    is_blank: bool = True  # nothing was typed at all

    @property
    def wanted(self) -> tuple[Clause, ...]:
        return tuple(clause for clause in self.clauses if not clause.is_excluded)

    @property
    def excluded(self) -> tuple[Clause, ...]:
        return tuple(clause for clause in self.clauses if clause.is_excluded)

    @property
    def is_wordless(self) -> bool:
        """Something was typed, and no word is in it."""
        return not self.is_blank and not self.clauses

    @property
    def marks(self) -> Marks:
        """The words to mark in what is found."""
        asked = [one for clause in self.wanted for one in clause.options if one.field not in AIMS]
        whole = frozenset(word for clause in asked if not clause.is_beginning for word in clause.words)
        return Marks(whole, tuple(clause.words[0] for clause in asked if clause.is_beginning))


def read(text: str) -> Query:
    """The query that is meant by what was typed. Never raises."""
    was_cut = len(text) > MOST_CHARS
    groups: list[list[Clause]] = []
    unlike: set[Clause] = set()
    line: list[str] = []
    after_bar = False
    for match in PART.finditer(text[:MOST_CHARS].translate(QUOTES)):
        clause = _clause(match)
        line.append(clause.words[0] if clause is not None and clause.is_plain_word else "")
        if clause is None:
            after_bar = after_bar or match.group() == BAR
            continue
        unlike.add(clause)
        if sum(len(one.words) for one in unlike) > MOST_WORDS:
            was_cut = True
            break
        if after_bar and groups and not clause.is_excluded and not groups[-1][0].is_excluded:
            groups[-1].append(clause)
        else:
            groups.append([clause])
        after_bar = False
    clauses = tuple(sorted({_joined(group) for group in groups}))
    return Query(clauses, _beside(line), was_cut, not text.strip())


def _beside(line: list[str]) -> tuple[tuple[str, ...], ...]:
    """Stretches of plain words; where anything else was typed there is nothing on the line."""
    found = (tuple(line[at : at + count]) for count in range(2, MOST_BESIDE + 1) for at in range(len(line) - count + 1))
    return tuple(islice(dict.fromkeys(words for words in found if all(words)), MOST_STRETCHES))


def _joined(group: list[Clause]) -> Clause:
    """One clause of them all, the same whatever order they were typed in."""
    first, *others = sorted(set(group))
    return replace(first, instead=tuple(others))


def _clause(match: re.Match[str]) -> Clause | None:
    phrase = match["phrase"]
    given = phrase + (match["far"] or "") if phrase is not None else match["word"]
    words = tuple(words_of(given))
    if not words:
        return None
    field = (match["field"] or "").lower()
    is_beginning = phrase is None and given.endswith("*") and len(words) == 1 and field not in AIMS
    return Clause(
        field=field,
        words=words,
        is_excluded=match["minus"] is not None,
        is_beginning=is_beginning and len(words[0]) >= LEAST_LETTERS,
        is_exact=phrase is not None and not field,
        value=" ".join(given.split()) if field in AIMS else "",
        typed=match.group(),
    )
