"""Seasons: by dates, by a switch, by the sky; with their openings and closings for ten years."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils.dates import MONTHS
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from ...access import seasonal, showing
from ...access.seasonal import SeasonShown
from ...access.showing import Label
from ...models import Season, SeasonKind, SkyRule
from ..loading import GatedRequest
from . import parts
from .names import show_error
from .room import council_page

DAYS = [(str(day), str(day)) for day in range(1, 32)]


class SeasonForm(forms.Form):
    name = forms.CharField(
        label=gettext_lazy("Name"),
        max_length=120,
        error_messages={"required": gettext_lazy("Give the season a name.")},
    )
    about = forms.CharField(label=gettext_lazy("What it is"), max_length=500, required=False)
    kind = forms.ChoiceField(
        label=gettext_lazy("How does it open and close?"),
        widget=forms.RadioSelect,
        choices=[
            (SeasonKind.DATES, gettext_lazy("on the same days each year")),
            (SeasonKind.SWITCH, gettext_lazy("the council opens and closes it by hand (“snow is on the ground”)")),
            (SeasonKind.SKY, gettext_lazy("by a figure of the sky, at the home place")),
        ],
        error_messages={"required": gettext_lazy("Choose one of the three.")},
    )
    from_day = forms.ChoiceField(label=gettext_lazy("First day"), choices=DAYS, initial="1", required=False)
    from_month = forms.ChoiceField(label=gettext_lazy("of"), initial="1", required=False)
    to_day = forms.ChoiceField(label=gettext_lazy("Last day"), choices=DAYS, initial="31", required=False)
    to_month = forms.ChoiceField(label=gettext_lazy("of"), initial="12", required=False)
    figure = forms.ChoiceField(label=gettext_lazy("Figure"), required=False)
    sky_rule = forms.ChoiceField(
        label=gettext_lazy("Open"),
        widget=forms.RadioSelect,
        choices=SkyRule.choices,
        initial=SkyRule.DUSK,
        required=False,
    )

    def __init__(self, data: Any = None, *, figures: list[Label], **given: Any) -> None:
        super().__init__(data, **given)
        self.numbers = {one.ref: one.number for one in figures}
        self.fields["figure"].choices = [("", "–"), *((one.ref, one.text) for one in figures)]  # type: ignore[attr-defined]
        for name in ("from_month", "to_month"):
            self.fields[name].choices = [(str(at), words) for at, words in MONTHS.items()]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if given.get("kind") == SeasonKind.SKY and not given.get("figure"):
            self.add_error("figure", _("Choose the figure that the season goes by."))
        return given

    def make(self, request: GatedRequest) -> Season:
        given = self.cleaned_data
        if given["kind"] == SeasonKind.SWITCH:
            return seasonal.by_switch(request.user, given["name"], given["about"])
        if given["kind"] == SeasonKind.SKY:
            figure = self.numbers[given["figure"]]
            return seasonal.by_sky(request.user, given["name"], figure, given["sky_rule"], given["about"])
        first, last = ((int(given[f"{end}_month"] or 1), int(given[f"{end}_day"] or 1)) for end in ("from", "to"))
        return seasonal.by_dates(request.user, given["name"], first, last, given["about"])


@council_page
@require_http_methods(["GET", "HEAD", "POST"])
def index(request: GatedRequest) -> HttpResponse:
    form = SeasonForm(request.POST or None, figures=seasonal.figures(request.gate))
    if request.method == "POST" and form.is_valid():
        try:
            made = form.make(request)
            messages.success(request, _("Made. It counts once a decision names it."))
            return redirect("season", made.ref)
        except ValidationError as error:
            show_error(form, error, {})
    return render(
        request,
        "council/seasons.html",
        {
            "nav": "council",
            "crumbs": parts.crumbs(_("Seasons")),
            "seasons": [_season(one) for one in seasonal.every(request.gate)],
            "form": form,
        },
    )


@council_page
@require_safe
def page(request: GatedRequest, ref: str) -> HttpResponse:
    found = seasonal.one(request.gate, ref)
    if found is None:
        raise Http404
    return render(
        request,
        "council/season.html",
        {
            "nav": "council",
            "crumbs": parts.crumbs((_("Seasons"), reverse("seasons")), found.name),
            "one": _season(found),
            "home_name": showing.house().home_name,
        },
    )


def _season(one: SeasonShown) -> parts.Shown:
    return {
        "shown": one,
        "url": reverse("season", args=[one.ref]),
        "how": _how(one),
        "figure": parts.named(one.figure) if one.figure else None,
        "switch_url": reverse("switch_season", args=[one.ref]) if one.kind == SeasonKind.SWITCH else "",
        "turns": [{"day": day, "opens": opens} for day, opens in one.turns],
    }


def _how(one: SeasonShown) -> str:
    if one.kind == SeasonKind.SWITCH:
        return _("the council opens and closes it by hand")
    if one.kind == SeasonKind.SKY:
        return str(SkyRule(one.sky_rule).label)
    return _("each year from %(first)s to %(last)s, both days included") % {
        "first": _day_words(one.first),
        "last": _day_words(one.last),
    }


def _day_words(month_day: tuple[int, int]) -> str:
    return f"{month_day[1]} {MONTHS[month_day[0]]}"


@council_page
@require_POST
def switch_season(request: GatedRequest, ref: str) -> HttpResponse:
    try:
        on = request.POST.get("on") == "yes"
        seasonal.switch(request.user, ref, on, request.POST.get("words", "")[:500])
        said = _("The season is open from now on.") if on else _("The season is closed from now on.")
        messages.success(request, said)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("seasons")


urlpatterns: list[URLPattern] = [
    path("council/seasons/", index, name="seasons"),
    path("council/seasons/<str:ref>/", page, name="season"),
    path("council/seasons/<str:ref>/switch/", switch_season, name="switch_season"),
]
