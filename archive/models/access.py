"""Who may meet what, when: audiences, seasons, decisions, conditions, their closure, and the ledger."""

from __future__ import annotations

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.utils.dates import MONTHS
from django.utils.translation import gettext_lazy as _

from .items import Item, new_ref


class Level(models.IntegerChoices):
    """What a viewer is left with, low to high."""

    NOTHING = 0, _("nothing")
    NOTICE = 1, _("a notice")
    DESCRIPTION = 2, _("a description")
    OPEN = 3, _("the whole")


class Builtin(models.TextChoices):
    EVERYONE = "everyone", _("everyone")
    SIGNED_IN = "signed_in", _("signed in")


class Combining(models.TextChoices):
    """How an audience that is made of others is joined from them."""

    ANY = "any", _("whoever belongs to one of them")
    ALL = "all", _("only those who belong to all of them")


class Audience(models.Model):
    """People by name, or (where `combining` is set) the union or the overlap of other audiences."""

    ref = models.CharField(max_length=16, unique=True, default=new_ref, editable=False)
    name = models.CharField(_("name"), max_length=120, unique=True)
    about = models.TextField(_("who they are"), blank=True)
    builtin = models.CharField(max_length=10, choices=Builtin.choices, null=True, blank=True, unique=True)
    combining = models.CharField(_("made of others"), max_length=3, choices=Combining.choices, blank=True)
    parts = models.ManyToManyField("self", symmetrical=False, blank=True, related_name="+")

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Membership(models.Model):
    audience = models.ForeignKey(Audience, on_delete=models.CASCADE, related_name="memberships")
    account = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="memberships")
    starts_at = models.DateTimeField(_("from"))
    ends_at = models.DateTimeField(_("until"), null=True, blank=True)
    granted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        ordering = ["audience_id", "account_id", "starts_at"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ends_at__isnull=True) | models.Q(ends_at__gt=models.F("starts_at")),
                name="membership_runs_forward",
            )
        ]


class OwnWish(models.Model):
    """A council member would belong to an audience: it waits until another member confirms or declines it."""

    ref = models.CharField(max_length=16, unique=True, default=new_ref, editable=False)
    audience = models.ForeignKey(Audience, on_delete=models.CASCADE, related_name="+")
    account = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField(null=True, blank=True)
    asked_at = models.DateTimeField(auto_now_add=True)
    answered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    answered_at = models.DateTimeField(null=True, blank=True)

    ungated = models.Manager()

    class Meta:
        ordering = ["asked_at", "id"]


class SeasonKind(models.TextChoices):
    DATES = "dates", _("by dates")
    SWITCH = "switch", _("opened and closed by the council")
    SKY = "sky", _("by the sky")


class SkyRule(models.TextChoices):
    DUSK = "dusk", _("while the figure is up at dusk")
    YEAR = "year", _("from its first dawn rising to its last dusk setting")


