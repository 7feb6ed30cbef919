"""Closing a thing at once: one council member, two presses, until the council meets."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from ...access import chamber, closing
from ...access.showing import Label
from ...models import Scope
from ..loading import GatedRequest
from . import parts
from .room import council_page


@council_page
@require_http_methods(["GET", "HEAD", "POST"])
def close_now(request: GatedRequest, kind: str, ref: str) -> HttpResponse:
    item = chamber.find(request.gate, kind, ref)
    if item is None:
        raise Http404
    label = chamber.labels(request.gate, [item.pk])[item.pk]
    if item.is_undecided:
        messages.info(request, _("It is closed already: it waits for the council, and only the entrusted meet it."))
        return redirect(parts.decide_url(label))
    if request.method == "POST":
        return _close(request, label)
    return render(
        request,
        "council/close_now.html",
        {
            "nav": "council",
            "label": parts.named(label),
            "crumbs": parts.crumbs((label.text, parts.address(label)), _("Close now")),
            "can_tie": label.kind in chamber.TYING,
            "scopes": [{"value": value, "words": words} for value, words in Scope.choices],
            "cancel_url": parts.address(label),
        },
    )


def _close(request: GatedRequest, label: Label) -> HttpResponse:
    scope = Scope.TIED if request.POST.get("scope") == Scope.TIED and label.kind in chamber.TYING else Scope.ITSELF
    closing.close_now(request.user, label.number, scope, request.POST.get("reason", "")[:4000])
    messages.success(
        request,
        _("“%(name)s” is closed from this moment, until the council meets. It stands among what is due on this page.")
        % {"name": label.text},
    )
    return redirect(reverse("council"))


urlpatterns: list[URLPattern] = [
    path("council/close/<str:kind>/<str:ref>/", close_now, name="close_now"),
]
