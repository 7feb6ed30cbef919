"""Closing seconds at the desk: from that moment they are silent to others, and wait for the council."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from ...access import writing
from ...timecode.times import Span, format_clock
from ..loading import GatedRequest, for_role
from .cut import add_errors, recording_to_cut
from .drawing import crumbs, draw, posted
from .fields import TimeField, joined, read_time


class CloseForm(forms.Form):
    start = TimeField(
        label=gettext_lazy("Closed from"), help_text=gettext_lazy("Like 1:02:03.5, or a link that ends in #t=10,20.")
    )
    end = TimeField(label=gettext_lazy("Closed until"), help_text=gettext_lazy("The first moment that is open again."))
    reason = forms.CharField(
        label=gettext_lazy("Why"),
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=gettext_lazy("For the council. Do not repeat the words that are to be closed."),
    )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        start, end = joined(self._time("start", given), self._time("end", given))
        for name, value in (("start", start), ("end", end)):
            if value is None and name not in self.errors:
                self.add_error(name, _("Write a time."))
        return given | {"start_ms": start, "end_ms": end}

    def _time(self, name: str, given: dict[str, Any]) -> int | Span | None:
        try:
            return read_time(given.get(name, ""), None)
        except ValidationError as error:
            self.add_error(name, error)
            return None


@for_role("is_archivist")
@require_http_methods(["GET", "HEAD", "POST"])
def close_seconds(request: GatedRequest, ref: str) -> HttpResponse:
    row = recording_to_cut(request, ref)
    initial = {name: request.GET.get(name, "")[:40] for name in ("start", "end")}
    form = CloseForm(posted(request), initial=initial)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            span = writing.close_span(
                request.user, row, given["start_ms"], given["end_ms"], given["reason"].strip()
            )
            words = _("%(start)s to %(end)s is closed from this moment, and waits for the council.")
            times = {"start": format_clock(span.start_ms), "end": format_clock(span.end_ms)}
            messages.success(request, words % times)
            return redirect("desk_recording", ref=ref)
        except ValidationError as error:
            add_errors(form, error)
    return draw(
        request,
        "desk/close.html",
        {
            "crumbs": crumbs(_("Close seconds"), (row.title, reverse("desk_recording", args=[ref]))),
            "form": form,
            "length": format_clock(row.master.duration_ms),
            "cancel_url": reverse("desk_recording", args=[ref]),
        },
    )


urlpatterns: list[URLPattern] = [
    path("desk/recordings/<str:ref>/close/", close_seconds, name="close_seconds"),
]
