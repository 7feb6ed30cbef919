"""Every address. A new one must be listed in the leak test, which walks this map."""

from __future__ import annotations

from django.contrib import admin
from django.urls import include, path

urlpatterns = [
    path("", include("archive.views.urls")),
    path("system/", admin.site.urls),
]
