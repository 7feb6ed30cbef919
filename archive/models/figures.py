"""Sky figures, and mirrors: the claim that places on the ground are the stars of a figure."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django.utils.translation import gettext_lazy as _

from .items import Item, Kind


class Shape(models.TextChoices):
    LINES = "lines", _("stars joined by lines")
    GROUP = "group", _("a group of stars")
    PATH = "path", _("a path")
    LIGHT = "light", _("a single light")
    REGION = "region", _("a region")


class Figure(Item):
    """`stars` are Hipparcos numbers; `lines` are runs of them, drawn in order; a region's run is closed."""

    KIND = Kind.FIGURE
    shape = models.CharField(_("shape"), max_length=8, choices=Shape.choices, default=Shape.LINES)
    about = models.TextField(_("about"), blank=True)
    stars = models.JSONField(_("stars"), default=list, blank=True)
    lines = models.JSONField(_("lines"), default=list, blank=True)

    ungated: ClassVar[models.Manager[Any]] = models.Manager()


class Mirror(Item):
    """Its figure is a MIRRORS tie; its pairs of place and star are STANDS_AT ties."""

    KIND = Kind.MIRROR
    title = models.CharField(_("title"), max_length=200)
    about = models.TextField(_("who says so, and how"), blank=True)

    ungated: ClassVar[models.Manager[Any]] = models.Manager()
