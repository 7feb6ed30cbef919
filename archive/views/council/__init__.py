"""The council's room: what waits, decisions, audiences, trust, consent, and the record of it all."""

from __future__ import annotations

from django.urls import URLPattern

from . import (
    asking,
    audiences,
    closing,
    consents,
    deciding,
    explaining,
    looking,
    names,
    queue,
    records,
    saying,
    seasons,
    trusts,
)

urlpatterns: list[URLPattern] = [
    *queue.urlpatterns,
    *deciding.urlpatterns,
    *closing.urlpatterns,
    *audiences.urlpatterns,
    *trusts.urlpatterns,
    *consents.urlpatterns,
    *records.urlpatterns,
    *explaining.urlpatterns,
    *looking.urlpatterns,
    *names.urlpatterns,
    *seasons.urlpatterns,
    *asking.urlpatterns,
    *saying.urlpatterns,
]
