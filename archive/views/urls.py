"""The addresses of the pages, by family. Each family's module lists its own."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver

from . import account, council, desk, find, ground, home, kept, listening, mirrors, pages, sky, threads

urlpatterns: list[URLPattern | URLResolver] = [
    *home.urlpatterns,
    *account.urlpatterns,
    *pages.urlpatterns,
    *mirrors.urlpatterns,
    *threads.urlpatterns,
    *listening.urlpatterns,
    *find.urlpatterns,
    *kept.urlpatterns,
    *ground.urlpatterns,
    *sky.urlpatterns,
    *desk.urlpatterns,
    *council.urlpatterns,
]
