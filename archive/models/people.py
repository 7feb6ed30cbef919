"""People: speakers, those told of, those they learned from."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django.utils.translation import gettext_lazy as _

from .items import Item, Kind
from .tags import validate_event_date


class Person(Item):
    KIND = Kind.PERSON
    about = models.TextField(_("about"), blank=True)
    born = models.CharField(_("born"), max_length=40, blank=True, validators=[validate_event_date])
    died = models.CharField(_("died"), max_length=40, blank=True, validators=[validate_event_date])
    family = models.CharField(_("family"), max_length=120, blank=True)

    ungated: ClassVar[models.Manager[Any]] = models.Manager()
