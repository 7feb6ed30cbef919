"""The house: one archive's own name, home place and languages; and the work still owed to the search index."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from .tags import validate_language_tag, validate_latitude, validate_longitude


class House(models.Model):
    """One row, id 1."""

    name = models.CharField(_("name of the archive"), max_length=120, default="Undersky")
    welcome = models.TextField(_("words of welcome"), blank=True)
    language = models.CharField(
        _("the community's language"), max_length=35, default="en", validators=[validate_language_tag]
    )
    home_name = models.CharField(_("home place"), max_length=120, default="Home")
    latitude_deg = models.FloatField(default=0.0, validators=[validate_latitude])
    longitude_deg = models.FloatField(default=0.0, validators=[validate_longitude])
    time_zone = models.CharField(max_length=60, default="UTC")
    is_invented = models.BooleanField(default=False)  # the demo archive says so on every page


class IndexDebt(models.Model):
    """An item whose words the search index has yet to take in; written in the same transaction as the change."""

    item_number = models.BigIntegerField(unique=True)
