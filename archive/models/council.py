"""What the council answers and keeps beside its decisions: requests, content cautions, its own words, copies given."""

from __future__ import annotations

from typing import Any, ClassVar

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from .access import Audience
from .items import Item, new_ref


class AskState(models.TextChoices):
    WAITING = "waiting", _("waits for the council")
    GRANTED = "granted", _("granted")
    DECLINED = "declined", _("declined")


class Ask(models.Model):
    """A person asks to meet what they are shown a notice or a description of."""

    ref = models.CharField(max_length=16, unique=True, default=new_ref, editable=False)
    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="+")
    account = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    reason = models.TextField(_("why"))
    asked_at = models.DateTimeField(auto_now_add=True)
    state = models.CharField(max_length=8, choices=AskState.choices, default=AskState.WAITING)
    answer = models.TextField(_("the council's words"), blank=True)
    ends_at = models.DateTimeField(null=True, blank=True)
    audience = models.ForeignKey(Audience, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    answered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    answered_at = models.DateTimeField(null=True, blank=True)

    ungated: ClassVar[models.Manager[Any]] = models.Manager()

    class Meta:
        ordering = ["asked_at", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["item", "account"], condition=models.Q(state="waiting"), name="one_waiting_ask"
            )
        ]


class ContentCaution(models.TextChoices):
    """What may hurt whoever hears it unprepared."""

    MOURNING = "mourning", _("mourning")
    VIOLENCE = "violence", _("violence")
    SACRED = "sacred", _("sacred matter")


class ItemCaution(models.Model):
    """The council would have this said before the item is played."""

    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="+")
    kind = models.CharField(max_length=8, choices=ContentCaution.choices)

    ungated: ClassVar[models.Manager[Any]] = models.Manager()

    class Meta:
        ordering = ["item_id", "kind"]
        constraints = [models.UniqueConstraint(fields=["item", "kind"], name="caution_once_per_item")]


class Words(models.Model):
    """The community's own words for something that pages say; what has no row is said in ours."""

    key = models.CharField(max_length=40, unique=True)
    text = models.TextField()

    ungated: ClassVar[models.Manager[Any]] = models.Manager()


class CopyGiven(models.Model):
    """A copy that left the house, and whom to tell when consent is taken back."""

    ref = models.CharField(max_length=16, unique=True, default=new_ref, editable=False)
    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="+")
    to_whom = models.CharField(_("to whom"), max_length=200)
    what = models.CharField(_("what it is"), max_length=200)
    given_on = models.DateField(_("on"))
    given_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    told_at = models.DateTimeField(null=True, blank=True)
    told_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    ungated: ClassVar[models.Manager[Any]] = models.Manager()

    class Meta:
        ordering = ["item_id", "given_on", "id"]
