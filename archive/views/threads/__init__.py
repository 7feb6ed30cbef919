"""Threads: what an item is tied to, from whom a person had it, and a story's tellings beside one another."""

from __future__ import annotations

from django.urls import URLPattern

from . import tellings, web

urlpatterns: list[URLPattern] = [*web.urlpatterns, *tellings.urlpatterns]
