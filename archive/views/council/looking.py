"""Choosing an audience to look as, and leaving again."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from ...access import audiences, ledger
from .. import seeing
from ..loading import GatedRequest
from . import parts
from .room import council_page


@council_page
@require_http_methods(["GET", "HEAD", "POST"])
def see_as(request: GatedRequest) -> HttpResponse:
    if request.method == "POST":
        audience = audiences.row_of(request.POST.get("audience", ""))
        if audience is not None:
            request.session[seeing.KEY] = audience.ref
            ledger.write("looked as", request.user, audience=audience.ref)
            return redirect("home")
        messages.error(request, _("Choose the audience to look as."))
    return render(
        request,
        "council/see_as.html",
        {"nav": "council", "crumbs": parts.crumbs(_("See as")), "audiences": audiences.every(request.gate)},
    )


@council_page
@require_POST
def leave_seeing(request: GatedRequest) -> HttpResponse:
    if request.session.pop(seeing.KEY, None):
        messages.success(request, _("You are yourself again."))
    return redirect("council")


urlpatterns: list[URLPattern] = [
    path("council/see-as/", see_as, name="see_as"),
    path("council/see-as/leave/", leave_seeing, name="leave_seeing"),
]
