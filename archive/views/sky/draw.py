"""Drawing a figure: stars and lines tapped on a chart, or written as text; saved through the gate like any figure.

The text is the truth: the script that draws writes it, and without script it is written by hand and looked at by
"Preview". What is wrong is said by line, and nothing typed is lost.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from ...access import desk, making, met, showing
from ...access.showing import FigureShown, Label
from ...access.writing import Overtaken
from ...models import Figure, Item, Kind, Level, Shape
from ...sky import SkyError, load_catalogue, local_moment
from ...sky.altaz import greenwich_sidereal
from ...sky.starnames import find_star, like, read_run
from ...sky.vectors import DEGREE, ra_dec
from ..desk import conflicts, things
from ..desk.drawing import draw, posted
from ..loading import GatedRequest, fetch, for_role
from ..pages import sketch
from ..pages import stars as star_words
from . import words
from .chart import offset_hours

MOST_STARS = 400


def _by_line(text: str, read: Callable[[str], list[int]]) -> list[tuple[int, list[int]]]:
    """What each written line stands for, with its number from 1; every line that is wrong is said by its number."""
    found, wrong = [], []
    for at, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        try:
            found.append((at, read(line)))
        except SkyError as error:
            wrong.append(_("Line %(line)d: %(words)s") % {"line": at, "words": error})
    if wrong:
        raise ValidationError(wrong)
    return found


class DrawForm(things.FigureForm):
    """A figure as it is drawn: runs of stars, and stars on their own, by number, name or designation."""

    field_order = ("shape", "lines", "stars", "about", "part_of", "version")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["lines"].help_text = _(
            "Each line of text is one run of stars, joined in that order: 11767 85822 82080, or Polaris, Kochab. "
            "Numbers are those of the Hipparcos list; names and designations (α UMi) want commas between them.")
        self.fields["stars"].help_text = _(
            "Stars that no line joins, one or several a line. Those of the lines need not be written here too.")
        self.fields["about"].label = _("Meaning")
        for name in ("lines", "stars"):
            self.fields[name].widget.attrs |= {"spellcheck": "false", "autocomplete": "off"}

    def clean_stars(self) -> list[int]:
        rows = _by_line(self.cleaned_data["stars"], read_run)
        found = [hip for _line, hips in rows for hip in hips]
        twice = sorted({hip for hip in found if found.count(hip) > 1})
        if twice:
            raise ValidationError(_("Written twice: %(stars)s. Take one of the two away.") % {"stars": _called(twice)})
        return found

    def clean_lines(self) -> list[list[int]]:
        rows = _by_line(self.cleaned_data["lines"], read_run)
        wrong: list[str] = []
        drawn: dict[frozenset[int], int] = {}
        for at, run in rows:
            wrong += _problems(at, run, drawn)
        if wrong:
            raise ValidationError(wrong)
        return [run for _line, run in rows]

    def clean(self) -> dict[str, Any]:
        given = super().clean()
        count = len(given.get("all_stars", []))
        if count > MOST_STARS:
            self.add_error("lines", _("A figure holds at most %(most)d stars.") % {"most": MOST_STARS})
        if count == 1 and given.get("shape") not in (Shape.LIGHT, None):
            self.add_error("shape", _("A figure of one star is a single light: choose that shape, or add a star."))
        if count > 1 and given.get("shape") == Shape.LIGHT:
            self.add_error("shape", _("A single light has one star, and this has %(count)d. Choose another shape.") % {
                "count": count})
        return given


def _called(hips: list[int]) -> str:
    return ", ".join(f"{load_catalogue().label(hip)} (HIP {hip})" for hip in hips)


def _problems(at: int, run: list[int], drawn: dict[frozenset[int], int]) -> list[str]:
    """What is wrong with one run; `drawn` remembers on which line each pair of stars was joined."""
    if len(run) < 2:
        return [_("Line %(line)d: a line needs two stars. Add another, or write this one among the single stars.") % {
            "line": at}]
    found = []
    for first, second in pairwise(run):
        pair = frozenset((first, second))
        if len(pair) == 1:
            found.append(_("Line %(line)d: %(star)s is joined to itself. Take one of the two away.") % {
                "line": at, "star": _called([first])})
        elif pair in drawn:
            found.append(_("Line %(line)d: %(stars)s are joined already, on line %(other)d.") % {
                "line": at, "stars": _called(sorted(pair)), "other": drawn[pair]})
        drawn.setdefault(pair, at)
    return found


# --- pages ---


def _is_saving(request: GatedRequest) -> bool:
    """"Preview" and "Look for the star" send the form too, and save nothing."""
    return request.method == "POST" and not {"preview", "look"} & set(request.POST)


def _new_form(request: GatedRequest) -> DrawForm:
    names = [{"text": "", "language": showing.house().language, "leads": "yes"}]
    return DrawForm(request.gate, posted(request), names=names)


@for_role("is_archivist")
@require_http_methods(["GET", "HEAD", "POST"])
def draw_new(request: GatedRequest) -> HttpResponse:
    form = _new_form(request)
    if _is_saving(request) and form.is_valid():
        given = form.cleaned_data
        try:
            made = making.add(request.user, Kind.FIGURE, given["names"], form.ties(), **form.given())
            messages.success(request, _(
                "“%(name)s” is written in. It waits for the council; until then only you meet it.") % {
                    "name": given["names"][0].text})
            return redirect("redraw_figure", ref=made.ref)
        except ValidationError as error:
            form.add_error(None, error.messages)
    return _page(request, form, _("Draw a sky figure"))


@for_role("is_archivist")
@require_http_methods(["GET", "HEAD", "POST"])
def draw_again(request: GatedRequest, ref: str) -> HttpResponse:
    row = fetch(request, Figure, ref, Level.OPEN)
    current = things.figure_typed(request.gate, row) | {"version": row.version}
    form = DrawForm(request.gate, posted(request), names=things.names_typed(request.gate, row),
                    initial=_as_drawn(current))
    conflict = None
    if _is_saving(request) and form.is_valid():
        given = form.cleaned_data
        try:
            making.change(request.gate, row, given["names"], given["version"] or 0, form.ties(), **form.given())
            messages.success(request, _("“%(name)s” is saved.") % {"name": given["names"][0].text})
            return redirect("redraw_figure", ref=ref)
        except Overtaken:
            again, conflict = conflicts.meet(form, current, desk.last_saved_by(row))
            conflict["rows"] += things.names_differ(form, things.names_typed(request.gate, row))
            form = again
        except ValidationError as error:
            form.add_error(None, error.messages)
    met.note(request.gate, row, "desk")
    return _page(request, form, _("Draw a sky figure again"), row, conflict)


def _as_drawn(current: dict[str, Any]) -> dict[str, Any]:
    """Of the stars, those alone that no line joins."""
    joined = set(current["lines"].split())
    return current | {"stars": " ".join(hip for hip in current["stars"].split() if hip not in joined)}


def _page(
    request: GatedRequest, form: DrawForm, title: str, row: Item | None = None, conflict: Any = None
) -> HttpResponse:
    shown, sought = _preview(form), request.POST.get("star", "").strip()[:60]
    middle = _middle(request, shown)
    crumbs = [{"label": _("Sky"), "url": reverse("sky")}, {"label": title, "url": ""}]
    context = {
        "nav": "sky", "title": title, "crumbs": crumbs, "form": form, "names": form.names.shown(), "known": form.known,
        "conflict": conflict, "page_url": reverse("figure", args=[row.ref]) if row else "",
        "sketch": sketch.of(shown) if shown else None, "label": shown.label if shown else None,
        "star_headings": star_words.headings(), "star_rows": star_words.rows(shown.stars) if shown else [],
        "found": _sought(sought), "sought": sought, "is_saving": _is_saving(request),
        "middle": {"ra": f"{middle[0]:.3f}", "dec": f"{middle[1]:.3f}"},
        "named": sorted({one.name for one in load_catalogue().names.values() if one.name}),
    }
    return draw(request, "sky/draw.html", context)


def _preview(form: DrawForm) -> FigureShown | None:
    """The figure as it would be drawn, from what was typed or else from what stands; None where it cannot be."""
    if form.is_bound:
        form.is_valid()
        given = form.cleaned_data
        stars, lines, shape = given.get("all_stars"), given.get("lines"), given.get("shape", Shape.LINES)
    else:
        typed = form.initial
        lines = [read_run(line) for line in typed.get("lines", "").splitlines()]
        stars = [*read_run(typed.get("stars", "") or ""), *(hip for run in lines for hip in run)]
        shape = typed.get("shape", Shape.LINES)
    if not stars:
        return None
    label = Label(0, Kind.FIGURE, "", str(_("the figure as it is drawn now")), "")
    runs = tuple(tuple(run) for run in lines or ())
    return FigureShown(label=label, shape=shape, about="", stars=tuple(dict.fromkeys(stars)), lines=runs)


def _sought(text: str) -> list[list[dict[str, Any]]]:
    """Rows for whoever looks for a star without script."""
    try:
        hips = [find_star(text)] if text else []
    except SkyError:
        hips = [star.hip for star in like(text)]
    return star_words.rows(hips)


def _middle(request: GatedRequest, shown: FigureShown | None) -> tuple[float, float]:
    """Where the chart is opened, right ascension and declination in degrees: at the figure, else straight up at the
    home place this evening at ten.
    """
    if shown is not None:
        stars = load_catalogue()
        total = stars.position[stars.indices(list(shown.stars))].sum(axis=0)
        ra, dec = (float(angle / DEGREE) for angle in ra_dec(total))
        return ra, dec
    held, day = showing.house(), request.gate.moment.astimezone(words.zone()).date()
    jd_ut = local_moment(day.isoformat(), 22.0, offset_hours(day))
    return (float(greenwich_sidereal(jd_ut)) / DEGREE + held.longitude_deg) % 360, held.latitude_deg


@require_safe
def star_list(request: GatedRequest) -> JsonResponse:
    """The star list for the page that draws: number, right ascension and declination (ICRS, hundredths of a degree),
    magnitude (tenths); and names by number. Open data, the same for everybody.
    """
    stars = load_catalogue()
    ra, dec = (angle / DEGREE for angle in ra_dec(stars.position))
    rows = [
        [hip, round(a * 100), round(d * 100), round(v * 10)]
        for hip, a, d, v in zip(stars.hip.tolist(), ra.tolist(), dec.tolist(), stars.v_mag.tolist(), strict=True)
    ]
    names = {
        str(hip): [one.name, one.designation, *one.others] for hip, one in sorted(stars.names.items())
    }
    return JsonResponse({"stars": rows, "names": names})


urlpatterns: list[URLPattern] = [
    path("sky/draw/", draw_new, name="draw_figure"),
    path("sky/draw/<str:ref>/", draw_again, name="redraw_figure"),
    path("sky/stars.json", star_list, name="star_list"),
]
