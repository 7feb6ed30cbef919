"""Consent of a recording: every statement with its paper, a new statement, and what a withdrawal reaches."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_safe

from ...access import chamber, consenting, copies, papers, policy
from ...models import ConsentState, Item, Kind, Recording
from ..loading import GatedRequest
from . import parts
from .forms import DateInput
from .room import council_page


class CopyForm(forms.Form):
    to_whom = forms.CharField(
        label=gettext_lazy("Who has it"),
        max_length=200,
        error_messages={"required": gettext_lazy("Write who has the copy, so that they can be told.")},
    )
    what = forms.CharField(label=gettext_lazy("What it is (a disc, a stick, a print)"), max_length=200, required=False)
    given_on = forms.DateField(
        label=gettext_lazy("Given on"),
        widget=DateInput,
        error_messages={"required": gettext_lazy("Give the day on which it was handed out.")},
    )


class ConsentForm(forms.Form):
    said = forms.ChoiceField(
        label=gettext_lazy("What do they say?"),
        widget=forms.RadioSelect,
        choices=[
            (ConsentState.GIVEN, gettext_lazy("They agree")),
            (ConsentState.LIMITED, gettext_lazy("They agree within limits (write them below, then decide so)")),
            (ConsentState.WITHDRAWN, gettext_lazy("They take it back: everything of it closes at once, for everybody")),
        ],
        error_messages={"required": gettext_lazy("Choose one of the three.")},
    )
    given_by = forms.CharField(
        label=gettext_lazy("Who says so"),
        max_length=200,
        error_messages={"required": gettext_lazy("Write who says so.")},
    )
    stated_on = forms.DateField(
        label=gettext_lazy("On"),
        widget=DateInput,
        error_messages={
            "required": gettext_lazy("Give the day on which it was said."),
            "invalid": gettext_lazy("That is no date. Write it like 2026-03-08."),
        },
    )
    words = forms.CharField(
        label=gettext_lazy("In their words, with any limits"),
        widget=forms.Textarea(attrs={"rows": 3}),
        max_length=4000,
        required=False,
    )
    paper = forms.FileField(
        label=gettext_lazy("The signed paper"),
        help_text=gettext_lazy("A PDF, or a picture of it (JPEG or PNG), up to 20 MB. Only the council can open it."),
        required=False,
    )
    withdrawer_agrees = forms.BooleanField(
        label=gettext_lazy("Those who took consent back give it anew"), required=False
    )

    def clean_stated_on(self) -> date:
        day: date = self.cleaned_data["stated_on"]
        if day > timezone.localdate(timezone=policy.home_zone()):
            raise forms.ValidationError(_("That day lies ahead. Write down what has been said."))
        return day

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if given.get("said") == ConsentState.LIMITED and not given.get("words", "").strip():
            self.add_error("words", _("Write the limits down, in their words."))
        return given


@council_page
@require_http_methods(["GET", "HEAD", "POST"])
def consent(request: GatedRequest, ref: str) -> HttpResponse:
    item = chamber.find(request.gate, Kind.RECORDING, ref)
    if item is None:
        raise Http404
    copy_form = CopyForm(request.POST if request.POST.get("copy") else None, prefix="copy")
    if request.POST.get("told") or (request.POST.get("copy") and copy_form.is_valid()):
        return _copies(request, item, copy_form)
    said = consenting.statements(request.gate, item.pk)
    is_withdrawn = bool(said) and said[0].state == ConsentState.WITHDRAWN
    is_said = request.method == "POST" and not request.POST.get("copy")
    form = ConsentForm(request.POST if is_said else None, request.FILES if is_said else None)
    if not is_withdrawn:
        del form.fields["withdrawer_agrees"]
    if is_said and form.is_valid():
        try:
            return _state(request, consenting.recording(item.pk), form)
        except ValidationError as error:
            form.add_error(None, error)
    label = chamber.labels(request.gate, [item.pk])[item.pk]
    return render(
        request,
        "council/consent.html",
        {
            "nav": "council",
            "label": parts.named(label),
            "crumbs": parts.crumbs((label.text, parts.address(label)), _("Consent")),
            "said": [_statement(one, ref) for one in said],
            "is_withdrawn": is_withdrawn,
            "copies": [{"shown": one, "item": parts.named(one.item)} for one in copies.of(request.gate, item.pk)],
            "copy_form": copy_form,
            "form": form,
            "action": request.path,
            "cancel_url": parts.address(label),
        },
    )


def _copies(request: GatedRequest, item: Item, form: CopyForm) -> HttpResponse:
    if request.POST.get("told"):
        if copies.tell(request.user, request.POST["told"]):
            messages.success(request, _("Written down that they have been told."))
    else:
        given = form.cleaned_data
        copies.note(request.user, [item], given["to_whom"], given["what"], given["given_on"])
        messages.success(request, _("Written down. Should consent be taken back, they stand on this page."))
    return redirect(request.path)


def _statement(one: consenting.Statement, ref: str) -> parts.Shown:
    return {"shown": one, "paper_url": reverse("consent_paper", args=[ref, one.paper_sha256]) if one.paper_name else ""}


def _state(request: GatedRequest, row: Recording, form: ConsentForm) -> HttpResponse:
    given = form.cleaned_data
    paper = ("", "")
    if given.get("paper"):
        try:
            paper = papers.keep(given["paper"].name, given["paper"].chunks())
        except ValidationError as error:
            raise ValidationError({"paper": error.messages}) from error
    consenting.state(
        request.user, row, given["said"], given["given_by"], given["stated_on"], given["words"], paper,
        given.get("withdrawer_agrees", False),
    )  # fmt: skip
    if given["said"] == ConsentState.WITHDRAWN:
        messages.success(request, _("Written down. From this moment nobody hears, reads or finds it."))
    else:
        messages.success(request, _("Written down."))
    return redirect(request.path)


@council_page
@require_safe
def consent_paper(request: GatedRequest, ref: str, sha256: str) -> HttpResponse:
    found = papers.of(request.gate, ref, sha256)
    if found is None:
        raise Http404
    name, kind, data = found
    response = HttpResponse(data, content_type=kind)
    response.headers["Content-Disposition"] = content_disposition_header(True, name) or "attachment"
    return response


urlpatterns: list[URLPattern] = [
    path("council/consent/<str:ref>/", consent, name="consent"),
    path("council/papers/<str:ref>/<str:sha256>/", consent_paper, name="consent_paper"),
]
