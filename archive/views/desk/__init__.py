"""The archivist's desk: bringing recordings in, cutting them, and writing down people, places, figures and topics."""

from __future__ import annotations

from django.urls import URLPattern

from . import bring, cut, home, things

urlpatterns: list[URLPattern] = [
    *home.urlpatterns,
    *bring.urlpatterns,
    *cut.urlpatterns,
    *things.urlpatterns,
]
