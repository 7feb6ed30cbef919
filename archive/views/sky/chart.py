"""The sky: charts for a place, a date, an hour and a year, with the figures that the viewer may meet."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise
from typing import Any

from django import forms
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from ...access import ground, showing
from ...access.showing import FigureShown
from ...models.tags import validate_latitude, validate_longitude
from ...sky import (
    ChartRequest,
    FigureDrawing,
    Place,
    SkyError,
    draw_chart,
    figures_up,
    like_night,
    local_moment,
    nearest_to_pole,
)
from ..loading import GatedRequest
from . import words

KINDS = (
    ("pole", gettext_lazy("round the pole, which stands in the middle")),
    ("zenith", gettext_lazy("the whole sky, looking straight up")),
)
FIRST_YEAR, LAST_YEAR = -10000, 10000
PATH = (FIRST_YEAR, LAST_YEAR, 2000)
OUT_OF_REACH = {
    bound: gettext_lazy("The stars are known from the year −10000 to 10000. Give a year between them.")
    for bound in ("min_value", "max_value")
}
FIRST_DAY, LAST_DAY = date(1600, 1, 1), date(2999, 12, 31)


def slider(step: float, lowest: float, highest: float) -> forms.NumberInput:
    return forms.NumberInput(
        attrs={"type": "range", "step": step, "min": lowest, "max": highest, "class": "sky-slider"}
    )


class AtAPlace(forms.Form):
    """Where. Left empty it is the home place."""

    latitude = forms.FloatField(label=gettext_lazy("Latitude"), required=False, validators=[validate_latitude])
    longitude = forms.FloatField(label=gettext_lazy("Longitude"), required=False, validators=[validate_longitude])

    def clean_latitude(self) -> float | None:
        return _finite(self.cleaned_data["latitude"])

    def clean_longitude(self) -> float | None:
        return _finite(self.cleaned_data["longitude"])


def _finite(value: float | None) -> float | None:
    return None if value is None else value + 0.0  # minus nothing is nothing


class PlaceAndDay(AtAPlace):
    """Where and on which day. Everything left empty is today at the home place."""

    day = forms.DateField(
        label=gettext_lazy("Date"), required=False, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )

    field_order: tuple[str, ...] = ("day", "latitude", "longitude")

    def clean_day(self) -> date | None:
        day: date | None = self.cleaned_data["day"]
        if day is not None and not FIRST_DAY <= day <= LAST_DAY:
            raise forms.ValidationError(
                _("Give a date from 1600 to 2999. For the like night of an older or later year, use the year instead.")
            )
        return day


class SkyForm(PlaceAndDay):
    """What to look at. Everything left empty is tonight at the home place."""

    hour = forms.FloatField(
        label=gettext_lazy("Hour, by the clock at the home place"), required=False, min_value=0, max_value=24,
        widget=slider(0.25, 0, 24),
    )
    year = forms.IntegerField(
        label=gettext_lazy("The like night of another year"), required=False,
        min_value=FIRST_YEAR, max_value=LAST_YEAR, widget=slider(1, FIRST_YEAR, LAST_YEAR),
        error_messages=OUT_OF_REACH,
    )
    year_exactly = forms.IntegerField(
        label=gettext_lazy("Or the year exactly"),
        help_text=gettext_lazy("−10000 to 10000; 0 is 1 BCE, −2800 is 2801 BCE. It goes before the slider."),
        required=False, min_value=FIRST_YEAR, max_value=LAST_YEAR, error_messages=OUT_OF_REACH,
    )
    kind = forms.ChoiceField(label=gettext_lazy("Drawn"), choices=KINDS, required=False)

    field_order = ("hour", "year", "year_exactly", "kind", "day", "latitude", "longitude")


@dataclass(frozen=True)
class Asked:
    """What to draw. `year` is an astronomical one, None for the date's own."""

    kind: str
    day: date
    hour: float
    year: int | None
    place: Place

    @property
    def year_number(self) -> int:
        return self.day.year if self.year is None else self.year

    @property
    def jd_ut(self) -> float:
        return local_moment(self.day.isoformat(), self.hour, offset_hours(self.day))


def place_asked(given: dict[str, Any]) -> Place:
    held = showing.house()
    latitude, longitude = given.get("latitude"), given.get("longitude")
    return Place(
        held.latitude_deg if latitude is None else latitude,
        held.longitude_deg if longitude is None else longitude,
    )


