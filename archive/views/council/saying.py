"""What the council would have said: content cautions, and the community's own words on the pages."""

from __future__ import annotations

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

from ...access import cautioning, chamber, wordbook
from ...models import ContentCaution
from ..loading import GatedRequest
from . import parts
from .names import show_error
from .room import council_page

LINE = 30  # letters that a field shows at 360 pixels, as looked at


class CautionForm(forms.Form):
    kinds = forms.MultipleChoiceField(
        label=gettext_lazy("Before it is played, say"),
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )

    def __init__(self, data: Any = None, **given: Any) -> None:
        super().__init__(data, **given)
        self.fields["kinds"].choices = [  # type: ignore[attr-defined]
            (kind, wordbook.say(kind)) for kind in ContentCaution.values
        ]


@council_page
@require_http_methods(["GET", "HEAD", "POST"])
def cautions(request: GatedRequest, kind: str, ref: str) -> HttpResponse:
    item = chamber.find(request.gate, kind, ref) if kind in cautioning.KINDS else None
    if item is None:
        raise Http404
    form = CautionForm(request.POST or None, initial={"kinds": cautioning.of(item.pk)})
    if request.method == "POST":
        form = CautionForm(request.POST)
        if form.is_valid():
            cautioning.choose(request.user, item, form.cleaned_data["kinds"])
            messages.success(request, _("Saved. It is said before playing from now on."))
            return redirect(request.path)
    label = chamber.labels(request.gate, [item.pk])[item.pk]
    return render(
        request,
        "council/cautions.html",
        {
            "nav": "council",
            "label": parts.named(label),
            "crumbs": parts.crumbs((label.text, parts.address(label)), _("Cautions")),
            "form": form,
            "action": request.path,
            "cancel_url": parts.address(label),
        },
    )


def _box(usual: str) -> forms.Widget:
    """Words that would not fit on a phone's line get several."""
    return forms.Textarea(attrs={"rows": 3}) if len(usual) > LINE else forms.TextInput()


class WordsForm(forms.Form):
    def __init__(self, data: Any = None, **given: Any) -> None:
        super().__init__(data, **given)
        for entry in wordbook.every():
            self.fields[entry.key] = forms.CharField(
                label=entry.about,
                help_text=_("Ours: %(words)s") % {"words": entry.default},
                initial=entry.text,
                widget=_box(entry.default),
                max_length=wordbook.LONGEST,
                required=False,
            )


@council_page
@require_http_methods(["GET", "HEAD", "POST"])
def words(request: GatedRequest) -> HttpResponse:
    form = WordsForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            wordbook.change(request.user, form.cleaned_data)
            messages.success(request, _("Saved. The pages say it so from now on."))
            return redirect("words")
        except ValidationError as error:
            show_error(form, error, {})
    context = {"nav": "council", "crumbs": parts.crumbs(_("Words")), "form": form, "action": reverse("words")}
    return render(request, "council/words.html", context)


urlpatterns: list[URLPattern] = [
    path("council/cautions/<str:kind>/<str:ref>/", cautions, name="cautions"),
    path("council/words/", words, name="words"),
]
