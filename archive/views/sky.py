"""The sky: charts for a place, a date, an hour and a year, with the figures that the viewer may meet."""

from __future__ import annotations

from datetime import date, datetime
from functools import lru_cache
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from ..access import ground, showing
from ..access.showing import FigureShown
from ..models.tags import validate_latitude, validate_longitude
from ..sky import ChartRequest, ChartWords, FigureDrawing, Place, SkyError, draw_chart, figures_up, local_moment
from .loading import GatedRequest

KINDS = (
    ("pole", gettext_lazy("round the pole, which stands in the middle")),
    ("zenith", gettext_lazy("the whole sky, looking straight up")),
)


class SkyForm(forms.Form):
    """What to look at. Everything left empty is tonight at the home place."""

    kind = forms.ChoiceField(label=gettext_lazy("Drawn"), choices=KINDS, required=False)
    day = forms.DateField(
        label=gettext_lazy("Date"), required=False, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    hour = forms.FloatField(
        label=gettext_lazy("Hour, by the clock at the home place"), required=False, min_value=0, max_value=24
    )
    year = forms.IntegerField(
        label=gettext_lazy("The like night of another year"),
        help_text=gettext_lazy("From -10000 to 10000; 0 is 1 BCE. Leave empty for the date's own year."),
        required=False,
        min_value=-10000,
        max_value=10000,
    )
    latitude = forms.FloatField(label=gettext_lazy("Latitude"), required=False, validators=[validate_latitude])
    longitude = forms.FloatField(label=gettext_lazy("Longitude"), required=False, validators=[validate_longitude])


def _asked(form: SkyForm, moment: datetime) -> dict[str, Any]:
    """The form's answers with what was left empty filled in."""
    held = showing.house()
    given = form.cleaned_data if form.is_valid() else {}
    local = moment.astimezone(_zone())
    return {
        "kind": given.get("kind") or "pole",
        "day": given.get("day") or local.date(),
        "hour": 22.0 if given.get("hour") is None else given["hour"],
        "year": given.get("year"),
        "latitude": held.latitude_deg if given.get("latitude") is None else given["latitude"],
        "longitude": held.longitude_deg if given.get("longitude") is None else given["longitude"],
    }


def _zone() -> Any:
    return ZoneInfo(showing.house().time_zone)


def _offset_hours(day: date) -> float:
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=_zone())
    offset = noon.utcoffset()
    return offset.total_seconds() / 3600 if offset else 0.0


def _chart_request(request: GatedRequest, asked: dict[str, Any], **more: Any) -> ChartRequest:
    moment = local_moment(asked["day"].isoformat(), asked["hour"], _offset_hours(asked["day"]))
    return ChartRequest(
        place=Place(asked["latitude"], asked["longitude"]),
        jd_ut=moment,
        kind=asked["kind"],
        year=asked["year"],
        figures=[_drawing(one) for one in ground.figures_to_draw(request.gate)],
        pole_path=(-10000, 10000, 2000) if asked["kind"] == "pole" and asked["year"] is not None else None,
        words=_words(),
        **more,
    )


def _drawing(one: FigureShown) -> FigureDrawing:
    lines = [pair for run in one.lines for pair in pairwise(run)]
    return FigureDrawing(
        one.label.text, one.label.language, lines, one.stars, reverse("figure", args=[one.label.ref])
    )


@lru_cache(maxsize=1)
def _words() -> ChartWords:
    return ChartWords(
        north=_("N"),
        east=_("E"),
        south=_("S"),
        west=_("W"),
        horizon=_("Horizon"),
        milky_way=_("Milky Way"),
        title_pole=_("Sky around the celestial pole"),
        title_zenith=_("Whole sky, looking up"),
        looking_up=_("Drawn as seen looking up: with north at the top, east is on the left."),
    )


@require_safe
def sky_page(request: GatedRequest) -> HttpResponse:
    form = SkyForm(request.GET or None)
    asked = _asked(form, request.gate.moment)
    chart, up, trouble = "", [], ""
    if not form.is_bound or form.is_valid():
        try:
            wanted = _chart_request(request, asked)
            chart, up = draw_chart(wanted), figures_up(wanted)
        except SkyError as error:
            trouble = str(error)
    shown = form if form.is_bound and not form.is_valid() else SkyForm(initial=asked)
    return render(
        request,
        "sky.html",
        {"nav": "sky", "form": shown, "chart": mark_safe(chart), "up": up, "asked": asked, "trouble": trouble},  # noqa: S308
    )


@require_safe
def sky_chart(request: GatedRequest) -> HttpResponse:
    """The chart alone, as a file that carries its own colours."""
    form = SkyForm(request.GET)
    if not form.is_valid():
        words = " ".join(str(word) for errors in form.errors.values() for word in errors)
        return HttpResponse(words, status=400, content_type="text/plain; charset=utf-8")
    try:
        svg = draw_chart(_chart_request(request, _asked(form, request.gate.moment), standalone=True))
    except SkyError as error:
        return HttpResponse(str(error), status=400, content_type="text/plain; charset=utf-8")
    headers = {"Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'self'"}
    return HttpResponse(svg, content_type="image/svg+xml", headers=headers)


urlpatterns: list[URLPattern] = [
    path("sky/", sky_page, name="sky"),
    path("sky/chart.svg", sky_chart, name="sky_chart"),
]
