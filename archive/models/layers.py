"""Layers: the community's own lines, areas and points for the map, as one file (GeoJSON, RFC 7946; WGS 84, degrees)."""

from __future__ import annotations

import json
from typing import Any, ClassVar

from django.db import models
from django.utils.translation import gettext_lazy as _

from .items import Item, Kind


class Layer(Item):
    """`features` is the text of a FeatureCollection as archive.exchange.geojson_in has read it; `shapes` counts them,
    so that a list of layers need not read megabytes of positions.
    """

    KIND = Kind.LAYER
    title = models.CharField(_("title"), max_length=200)
    about = models.TextField(_("about"), blank=True)
    rights = models.CharField(_("whose it is, and its licence"), max_length=300, blank=True)
    position = models.PositiveSmallIntegerField(_("place in the order, from below"), default=1)
    features = models.TextField()
    shapes = models.PositiveIntegerField(default=0, editable=False)

    ungated: ClassVar[models.Manager[Any]] = models.Manager()

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.shapes = len(json.loads(self.features)["features"])
        super().save(*args, **kwargs)
