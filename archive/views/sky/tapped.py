"""A tap on the chart asks the find page for what is told of that star."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from ...sky import SkyError
from ...sky.tapped import tapped
from ..loading import GatedRequest
from ..pages.parts import asked_url
from .chart import SkyForm, asked_of, chart_request


class Spot(forms.Form):
    """Where on the chart: its own units, 0 to 1000, y downward."""

    x = forms.FloatField(min_value=0, max_value=1000)
    y = forms.FloatField(min_value=0, max_value=1000)


@require_safe
def star_tapped(request: GatedRequest) -> HttpResponse:
    form, spot = SkyForm(request.GET), Spot(request.GET)
    hip = None
    if form.is_valid() and spot.is_valid():
        try:
            asked = chart_request(request, asked_of(form, request.gate.moment))
            hip = tapped(asked, spot.cleaned_data["x"], spot.cleaned_data["y"])
        except SkyError:
            hip = None
    if hip is None:
        messages.info(request, _("No star is drawn there. Tap nearer to one, or write its name."))
        return redirect(reverse("sky"))
    return redirect(asked_url(f"sky:HIP {hip}"))


urlpatterns: list[URLPattern] = [path("sky/tapped/", star_tapped, name="star_tapped")]
