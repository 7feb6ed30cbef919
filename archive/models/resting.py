"""Names at rest: a person's name that is not said for a while, and the community's words that stand for it."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django.utils.translation import gettext_lazy as _

from .access import Decision
from .items import new_ref
from .people import Person


class Rest(models.Model):
    """From `starts_at` until it is lifted, or until `ends_at`, every name of the person is replaced wherever it stands.

    `instead` holds [language tag, words] pairs, the leading one first; `spellings` further forms to be replaced (one
    that ends in * stands for every word that begins so). `is_settled`: it ran out, and the search index knows.
    """

    ref = models.CharField(max_length=16, unique=True, default=new_ref, editable=False)
    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="+")
    starts_at = models.DateTimeField(_("from"))
    ends_at = models.DateTimeField(_("until"), null=True, blank=True)
    instead = models.JSONField(default=list)
    spellings = models.JSONField(default=list, blank=True)
    hides_voice = models.BooleanField(_("the voice rests too"), default=False)
    decision = models.ForeignKey(Decision, on_delete=models.PROTECT, related_name="+")
    lifted_by = models.ForeignKey(Decision, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    lifted_at = models.DateTimeField(null=True, blank=True)
    is_settled = models.BooleanField(default=False)

    ungated: ClassVar[models.Manager[Any]] = models.Manager()

    class Meta:
        ordering = ["starts_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ends_at__isnull=True) | models.Q(ends_at__gt=models.F("starts_at")),
                name="rest_runs_forward",
            )
        ]
