"""The sky's pages: the chart, the night's round, the star wheel, and drawing a figure."""

from __future__ import annotations

from django.urls import URLPattern

from . import bearing, chart, draw, horizon, star_wheel, tapped, tonight, year

urlpatterns: list[URLPattern] = [
    *chart.urlpatterns, *tonight.urlpatterns, *horizon.urlpatterns, *year.urlpatterns, *star_wheel.urlpatterns,
    *draw.urlpatterns, *bearing.urlpatterns, *tapped.urlpatterns,
]
