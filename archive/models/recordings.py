"""Recordings: the master, its transcripts and cues, the segments cut from it, and the spans closed in it.

All times are integer milliseconds from the start of the master; a stretch is half-open, [start, end).
"""

from __future__ import annotations

from typing import Any, ClassVar

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _
from taggit.managers import TaggableManager

from .items import Item, Kind, new_ref
from .tags import validate_event_date, validate_language_tag


class Offering(models.TextChoices):
    """How the council lets a recording be heard where some of it is closed to the listener."""

    QUIET = "quiet", _("whole, its closed seconds silent")
    CLIPS = "clips", _("only its open segments, one by one")


class Recording(Item):
    KIND = Kind.RECORDING
    item_ptr = models.OneToOneField(
        Item, on_delete=models.CASCADE, parent_link=True, primary_key=True, related_name="as_recording"
    )
    title = models.CharField(_("title"), max_length=200)
    recorded_on = models.CharField(_("recorded on"), max_length=40, validators=[validate_event_date])
    circumstances = models.TextField(_("circumstances"), blank=True)
    language = models.CharField(
        _("language spoken"), max_length=35, default="en", validators=[validate_language_tag]
    )
    offering = models.CharField(
        _("how it is offered"), max_length=8, choices=Offering.choices, default=Offering.QUIET
    )

    ungated: ClassVar[models.Manager[Any]] = models.Manager()


class Master(models.Model):
    """The untouched file as it came, in the masters' folder under its SHA-256."""

    recording = models.OneToOneField(Recording, on_delete=models.CASCADE, related_name="master")
    sha256 = models.CharField(max_length=64, unique=True)
    original_name = models.CharField(max_length=255)
    size_bytes = models.BigIntegerField()
    container = models.CharField(max_length=60)
    codec = models.CharField(max_length=60)
    duration_ms = models.BigIntegerField()
    rate_hz = models.PositiveIntegerField()
    channels = models.PositiveSmallIntegerField()
    received_at = models.DateTimeField(auto_now_add=True)

    ungated: ClassVar[models.Manager[Any]] = models.Manager()

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(duration_ms__gt=0), name="master_has_sound")]


class TranscriptKind(models.TextChoices):
    VERBATIM = "verbatim", _("word for word")
    TRANSLATION = "translation", _("translation")
    SUMMARY = "summary", _("summary")


class Transcript(models.Model):
    """Timed text of a recording in one language. `original` holds the bytes that came, unchanged."""

    ref = models.CharField(max_length=16, unique=True, default=new_ref, editable=False)
    recording = models.ForeignKey(Recording, on_delete=models.CASCADE, related_name="transcripts")
    language = models.CharField(max_length=35, validators=[validate_language_tag])
    kind = models.CharField(max_length=12, choices=TranscriptKind.choices, default=TranscriptKind.VERBATIM)
    original = models.BinaryField()
    original_name = models.CharField(max_length=255)
    sha256 = models.CharField(max_length=64)
    file_format = models.CharField(max_length=8)
    encoding = models.CharField(max_length=20)
    received_at = models.DateTimeField(auto_now_add=True)

    ungated: ClassVar[models.Manager[Any]] = models.Manager()

    class Meta:
        ordering = ["recording_id", "id"]


class Cue(models.Model):
    """One timed line. Its text is kept as it was written; only the search index folds it."""

    transcript = models.ForeignKey(Transcript, on_delete=models.CASCADE, related_name="cues")
    start_ms = models.BigIntegerField()
    end_ms = models.BigIntegerField()
    text = models.TextField()
    speaker = models.CharField(max_length=120, blank=True)
    line = models.PositiveIntegerField(default=0)

    ungated: ClassVar[models.Manager[Any]] = models.Manager()

    class Meta:
        ordering = ["transcript_id", "start_ms", "id"]
        indexes = [models.Index(fields=["transcript", "start_ms"], name="cue_by_time")]


class TranscriptProblem(models.Model):
    """What the reader found amiss, by line; nothing is dropped in silence."""

    transcript = models.ForeignKey(Transcript, on_delete=models.CASCADE, related_name="problems")
    line = models.PositiveIntegerField()
    code = models.CharField(max_length=40)
    severity = models.CharField(max_length=8)
    text = models.TextField()

    ungated: ClassVar[models.Manager[Any]] = models.Manager()

    class Meta:
        ordering = ["transcript_id", "line", "id"]


class Stretch(Item):
    """Shared by segments and closed spans: [start_ms, end_ms) of one recording."""

    recording = models.ForeignKey(Recording, on_delete=models.CASCADE, related_name="+")
    start_ms = models.BigIntegerField()
    end_ms = models.BigIntegerField()

    ungated: ClassVar[models.Manager[Any]] = models.Manager()

    class Meta:
        abstract = True

    @property
    def duration_ms(self) -> int:
        return self.end_ms - self.start_ms


class Segment(Stretch):
    KIND = Kind.SEGMENT
    title = models.CharField(_("title"), max_length=200)
    summary = models.TextField(_("summary"), blank=True)
    edited_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    edited_at = models.DateTimeField(auto_now=True)

    ungated: ClassVar[models.Manager[Any]] = models.Manager()
    topics = TaggableManager(through="archive.TopicTie", blank=True, related_name="segments_tagged")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(start_ms__gte=0, end_ms__gt=models.F("start_ms")), name="segment_runs_forward"
            )
        ]
        indexes = [models.Index(fields=["recording", "start_ms"], name="segment_by_time")]


class ClosedSpan(Stretch):
    """A stretch closed from the moment it is marked; it waits for the council like everything else."""

    KIND = Kind.SPAN
    reason = models.TextField(_("why it is closed"), blank=True)

    ungated: ClassVar[models.Manager[Any]] = models.Manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(start_ms__gte=0, end_ms__gt=models.F("start_ms")), name="span_runs_forward"
            )
        ]
        indexes = [models.Index(fields=["recording", "start_ms"], name="span_by_time")]


class ConsentState(models.TextChoices):
    GIVEN = "given", _("given")
    LIMITED = "limited", _("given with limits")
    WITHDRAWN = "withdrawn", _("withdrawn")


class Consent(models.Model):
    """What the people heard in a recording agreed to; the newest row holds."""

    recording = models.ForeignKey(Recording, on_delete=models.CASCADE, related_name="consents")
    state = models.CharField(max_length=10, choices=ConsentState.choices)
    given_by = models.CharField(_("by whom"), max_length=200)
    stated_on = models.DateField(_("on"))
    words = models.TextField(_("in their words"), blank=True)
    paper_name = models.CharField(max_length=255, blank=True)  # the paper's own file name
    paper_sha256 = models.CharField(max_length=64, blank=True)  # it lies in the papers' folder under this
    recorded_at = models.DateTimeField(auto_now_add=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    ungated: ClassVar[models.Manager[Any]] = models.Manager()

    class Meta:
        ordering = ["recording_id", "-recorded_at", "-id"]
