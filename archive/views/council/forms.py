"""What the council fills in. Messages say what to do next; nothing that was typed is lost."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from ...access import chamber, decisions, policy
from ...access.chamber import ConditionShown
from ...models import Audience, Builtin, Level, NoticePages, Offering, Scope, Season

OPEN, SOME, CLOSED = "open", "some", "closed"
OTHERS = {"nothing": Level.NOTHING, "notice": Level.NOTICE, "description": Level.DESCRIPTION}


class DateInput(forms.DateInput):
    input_type = "date"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%d")


class MinuteForm(forms.Form):
    """When the council met, who was there, under which minute, and why."""

    decided_on = forms.DateField(
        label=gettext_lazy("Date of the meeting"),
        widget=DateInput,
        error_messages={
            "required": gettext_lazy("Give the date of the meeting, so that the decision can be answered for."),
            "invalid": gettext_lazy("That is no date. Write it like 2026-03-08."),
        },
    )
    present = forms.CharField(
        label=gettext_lazy("Who was present"),
        max_length=2000,
        error_messages={"required": gettext_lazy("Name those who were present.")},
    )
    minute = forms.CharField(
        label=gettext_lazy("Minute"),
        help_text=gettext_lazy("The number or name under which the minute is kept, like 2026/5."),
        max_length=120,
        error_messages={
            "required": gettext_lazy("Name the minute this decision stands in, so that it can be answered for.")
        },
    )
    reason = forms.CharField(
        label=gettext_lazy("Reason"),
        widget=forms.Textarea(attrs={"rows": 3}),
        max_length=4000,
        required=False,
    )

    def clean_decided_on(self) -> date:
        day: date = self.cleaned_data["decided_on"]
        if day > timezone.localdate(timezone=policy.home_zone()):
            raise forms.ValidationError(_("That day lies ahead. Enter the decision once it has been taken."))
        return day

    def as_minute(self) -> decisions.Minute:
        given = self.cleaned_data
        return decisions.Minute(given["decided_on"], given["minute"].strip(), given["present"], given["reason"])


class DecisionForm(MinuteForm):
    """One decision about one or many items."""

    items = forms.MultipleChoiceField(
        label=gettext_lazy("What is decided about"),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": gettext_lazy("Mark at least one thing to decide about.")},
    )
    outcome = forms.ChoiceField(
        label=gettext_lazy("Who may meet it?"),
        widget=forms.RadioSelect,
        choices=[
            (OPEN, gettext_lazy("Open to everyone")),
            (SOME, gettext_lazy("Only for the audiences marked below")),
            (CLOSED, gettext_lazy("Closed to all but those entrusted with it")),
        ],
        error_messages={"required": gettext_lazy("Choose one of the three.")},
    )
    audiences = forms.MultipleChoiceField(
        label=gettext_lazy("Audiences"),
        help_text=gettext_lazy("Whoever belongs to one of those you mark may meet it."),
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )
    scope = forms.ChoiceField(
        label=gettext_lazy("How far does it reach?"),
        help_text=gettext_lazy(
            "A person, place, figure or topic by itself: its name and its page. With all that is tied to it: every "
            "segment told by, about or under it as well, also those still to come."
        ),
        widget=forms.RadioSelect,
        choices=Scope.choices,
        initial=Scope.ITSELF,
        required=False,
    )
    season = forms.ChoiceField(label=gettext_lazy("Season"), required=False)
    first_day = forms.DateField(
        label=gettext_lazy("The limit holds from this day on"), widget=DateInput, required=False
    )
    last_day = forms.DateField(
        label=gettext_lazy("and to the end of this day"), widget=DateInput, required=False
    )
    review_on = forms.DateField(
        label=gettext_lazy("Look at it again on"),
        help_text=gettext_lazy("It comes back to the council's page on that day."),
        widget=DateInput,
        required=False,
    )
    others = forms.ChoiceField(
        label=gettext_lazy("What do the others see?"),
        widget=forms.RadioSelect,
        choices=[
            ("nothing", gettext_lazy("Nothing: to them it is not there at all")),
            ("notice", gettext_lazy("The words written below, and whom to ask")),
            ("description", gettext_lazy("Its description, but not its voice, its words or its exact place")),
        ],
        initial="nothing",
        required=False,
    )
    notice_words = forms.CharField(
        label=gettext_lazy("Words for the others"),
        widget=forms.Textarea(attrs={"rows": 3}),
        max_length=2000,
        required=False,
    )
    whom_to_ask = forms.CharField(label=gettext_lazy("Whom to ask"), max_length=200, required=False)
    notice_pages = forms.ChoiceField(
        label=gettext_lazy("Where these words stand"),
        widget=forms.RadioSelect,
        choices=NoticePages.choices,
        initial=NoticePages.OWN,
        required=False,
    )
    offering = forms.ChoiceField(
        label=gettext_lazy("How the recording is offered where some of it is closed"),
        widget=forms.RadioSelect,
        choices=[("", gettext_lazy("as it is now")), *Offering.choices],
        required=False,
    )
    lift = forms.MultipleChoiceField(
        label=gettext_lazy("Which of the conditions on it end with this decision?"),
        help_text=gettext_lazy("What is not marked stays. Where several hold, all of them must be satisfied."),
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )
    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    field_order = (
        "items", "outcome", "audiences", "scope", "season", "first_day", "last_day", "review_on", "others",
        "notice_words", "whom_to_ask", "notice_pages", "offering", "lift", "decided_on", "present", "minute",
        "reason", "seen",
    )  # fmt: skip

    def __init__(
        self,
        data: Any = None,
        *,
        items: Sequence[tuple[str, str]],
        numbers: dict[str, int],
        kinds: set[str],
        conditions: Sequence[ConditionShown],
        **given: Any,
    ) -> None:
        super().__init__(data, **given)
        self.numbers = numbers
        self.fields["items"].choices = items  # type: ignore[attr-defined]
        self.fields["audiences"].choices = [  # type: ignore[attr-defined]
            (one.ref, one.name) for one in Audience.objects.exclude(builtin=Builtin.EVERYONE)
        ]
        self.fields["season"].choices = [  # type: ignore[attr-defined]
            ("", _("all the year")), *((one.ref, one.name) for one in Season.objects.all())
        ]
        self.conditions = {str(one.number): one for one in conditions if not one.is_from_consent}
        self.fields["lift"].choices = [  # type: ignore[attr-defined]
            (number, _condition_words(one, len(items) > 1)) for number, one in self.conditions.items()
        ]
        self.fields["reason"].help_text = _("To open anything, the council gives its reason.")
        self._leave_out(kinds, len(items))

    def _leave_out(self, kinds: set[str], count: int) -> None:
        """Fields that say nothing about these items."""
        if not kinds & set(chamber.TYING):
            del self.fields["scope"]
        if "recording" not in kinds:
            del self.fields["offering"]
        if not self.conditions:
            del self.fields["lift"]
        if count == 1:
            self.fields["items"].widget = forms.MultipleHiddenInput()
            self.fields["items"].widget.choices = self.fields["items"].choices  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        outcome = given.get("outcome")
        if outcome == SOME and not given.get("audiences"):
            self.add_error("audiences", _("Mark at least one audience, or choose one of the other two above."))
        if outcome == OPEN:
            self._clean_open(given)
        else:
            self._clean_limits(given)
        opens = outcome in (OPEN, SOME) or given.get("lift")
        if opens and not given.get("reason", "").strip() and "reason" not in self.errors:
            self.add_error("reason", _("Opening needs a reason. Write why the council opens it."))
        return given

    def _clean_open(self, given: dict[str, Any]) -> None:
        for name in ("first_day", "last_day"):
            if given.get(name):
                self.add_error(
                    name,
                    _("What is open has no first or last day. To open it later, choose “closed” and give the last "
                      "day on which it is closed."),
                )

    def _clean_limits(self, given: dict[str, Any]) -> None:
        first, last = given.get("first_day"), given.get("last_day")
        if first and last and last < first:
            self.add_error("last_day", _("It would end before it starts. Change one of the two days."))
        if given.get("outcome") == CLOSED and given.get("season"):
            self.add_error(
                "season",
                _("What is closed to all is so in every season. To open it to everyone in a season alone, choose "
                  "“open to everyone” and the season."),
            )
        self._clean_others(given)

    def _clean_others(self, given: dict[str, Any]) -> None:
        if given.get("others") == "notice" and not given.get("notice_words", "").strip():
            self.add_error("notice_words", _("Write the words that the others are to see."))

    def targets(self) -> list[int]:
        return [self.numbers[ref] for ref in self.cleaned_data["items"]]

    def act(self) -> decisions.Act:
        """What was decided. Conditions are lifted only where their target is among those marked."""
        given = self.cleaned_data
        targets = self.targets()
        lift = [
            one.number
            for number, one in self.conditions.items()
            if number in given.get("lift", ()) and one.target.number in targets
        ]
        return decisions.Act(targets, self._terms(), lift, given.get("offering") or "")

    def _terms(self) -> decisions.Terms | None:
        given = self.cleaned_data
        if given["outcome"] == OPEN and not given.get("season"):
            return None
        zone = policy.home_zone()
        first, last = given.get("first_day"), given.get("last_day")
        return decisions.Terms(
            audiences=self._audiences(),
            scope=given.get("scope") or Scope.ITSELF,
            season=Season.objects.filter(ref=given["season"]).first(),
            starts_at=datetime.combine(first, time(), zone) if first else None,
            ends_at=datetime.combine(last + timedelta(days=1), time(), zone) if last else None,
            review_on=given.get("review_on"),
            others_see=OTHERS[given.get("others") or "nothing"],
            notice_words=given["notice_words"].strip(),
            whom_to_ask=given["whom_to_ask"].strip(),
            notice_pages=given.get("notice_pages") or NoticePages.OWN,
        )

    def _audiences(self) -> list[Audience]:
        given = self.cleaned_data
        if given["outcome"] == OPEN:
            return list(Audience.objects.filter(builtin=Builtin.EVERYONE))
        if given["outcome"] == CLOSED:
            return []
        return list(Audience.objects.filter(ref__in=given["audiences"]))


def _condition_words(one: ConditionShown, with_target: bool) -> str:
    words = f"{one.target.text}: {one.words}" if with_target else one.words
    if one.decision is not None:
        words += " " + _("(Minute: %(minute)s)") % {"minute": one.decision.minute}
    return words
