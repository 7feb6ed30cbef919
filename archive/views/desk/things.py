"""People, places, sky figures, topics and mirrors: writing them in and saying them better."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from ...access import desk, making, met, showing
from ...access.gate import Gate
from ...access.writing import NameGiven, Overtaken
from ...models import Figure, Item, Kind, Level, Mirror, Person, Place, Shape, TieKind, Topic
from ...models.tags import (
    Caution,
    validate_event_date,
    validate_language_tag,
    validate_latitude,
    validate_longitude,
)
from ...sky import load_catalogue
from ..loading import GatedRequest, fetch, for_role
from ..pages.parts import Shown
from . import conflicts
from .bring import written
from .drawing import crumbs, draw, posted
from .fields import AsksForNames, NamesField, read_lines, read_stars

EMPTY_ROWS = 3
MOST_ROWS = 60
EMPTY_PAIRS = 3
ABOUT = forms.Textarea(attrs={"rows": 4})


# --- rows of names, and of pairs ---


class Rows:
    """Lines of a form that all have the same boxes; empty ones are passed over, and some are always offered.

    Boxes are named `prefix-N-box`. `read` gets a line's texts by box and returns what it stands for.
    """

    def __init__(
        self, prefix: str, boxes: Sequence[str], data: Any, initial: Sequence[dict[str, str]], empty: int
    ) -> None:
        self.prefix, self.boxes = prefix, boxes
        self.wrong: dict[int, list[str]] = {}
        filled = list(initial) if data is None else self._typed(data)
        self.lines = filled + [dict.fromkeys(boxes, "") for _line in range(empty)]
        self.filled = len(filled)

    def _typed(self, data: Any) -> list[dict[str, str]]:
        lines = []
        for at in range(MOST_ROWS):
            line = {box: data.get(f"{self.prefix}-{at}-{box}", "").strip() for box in self.boxes}
            if line[self.boxes[0]] or line[self.boxes[1]]:
                lines.append(line)
        return lines

    def read(self, one: Callable[[dict[str, str]], Any]) -> list[Any]:
        found = []
        for at, line in enumerate(self.lines[: self.filled]):
            try:
                found.append(one(line))
            except ValidationError as error:
                self.wrong[at] = error.messages
        return found

    def shown(self) -> list[Shown]:
        return [
            {
                "number": at + 1,
                "values": line,
                "ids": {box: f"{self.prefix}-{at}-{box}" for box in self.boxes},
                "problems": self.wrong.get(at, []),
            }
            for at, line in enumerate(self.lines)
        ]


class NamesMixin(AsksForNames):
    """Names in several languages, each with variants: the first of a language is the one that leads."""

    wants_names = True

    def __init__(self, gate: Gate, data: Any = None, *, names: Sequence[dict[str, str]] = (), **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.gate = gate
        self.again = {"names": names}
        self.names = Rows("name", ("text", "language", "leads"), data, names, EMPTY_ROWS)
        self.know(gate)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        given["names"] = self.names.read(_name)
        if self.names.wrong:
            self.add_error(None, _("A name wants mending; it is marked below."))
        elif self.wants_names and not given["names"]:
            self.add_error(None, _("Write at least one name."))
        self.ask_about_new_names(given)
        return given

    def ties(self) -> making.Ties:
        return {}

    def given(self) -> dict[str, Any]:
        """What the model keeps, by its columns."""
        return {}


def _name(line: dict[str, str]) -> NameGiven:
    if not line["text"]:
        raise ValidationError(_("A name is empty. Write it, or take its language away."))
    if len(line["text"]) > 200:
        raise ValidationError(_("A name is longer than 200 letters."))
    if not line["language"]:
        raise ValidationError(_("Say which language “%(name)s” is in.") % {"name": line["text"][:60]})
    validate_language_tag(line["language"])
    return NameGiven(line["language"], line["text"], bool(line["leads"]))


SURE = gettext_lazy("The new names are meant as they are written.")


class PersonForm(NamesMixin):
    family = forms.CharField(label=gettext_lazy("Family"), required=False, max_length=120)
    born = forms.CharField(
        label=gettext_lazy("Born"), required=False, max_length=40, validators=[validate_event_date],
        help_text=gettext_lazy("Like 1931-04, 1931, 1931~ (about) or 193X."),
    )
    died = forms.CharField(label=gettext_lazy("Died"), required=False, max_length=40, validators=[validate_event_date])
    about = forms.CharField(label=gettext_lazy("About"), required=False, max_length=20_000, widget=ABOUT)
    learned_from = NamesField(
        Kind.PERSON, makes_new=True, required=False, label=gettext_lazy("Learned from"),
        help_text=gettext_lazy("In any spelling that is known; a name that is not known yet is written in."),
    )
    sure = forms.BooleanField(required=False, label=SURE)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def ties(self) -> making.Ties:
        return {TieKind.LEARNED_FROM: self.cleaned_data["learned_from"]}

    def given(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in ("family", "born", "died", "about")}


class PlaceForm(NamesMixin):
    nature = forms.CharField(
        label=gettext_lazy("What kind of place"), required=False, max_length=60,
        help_text=gettext_lazy("Headland, spring, house …"),
    )
    latitude_deg = forms.FloatField(
        label=gettext_lazy("Latitude"), validators=[validate_latitude],
        help_text=gettext_lazy("Degrees (WGS 84), north is positive: 46.1234"),
    )
    longitude_deg = forms.FloatField(
        label=gettext_lazy("Longitude"), validators=[validate_longitude],
        help_text=gettext_lazy("Degrees (WGS 84), east is positive: -38.5678"),
    )
    cell_deg = forms.FloatField(
        label=gettext_lazy("Size of the cell shown to others"), initial=0.1, min_value=0.01, max_value=5,
        help_text=gettext_lazy("Degrees. Whoever may not know the spot is shown this cell, always the same one."),
    )
    caution = forms.ChoiceField(
        label=gettext_lazy("Caution"), required=False, choices=[("", gettext_lazy("none")), *Caution.choices]
    )
    about = forms.CharField(label=gettext_lazy("About"), required=False, max_length=20_000, widget=ABOUT)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def given(self) -> dict[str, Any]:
        names = ("nature", "latitude_deg", "longitude_deg", "cell_deg", "caution", "about")
        return {name: self.cleaned_data[name] for name in names}


class FigureForm(NamesMixin):
    shape = forms.ChoiceField(label=gettext_lazy("Shape"), choices=Shape.choices)
    stars = forms.CharField(
        label=gettext_lazy("Stars"), required=False, max_length=5000, widget=forms.Textarea(attrs={"rows": 3}),
        help_text=gettext_lazy("Hipparcos numbers, with spaces between them. Those of the lines below need not be "
                               "written here too."),
    )
    lines = forms.CharField(
        label=gettext_lazy("Lines"), required=False, max_length=5000, widget=forms.Textarea(attrs={"rows": 4}),
        help_text=gettext_lazy("Each line of text is one run of stars, joined in that order: 11767 85822 82080"),
    )
    about = forms.CharField(label=gettext_lazy("About"), required=False, max_length=20_000, widget=ABOUT)
    part_of = NamesField(
        Kind.FIGURE, required=False, label=gettext_lazy("Part of"),
        help_text=gettext_lazy("A figure that is known already."),
    )
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def clean_stars(self) -> list[int]:
        return read_stars(self.cleaned_data["stars"])

    def clean_lines(self) -> list[list[int]]:
        return read_lines(self.cleaned_data["lines"])

    def clean(self) -> dict[str, Any]:
        given = super().clean()
        if "stars" in given and "lines" in given:
            joined = [hip for run in given["lines"] for hip in run]
            given["all_stars"] = list(dict.fromkeys([*given["stars"], *joined]))
            if not given["all_stars"]:
                self.add_error("stars", _("A figure needs at least one star."))
        return given

    def ties(self) -> making.Ties:
        return {TieKind.PART_OF: self.cleaned_data["part_of"]}

    def given(self) -> dict[str, Any]:
        given = self.cleaned_data
        return {"shape": given["shape"], "stars": given["all_stars"], "lines": given["lines"], "about": given["about"]}


class TopicForm(NamesMixin):
    broader = NamesField(
        Kind.TOPIC, makes_new=True, required=False, label=gettext_lazy("Broader topics"),
        help_text=gettext_lazy("In any spelling that is known; a name that is not known yet is written in."),
    )
    caution = forms.ChoiceField(
        label=gettext_lazy("Caution"), required=False, choices=[("", gettext_lazy("none")), *Caution.choices]
    )
    about = forms.CharField(label=gettext_lazy("About"), required=False, max_length=20_000, widget=ABOUT)
    sure = forms.BooleanField(required=False, label=SURE)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def clean(self) -> dict[str, Any]:
        given = super().clean()
        if any(len(name.text) > 100 for name in given["names"]):
            self.add_error(None, _("A topic's name is longer than 100 letters."))
        return given

    def ties(self) -> making.Ties:
        return {TieKind.NARROWER_THAN: self.cleaned_data["broader"]}

    def given(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in ("caution", "about")}


class MirrorForm(NamesMixin):
    wants_names = False
    title = forms.CharField(label=gettext_lazy("Title"), max_length=200)
    figure = NamesField(Kind.FIGURE, most=1, label=gettext_lazy("The figure in the sky"),
                        help_text=gettext_lazy("In any spelling that is known."))
    about = forms.CharField(
        label=gettext_lazy("Who says so, and how"), required=False, max_length=20_000, widget=ABOUT
    )
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(
        self, gate: Gate, data: Any = None, *, pairs: Sequence[dict[str, str]] = (), **kwargs: Any
    ) -> None:
        super().__init__(gate, data, **kwargs)
        self.again |= {"pairs": pairs}
        self.places = desk.known(gate, Kind.PLACE)
        self.pairs = Rows("pair", ("place", "star"), data, pairs, EMPTY_PAIRS)

    @property
    def known(self) -> list[desk.Known]:
        return [*super().known, self.places]

    def clean(self) -> dict[str, Any]:
        given = super().clean()
        given["pairs"] = self.pairs.read(self._pair)
        if self.pairs.wrong:
            self.add_error(None, _("A pair wants mending; it is marked below."))
        return given

    def _pair(self, line: dict[str, str]) -> tuple[int, int]:
        if not line["place"] or not line["star"]:
            raise ValidationError(_("A pair needs both: a place and a star."))
        field = NamesField(Kind.PLACE, most=1)
        field.known = self.places
        place = field.clean([line["place"]])[0]
        stars = read_stars(line["star"])
        if len(stars) != 1:
            raise ValidationError(_("Give each place one star."))
        return place.number, stars[0]

    def given(self) -> dict[str, Any]:
        return {"title": self.cleaned_data["title"], "about": self.cleaned_data["about"]}


# --- what stands, as it would be typed ---


def _person(gate: Gate, row: Item) -> Shown:
    shown = showing.person(gate, row)  # type: ignore[arg-type]
    ties = showing.ties(gate, row.pk)
    return {
        "family": shown.family,
        "born": shown.born,
        "died": shown.died,
        "about": shown.about,
        "learned_from": written(gate, Kind.PERSON, showing.others(ties, TieKind.LEARNED_FROM, True)),
    }


def _place(gate: Gate, row: Item) -> Shown:
    names = ("nature", "latitude_deg", "longitude_deg", "cell_deg", "caution", "about")
    return {name: getattr(row, name) for name in names}


def figure_typed(gate: Gate, row: Item) -> Shown:
    shown = showing.figure(gate, row)  # type: ignore[arg-type]
    ties = showing.ties(gate, row.pk)
    return {
        "shape": shown.shape,
        "stars": " ".join(map(str, shown.stars)),
        "lines": "\n".join(" ".join(map(str, run)) for run in shown.lines),
        "about": shown.about,
        "part_of": written(gate, Kind.FIGURE, showing.others(ties, TieKind.PART_OF, True)),
    }


def _topic(gate: Gate, row: Item) -> Shown:
    ties = showing.ties(gate, row.pk)
    return {
        "caution": row.caution,  # type: ignore[attr-defined]
        "about": row.about,  # type: ignore[attr-defined]
        "broader": written(gate, Kind.TOPIC, showing.others(ties, TieKind.NARROWER_THAN, True)),
    }


def _mirror(gate: Gate, row: Item) -> Shown:
    shown = showing.mirror(gate, row)  # type: ignore[arg-type]
    figures = [shown.figure] if shown.figure else []
    return {
        "title": row.title,  # type: ignore[attr-defined]
        "about": shown.about,
        "figure": written(gate, Kind.FIGURE, figures),
    }


def names_typed(gate: Gate, row: Item) -> list[dict[str, str]]:
    return [
        {"text": one.text, "language": one.language, "leads": "yes" if one.is_preferred else ""}
        for one in showing.spellings(gate, row.pk)
    ]


def _pairs(gate: Gate, row: Item) -> list[dict[str, str]]:
    known = desk.known(gate, Kind.PLACE)
    pairs = showing.mirror(gate, row).pairs  # type: ignore[arg-type]
    return [{"place": known.written(pair.place.label), "star": str(pair.hip)} for pair in pairs]


class Sort:
    """One kind of thing: its model, its form, and how a row of it is typed."""

    def __init__(
        self, model: type[Item], form: type[NamesMixin], typed: Callable[[Gate, Item], Shown], new: Any, old: Any
    ) -> None:
        self.model, self.form, self.typed, self.new, self.old = model, form, typed, new, old
        self.kind = model.KIND


SORTS = {
    Kind.PERSON: Sort(Person, PersonForm, _person, gettext_lazy("Add a person"), gettext_lazy("Edit a person")),
    Kind.PLACE: Sort(Place, PlaceForm, _place, gettext_lazy("Add a place"), gettext_lazy("Edit a place")),
    Kind.FIGURE: Sort(
        Figure, FigureForm, figure_typed, gettext_lazy("Add a sky figure"), gettext_lazy("Edit a sky figure")
    ),
    Kind.TOPIC: Sort(Topic, TopicForm, _topic, gettext_lazy("Add a topic"), gettext_lazy("Edit a topic")),
    Kind.MIRROR: Sort(Mirror, MirrorForm, _mirror, gettext_lazy("Add a mirror"), gettext_lazy("Edit a mirror")),
}


# --- pages ---


@for_role("is_archivist")
@require_http_methods(["GET", "HEAD", "POST"])
def add(request: GatedRequest, kind: Kind) -> HttpResponse:
    sort = SORTS[kind]
    spoken = showing.house().language
    names = [{"text": "", "language": spoken, "leads": "yes"}] if sort.form.wants_names else []
    form = sort.form(request.gate, posted(request), names=names)
    if request.method == "POST" and form.is_valid():
        try:
            made = _add(request, sort, form)
            words = _("“%(name)s” is written in. It waits for the council; until then only you meet it.")
            messages.success(request, words % {"name": _called(form)})
            return redirect("edit", kind=made.kind, ref=made.ref)
        except ValidationError as error:
            form.add_error(None, error.messages)
    return _page(request, sort, form, str(sort.new))


def _add(request: GatedRequest, sort: Sort, form: NamesMixin) -> Item:
    given = form.cleaned_data
    if isinstance(form, MirrorForm):
        return making.add_mirror(request.user, given["figure"][0].number, given["pairs"], **form.given())
    return making.add(request.user, sort.kind, given["names"], form.ties(), **form.given())


def _called(form: NamesMixin) -> str:
    given = form.cleaned_data
    return str(given["title"]) if "title" in given else str(given["names"][0].text)


@for_role("is_archivist")
@require_http_methods(["GET", "HEAD", "POST"])
def edit(request: GatedRequest, kind: Kind, ref: str) -> HttpResponse:
    sort = SORTS[kind]
    row = fetch(request, sort.model, ref, Level.OPEN)
    current = sort.typed(request.gate, row) | {"version": row.version}
    form = _form(request, sort, row, current)
    conflict = None
    if request.method == "POST" and form.is_valid():
        try:
            _change(request, row, form)
            messages.success(request, _("“%(name)s” is saved.") % {"name": _called(form)})
            return redirect(f"edit_{kind}", ref=ref)
        except Overtaken:
            again, conflict = conflicts.meet(form, current, desk.last_saved_by(row))
            conflict["rows"] += names_differ(form, names_typed(request.gate, row))
            form = again
        except ValidationError as error:
            form.add_error(None, error.messages)
    met.note(request.gate, row, "desk")
    return _page(request, sort, form, str(sort.old), row, conflict)


def _form(request: GatedRequest, sort: Sort, row: Item, current: Shown) -> NamesMixin:
    kwargs: dict[str, Any] = {"initial": current}
    if sort.kind == Kind.MIRROR:
        kwargs["pairs"] = _pairs(request.gate, row)
    else:
        kwargs["names"] = names_typed(request.gate, row)
    return sort.form(request.gate, posted(request), **kwargs)


def _change(request: GatedRequest, row: Item, form: NamesMixin) -> None:
    given = form.cleaned_data
    version = given["version"] or 0
    if isinstance(form, MirrorForm) and isinstance(row, Mirror):
        making.change_mirror(
            request.gate, row, given["figure"][0].number, given["pairs"], version, **form.given()
        )
        return
    making.change(request.gate, row, given["names"], version, form.ties(), **form.given())


def names_differ(form: NamesMixin, saved: list[dict[str, str]]) -> list[list[Shown]]:
    def spelled(lines: Sequence[dict[str, str]]) -> str:
        return "; ".join(f"{line['text']} ({line['language']})" for line in lines if line["text"])

    typed = spelled(form.names.lines)
    if not form.wants_names or typed == spelled(saved):
        return []
    return [[{"value": _("Names")}, {"value": spelled(saved)}, {"value": typed}]]


def _page(
    request: GatedRequest, sort: Sort, form: NamesMixin, title: str, row: Item | None = None,
    conflict: Shown | None = None,
) -> HttpResponse:
    return draw(
        request,
        "desk/thing.html",
        {
            "crumbs": crumbs(title),
            "title": title,
            "form": form,
            "conflict": conflict,
            "known": form.known,
            "names": form.names.shown() if form.wants_names else [],
            "pairs": form.pairs.shown() if isinstance(form, MirrorForm) else [],
            "stars": _star_names(form),
            "page_url": reverse(sort.kind, args=[row.ref]) if row else "",
        },
    )


def _star_names(form: NamesMixin) -> list[tuple[int, str]]:
    """Stars with a name, offered while a number is typed."""
    if not isinstance(form, MirrorForm):
        return []
    stars = load_catalogue()
    named = [(hip, one.name) for hip, one in stars.names.items() if one.name]
    return sorted(named, key=lambda pair: pair[1].casefold())


def _routes() -> list[URLPattern]:
    plural = {Kind.PERSON: "people"}
    routes = []
    for kind in SORTS:
        base = f"desk/{plural.get(kind, kind + 's')}"
        routes.append(path(f"{base}/add/", add, {"kind": kind}, name=f"add_{kind}"))
        routes.append(path(f"{base}/<str:ref>/", edit, {"kind": kind}, name=f"edit_{kind}"))
    return routes


urlpatterns: list[URLPattern] = _routes()
