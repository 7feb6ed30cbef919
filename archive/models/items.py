"""Items: whatever the council can decide about, the names they go by, and the ties between them.

An item's row number is its position in the gate's arrays; it is never shown. Addresses use `ref`, which is random.
The managers here are called `ungated`: only `archive.access` and `archive.models` may call them.
"""

from __future__ import annotations

import secrets
from typing import Any, ClassVar

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext_lazy as _

from . import tags

REF_ALPHABET = "abcdefghjkmnpqrstuvwxyz23456789"
REF_LENGTH = 12


def new_ref() -> str:
    """A random public id: 12 letters of 31, about 59 bits; says nothing of order or number."""
    return "".join(secrets.choice(REF_ALPHABET) for _ in range(REF_LENGTH))


class Kind(models.TextChoices):
    RECORDING = "recording", _("recording")
    SEGMENT = "segment", _("segment")
    SPAN = "span", _("closed span")
    PERSON = "person", _("person")
    PLACE = "place", _("place")
    FIGURE = "figure", _("sky figure")
    MIRROR = "mirror", _("mirror")
    TOPIC = "topic", _("topic")
    LAYER = "layer", _("map layer")


class Item(models.Model):
    """The part that every gated thing shares. `decision` is null until the council has spoken: closed."""

    kind = models.CharField(max_length=10, choices=Kind.choices, editable=False)
    ref = models.CharField(max_length=16, unique=True, default=new_ref, editable=False)
    decision = models.ForeignKey(
        "Decision", null=True, blank=True, on_delete=models.PROTECT, related_name="+", editable=False
    )
    created_at = models.DateTimeField(auto_now_add=True)
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    version = models.PositiveIntegerField(default=1, editable=False)

    KIND: Kind
    ungated: ClassVar[models.Manager[Any]] = models.Manager()

    class Meta:
        indexes = [models.Index(fields=["kind", "id"], name="item_by_kind")]

    def __str__(self) -> str:
        return f"{self.kind} {self.ref}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self.kind:
            self.kind = self.KIND
        super().save(*args, **kwargs)

    @property
    def is_undecided(self) -> bool:
        """Whether the council has yet to speak of it; a segment goes with its recording."""
        return self.kind != Kind.SEGMENT and self.decision_id is None


class Name(models.Model):
    """A label of an item in one language and spelling; the preferred one first, variants after it."""

    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="+")
    language = models.CharField(max_length=35, validators=[tags.validate_language_tag])
    text = models.CharField(max_length=200)
    is_preferred = models.BooleanField(default=False)
    position = models.PositiveSmallIntegerField(default=0)

    ungated: ClassVar[models.Manager[Any]] = models.Manager()

    class Meta:
        ordering = ["item_id", "position", "id"]
        constraints = [
            models.UniqueConstraint(fields=["item", "language", "text"], name="name_once_per_item"),
        ]

    def __str__(self) -> str:
        return f"name {self.pk}"


class TieKind(models.TextChoices):
    """What one item is to another, read from source to target."""

    TOLD_BY = "told_by", _("told by")
    TELLS_OF = "tells_of", _("tells of")
    HAD_FROM = "had_from", _("had from")
    BELONGS_TO = "belongs_to", _("belongs to")
    RECORDED_AT = "recorded_at", _("recorded at")
    NAMES_FIGURE = "names_figure", _("names the figure")
    LEARNED_FROM = "learned_from", _("learned from")
    PART_OF = "part_of", _("part of")
    NARROWER_THAN = "narrower_than", _("narrower than")
    MIRRORS = "mirrors", _("mirrors")
    STANDS_AT = "stands_at", _("stands at")


# (kind of source, kind of target) that each tie may join.
TIE_ENDS: dict[str, set[tuple[str, str]]] = {
    TieKind.TOLD_BY: {(Kind.SEGMENT, Kind.PERSON), (Kind.RECORDING, Kind.PERSON)},
    TieKind.TELLS_OF: {(Kind.SEGMENT, Kind.PERSON)},
    TieKind.HAD_FROM: {(Kind.SEGMENT, Kind.PERSON)},
    TieKind.BELONGS_TO: {(Kind.SEGMENT, Kind.PLACE)},
    TieKind.RECORDED_AT: {(Kind.RECORDING, Kind.PLACE)},
    TieKind.NAMES_FIGURE: {(Kind.SEGMENT, Kind.FIGURE)},
    TieKind.LEARNED_FROM: {(Kind.PERSON, Kind.PERSON)},
    TieKind.PART_OF: {(Kind.FIGURE, Kind.FIGURE)},
    TieKind.NARROWER_THAN: {(Kind.TOPIC, Kind.TOPIC)},
    TieKind.MIRRORS: {(Kind.MIRROR, Kind.FIGURE)},
    TieKind.STANDS_AT: {(Kind.MIRROR, Kind.PLACE)},
}


class Tie(models.Model):
    """A tie between two items. It is shown only where both ends may be met.

    `hip` is used by STANDS_AT alone: the star (Hipparcos number) that the place is said to be.
    """

    source = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="+")
    target = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="+")
    kind = models.CharField(max_length=16, choices=TieKind.choices)
    position = models.PositiveSmallIntegerField(default=0)
    hip = models.PositiveIntegerField(null=True, blank=True)

    ungated: ClassVar[models.Manager[Any]] = models.Manager()

    class Meta:
        ordering = ["source_id", "kind", "position", "id"]
        constraints = [
            models.UniqueConstraint(fields=["source", "target", "kind"], name="tie_once"),
            models.CheckConstraint(
                condition=~models.Q(source=models.F("target")), name="tie_joins_two"
            ),
        ]
        indexes = [models.Index(fields=["target", "kind"], name="tie_by_target")]

    def __str__(self) -> str:
        return f"tie {self.pk}"

    def clean(self) -> None:
        if (self.source.kind, self.target.kind) not in TIE_ENDS[self.kind]:
            raise ValidationError(
                _("A %(source)s cannot be tied to a %(target)s as “%(tie)s”."),
                params={"source": self.source.kind, "target": self.target.kind, "tie": self.get_kind_display()},
            )
