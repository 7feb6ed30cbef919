"""What rises, culminates and sets over the skyline of a place: figures the viewer meets, sun, moon and planets.

The skyline comes with the request and is not kept.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from ...access import ground, showing
from ...access.showing import FigureShown
from ...sky import (
    BODIES,
    Event,
    FigurePassage,
    Passage,
    Place,
    SkyError,
    Skyline,
    SkylineError,
    Turn,
    body_passage,
    figure_passages,
    local_moment,
    read_skyline,
    turn_passage,
    turns,
)
from ...sky.skyline import CLEAR_AIR_MAG, HAZY_AIR_MAG, WIDE_GAP_DEG
from ..loading import GatedRequest
from . import words
from .chart import FIRST_YEAR, LAST_YEAR, OUT_OF_REACH, PlaceAndDay, offset_hours, place_asked
from .panorama import panorama
from .words import Shown

MOST_BYTES = 300_000
OPEN_SEA = "0,0"
AIR = (
    ("clear", gettext_lazy("clear: a star shows from where its light comes through")),
    ("hazy", gettext_lazy("hazy: stars show only higher up")),
    ("none", gettext_lazy("left out: a star counts from the skyline on")),
)
LOSS_MAG = {"clear": CLEAR_AIR_MAG, "hazy": HAZY_AIR_MAG, "none": 0.0}


class HorizonForm(PlaceAndDay):
    """Everything left empty is today at the home place, over the open sea, in clear air."""

    year = forms.IntegerField(
        label=gettext_lazy("Or a year"), required=False, min_value=FIRST_YEAR, max_value=LAST_YEAR,
        error_messages=OUT_OF_REACH,
        help_text=gettext_lazy("−10000 to 10000; 0 is 1 BCE. It tells directions only, and goes before the date."),
    )
    profile = forms.CharField(
        label=gettext_lazy("Skyline"), required=False, strip=False,
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false"}),
        help_text=gettext_lazy("In each line an azimuth (degrees from north through east) and the altitude measured "
                               "there, like: 90, 3.5. Left empty: the open sea."),
    )
    file = forms.FileField(
        label=gettext_lazy("Or a file of it (CSV)"), required=False, allow_empty_file=True, max_length=255)
    is_true = forms.BooleanField(
        label=gettext_lazy("The altitudes are worked out from a map, with no refraction in them"), required=False)
    air = forms.ChoiceField(label=gettext_lazy("The air"), choices=AIR, required=False)

    field_order = ("profile", "file", "is_true", "day", "year", "air", "latitude", "longitude")

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        text, field = self._text(given)
        try:
            given["skyline"] = read_skyline(text or OPEN_SEA, refraction=not given.get("is_true") or not text)
        except SkylineError as error:
            self.add_error(field, [problem_words(one.line, one.words) for one in error.problems[:10]])
            if len(error.problems) > 10:
                self.add_error(field, _("And %(count)d more lines.") % {"count": len(error.problems) - 10})
        return given

    def _text(self, given: dict[str, Any]) -> tuple[str, str]:
        """The skyline as text, and the field it came by. A file goes before what is typed; an empty one is told."""
        file = given.get("file")
        if file is None:
            return (given.get("profile") or "").strip(), "profile"
        if file.size > MOST_BYTES:
            self.add_error("file", _("The file is larger than 300 kB. A skyline needs a line for each degree or so."))
            return "", "file"
        try:
            return file.read().decode("utf-8-sig") or "\n", "file"
        except UnicodeDecodeError:
            self.add_error("file", _("The file is not text in UTF-8. Save it as CSV in UTF-8."))
            return "", "file"


def problem_words(line: int, told: str) -> str:
    return _("Line %(line)d: %(words)s") % {"line": line, "words": told} if line else told


@dataclass(frozen=True)
class Asked:
    """`start_jd` is the local midnight that the day begins with; None for a year."""

    place: Place
    day: date
    year: int | None
    skyline: Skyline
    loss_mag: float

    @property
    def start_jd(self) -> float | None:
        return None if self.year is not None else local_moment(self.day.isoformat(), 0, offset_hours(self.day))


def _asked(form: HorizonForm, request: GatedRequest) -> Asked:
    given = form.cleaned_data if form.is_bound else {}
    day = given.get("day") or request.gate.moment.astimezone(words.zone()).date()
    skyline = given.get("skyline") or read_skyline(OPEN_SEA)
    return Asked(place_asked(given), day, given.get("year"), skyline, LOSS_MAG[given.get("air") or "clear"])


# --- words ---


@dataclass(frozen=True)
class Row:
    """A line of the tables: one `never` for the whole day, or what rises, stands highest and sets."""

    name: str
    never: str = ""
    rises: tuple[str, ...] = ()
    highest: str = ""
    sets: tuple[str, ...] = ()
    url: str = ""
    lang: str = ""


NEVER = {
    "rises": gettext_lazy("never rises over this skyline"), "sets": gettext_lazy("never sets behind this skyline"),
    "": "",
}


class Teller:
    """Puts meetings with the skyline into words; over the open sea without heights and tenths of degrees."""

    def __init__(self, asked: Asked) -> None:
        self.is_measured = len(asked.skyline.azimuth_deg) > 1

    def event(self, event: Event) -> str:
        """Hour, direction and, over hills, height of a meeting with the skyline; of a year, without the hour."""
        given = {
            "time": "" if event.jd_ut is None else words.clock(event.jd_ut),
            "direction": words.direction(event.azimuth_deg),
            "degrees": words.number(event.azimuth_deg % 360, int(self.is_measured)),
            "high": words.number(event.altitude_deg, 1),
        }
        told = _("%(direction)s (%(degrees)s°)") % given
        if self.is_measured:
            told = _("%(direction)s (%(degrees)s°), %(high)s° high") % given
        return told if event.jd_ut is None else _("%(time)s, %(where)s") % {**given, "where": told}

    def highest(self, event: Event | None) -> str:
        if event is None:
            return "–"
        high = _("%(high)s° high") % {"high": words.number(event.altitude_deg)}
        return high if event.jd_ut is None else _("%(time)s, %(where)s") % {
            "time": words.clock(event.jd_ut), "where": high}

    def span(self, first: Event | None, last: Event | None) -> tuple[str, ...]:
        """From the first star to the last; said once where they are one."""
        if first is None or last is None or first == last:
            return tuple(self.event(one) for one in (first or last,) if one is not None) or ("–",)
        return (_("first star %(where)s") % {"where": self.event(first)},
                _("last star %(where)s") % {"where": self.event(last)})

    def passage(self, name: str, found: Passage) -> Row:
        rises, sets = (tuple(self.event(one) for one in events) or ("–",) for events in (found.rises, found.sets))
        highest = "" if found.never == "rises" else self.highest(found.culmination)
        return Row(name, str(NEVER[found.never]), rises, highest, sets)

    def figure(self, figure: FigureShown, found: FigurePassage) -> Row:
        some = []
        for count, told in ((found.hidden, _("%(count)d of its %(all)d stars never rise")),
                            (found.circling, _("%(count)d of its %(all)d stars never set"))):
            if count:
                some.append(told % {"count": count, "all": found.stars})
        highest = "" if found.never == "rises" else self.highest(found.culmination)
        return Row(
            figure.label.text, str(NEVER[found.never]), (*self.span(found.first_rise, found.last_rise), *some), highest,
            self.span(found.first_set, found.last_set), reverse("figure", args=[figure.label.ref]),
            figure.label.language)


# --- tables ---


def _body_rows(asked: Asked) -> list[Row]:
    told = Teller(asked)
    if asked.start_jd is not None:
        return [told.passage(str(words.BODIES[body]), body_passage(body, asked.place, asked.skyline, asked.start_jd,
                                                                   asked.loss_mag)) for body in BODIES]
    return [told.passage(
        _("%(body)s, %(turn)s") % {"body": words.BODIES[body], "turn": words.TURNS[turn.what]},
        turn_passage(body, turn.declination_deg, asked.place.lat_deg, asked.skyline, asked.loss_mag),
    ) for body in BODIES for turn in _turns(body, asked.year or 0)]


def _turns(body: str, year: int) -> list[Turn]:
    """None where the place of a planet is not known: the page says so."""
    try:
        return turns(body, year)
    except SkyError:
        return []


def _told(request: GatedRequest, asked: Asked) -> Shown:
    figures = {one.label.ref: one for one in ground.figures_to_draw(request.gate)}
    found = figure_passages({ref: one.stars for ref, one in figures.items()}, asked.place, asked.skyline,
                            asked.start_jd, float(asked.year or 0), asked.loss_mag)
    gap = asked.skyline.widest_gap_deg
    return {
        "when": words.year(asked.year) if asked.year is not None else words.day(asked.day),
        "is_year": asked.year is not None,
        "where": words.place(asked.place),
        "points": len(asked.skyline.azimuth_deg),
        "gap": words.number(gap) if len(asked.skyline.azimuth_deg) > 1 and gap > WIDE_GAP_DEG else "",
        "picture": panorama(asked.skyline, [(figures[one.key].label.text, one) for one in found]),
        "headings": [_("What"), _("Rises"), _("Stands highest"), _("Sets")],
        "figures": [Teller(asked).figure(figures[one.key], one) for one in found],
        "bodies": _body_rows(asked),
        "without_planets": asked.year is not None and not _turns("mars", asked.year),
    }


@require_http_methods(["GET", "HEAD", "POST"])
def horizon_page(request: GatedRequest) -> HttpResponse:
    """A skyline can be long, so it comes by POST; nothing of it is kept."""
    given = request.POST if request.method == "POST" else request.GET
    form = HorizonForm(given or None, request.FILES or None)
    told, trouble = {}, ""
    if not form.is_bound or form.is_valid():
        try:
            told = _told(request, _asked(form, request))
        except SkyError as error:
            trouble = str(error)
    held = showing.house()
    shown = form if form.is_bound else HorizonForm(initial={
        "day": request.gate.moment.astimezone(words.zone()).date(),
        "latitude": held.latitude_deg, "longitude": held.longitude_deg})
    return render(request, "sky/horizon.html", {"nav": "sky", "form": shown, "told": told, "trouble": trouble})


urlpatterns: list[URLPattern] = [path("sky/horizon/", horizon_page, name="sky_horizon")]
