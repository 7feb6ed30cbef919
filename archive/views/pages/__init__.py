"""The public pages of what is kept: one module per family."""

from __future__ import annotations

from django.urls import URLPattern

from . import figures, layers, people, places, recordings, segments, topics

urlpatterns: list[URLPattern] = [
    *recordings.urlpatterns,
    *segments.urlpatterns,
    *people.urlpatterns,
    *places.urlpatterns,
    *figures.urlpatterns,
    *topics.urlpatterns,
    *layers.urlpatterns,
]
