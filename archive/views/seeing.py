"""Looking at the whole site as an audience would: for council members, read-only, until they leave.

While it lasts, the request's gate is that audience's and its user a stand-in without any role. Nothing that is sent
is taken, but the wish to leave. What the council member may not hear stays described, and what they do meet is
written down under their own name.
"""

from __future__ import annotations

from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from ..access import audiences
from ..access.gate import AudienceGate
from ..models import Account, Audience, Builtin

KEY = "seen_as"
NOBODY = -1  # no account's number


def begin(request: HttpRequest) -> HttpResponse | None:
    """Put the audience in the viewer's place, where a council member looks as one; or refuse what is sent."""
    request.seen_as = None  # type: ignore[attr-defined]
    ref = request.session.get(KEY)
    if not ref or request.path == reverse("leave_seeing"):
        return None
    audience = audiences.row_of(ref)
    user = request.user
    if audience is None or not user.is_authenticated or not getattr(user, "is_council", False):
        return None
    request.seen_as = audience.name  # type: ignore[attr-defined]
    request.user = _stand_in(audience)
    request.gate = AudienceGate(audience, user)  # type: ignore[attr-defined]
    if request.method not in ("GET", "HEAD", "OPTIONS"):
        return render(request, "council/only_looking.html", status=403)
    return None


def _stand_in(audience: Audience) -> Account | AnonymousUser:
    if audience.builtin == Builtin.EVERYONE:
        visitor = AnonymousUser()
        visitor.pk = NOBODY  # type: ignore[assignment]
        return visitor
    return Account(pk=NOBODY, username="", display_name=audience.name)
