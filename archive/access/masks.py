"""Names at rest in texts: every spelling of a resting name is replaced by the community's words.

Spellings are compared as search compares them (archive.timecode.folding): case, marks, apostrophes and glottal
letters do not matter. A spelling counts where it stands as whole words; one that ends in * also where a word only
begins so. An English possessive ('s) after it is left standing.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, lru_cache

from django.utils import translation

from ..models import Name, Rest
from ..timecode.folding import fold, fold_letters, past_marks

POSSESSIVE = re.compile(r"['’][sS](?![^\W_])")


@dataclass(frozen=True)
class RestRule:
    """A name at rest: whose it is, every spelling of it, and what is said instead, by language."""

    person: int
    spellings: tuple[str, ...]
    instead: tuple[tuple[str, str], ...]
    starts_at: datetime
    ends_at: datetime | None

    def runs_at(self, moment: datetime) -> bool:
        return self.starts_at <= moment and (self.ends_at is None or moment < self.ends_at)

    def words(self, language: str = "") -> str:
        """What is said instead in this language; else in the language of the page, else the leading words."""
        for wanted in (language, translation.get_language() or ""):
            for tag, words in self.instead:
                if wanted and tag.split("-")[0].lower() == wanted.split("-")[0].lower():
                    return words
        return self.instead[0][1]


@dataclass(frozen=True)
class Hit:
    start: int
    end: int
    rule: RestRule


@dataclass(frozen=True)
class Mask:
    """The names at rest that count, and what they make of a text."""

    rules: tuple[RestRule, ...]

    @cached_property
    def people(self) -> dict[int, RestRule]:
        return {rule.person: rule for rule in self.rules}

    @cached_property
    def _patterns(self) -> tuple[tuple[str, bool, RestRule], ...]:
        """Folded spellings, whether a word may go on after them, and whose they are; the longest first."""
        found = {
            (fold(spelling.rstrip("*")), spelling.endswith("*"), rule)
            for rule in self.rules
            for spelling in rule.spellings
        }
        kept = [each for each in found if each[0]]
        return tuple(sorted(kept, key=lambda each: (-len(each[0]), each[0], not each[1], each[2].person)))

    def touches(self, text: str) -> bool:
        return bool(self._hits(text))

    def text(self, text: str, language: str = "") -> str:
        """The text with every resting name replaced."""
        for hit in reversed(self._hits(text)):
            text = text[: hit.start] + hit.rule.words(language) + text[hit.end :]
        return text

    def family(self, person: int, text: str) -> str:
        """A person's family, which is not said of them while their name rests: it is most often half of the name."""
        return "" if person in self.people else self.text(text)

    def _hits(self, text: str) -> list[Hit]:
        if not self._patterns or not text:
            return []
        quick = fold(text)
        if not any(spelling in quick for spelling, _goes_on, _rule in self._patterns):
            return []
        folded, came_from = _folded(text)
        hits: list[Hit] = []
        for spelling, goes_on, rule in self._patterns:
            at = folded.find(spelling)
            while at >= 0:
                hit = _whole(text, folded, came_from, at, at + len(spelling), goes_on, rule)
                if hit is not None and not any(hit.start < each.end and each.start < hit.end for each in hits):
                    hits.append(hit)
                at = folded.find(spelling, at + 1)
        return sorted(hits, key=lambda hit: hit.start)

    def kept(self, original: str, given: str) -> str:
        """What to keep where a page showed `original` masked and was sent back as `given`: no name is lost by that.

        Where only other words were changed, each of the words that stand for a name becomes that name again.
        """
        hits = self._hits(original)
        if not hits or given == original:
            return given
        if given == self.text(original):
            return original
        names = [(hit.rule.words(), original[hit.start : hit.end]) for hit in hits]
        at = 0
        for words, name in names:
            found = given.find(words, at)
            if found >= 0:
                given = given[:found] + name + given[found + len(words) :]
                at = found + len(name)
        return given


NONE = Mask(())


def _whole(
    text: str, folded: str, came_from: list[int], start: int, end: int, goes_on: bool, rule: RestRule
) -> Hit | None:
    """The stretch of the text as written, if whole words stand there."""
    if start > 0 and _is_letter(folded[start - 1]):
        return None
    first, last = came_from[start], past_marks(text, came_from[end - 1] + 1)
    if end < len(folded) and _is_letter(folded[end]) and not POSSESSIVE.match(text, last):
        if not goes_on:
            return None
        while end < len(folded) and _is_letter(folded[end]):
            end += 1
        last = past_marks(text, came_from[end - 1] + 1)
    return Hit(first, last, rule)


def _is_letter(letter: str) -> bool:
    return letter.isalnum() or unicodedata.category(letter)[0] == "M"


@lru_cache(maxsize=4096)
def _folded(text: str) -> tuple[str, list[int]]:
    """The folded text with single spaces, and for each of its characters the offset of the one it came from."""
    letters: list[str] = []
    came_from: list[int] = []
    for offset, part in enumerate(fold_letters(text)):
        for letter in part:
            blank = letter.isspace()
            if blank and letters and letters[-1] == " ":
                continue
            letters.append(" " if blank else letter)
            came_from.append(offset)
    return "".join(letters), came_from


# --- reading them ---


def read() -> tuple[RestRule, ...]:
    """Every name at rest that is not lifted, and that has not run out as far as the search index knows."""
    rows = list(Rest.ungated.filter(lifted_by__isnull=True, is_settled=False))
    return tuple(rule_of(row) for row in rows)


def rule_of(row: Rest) -> RestRule:
    names = Name.ungated.filter(item=row.person_id).order_by("position", "pk").values_list("text", flat=True)
    return RestRule(
        person=row.person_id,
        spellings=tuple(dict.fromkeys([*names, *row.spellings])),
        instead=tuple((str(tag), str(words)) for tag, words in row.instead),
        starts_at=row.starts_at,
        ends_at=row.ends_at,
    )


def at(rules: Iterable[RestRule], moment: datetime) -> Mask:
    """The mask for what is shown at this moment."""
    running = tuple(rule for rule in rules if rule.runs_at(moment))
    return Mask(running) if running else NONE


def standing(rules: Iterable[RestRule] | None = None) -> Mask:
    """The mask for what is kept ready (search index, lists of names, order by name): from the decision on.

    It hides a little longer than what is shown does; never shorter.
    """
    found = tuple(rules) if rules is not None else read()
    return Mask(found) if found else NONE
