"""Bearings: what rises or sets along a line from a place, now and in other years.

Only places that the viewer meets exactly can be stood at or looked towards.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from django import forms
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from ...access import ground, showing
from ...access.showing import FigureShown, Label, PlaceShown
from ...models.tags import validate_latitude, validate_longitude
from ...sky import Bearing, BearingMatch, SkyError, load_catalogue, read_bearing
from ...sky.mirror import on_map
from ..loading import GatedRequest
from ..pages import parts
from . import compass
from .chart import FIRST_YEAR, LAST_YEAR
from .words import MONTHS, Shown, direction
from .words import year as year_words

MOST_YEARS = 6
BRIGHT_MAG = 2.5
USUAL_TOLERANCE_DEG = 1.0
MOST_LISTED = 400

WORDS = {
    "june solstice": gettext_lazy("the sun at the June solstice"),
    "december solstice": gettext_lazy("the sun at the December solstice"),
    "equinox": gettext_lazy("the sun at the equinoxes"),
    "dates": gettext_lazy("the sun"),
    "major north": gettext_lazy("the moon at its northernmost, every 18 or 19 years"),
    "minor north": gettext_lazy("the moon at its least northern turn, every 18 or 19 years"),
    "major south": gettext_lazy("the moon at its southernmost, every 18 or 19 years"),
    "minor south": gettext_lazy("the moon at its least southern turn, every 18 or 19 years"),
}


class Degrees(forms.FloatField):
    """A number that may be left out, and may have any fraction."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(required=False, widget=forms.NumberInput(attrs={"step": "any"}), **kwargs)


class BearingForm(forms.Form):
    """Left empty it is due east from the home place, this year."""

    azimuth = Degrees(
        label=gettext_lazy("Which way, in degrees"), min_value=0, max_value=360,
        help_text=gettext_lazy("From true north through east: 90 is east, 180 south. Correct a compass first."),
    )
    altitude = Degrees(
        label=gettext_lazy("How high the skyline stands there, in degrees"), min_value=-5, max_value=60,
    )
    tolerance = Degrees(
        label=gettext_lazy("How far off it may be, in degrees"), min_value=0.1, max_value=5,
        help_text=gettext_lazy("Left empty, 1 degree: twice the width of the sun."),
    )
    years = forms.CharField(
        label=gettext_lazy("Other years"), required=False, max_length=80,
        help_text=gettext_lazy("Up to six, with spaces between, −10000 to 10000; 0 is 1 BCE."),
    )
    latitude = Degrees(label=gettext_lazy("Or stand at: latitude"), validators=[validate_latitude])
    longitude = Degrees(label=gettext_lazy("and longitude"), validators=[validate_longitude])
    to_latitude = Degrees(label=gettext_lazy("Or look towards: latitude"), validators=[validate_latitude])
    to_longitude = Degrees(label=gettext_lazy("and longitude"), validators=[validate_longitude])

    def clean_years(self) -> list[int]:
        words = self.cleaned_data["years"].replace("−", "-").replace(",", " ").split()
        if len(words) > MOST_YEARS or not all(_is_year(word) for word in words):
            raise forms.ValidationError(_("Write up to six years from −10000 to 10000, with spaces between."))
        return [int(word) for word in dict.fromkeys(words)]

    def clean(self) -> None:
        empty = [name for name in ("to_latitude", "to_longitude") if self.cleaned_data.get(name) is None]
        if len(empty) == 1 and empty[0] not in self.errors:
            self.add_error(empty[0], _("Give both latitude and longitude, or neither."))


def _is_year(word: str) -> bool:
    digits = word.removeprefix("-")
    return digits.isascii() and digits.isdigit() and len(digits) < 6 and FIRST_YEAR <= int(word) <= LAST_YEAR


@dataclass(frozen=True)
class Line:
    """Where somebody stands (latitude, longitude) and which way they look; the places are None where none is named.

    `towards` is the spot looked at, and `km` how far off it is: None where only a way was given.
    """

    spot: tuple[float, float]
    azimuth_deg: float
    stand: PlaceShown | None = None
    mark: PlaceShown | None = None
    towards: tuple[float, float] | None = None
    km: float | None = None


