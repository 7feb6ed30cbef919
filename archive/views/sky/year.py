"""The year of all figures that the viewer meets in full: when each is up, first and last seen, and best to show."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from django import forms
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from ...access import ground
from ...access.showing import FigureShown
from ...sky import FigureYear, Place, SkyError, YearOfFigures, calendar_date, days_since_solstice, figure_years
from ...sky.figureyear import PHASES
from ...sky.vectors import runs
from ..loading import GatedRequest
from . import words
from .chart import FIRST_YEAR, LAST_YEAR, OUT_OF_REACH, AtAPlace, place_asked
from .words import Shown

CLOCK_YEARS = (1600, 2999)
"""Outside, hours are told by the sun: no clock of today fits, and dates get their days since the solstice."""
STRIP, LANE = 730.0, 10.0  # width of a year and height of one of its three lanes, in the units of the drawing


class YearForm(AtAPlace):
    """Everything left empty is this year at the home place."""

    year = forms.IntegerField(
        label=gettext_lazy("Year"), required=False, min_value=FIRST_YEAR, max_value=LAST_YEAR,
        error_messages=OUT_OF_REACH, help_text=gettext_lazy("−10000 to 10000; 0 is 1 BCE, −2800 is 2801 BCE."),
    )

    field_order = ("year", "latitude", "longitude")


# --- the strip ---


def _bars(year: YearOfFigures, figure: FigureYear) -> list[Shown]:
    """Runs of nights in three lanes: evening on top, then midnight, then before dawn."""
    night = STRIP / (year.month_starts[-1] - year.month_starts[0])
    return [
        {"x": first * night, "width": (last - first) * night, "y": lane * LANE + 1}
        for lane, flags in enumerate((figure.band.evening, figure.band.midnight, figure.band.morning))
        for first, last in runs(flags)
    ]


def _x(year: YearOfFigures, jd_ut: float) -> float:
    first, last = year.month_starts[0], year.month_starts[-1]
    return (jd_ut - first) / (last - first) * STRIP


def _ticks(year: YearOfFigures, figure: FigureYear, place: Place) -> list[Shown]:
    return [
        {"x": _x(year, jd + place.lon_deg / 360), "css": css}
        for name, css in (("morning_rising", "year-first"), ("evening_setting", "year-last"))
        for jd in figure.phases[name]
    ]


# --- words ---


def _is_ancient(year: int) -> bool:
    return not CLOCK_YEARS[0] <= year <= CLOCK_YEARS[1]


def _date(year: YearOfFigures, midnight_jd: float, place: Place) -> str:
    """Day and month, and of a far year how long after the solstice, which needs no calendar."""
    told = _day(midnight_jd + place.lon_deg / 360)
    since = days_since_solstice(year.sun_turns, midnight_jd) if _is_ancient(year.year) else None
    if since is None:
        return told
    return _("%(day)s (%(since)s)") % {"day": told, "since": words.days_after_solstice(*since)}


def _day(jd_ut: float) -> str:
    day = calendar_date(jd_ut)[0]
    return _("%(day)d %(month)s") % {"day": day.day, "month": date_format(words.MONTHS[day.month - 1], "F")}


def _best(months: Sequence[int]) -> str:
    """Month names; a run of several by its ends, also across the new year."""
    if not months:
        return _("never long in the evening")
    if len(months) == 12:
        return _("all year")
    names = {month: date_format(words.MONTHS[month - 1], "F") for month in months}
    told = []
    for run in words.month_runs(months):
        told.append(names[run[0]] if len(run) == 1 else
                    _("%(first)s to %(last)s") % {"first": names[run[0]], "last": names[run[-1]]})
    return ", ".join(told)


def _hour(jd_ut: float, place: Place, is_ancient: bool) -> str:
    """By the clock at the home place, or by the sun at the place (local mean time)."""
    if not is_ancient:
        return words.clock(jd_ut)
    minutes = round((jd_ut + 0.5 + place.lon_deg / 360) % 1 * 1440)
    return words.hour(timedelta(minutes=minutes % 1440).total_seconds() / 3600)


def _night(stretches: Sequence[tuple[float, float]], place: Place, is_ancient: bool) -> str:
    return ", ".join(f"{_hour(a, place, is_ancient)}–{_hour(b, place, is_ancient)}" for a, b in stretches) or "–"


NEVER = {"rises": gettext_lazy("never rises here"), "sets": gettext_lazy("never sets here")}


def _row(year: YearOfFigures, figure: FigureShown, found: FigureYear, place: Place) -> Shown:
    def dates(name: str) -> str:
        return ", ".join(_date(year, jd, place) for jd in found.phases[name]) or "–"

    ancient = _is_ancient(year.year)
    return {
        "name": figure.label.text, "lang": figure.label.language, "url": reverse("figure", args=[figure.label.ref]),
        "bars": _bars(year, found), "ticks": _ticks(year, found, place),
        "best": _best(found.best_months), "never": NEVER.get(found.never, ""),
        "dates": [dates(name) for name in PHASES],
        "hours": [words.number(one, 1) for one in found.dark_hours],
        "nights": [_night(one, place, ancient) for one in found.middle_nights],
    }


def _told(request: GatedRequest, given: dict[str, Any]) -> Shown:
    number = given.get("year")
    if number is None:
        number = request.gate.moment.astimezone(words.zone()).year
    place = place_asked(given)
    figures = {one.label.ref: one for one in ground.figures_to_draw(request.gate)}
    year = figure_years({ref: one.stars for ref, one in figures.items()}, place, number)
    rows = [_row(year, figures[one.key], one, place) for one in year.figures]
    return {
        "year": words.year(number), "where": words.place(place), "rows": rows,
        "width": STRIP, "height": 3 * LANE, "is_julian": year.calendar == "julian", "is_ancient": _is_ancient(number),
        "borders": [_x(year, jd) for jd in year.month_starts[1:-1]],
        "suns": [_x(year, one.jd_ut) for one in year.sun_turns if one.jd_ut >= year.month_starts[0]],
        "turns": [
            {"what": words.TURNS[one.what], "day": _day(one.jd_ut)}
            for one in year.sun_turns if year.month_starts[0] <= one.jd_ut < year.month_starts[-1]
        ],
        "months": [date_format(month, "M")[:3] for month in words.MONTHS],
        "headings": [_("Figure"), _("Best evening months"), _("First seen again before sunrise"),
                     _("Last seen rising after sunset"), _("First seen setting before sunrise"),
                     _("Last seen after sunset")],
    }


def _initial(request: GatedRequest, form: YearForm) -> dict[str, Any]:
    given = form.cleaned_data if form.is_bound else {}
    place, year = place_asked(given), given.get("year")
    return {
        "year": request.gate.moment.astimezone(words.zone()).year if year is None else year,
        "latitude": place.lat_deg, "longitude": place.lon_deg,
    }


@require_safe
def year_page(request: GatedRequest) -> HttpResponse:
    form = YearForm(request.GET or None)
    told, trouble = {}, ""
    if not form.is_bound or form.is_valid():
        try:
            told = _told(request, form.cleaned_data if form.is_bound else {})
        except SkyError as error:
            trouble = str(error)
    shown = form if form.is_bound and not form.is_valid() else YearForm(initial=_initial(request, form))
    return render(request, "sky/year.html", {"nav": "sky", "form": shown, "told": told, "trouble": trouble})


urlpatterns: list[URLPattern] = [path("sky/year/", year_page, name="sky_year")]