def offset_hours(day: date) -> float:
    """How far the clock at the home place is ahead of UTC at that day's noon."""
    offset = datetime(day.year, day.month, day.day, 12, tzinfo=words.zone()).utcoffset()
    return offset.total_seconds() / 3600 if offset else 0.0


def asked_of(form: SkyForm, now: datetime) -> Asked:
    """The form's answers with what was left empty filled in."""
    given = form.cleaned_data if form.is_valid() else {}
    day = given.get("day") or now.astimezone(words.zone()).date()
    exactly = given.get("year_exactly")
    year = given.get("year") if exactly is None else exactly
    return Asked(
        given.get("kind") or "pole",
        day,
        22.0 if given.get("hour") is None else given["hour"],
        None if year == day.year else year,
        place_asked(given),
    )


def _initial(asked: Asked) -> dict[str, Any]:
    return {
        "kind": asked.kind, "day": asked.day, "hour": asked.hour, "year": asked.year_number,
        "latitude": asked.place.lat_deg, "longitude": asked.place.lon_deg,
    }


def chart_request(request: GatedRequest, asked: Asked, **more: Any) -> ChartRequest:
    return ChartRequest(
        place=asked.place,
        jd_ut=asked.jd_ut,
        kind=asked.kind,
        year=asked.year,
        figures=[drawing(one) for one in ground.figures_to_draw(request.gate)],
        pole_path=PATH if asked.kind == "pole" else None,
        words=words.chart_words(),
        **more,
    )


def drawing(one: FigureShown) -> FigureDrawing:
    lines = [pair for run in one.lines for pair in pairwise(run)]
    return FigureDrawing(one.label.text, one.label.language, lines, one.stars, reverse("figure", args=[one.label.ref]))


def _told(asked: Asked) -> dict[str, Any]:
    """What the chart shows, in words."""
    south = asked.place.lat_deg < 0
    near = nearest_to_pole(asked.year_number, south=south, count=1)[0]
    night = None if asked.year is None else like_night(asked.jd_ut, asked.year)
    return {
        "when": words.day(asked.day),
        "clock": words.hour(asked.hour),
        "year_words": words.year(asked.year_number),
        "where": words.place(asked.place),
        "pole_star": words.pole_star(asked.year_number, near, south),
        "turn": words.whole_turn(asked.year_number) if asked.kind == "pole" else "",
        "like_date": "" if night is None else words.calendar_day(night.date),
        "since_solstice": "" if night is None else words.since_solstice(night),
    }


@require_safe
def sky_page(request: GatedRequest) -> HttpResponse:
    form = SkyForm(request.GET or None)
    asked = asked_of(form, request.gate.moment)
    chart, up, trouble, told = "", [], "", {}
    if not form.is_bound or form.is_valid():
        try:
            wanted = chart_request(request, asked)
            chart, up, told = draw_chart(wanted), figures_up(wanted), _told(asked)
        except SkyError as error:
            trouble = str(error)
    shown = form if form.is_bound and not form.is_valid() else SkyForm(initial=_initial(asked))
    context = {
        "nav": "sky", "form": shown, "chart": mark_safe(chart), "up": up, "trouble": trouble, "told": told,  # noqa: S308
        "good_headings": [{"label": _("What")}, {"label": _("1900 to 2050")}, {"label": _("Other years")}],
        "good_rows": words.how_good(),
    }
    return render(request, "sky/sky.html", context)


@require_safe
def sky_chart(request: GatedRequest) -> HttpResponse:
    """The chart alone, as a file that carries its own colours."""
    form = SkyForm(request.GET)
    if not form.is_valid():
        told = " ".join(str(word) for errors in form.errors.values() for word in errors)
        return HttpResponse(told, status=400, content_type="text/plain; charset=utf-8")
    try:
        svg = draw_chart(chart_request(request, asked_of(form, request.gate.moment), standalone=True))
    except SkyError as error:
        return HttpResponse(str(error), status=400, content_type="text/plain; charset=utf-8")
    headers = {"Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'self'"}
    return HttpResponse(svg, content_type="image/svg+xml", headers=headers)


urlpatterns: list[URLPattern] = [
    path("sky/", sky_page, name="sky"),
    path("sky/chart.svg", sky_chart, name="sky_chart"),
]
