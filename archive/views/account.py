"""Signing in and out, and a person's own page: what they may do, whom they belong to, what they are trusted with."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth import views as auth
from django.contrib.auth.decorators import login_required
from django.contrib.auth.forms import PasswordChangeForm
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse, reverse_lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from ..access import details
from .council.room import by_the_home_clock
from .loading import GatedRequest
from .pages import parts

Shown = dict[str, Any]

ROLES = (
    (
        "is_archivist",
        gettext_lazy("Archivist"),
        gettext_lazy("You bring recordings in, cut them into segments, and tie these to people, places and stars."),
    ),
    (
        "is_council",
        gettext_lazy("Council member"),
        gettext_lazy(
            "You see the description of everything, and decide who may meet what. To listen, you entrust yourself, "
            "and the ledger shows it."
        ),
    ),
    (
        "is_educator",
        gettext_lazy("Educator"),
        gettext_lazy("You gather segments that you may meet into lessons, and print sheets for a class."),
    ),
    (
        "is_keeper",
        gettext_lazy("Keeper of the system"),
        gettext_lazy("You look after accounts and the machine. That opens nothing to you by itself."),
    ),
)


class SignIn(auth.LoginView):
    """One message for a wrong name, a wrong password and an account that is switched off."""

    template_name = "account/sign_in.html"
    extra_context = {"nav": "account", "no_next": True}


class ChangePassword(auth.PasswordChangeView):
    template_name = "account/password.html"
    success_url = reverse_lazy("account")
    extra_context = {"nav": "account"}

    def form_valid(self, form: PasswordChangeForm) -> HttpResponse:
        messages.success(self.request, _("Your password is changed. You stay signed in here, and nowhere else."))
        return super().form_valid(form)


@login_required
@by_the_home_clock
@require_safe
def own_page(request: GatedRequest) -> HttpResponse:
    return render(
        request,
        "account/account.html",
        {
            "nav": "account",
            "roles": [{"name": name, "words": words} for flag, name, words in ROLES if getattr(request.user, flag)],
            "audiences": [_audience(one, request) for one in details.own_audiences(request.gate)],
            "trusts": [_trust(one) for one in details.own_trusts(request.gate)],
            "password_url": reverse("change_password"),
        },
    )


def _audience(one: details.OwnAudience, request: GatedRequest) -> Shown:
    now = request.gate.moment
    state = "now"
    if one.starts_at is None:
        state = "made"
    elif one.ends_at is not None and one.ends_at <= now:
        state = "left"
    elif one.starts_at > now:
        state = "ahead"
    return {"name": one.name, "about": one.about, "starts_at": one.starts_at, "ends_at": one.ends_at, "state": state}


def _trust(one: details.OwnTrust) -> Shown:
    has_page = one.item.kind in parts.MARKS
    return {
        "item": parts.chip(one.item) if has_page else None,
        "reason": one.reason,
        "starts_at": one.starts_at,
        "ends_at": one.ends_at,
    }


urlpatterns: list[URLPattern] = [
    path("sign-in/", SignIn.as_view(), name="sign_in"),
    path("sign-out/", auth.LogoutView.as_view(), name="sign_out"),
    path("account/", own_page, name="account"),
    path("account/password/", ChangePassword.as_view(), name="change_password"),
]
