"""Asking the council, a person's own requests, and the council's answers."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils.timezone import now
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from ...access import asking, consenting, decisions, policy, showing, wordbook, wording
from ...access.asking import AskShown, OwnAsk
from ...access.gate import NotMet
from ...models import AskState, Figure, Item, Kind, Layer, Level, Mirror, Person, Place, Recording, Segment, Topic
from ..loading import GatedRequest
from . import parts
from .forms import DateInput
from .names import show_error
from .room import by_the_home_clock, council_page

MODELS: dict[str, type[Item]] = {
    model.KIND: model for model in (Recording, Segment, Person, Place, Figure, Mirror, Topic, Layer)
}
# The page lies under the thing's own address, so that a notice leads there without telling its ref.
PLURALS = (
    (Kind.RECORDING, "recordings"),
    (Kind.SEGMENT, "segments"),
    (Kind.PERSON, "people"),
    (Kind.PLACE, "places"),
    (Kind.FIGURE, "figures"),
    (Kind.MIRROR, "mirrors"),
    (Kind.TOPIC, "topics"),
    (Kind.LAYER, "layers"),
)
ONCE, UNTIL, BELONG, NO = "once", "until", "belong", "no"


class AskForm(forms.Form):
    reason = forms.CharField(
        label=gettext_lazy("Who you are, and why you ask"),
        widget=forms.Textarea(attrs={"rows": 4}),
        max_length=2000,
        error_messages={"required": gettext_lazy("Say why you ask; the council reads it.")},
    )


class AnswerForm(forms.Form):
    answer = forms.ChoiceField(
        label=gettext_lazy("The council's answer"),
        widget=forms.RadioSelect,
        choices=[
            (ONCE, gettext_lazy("Yes, once: for a day and a night from now")),
            (UNTIL, gettext_lazy("Yes, to the end of the day given below")),
            (BELONG, gettext_lazy("Yes, as one of the audience marked below")),
            (NO, gettext_lazy("No, with the words below")),
        ],
        error_messages={"required": gettext_lazy("Choose the answer, or go back and leave it waiting.")},
    )
    last_day = forms.DateField(label=gettext_lazy("To the end of"), widget=DateInput, required=False)
    audience = forms.ChoiceField(label=gettext_lazy("Audience"), required=False)
    words = forms.CharField(
        label=gettext_lazy("Words to whoever asked"),
        widget=forms.Textarea(attrs={"rows": 3}),
        max_length=2000,
        required=False,
    )

    def __init__(self, data: Any = None, **given: Any) -> None:
        super().__init__(data, **given)
        self.fields["audience"].choices = [("", "–"), *asking.joinable()]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if given.get("answer") == UNTIL and not given.get("last_day") and "last_day" not in self.errors:
            self.add_error("last_day", _("Give the last day on which it may be met."))
        if given.get("answer") == BELONG and not given.get("audience"):
            self.add_error("audience", _("Choose the audience."))
        if given.get("answer") == NO and not given.get("words", "").strip():
            self.add_error("words", _("Write a few words to whoever asked."))
        return given

    def ends_at(self) -> datetime | None:
        day = self.cleaned_data.get("last_day")
        return datetime.combine(day + timedelta(days=1), time(), policy.home_zone()) if day else None


# --- asking ---


@require_http_methods(["GET", "HEAD", "POST"])
def ask(request: GatedRequest, kind: str, ref: str) -> HttpResponse:
    item = _described_or_noticed(request, kind, ref)
    if not request.user.is_authenticated:
        return redirect_to_login(request.get_full_path())
    if not asking.may_ask(request.gate, item):
        raise Http404
    form = AskForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            asking.ask(request.gate, item, form.cleaned_data["reason"])
            messages.success(request, _("The council will read it. You see its answer on this page."))
            return redirect("requests")
        except ValidationError as error:
            show_error(form, error, {})
    named = showing.label(request.gate, item.pk)
    return render(
        request,
        "council/ask.html",
        {
            "nav": "account",
            "title": named.text if named else wordbook.say("ask"),
            "lang": named.language if named else "",
            "lead": wordbook.say("ask_lead"),
            "form": form,
            "action": request.path,
            "cancel_url": reverse(kind, args=[ref]),
        },
    )


def _described_or_noticed(request: GatedRequest, kind: str, ref: str) -> Item:
    """The item, where no more than a description of it is met; 404 for everything else alike."""
    try:
        item = request.gate.fetch(MODELS[kind], ref, Level.NOTICE)
    except NotMet as error:
        raise Http404 from error
    if request.gate.level_of(item) == Level.OPEN:
        raise Http404
    return item


@login_required
@by_the_home_clock
@require_safe
def own_requests(request: GatedRequest) -> HttpResponse:
    return render(
        request,
        "council/own_requests.html",
        {
            "nav": "account",
            "crumbs": [{"label": _("Your account"), "url": reverse("account")}, {"label": _("Your requests")}],
            "asks": [_own(one) for one in asking.own(request.gate)],
        },
    )


def _own(one: OwnAsk) -> parts.Shown:
    return {
        "shown": one,
        "item": parts.named(one.item) if one.item else None,
        "state_words": _state_words(one),
        "take_back_url": reverse("take_back_request", args=[one.ref]) if one.state == AskState.WAITING else "",
    }


def _state_words(one: OwnAsk | AskShown) -> str:
    """How it stands; what was granted says for whom and until when."""
    if one.state != AskState.GRANTED:
        return str(AskState(one.state).label)
    said = {"audience": one.audience, "day": wording.last_day(one.ends_at, policy.home_zone()) if one.ends_at else ""}
    if one.ends_at is None:
        return _("granted, by belonging to “%(audience)s”, with no end set") % said if one.audience else _("granted")
    if one.ends_at <= now():
        return _("granted until %(day)s, which is over") % said
    if one.audience:
        return _("granted, by belonging to “%(audience)s” until %(day)s") % said
    return _("granted until %(day)s") % said


@login_required
@require_POST
def take_back_request(request: GatedRequest, ref: str) -> HttpResponse:
    if asking.take_back(request.user, ref):
        messages.success(request, _("Your request is taken back."))
    else:
        messages.error(request, _("It is answered already, or was taken back."))
    return redirect("requests")


# --- answering ---


@council_page
@require_safe
def council_requests(request: GatedRequest) -> HttpResponse:
    return render(
        request,
        "council/requests.html",
        {
            "nav": "council",
            "crumbs": parts.crumbs(_("Requests")),
            "asks": [_asked(one) for one in asking.waiting(request.gate)],
            "answered": [_asked(one) for one in asking.answered(request.gate)],
        },
    )


def _asked(one: AskShown) -> parts.Shown:
    why = reverse("explain", args=[one.item.kind, one.item.ref]) + f"?person={one.account_ref}"
    return {
        "shown": one,
        "item": parts.named(one.item),
        "state_words": _state_words(one),
        "url": reverse("answer_request", args=[one.ref]),
        "explain_url": why,
    }


@council_page
@require_http_methods(["GET", "HEAD", "POST"])
def answer_request(request: GatedRequest, ref: str) -> HttpResponse:
    one = asking.one(request.gate, ref)
    if one is None:
        raise Http404
    if one.state != AskState.WAITING:
        messages.info(request, _("This was answered already."))
        return redirect("council_requests")
    form = AnswerForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            _answer(request, one, form)
            _say_answered(request, one, form)
            return redirect("council_requests")
        except decisions.TakenBack as error:
            form.add_error("answer", consenting.why_not_opened(request.gate, error))  # type: ignore[arg-type]
        except ValidationError as error:
            show_error(form, error, {"ends_at": "last_day"})
    return render(
        request,
        "council/answer.html",
        {
            "nav": "council",
            "crumbs": parts.crumbs((_("Requests"), reverse("council_requests")), one.name),
            "one": _asked(one),
            "form": form,
            "action": request.path,
            "cancel_url": reverse("council_requests"),
        },
    )


def _say_answered(request: GatedRequest, one: AskShown, form: AnswerForm) -> None:
    messages.success(request, _("Answered. %(name)s sees it on their own page.") % {"name": one.name})
    if form.cleaned_data["answer"] != NO and not asking.is_met(one):
        messages.warning(
            request,
            _("Even so, %(name)s does not meet “%(thing)s” yet: another condition stands in the way. Look below why.")
            % {"name": one.name, "thing": one.item.text},
        )


def _answer(request: GatedRequest, one: AskShown, form: AnswerForm) -> None:
    given = form.cleaned_data
    if given["answer"] == ONCE:
        asking.grant_once(request.user, one.ref, given["words"])
    elif given["answer"] == UNTIL:
        asking.grant(request.user, one.ref, given["words"], form.ends_at())
    elif given["answer"] == BELONG:
        audience = asking.audience(given["audience"])
        if audience is None:
            raise ValidationError({"audience": _("Choose the audience.")})
        asking.grant_membership(request.user, one.ref, audience, given["words"], form.ends_at())
    else:
        asking.decline(request.user, one.ref, given["words"])


urlpatterns: list[URLPattern] = [
    *(path(f"{plural}/<str:ref>/ask/", ask, {"kind": kind}, name=f"ask_{kind}") for kind, plural in PLURALS),
    path("account/requests/", own_requests, name="requests"),
    path("account/requests/<str:ref>/take-back/", take_back_request, name="take_back_request"),
    path("council/requests/", council_requests, name="council_requests"),
    path("council/requests/<str:ref>/", answer_request, name="answer_request"),
]
