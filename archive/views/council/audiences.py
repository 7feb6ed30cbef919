"""Audiences: who belongs to them and since when; those made of others; a member's own wish."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST

from ...access import audiences, decisions, policy
from ...models import Audience, Combining
from ..loading import GatedRequest
from . import parts
from .forms import DateInput
from .room import council_page

NAMED = "named"


class AudienceForm(forms.Form):
    name = forms.CharField(
        label=gettext_lazy("Name"),
        max_length=120,
        error_messages={"required": gettext_lazy("Give the audience a name.")},
    )
    about = forms.CharField(
        label=gettext_lazy("Who they are"),
        widget=forms.Textarea(attrs={"rows": 2}),
        max_length=2000,
        required=False,
    )


class MadeOfForm(forms.Form):
    combining = forms.ChoiceField(
        label=gettext_lazy("Who belongs to it?"),
        widget=forms.RadioSelect,
        choices=[
            (NAMED, gettext_lazy("the people added to it by name")),
            (Combining.ANY, gettext_lazy("whoever belongs to one of the audiences marked below")),
            (Combining.ALL, gettext_lazy("only those who belong to all of the audiences marked below")),
        ],
        error_messages={"required": gettext_lazy("Choose one of the three.")},
    )
    parts = forms.MultipleChoiceField(
        label=gettext_lazy("Audiences it is made of"), widget=forms.CheckboxSelectMultiple, required=False
    )

    def __init__(self, data: Any = None, *, but: str = "", **given: Any) -> None:
        super().__init__(data, **given)
        rows = Audience.objects.exclude(ref=but).exclude(builtin__isnull=False)
        self.fields["parts"].choices = [(row.ref, row.name) for row in rows]  # type: ignore[attr-defined]

    def rows(self) -> list[Audience]:
        return list(Audience.objects.filter(ref__in=self.cleaned_data.get("parts", ())))


class MemberForm(forms.Form):
    person = forms.ChoiceField(
        label=gettext_lazy("Person"),
        error_messages={"required": gettext_lazy("Choose the person.")},
    )
    first_day = forms.DateField(label=gettext_lazy("From"), widget=DateInput, required=False)
    last_day = forms.DateField(label=gettext_lazy("To the end of"), widget=DateInput, required=False)

    def __init__(self, data: Any = None, **given: Any) -> None:
        super().__init__(data, **given)
        self.fields["person"].choices = [("", "–"), *audiences.people()]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        first, last = given.get("first_day"), given.get("last_day")
        if first and last and last < first:
            self.add_error("last_day", _("It would end before it starts. Change one of the two days."))
        return given

    def stretch(self) -> tuple[datetime, datetime | None]:
        zone = policy.home_zone()
        first, last = self.cleaned_data.get("first_day"), self.cleaned_data.get("last_day")
        starts_at = datetime.combine(first, time(), zone) if first else timezone.now()
        return starts_at, datetime.combine(last + timedelta(days=1), time(), zone) if last else None


@council_page
@require_http_methods(["GET", "HEAD", "POST"])
def index(request: GatedRequest) -> HttpResponse:
    form = AudienceForm(request.POST or None, prefix="new")
    if request.method == "POST" and form.is_valid():
        try:
            made = audiences.add(request.user, form.cleaned_data["name"], form.cleaned_data["about"])
            return redirect("audience", made.ref)
        except ValidationError as error:
            form.add_error(None, error)
    return render(
        request,
        "council/audiences.html",
        {
            "nav": "council",
            "crumbs": parts.crumbs(_("Audiences")),
            "audiences": audiences.every(request.gate),
            "wishes": _wishes(request),
            "form": form,
        },
    )


def _wishes(request: GatedRequest) -> list[parts.Shown]:
    return [
        {"shown": one, "is_own": one.account_ref == request.user.ref, "url": reverse("answer_wish", args=[one.ref])}
        for one in audiences.wishes(request.gate)
    ]


def _row(ref: str) -> Audience:
    row = audiences.row_of(ref)
    if row is None:
        raise Http404
    return row


@council_page
@require_http_methods(["GET", "HEAD", "POST"])
def page(request: GatedRequest, ref: str) -> HttpResponse:
    row = _row(ref)
    what = request.POST.get("what", "")
    forms_ = {
        "describe": AudienceForm(
            request.POST if what == "describe" else None,
            initial={"name": row.name, "about": row.about},
            prefix="describe",
        ),
        "made_of": MadeOfForm(
            request.POST if what == "made_of" else None,
            but=row.ref,
            initial={"combining": row.combining or NAMED, "parts": [part.ref for part in row.parts.all()]},
            prefix="made",
        ),
        "member": MemberForm(request.POST if what == "member" else None, prefix="member"),
    }
    if request.method == "POST" and what in forms_ and forms_[what].is_valid():
        try:
            ACTS[what](request, row, forms_[what])
            return redirect("audience", row.ref)
        except ValidationError as error:
            _show_error(forms_[what], error)
    shown = audiences.one(request.gate, ref)
    return render(
        request,
        "council/audience.html",
        {
            "nav": "council",
            "crumbs": parts.crumbs((_("Audiences"), reverse("audiences")), row.name),
            "one": shown,
            "forms": forms_,
            "combining_words": str(Combining(row.combining).label) if row.combining else "",
            "wishes": [one for one in _wishes(request) if one["shown"].audience_ref == row.ref],
        },
    )


def _show_error(form: forms.Form, error: ValidationError) -> None:
    """The message beside its field, where the form has that field."""
    if hasattr(error, "error_dict"):
        for name, found in error.error_dict.items():
            form.add_error({"ends_at": "last_day"}.get(name, name) if name != "__all__" else None, found)
    else:
        form.add_error(None, error)


def _describe(request: GatedRequest, row: Audience, form: Any) -> None:
    audiences.describe(request.user, row, form.cleaned_data["name"], form.cleaned_data["about"])
    messages.success(request, _("Saved."))


def _make_of(request: GatedRequest, row: Audience, form: Any) -> None:
    if form.cleaned_data["combining"] != NAMED:
        audiences.define(request.user, row, form.cleaned_data["combining"], form.rows())
    elif row.combining:
        audiences.undefine(request.user, row)
    messages.success(request, _("Saved. It is in force from now on."))


def _add_member(request: GatedRequest, row: Audience, form: Any) -> None:
    account = audiences.account(form.cleaned_data["person"])
    if account is None:
        raise ValidationError(_("That account is no longer in use."))
    starts_at, ends_at = form.stretch()
    if account.pk == request.user.pk:
        audiences.wish(request.user, row, starts_at, ends_at)
        messages.warning(
            request,
            _("Nobody adds themselves alone. Your wish is written down: it holds once another council member has "
              "confirmed it on this page."),
        )
        return
    decisions.join(request.user, row, account, starts_at, ends_at)
    messages.success(request, _("%(name)s belongs to “%(audience)s”.") % {"name": account, "audience": row.name})


ACTS = {"describe": _describe, "made_of": _make_of, "member": _add_member}


@council_page
@require_POST
def end_member(request: GatedRequest, ref: str) -> HttpResponse:
    row = _row(ref)
    number = parts.number(request.POST.get("membership", ""))
    held = audiences.membership(row, number)
    if held is None:
        messages.error(request, _("That belonging has ended already."))
    else:
        decisions.leave(request.user, held)
        messages.success(request, _("%(name)s no longer belongs to it, from this moment.") % {"name": held.account})
    return redirect("audience", row.ref)


@council_page
@require_POST
def answer_wish(request: GatedRequest, ref: str) -> HttpResponse:
    confirms = request.POST.get("answer") == "yes"
    try:
        audiences.answer_wish(request.user, ref, confirms)
        messages.success(request, _("Confirmed. It is in force from now on.") if confirms else _("Declined."))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("audiences")


urlpatterns: list[URLPattern] = [
    path("council/audiences/", index, name="audiences"),
    path("council/audiences/<str:ref>/", page, name="audience"),
    path("council/audiences/<str:ref>/end/", end_member, name="end_member"),
    path("council/wishes/<str:ref>/", answer_wish, name="answer_wish"),
]