@require_safe
def page(request: GatedRequest) -> HttpResponse:
    gate = request.gate
    places = ground.exact_places(gate)
    figures = ground.figures_to_draw(gate)
    hips = _hips(figures)
    form = BearingForm(request.GET)
    given: dict[str, Any] = form.cleaned_data if form.is_valid() else {}
    line = _line(request, places, given)
    this_year = gate.moment.year
    read: list[Bearing] = []
    trouble = ""
    try:
        read = [_read(line, given, year, hips) for year in dict.fromkeys([this_year, *given.get("years", [])])]
    except SkyError as error:
        trouble = str(error)
    return render(
        request,
        "sky/bearing.html",
        {
            "nav": "map",
            "form": form,
            "line": line,
            "stands": _choices(places, line.stand),
            "marks": _choices([one for one in places if one != line.stand], line.mark),
            "said": _said(line),
            "read": [_told(one, figures) for one in read],
            "trouble": trouble,
            "looked_at": _looked_at(hips),
            "dial": compass.dial(line.spot, line.azimuth_deg, _altitude(given), this_year),
            "around": compass.around(line.spot, [one for one in places if one != line.stand]),
        },
    )


# --- the line ---


def _line(request: GatedRequest, places: Sequence[PlaceShown], given: dict[str, Any]) -> Line:
    """A place named goes before a spot typed, and what is looked towards before an azimuth typed."""
    known = {one.label.ref: one for one in places}
    stand, mark = known.get(request.GET.get("from", "")), known.get(request.GET.get("to", ""))
    spot = stand.at if stand and stand.at else _spot(given)
    towards = mark.at if mark and mark.at else _towards(given)
    if towards is None or towards == spot:
        azimuth = given.get("azimuth")
        return Line(spot, 90.0 if azimuth is None else azimuth % 360, stand)
    (east, north), = on_map([towards[0]], [towards[1]], spot).tolist()
    azimuth = float(np.degrees(np.arctan2(east, north))) % 360
    return Line(spot, azimuth, stand, mark, towards, float(np.hypot(east, north)))


def _towards(given: dict[str, Any]) -> tuple[float, float] | None:
    latitude, longitude = given.get("to_latitude"), given.get("to_longitude")
    return None if latitude is None or longitude is None else (latitude, longitude)


def _spot(given: dict[str, Any]) -> tuple[float, float]:
    held = showing.house()
    latitude, longitude = given.get("latitude"), given.get("longitude")
    return (held.latitude_deg if latitude is None else latitude, held.longitude_deg if longitude is None else longitude)


def _altitude(given: dict[str, Any]) -> float:
    return given.get("altitude") or 0.0


def _choices(places: Sequence[PlaceShown], chosen: PlaceShown | None) -> list[Shown]:
    listed = [one for one in places if one == chosen] + [one for one in places if one != chosen][:MOST_LISTED]
    return [{"label": one.label, "chosen": one == chosen} for one in listed]


def _said(line: Line) -> str:
    words = {"azimuth": f"{line.azimuth_deg:.1f}", "way": direction(line.azimuth_deg)}
    if line.km is not None:
        return _("%(azimuth)s° from true north, %(way)s; %(km).1f km away.") % (words | {"km": line.km})
    return _("%(azimuth)s° from true north, %(way)s.") % words


# --- what is there ---


def _hips(figures: Sequence[FigureShown]) -> list[int]:
    listed = load_catalogue().listed
    return sorted({hip for one in figures for hip in one.stars if hip in listed})


def _looked_at(hips: Sequence[int]) -> int:
    stars = load_catalogue()
    return len({*stars.hip[stars.brighter(BRIGHT_MAG)].tolist(), *hips})


def _read(line: Line, given: dict[str, Any], year: int, hips: Sequence[int]) -> Bearing:
    return read_bearing(
        line.spot[0], line.azimuth_deg, _altitude(given), year, v_limit=BRIGHT_MAG,
        within_deg=given.get("tolerance") or USUAL_TOLERANCE_DEG, also=hips,
    )


def _told(found: Bearing, figures: Sequence[FigureShown]) -> Shown:
    return {
        "year": year_words(found.year),
        "event": _("Rises there") if found.event == "rises" else _("Sets there"),
        "declination": f"{found.declination_deg:+.1f}°".replace("-", "−"),
        "rows": [_row(one, figures) for one in found.matches],
    }


def _row(one: BearingMatch, figures: Sequence[FigureShown]) -> Shown:
    of: list[Label] = [each.label for each in figures if one.hip in each.stars] if one.hip else []
    return {
        "what": one.what if one.kind == "star" else str(WORDS[one.what]),
        "kind": one.kind,
        "when": ", ".join(_day(each) for each in one.dates),
        "mag": "" if one.v_mag is None else f"{one.v_mag:.1f}".replace("-", "−"),
        "off": "" if one.what == "dates" else f"{one.off_deg:+.1f}°".replace("-", "−"),
        "figures": [parts.value(each) for each in of],
    }


def _day(iso: str) -> str:
    """“20 March” of a date such as -2800-03-20, in the calendar of its time."""
    month, day = iso.rsplit("-", 2)[1:]
    return f"{int(day)} {date_format(MONTHS[int(month) - 1], 'F')}"


urlpatterns: list[URLPattern] = [path("bearings/", page, name="bearings")]
