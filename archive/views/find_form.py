"""What the find page is asked, read from its address: words, and what narrows them. Kept searches are read alike."""

from __future__ import annotations

from dataclasses import dataclass

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from ..access import found
from ..access.dates import days_of
from ..access.gate import Gate
from ..search import query
from ..search.counting import ALONG_RECORDING, FACETS, FIT, MEANT, NEWEST, OLDEST, SORTS
from ..search.finding import Wanted

MOST_MARKS = 12
KIND_WORDS = {"segment": gettext_lazy("Segments"), "recording": gettext_lazy("Recordings")}
TYPED = ("q", "since", "until", "sort")
CHOSEN = ("kind", "language", "heard", "how")


def check_date(text: str) -> None:
    if days_of(text) is None:
        raise ValidationError(
            _("“%(text)s” is not a date. Write a year, 1962-07 or 1962-07-14, or 196X for the 1960s."),
            params={"text": text},
        )


class FindForm(forms.Form):
    q = forms.CharField(label=gettext_lazy("Words, a name, a star or a place"), required=False, strip=False)
    since = forms.CharField(
        label=gettext_lazy("Told from"),
        required=False,
        validators=[check_date],
        help_text=gettext_lazy("A year or a date, like 1962 or 1962-07-14."),
    )
    until = forms.CharField(label=gettext_lazy("Told until"), required=False, validators=[check_date])
    sort = forms.ChoiceField(
        label=gettext_lazy("In order of"),
        required=False,
        choices=[
            (FIT, gettext_lazy("fit")),
            (MEANT, gettext_lazy("how much of the figure is meant")),
            (ALONG_RECORDING, gettext_lazy("recording")),
            (OLDEST, gettext_lazy("date told, oldest first")),
            (NEWEST, gettext_lazy("date told, newest first")),
        ],
    )

    def day(self, name: str, last: bool) -> int | None:
        days = days_of(self.cleaned_data.get(name, ""))
        return days[last] if days else None


@dataclass(frozen=True)
class Marks:
    """What the results are narrowed by: things by facet (their numbers), and what the form has to keep of it."""

    things: dict[str, list[int]]
    kept: list[tuple[str, str]]
    is_unknown: bool

    @property
    def numbers(self) -> tuple[int, ...]:
        return tuple(number for numbers in self.things.values() for number in numbers)


@dataclass(frozen=True)
class Question:
    """All that was asked; `wanted` is what the search takes."""

    form: FindForm
    asked: query.Query
    marks: Marks
    wanted: Wanted


def question(gate: Gate, given: QueryDict, without: frozenset[int] = frozenset()) -> Question:
    """What an address asks; `without` are item numbers to leave out."""
    typed = {name: given.get(name, "") for name in TYPED}
    form = FindForm(typed | {"sort": typed["sort"] if typed["sort"] in SORTS else FIT})
    form.is_valid()
    asked, marks = query.read(typed["q"]), _marks(gate, given)
    return Question(form, asked, marks, _wanted(form, asked, marks, given, without))


def canonical(given: QueryDict) -> str:
    """The same question as one text, whatever order its address had it in, without the page and what is new."""
    kept = QueryDict(mutable=True)
    for name in (*TYPED, *FACETS, *CHOSEN):
        values = [value for value in given.getlist(name) if value]
        if values and (name, values) != ("sort", [FIT]):
            kept.setlist(name, sorted(set(values)) if name in FACETS else values[-1:])
    return kept.urlencode()


def _marks(gate: Gate, given: QueryDict) -> Marks:
    kept = [(name, ref) for name in FACETS for ref in dict.fromkeys(given.getlist(name))][:MOST_MARKS]
    things: dict[str, list[int]] = {}
    is_unknown = False
    for name, ref in kept:
        number = found.number_of(gate, name, ref)
        is_unknown |= number is None
        if number is not None:
            things.setdefault(name, []).append(number)
    others = [(name, value) for name in CHOSEN if isinstance(value := given.get(name), str) and value]
    return Marks(things, kept + others, is_unknown)


def _wanted(form: FindForm, asked: query.Query, marks: Marks, given: QueryDict, without: frozenset[int]) -> Wanted:
    kind = given.get("kind", "")
    return Wanted(
        query=asked,
        kind=kind if kind in KIND_WORDS else "",
        things=marks.numbers,
        language=given.get("language", ""),
        first_day=form.day("since", False),
        last_day=form.day("until", True),
        only_heard=bool(given.get("heard")),
        how=given.get("how", ""),
        unknown=marks.is_unknown,
        without=without,
        sort=form.data["sort"],
    )