class Season(models.Model):
    """A stretch of the year at the home place, whole days.

    By dates: both days included; it may wrap the year's end. By a switch: `is_on`. By the sky: `stars` (Hipparcos
    numbers) and the spot are those of the day it was made, so that nobody moves it by changing the figure.
    """

    ref = models.CharField(max_length=16, unique=True, default=new_ref, editable=False)
    name = models.CharField(_("name"), max_length=120, unique=True)
    about = models.TextField(_("about"), blank=True)
    kind = models.CharField(max_length=6, choices=SeasonKind.choices, default=SeasonKind.DATES)
    from_month = models.PositiveSmallIntegerField(_("from month"), default=1)
    from_day = models.PositiveSmallIntegerField(_("from day"), default=1)
    to_month = models.PositiveSmallIntegerField(_("to month"), default=12)
    to_day = models.PositiveSmallIntegerField(_("to day"), default=31)
    is_on = models.BooleanField(_("open now"), default=False)
    sky_rule = models.CharField(max_length=4, choices=SkyRule.choices, blank=True)
    figure = models.ForeignKey(Item, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    stars = models.JSONField(default=list, blank=True)
    latitude_deg = models.FloatField(default=0.0)
    longitude_deg = models.FloatField(default=0.0)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        ends = (("from_day", self.from_month, self.from_day), ("to_day", self.to_month, self.to_day))
        for field, month, day in ends:
            if not (1 <= month <= 12 and 1 <= day <= DAYS_IN_MONTH[month - 1]):
                said = _("%(month)s has no day %(day)s. Choose another day or another month.")
                raise ValidationError({field: said % {"month": MONTHS.get(month, month), "day": day}})


DAYS_IN_MONTH = (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


class Decision(models.Model):
    """What the council decided. Rows cannot be changed or deleted (database triggers)."""

    ref = models.CharField(max_length=16, unique=True, default=new_ref, editable=False)
    decided_on = models.DateField(_("date of the meeting"))
    minute = models.CharField(_("minute"), max_length=120)
    present = models.TextField(_("who was present"), blank=True)
    reason = models.TextField(_("reason"), blank=True)
    entered_at = models.DateTimeField(auto_now_add=True)
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-decided_on", "-id"]

    def __str__(self) -> str:
        return f"{self.decided_on} · {self.minute}"


class Scope(models.TextChoices):
    ITSELF = "itself", _("itself")
    TIED = "tied", _("itself and all that is tied to it")


class Source(models.TextChoices):
    COUNCIL = "council", _("the council's decision")
    CONSENT = "consent", _("consent withdrawn")


class NoticePages(models.TextChoices):
    OWN = "own", _("its own page only")
    TIED = "tied", _("its own page and the pages it is tied to")


class Condition(models.Model):
    """Who may meet the target, when, and what the others see. No audience named: nobody."""

    target = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="+")
    scope = models.CharField(max_length=6, choices=Scope.choices, default=Scope.ITSELF)
    audiences = models.ManyToManyField(Audience, blank=True, related_name="+")
    season = models.ForeignKey(Season, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    starts_at = models.DateTimeField(null=True, blank=True)
    ends_at = models.DateTimeField(null=True, blank=True)
    review_on = models.DateField(null=True, blank=True)
    others_see = models.PositiveSmallIntegerField(choices=Level.choices, default=Level.NOTHING)
    notice_words = models.TextField(blank=True)
    whom_to_ask = models.CharField(max_length=200, blank=True)
    notice_pages = models.CharField(max_length=4, choices=NoticePages.choices, default=NoticePages.OWN)
    source = models.CharField(max_length=8, choices=Source.choices, default=Source.COUNCIL)
    decision = models.ForeignKey(
        Decision, null=True, blank=True, on_delete=models.PROTECT, related_name="conditions"
    )
    lifted_by = models.ForeignKey(
        Decision, null=True, blank=True, on_delete=models.PROTECT, related_name="lifted"
    )
    lifted_at = models.DateTimeField(null=True, blank=True)
    made_at = models.DateTimeField(auto_now_add=True)

    ungated = models.Manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ends_at__isnull=True)
                | models.Q(starts_at__isnull=True)
                | models.Q(ends_at__gt=models.F("starts_at")),
                name="condition_runs_forward",
            ),
            models.CheckConstraint(condition=models.Q(others_see__lt=Level.OPEN), name="others_see_less"),
        ]

    def __str__(self) -> str:
        return f"condition {self.pk}"


class Reach(models.Model):
    """The closure: this condition reaches this item. Kept by `archive.access` in the writing transaction."""

    # The constraint and the index below begin with these; an index more each would cost a busy decision a third of its
    # time.
    condition = models.ForeignKey(Condition, on_delete=models.CASCADE, related_name="+", db_index=False)
    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="+", db_index=False)

    ungated = models.Manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["condition", "item"], name="reach_once")]
        indexes = [models.Index(fields=["item", "condition"], name="reach_by_item")]


class Entrustment(models.Model):
    """A person entrusted with a recording or another item meets it whatever the conditions say."""

    account = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="+")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField(null=True, blank=True)
    granted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    reason = models.TextField(blank=True)

    ungated = models.Manager()


class PolicyVersion(models.Model):
    """One row, id 1. Database triggers move `number` in the transaction of every write that can change a level."""

    number = models.BigIntegerField(default=1)


class Touched(models.Model):
    """The last policy version under which something was written. Kept by database triggers alone."""

    class Sort(models.IntegerChoices):
        ITEM = 0  # by item number: a row of the item, a tie of it, a name
        REACH = 1  # by condition
        RULES = 2  # conditions, audiences and seasons; the number is 0
        ALL = 3  # the house and the names at rest, which everything may depend on; the number is 0

    sort = models.SmallIntegerField(choices=Sort.choices)
    number = models.BigIntegerField()
    version = models.BigIntegerField(db_index=True)

    ungated = models.Manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["sort", "number"], name="touched_once")]


class LedgerRow(models.Model):
    """One event. `digest` is SHA-256 over the row and the digest before it; no row can be changed or removed."""

    at = models.DateTimeField()
    actor = models.CharField(max_length=16, blank=True)  # an account's ref, or empty for a visitor
    event = models.CharField(max_length=20)
    item = models.CharField(max_length=16, blank=True)  # an item's ref
    detail = models.TextField()
    previous = models.CharField(max_length=64)
    digest = models.CharField(max_length=64, unique=True)

    class Meta:
        ordering = ["id"]
        indexes = [
            models.Index(fields=["item", "event"], name="ledger_by_item"),
            models.Index(fields=["actor"], name="ledger_by_actor"),
        ]
