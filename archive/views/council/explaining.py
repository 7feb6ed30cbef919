"""Why somebody meets a thing or not, at any moment."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django import forms
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from ...access import audiences, chamber, explain, policy, wording
from ...access.explain import Explanation, Verdict
from ..loading import GatedRequest
from . import parts
from .room import council_page

VISITOR = "visitor"


class AskForm(forms.Form):
    person = forms.ChoiceField(label=gettext_lazy("For whom"), required=False)
    at = forms.DateTimeField(
        label=gettext_lazy("At which moment"),
        help_text=gettext_lazy("By the clock of the home place. Left empty: now."),
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M", "%Y-%m-%d"],
        required=False,
        error_messages={"invalid": gettext_lazy("That is no moment. Write it like 2026-03-08 21:00.")},
    )

    def __init__(self, data: Any = None, **given: Any) -> None:
        super().__init__(data, **given)
        self.fields["person"].choices = [  # type: ignore[attr-defined]
            (VISITOR, _("a visitor who is not signed in")), *audiences.people()
        ]

    def moment(self) -> datetime:
        """Typed by the home clock; the form reads it as UTC."""
        at: datetime | None = self.cleaned_data.get("at") if self.is_valid() else None
        return at.replace(tzinfo=policy.home_zone()) if at is not None else timezone.now()


@council_page
@require_safe
def explain_item(request: GatedRequest, kind: str, ref: str) -> HttpResponse:
    item = chamber.find(request.gate, kind, ref)
    if item is None:
        raise Http404
    form = AskForm(request.GET or None, initial={"person": VISITOR})
    person = request.GET.get("person", VISITOR)
    found = None
    if not form.is_bound or form.is_valid():
        found = explain.of(item, audiences.account(person), form.moment() if form.is_bound else None)
    label = chamber.labels(request.gate, [item.pk])[item.pk]
    return render(
        request,
        "council/explain.html",
        {
            "nav": "council",
            "label": parts.named(label),
            "crumbs": parts.crumbs((label.text, parts.address(label)), _("Explain")),
            "form": form,
            "found": _shown(found) if found else None,
        },
    )


def _shown(one: Explanation) -> parts.Shown:
    zone = policy.home_zone()
    return {
        "who": one.who,
        "at": one.moment.astimezone(zone),
        "clock": _clock(one.moment.astimezone(zone)),
        "level": one.level.name.lower(),
        "level_words": wording.level_words(one.level),
        "reasons": one.reasons,
        "waits_for": [parts.named(label) for label in one.waits_for],
        "trusts": [{"shown": each, "item": parts.named(each.item)} for each in one.trusts],
        "audiences": one.audiences,
        "verdicts": [_verdict(each) for each in one.verdicts],
        "ruling": parts.decision(one.decision),
        "changes_at": one.changes_at.astimezone(zone) if one.changes_at else None,
    }


def _clock(at: datetime) -> str:
    """How far its clock is from UTC, “UTC−03:00”: zones have names that say the opposite (“Etc/GMT+3”)."""
    return "UTC" + at.isoformat()[-len("+00:00"):].replace("-", "−")


def _verdict(one: Verdict) -> parts.Shown:
    return {
        "shown": one,
        "target": parts.named(one.target),
        "way": [{"words": step.words, "to": parts.named(step.to)} for step in one.way],
        "leaves": wording.level_words(one.leaves),
        "ruling": parts.decision(one.decision),
    }


urlpatterns: list[URLPattern] = [
    path("council/explain/<str:kind>/<str:ref>/", explain_item, name="explain"),
]
