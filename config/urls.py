"""Every address. A new one must be listed in the leak test, which walks this map."""

from __future__ import annotations

from django.urls import include, path

from archive.admin import system

urlpatterns = [
    path("", include("archive.views.urls")),
    path("system/", system.urls),
]
