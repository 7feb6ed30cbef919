"""The star wheel: a sheet to cut out, for the home place or another latitude, with the figures the viewer meets."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from ...access import ground, showing, skywork
from ...exchange.star_wheel import WheelAsked, draw_wheel, without_shapes
from ...models import House
from ...models.tags import validate_latitude
from ...sky.wheel import TOLERANCE_DEG, TWO_FACES_BELOW_DEG
from ..loading import GatedRequest
from . import words
from .chart import drawing, offset_hours

PAPERS = (("a4", gettext_lazy("A4 (210 × 297 mm)")), ("letter", gettext_lazy("US letter (8½ × 11 in)")))


class WheelForm(forms.Form):
    """Everything left empty is the home place on A4."""

    latitude = forms.FloatField(
        label=gettext_lazy("Latitude"), required=False, validators=[validate_latitude],
        help_text=gettext_lazy("Degrees, north is positive. The sky's shape changes with it; the longitude only shifts "
                               "the clock."),
    )
    paper = forms.ChoiceField(label=gettext_lazy("Paper"), choices=PAPERS, required=False)


def _winter_offset_h(year: int) -> tuple[float, bool]:
    """How far the home place's clock is ahead of UTC in its winter, and whether it is put forward in summer."""
    hours = {offset_hours(date(year, month, 1)) for month in (1, 7)}
    return min(hours), len(hours) > 1


def _signed(hours: float) -> str:
    whole, minutes = divmod(round(abs(hours) * 60), 60)
    return f"{'−' if hours < 0 else '+'}{whole}" + (f":{minutes:02d}" if minutes else "")


def _home_clock(held: House, year: int) -> tuple[float, str]:
    offset, has_summer_time = _winter_offset_h(year)
    told = _("The hours are those of the clock at %(home)s (UTC%(offset)s).") % {
        "home": held.home_name, "offset": _signed(offset)}
    if has_summer_time:
        told += " " + _("While the clock is put forward in summer, take an hour off it first.")
    return offset - held.longitude_deg / 15, told


def _sun_clock() -> str:
    return _("The hours are local mean time: at 12 the sun stands highest, give or take a quarter of an hour. Find out "
             "by how much the clock of the place is ahead of it, and take that off the clock first.")


def _cautions() -> list[str]:
    return [
        _("Never look at the sun without a filter made for it. Visit a place only with the permission of the people it "
          "belongs to."),
    ]


def _asked(request: GatedRequest, given: dict[str, Any], figures: Any) -> WheelAsked:
    held, year = showing.house(), request.gate.moment.astimezone(words.zone()).year
    latitude = held.latitude_deg if given.get("latitude") is None else given["latitude"] + 0.0
    is_home = abs(latitude - held.latitude_deg) < 0.05
    ahead, clock = _home_clock(held, year) if is_home else (0.0, _sun_clock())
    return WheelAsked(
        lat_deg=latitude,
        year=year,
        figures=[drawing(one) for one in figures],
        paper=given.get("paper") or "a4",
        clock_ahead_h=ahead,
        clock_words=clock,
        months=[date_format(month, "M")[:3] for month in words.MONTHS],
        title=_("Star wheel of %(house)s") % {"house": held.name},
        cautions=_cautions(),
    )


@require_safe
def star_wheel(request: GatedRequest) -> HttpResponse:
    """The PDF; what cannot be drawn is answered by the page of its options, with the words at the field."""
    form = WheelForm(request.GET)
    if not form.is_valid():
        return _options(request, form, status=400)
    figures = skywork.figures_to_print(request.gate)
    made = draw_wheel(_asked(request, form.cleaned_data, figures))
    headers = {"Content-Disposition": 'inline; filename="star-wheel.pdf"'}
    return HttpResponse(made, content_type="application/pdf", headers=headers)


@require_safe
def options(request: GatedRequest) -> HttpResponse:
    return _options(request, WheelForm(initial={"latitude": round(showing.house().latitude_deg, 2)}))


def _options(request: GatedRequest, form: WheelForm, status: int = 200) -> HttpResponse:
    figures = ground.figures_to_draw(request.gate)
    context = {
        "nav": "sky",
        "form": form,
        "figures": [one.label for one in figures],
        "boxes": [one.label for one in figures if without_shapes(one.label.text)],
        "tolerance": words.number(TOLERANCE_DEG, 1),
        "minutes": round(TOLERANCE_DEG * 4),
        "two_below": round(TWO_FACES_BELOW_DEG),
        "home": showing.house().home_name,
    }
    return render(request, "sky/star_wheel.html", context, status=status)


urlpatterns: list[URLPattern] = [
    path("sky/wheel/", options, name="star_wheel_options"),
    path("sky/wheel.pdf", star_wheel, name="star_wheel"),
]
