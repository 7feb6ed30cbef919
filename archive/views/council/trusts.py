"""Entrusting a person, or oneself, with a thing. A council member who would listen does so; it is written down."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from ...access import audiences, chamber, consenting, decisions, policy, trusting
from ...models import Item
from ..loading import GatedRequest
from . import parts
from .forms import DateInput
from .room import council_page


class TrustForm(forms.Form):
    person = forms.ChoiceField(
        label=gettext_lazy("Who is entrusted with it"),
        error_messages={"required": gettext_lazy("Choose the person.")},
    )
    reason = forms.CharField(
        label=gettext_lazy("Why"),
        max_length=2000,
        error_messages={"required": gettext_lazy("Write why; it stands in the ledger.")},
    )
    last_day = forms.DateField(
        label=gettext_lazy("To the end of"),
        help_text=gettext_lazy("Left empty, the trust holds until it is ended here."),
        widget=DateInput,
        required=False,
    )

    def __init__(self, data: Any = None, **given: Any) -> None:
        super().__init__(data, **given)
        self.fields["person"].choices = audiences.people()  # type: ignore[attr-defined]

    def ends_at(self) -> datetime | None:
        day = self.cleaned_data.get("last_day")
        return datetime.combine(day + timedelta(days=1), time(), policy.home_zone()) if day else None


@council_page
@require_http_methods(["GET", "HEAD", "POST"])
def entrust(request: GatedRequest, kind: str, ref: str) -> HttpResponse:
    item = chamber.find(request.gate, kind, ref)
    if item is None:
        raise Http404
    if request.POST.get("end"):
        return _end(request, item)
    form = TrustForm(request.POST or None, initial={"person": request.user.ref})
    if request.method == "POST" and form.is_valid():
        try:
            return _entrust(request, item, form)
        except decisions.TakenBack as error:
            form.add_error(None, consenting.why_not_opened(request.gate, error))  # type: ignore[arg-type]
        except ValidationError as error:
            form.add_error("last_day", error.messages)
    label = chamber.labels(request.gate, [item.pk])[item.pk]
    return render(
        request,
        "council/entrust.html",
        {
            "nav": "council",
            "label": parts.named(label),
            "crumbs": parts.crumbs((label.text, parts.address(label)), _("Entrust")),
            "trusts": trusting.of(request.gate, item.pk),
            "form": form,
            "action": request.path,
            "cancel_url": parts.address(label),
        },
    )


def _entrust(request: GatedRequest, item: Item, form: TrustForm) -> HttpResponse:
    account = audiences.account(form.cleaned_data["person"])
    if account is None:
        raise ValidationError(_("That account is no longer in use."))
    decisions.entrust(request.user, account, item, form.cleaned_data["reason"], ends_at=form.ends_at())
    messages.success(
        request, _("%(name)s is entrusted with it, from now on. It is written in the ledger.") % {"name": account}
    )
    return redirect(request.path)


def _end(request: GatedRequest, item: Item) -> HttpResponse:
    if trusting.end(request.user, item, parts.number(request.POST["end"])):
        messages.success(request, _("The trust has ended, from this moment."))
    else:
        messages.error(request, _("That trust has ended already."))
    return redirect(request.path)


def address(kind: str, ref: str) -> str:
    return reverse("entrust", args=[kind, ref])


urlpatterns: list[URLPattern] = [
    path("council/entrust/<str:kind>/<str:ref>/", entrust, name="entrust"),
]
