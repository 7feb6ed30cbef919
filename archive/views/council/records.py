"""The ledger to read, to filter and to print: who decided what, and who met what, when, through which surface."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import Any

from django import forms
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from ...access import audiences, chamber, policy, record
from ...access.record import Entry, Wanted
from ...models import Item
from ..loading import GatedRequest
from ..pages.parts import page_number
from . import parts
from .forms import DateInput
from .room import council_page

SIZE = 50


class FilterForm(forms.Form):
    event = forms.ChoiceField(label=gettext_lazy("What happened"), required=False)
    person = forms.ChoiceField(label=gettext_lazy("Who did it, or was shown it"), required=False)
    since = forms.DateField(label=gettext_lazy("From"), widget=DateInput, required=False)
    until = forms.DateField(label=gettext_lazy("To the end of"), widget=DateInput, required=False)
    item = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, data: Any = None, **given: Any) -> None:
        super().__init__(data, **given)
        self.fields["event"].choices = [("", _("everything")), *record.events()]  # type: ignore[attr-defined]
        self.fields["person"].choices = [  # type: ignore[attr-defined]
            ("", _("everybody")), ("visitor", _("visitors who are not signed in")), *audiences.people()
        ]

    def wanted(self) -> Wanted:
        given = self.cleaned_data if self.is_valid() else {}
        return Wanted(
            items=(given["item"],) if given.get("item") else (),
            actor=given.get("person", ""),
            event=given.get("event", ""),
            since=_midnight(given.get("since")),
            until=_midnight(given.get("until"), 1),
        )


def _midnight(day: date | None, later: int = 0) -> datetime | None:
    return datetime.combine(day + timedelta(days=later), time(), policy.home_zone()) if day else None


@council_page
@require_safe
def ledger(request: GatedRequest) -> HttpResponse:
    form = FilterForm(request.GET or {})
    wanted = form.wanted()
    page = Paginator(record.rows(wanted), SIZE).get_page(page_number(request))
    about = list(chamber.numbers_of(request.gate, wanted.items).values())
    named = chamber.labels(request.gate, about)
    return render(
        request,
        "council/ledger.html",
        {
            "nav": "council",
            "crumbs": parts.crumbs(_("Ledger")),
            "form": form,
            "page": page,
            "about": parts.named(named[about[0]]) if about else None,
            "entries": [_entry(one) for one in record.entries(request.gate, page.object_list)],
        },
    )


def _entry(one: Entry) -> parts.Shown:
    return {
        "shown": one,
        "item": parts.named(one.item) if one.item else None,
        "about_url": f"{reverse('ledger')}?item={one.item_ref}" if one.item_ref else "",
    }


@council_page
@require_safe
def report(request: GatedRequest, kind: str, ref: str) -> HttpResponse:
    """Who met this item and what lies in it, when, and through which surface; made for paper."""
    item = chamber.find(request.gate, kind, ref)
    if item is None:
        raise Http404
    label = chamber.labels(request.gate, [item.pk])[item.pk]
    entries = record.entries(request.gate, record.met_of(request.gate, item.pk))
    return render(request, "council/report.html", _report(item, label, entries))


def _report(item: Item, label: Any, entries: list[Entry]) -> parts.Shown:
    zone = policy.home_zone()
    return {
        "label": parts.named(label),
        "printed_on": timezone.localdate(timezone=zone),
        "audience": _("the council"),
        "people": len({one.who for one in entries}),
        "entries": [{"shown": one, "at": one.at.astimezone(zone), "item": one.item} for one in entries],
        "back_url": reverse("ledger") + f"?item={item.ref}",
    }


urlpatterns: list[URLPattern] = [
    path("council/ledger/", ledger, name="ledger"),
    path("council/ledger/<str:kind>/<str:ref>/", report, name="report"),
]
