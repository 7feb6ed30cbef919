"""Mirrors: the claim that places are stars, drawn, measured, and held up against chance."""

from __future__ import annotations

from django.urls import URLPattern

from . import pages, trying

urlpatterns: list[URLPattern] = [*trying.urlpatterns, *pages.urlpatterns]
