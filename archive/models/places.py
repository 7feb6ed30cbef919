"""Places on the ground (WGS 84, degrees; RFC 7946)."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django.utils.translation import gettext_lazy as _

from .items import Item, Kind
from .tags import Caution, validate_latitude, validate_longitude


class Place(Item):
    KIND = Kind.PLACE
    nature = models.CharField(_("kind of place"), max_length=60, blank=True)
    about = models.TextField(_("about"), blank=True)
    caution = models.CharField(_("caution"), max_length=8, choices=Caution.choices, blank=True)
    latitude_deg = models.FloatField(_("latitude"), validators=[validate_latitude])
    longitude_deg = models.FloatField(_("longitude"), validators=[validate_longitude])
    # Whoever may not know the spot is given the cell of this fixed grid that it lies in.
    cell_deg = models.FloatField(_("size of the cell shown to others, in degrees"), default=0.1)

    ungated: ClassVar[models.Manager[Any]] = models.Manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(latitude_deg__range=(-90, 90), longitude_deg__range=(-180, 180)),
                name="place_on_the_globe",
            ),
            models.CheckConstraint(condition=models.Q(cell_deg__range=(0.01, 5)), name="place_cell_size"),
        ]
