"""The council's room: what waits, decisions, audiences, trust, consent, and the record of it all."""

from __future__ import annotations

from django.urls import URLPattern

from . import closing, deciding, queue

urlpatterns: list[URLPattern] = [
    *queue.urlpatterns,
    *deciding.urlpatterns,
    *closing.urlpatterns,
]
