"""Searches that somebody keeps, to see later what is new since."""

from __future__ import annotations

from typing import Any, ClassVar

from django.conf import settings
from django.db import models

from .items import new_ref


class KeptSearch(models.Model):
    """`asked` is the question as the find page's address holds it. `seen` are the numbers of what it answered when its
    owner last looked (archive.access.keeping); nobody is ever shown them, nor how many they are.
    """

    ref = models.CharField(max_length=16, unique=True, default=new_ref, editable=False)
    account = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    asked = models.TextField()
    seen = models.BinaryField(default=bytes)
    kept_at = models.DateTimeField(auto_now_add=True)
    looked_at = models.DateTimeField()

    ungated: ClassVar[models.Manager[Any]] = models.Manager()

    class Meta:
        ordering = ["-kept_at", "-id"]
