"""Names at rest: which rest, since when and until when, and what is said instead; letting one rest, and lifting it."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import translation
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_safe

from ...access import chamber, impact, policy, resting, showing
from ...access.resting import RestShown, Wish
from ...templatetags.undersky import language_name
from ..loading import GatedRequest
from . import changes, parts
from .deciding import REMEMBERED
from .forms import DateInput, MinuteForm
from .room import council_page


class RestForm(MinuteForm):
    person = forms.ChoiceField(
        label=gettext_lazy("Whose name rests"),
        error_messages={"required": gettext_lazy("Choose the person.")},
    )
    first_day = forms.DateField(
        label=gettext_lazy("From"),
        widget=DateInput,
        error_messages={"required": gettext_lazy("Give the first day on which the name rests.")},
    )
    last_day = forms.DateField(
        label=gettext_lazy("To the end of"),
        help_text=gettext_lazy("Left empty, it rests until the council lifts it."),
        widget=DateInput,
        required=False,
    )
    instead = forms.CharField(
        max_length=120,
        error_messages={"required": gettext_lazy("Write the words that are said instead of the name.")},
    )
    instead_other = forms.CharField(max_length=120, required=False)
    spellings = forms.CharField(
        label=gettext_lazy("Further spellings to be replaced"),
        help_text=gettext_lazy(
            "One a line: a short form, a nickname, a mishearing. The names written on the person's page are replaced "
            "in any case. A star at the end (Name*) stands for every word that begins so."
        ),
        widget=forms.Textarea(attrs={"rows": 3}),
        max_length=2000,
        required=False,
    )
    hides_voice = forms.BooleanField(
        label=gettext_lazy("The voice rests too: what the person tells is not heard or read, only its description"),
        required=False,
    )

    field_order = (
        "person", "first_day", "last_day", "instead", "instead_other", "spellings", "hides_voice", "decided_on",
        "present", "minute", "reason",
    )  # fmt: skip

    def __init__(self, data: Any = None, *, people: list[tuple[str, str]], **given: Any) -> None:
        super().__init__(data, **given)
        self.fields["person"].choices = [("", "–"), *people]  # type: ignore[attr-defined]
        self.own, self.other = showing.house().language, translation.get_language() or "en"
        self.fields["instead"].label = _said_in(self.own)
        self.fields["instead_other"].label = _said_in(self.other)
        if self.own.split("-")[0] == self.other.split("-")[0]:
            del self.fields["instead_other"]

    def wish(self, numbers: dict[str, int]) -> Wish:
        given = self.cleaned_data
        said = [(self.own, given["instead"].strip()), (self.other, given.get("instead_other", "").strip())]
        return Wish(
            person=numbers[given["person"]],
            starts_at=_midnight(given["first_day"]),
            ends_at=_midnight(given["last_day"], 1) if given.get("last_day") else None,
            instead=tuple(each for each in said if each[1]),
            spellings=resting.spellings_of(given["spellings"].splitlines()),
            hides_voice=given["hides_voice"],
        )


def _said_in(tag: str) -> str:
    return _("What is said instead, in %(language)s") % {"language": language_name(tag)}


def _midnight(day: date, later: int = 0) -> datetime:
    return datetime.combine(day + timedelta(days=later), time(), policy.home_zone())


@council_page
@require_safe
def index(request: GatedRequest) -> HttpResponse:
    return render(
        request,
        "council/names.html",
        {
            "nav": "council",
            "crumbs": parts.crumbs(_("Names at rest")),
            "rests": [_rest(one) for one in resting.every(request.gate)],
        },
    )


def _rest(one: RestShown) -> parts.Shown:
    zone = policy.home_zone()
    return {
        "shown": one,
        "person": parts.named(one.person),
        "first_day": one.starts_at.astimezone(zone),
        "last_day": (one.ends_at - timedelta(microseconds=1)).astimezone(zone) if one.ends_at else None,
        "ruling": parts.decision(one.decision),
        "lift_url": reverse("lift_rest", args=[one.ref]) if one.state != "over" else "",
    }


@council_page
@require_http_methods(["GET", "HEAD", "POST"])
def rest_name(request: GatedRequest) -> HttpResponse:
    people = resting.people(request.gate)
    numbers = {one.ref: one.number for one in people}
    initial = {**request.session.get("meeting", {}), "person": request.GET.get("person", "")}
    form = RestForm(request.POST or None, people=[(one.ref, one.text) for one in people], initial=initial)
    if request.method == "POST" and form.is_valid() and request.POST.get("step") != "change":
        try:
            wish = form.wish(numbers)
            if request.POST.get("step") == "confirm":
                return _rest_it(request, form, wish)
            resting.check(wish)
            return _ask_once_more(request, form, wish)
        except ValidationError as error:
            show_error(form, error, {"ends_at": "last_day"})
    context = {"nav": "council", "crumbs": _crumbs(_("Let a name rest")), "form": form, "action": request.path}
    return render(request, "council/rest_name.html", context)


def show_error(form: forms.Form, error: ValidationError, called: dict[str, str]) -> None:
    """Each message beside its field, by the name that the form calls it."""
    found = error.error_dict.items() if hasattr(error, "error_dict") else [("__all__", error)]
    for name, said in found:
        field = called.get(name, name)
        form.add_error(field if field in form.fields else None, said)


def _rest_it(request: GatedRequest, form: RestForm, wish: Wish) -> HttpResponse:
    resting.rest(request.user, form.as_minute(), wish)
    remember(request, form)
    messages.success(request, _("Decided. The name is replaced wherever it stands."))
    return redirect("names_at_rest")


def remember(request: GatedRequest, form: MinuteForm) -> None:
    """The meeting, for the next decision of this sitting."""
    request.session["meeting"] = {name: str(form.cleaned_data[name]) for name in REMEMBERED}


def _ask_once_more(request: GatedRequest, form: RestForm, wish: Wish) -> HttpResponse:
    found = resting.would_change(request.gate, wish)
    moved = []
    if wish.hides_voice:
        moved = impact.of(request.gate, lambda: resting.rest(request.user, form.as_minute(), wish))
    person = chamber.labels(request.gate, [wish.person])[wish.person]
    return render(
        request,
        "council/rest_preview.html",
        {
            "nav": "council",
            "crumbs": _crumbs(_("Let a name rest")),
            "form": form,
            "action": request.path,
            "person": parts.named(person),
            "instead": [words for _tag, words in wish.instead],
            "found": [parts.named(one) for one in found],
            "impacts": changes.shown(request.gate, moved),
        },
    )


def _crumbs(here: str) -> list[parts.Shown]:
    return parts.crumbs((_("Names at rest"), reverse("names_at_rest")), here)


@council_page
@require_http_methods(["GET", "HEAD", "POST"])
def lift_rest(request: GatedRequest, ref: str) -> HttpResponse:
    one = next((each for each in resting.every(request.gate) if each.ref == ref and each.state != "over"), None)
    if one is None:
        raise Http404
    form = MinuteForm(request.POST or None, initial=request.session.get("meeting", {}))
    form.fields["reason"].required = True
    form.fields["reason"].error_messages["required"] = _("Write why the name may be said again.")
    if request.method == "POST" and form.is_valid():
        try:
            resting.lift(request.user, form.as_minute(), ref)
            remember(request, form)
            messages.success(request, _("Decided. The name is said again."))
            return redirect("names_at_rest")
        except ValidationError as error:
            form.add_error(None, error)
    return render(
        request,
        "council/lift_rest.html",
        {
            "nav": "council",
            "crumbs": _crumbs(_("Let it be said again")),
            "one": _rest(one),
            "form": form,
            "action": request.path,
            "cancel_url": reverse("names_at_rest"),
        },
    )


urlpatterns: list[URLPattern] = [
    path("council/names/", index, name="names_at_rest"),
    path("council/names/rest/", rest_name, name="rest_name"),
    path("council/names/<str:ref>/lift/", lift_rest, name="lift_rest"),
]
