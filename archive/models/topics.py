"""Topics, kept by django-taggit and gated like everything else."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django.utils.translation import gettext_lazy as _
from taggit.models import ItemBase, TagBase

from .items import Item, Kind, new_ref
from .tags import Caution


class Topic(TagBase, Item):  # type: ignore[misc, django-manager-missing]
    """A topic's name need not be unique: a refusal would tell that a hidden one has it. Its slug is random."""

    KIND = Kind.TOPIC
    name = models.CharField(_("name"), max_length=100)
    about = models.TextField(_("about"), blank=True)
    caution = models.CharField(_("caution"), max_length=8, choices=Caution.choices, blank=True)

    ungated: ClassVar[models.Manager[Any]] = models.Manager()
    objects: ClassVar[models.Manager[Any]] = ungated  # django-taggit asks for this one

    def slugify(self, tag: str, i: int | None = None) -> str:
        return new_ref()

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self.slug:  # type: ignore[has-type]
            self.slug = new_ref()
        Item.save(self, *args, **kwargs)

    def __str__(self) -> str:
        return Item.__str__(self)


class TopicTie(ItemBase):  # type: ignore[misc]
    """A segment's topic; `content_object` and `tag` are the names that django-taggit goes by."""

    content_object = models.ForeignKey("archive.Segment", on_delete=models.CASCADE, related_name="+")
    tag = models.ForeignKey(Topic, on_delete=models.CASCADE, related_name="segment_ties")

    ungated: ClassVar[models.Manager[Any]] = models.Manager()
    objects: ClassVar[models.Manager[Any]] = ungated

    class Meta:
        constraints = [models.UniqueConstraint(fields=["content_object", "tag"], name="topic_once_per_segment")]
