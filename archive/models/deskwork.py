"""What the archivist's desk keeps between two visits: uploads under way, drafts, and the revisions of transcripts."""

from __future__ import annotations

from typing import Any, ClassVar

from django.conf import settings
from django.db import models

from .items import new_ref
from .recordings import Recording, Transcript


class Upload(models.Model):
    """A file that is arriving, or has arrived and waits to be taken in. How much is here, its part file alone says."""

    ref = models.CharField(max_length=16, unique=True, default=new_ref, editable=False)
    account = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    original_name = models.CharField(max_length=255)
    size_bytes = models.BigIntegerField()
    started_at = models.DateTimeField(auto_now_add=True)
    touched_at = models.DateTimeField(auto_now=True)

    ungated: ClassVar[models.Manager[Any]] = models.Manager()

    class Meta:
        ordering = ["-touched_at", "-id"]


class Draft(models.Model):
    """What one archivist has marked in one recording and not yet saved; nobody else ever sees it."""

    account = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    recording = models.ForeignKey(Recording, on_delete=models.CASCADE, related_name="+")
    content = models.JSONField(default=dict)
    version = models.PositiveIntegerField(default=1)
    saved_at = models.DateTimeField(auto_now=True)

    ungated: ClassVar[models.Manager[Any]] = models.Manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["account", "recording"], name="one_draft_each")]


class Revision(models.Model):
    """A transcript as it stood after one correction; number 1 is as it was read. `content`: see access.revisions."""

    transcript = models.ForeignKey(Transcript, on_delete=models.CASCADE, related_name="revisions")
    number = models.PositiveIntegerField()
    made_at = models.DateTimeField(auto_now_add=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    note = models.CharField(max_length=200, blank=True)
    content = models.BinaryField()

    ungated: ClassVar[models.Manager[Any]] = models.Manager()

    class Meta:
        ordering = ["transcript_id", "-number"]
        constraints = [models.UniqueConstraint(fields=["transcript", "number"], name="revision_once")]
