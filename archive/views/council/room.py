"""The door of the council's room: who may enter, and the clock on its wall."""

from __future__ import annotations

from functools import wraps
from typing import Any

from django.http import HttpResponse
from django.utils import timezone

from ...access import policy
from ..loading import GatedRequest, View, for_role


def by_the_home_clock(view: View) -> View:
    """Moments on the page are told by the clock of the home place, as decisions and seasons are."""

    @wraps(view)
    def shown(request: GatedRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        with timezone.override(policy.home_zone()):
            return view(request, *args, **kwargs)

    return shown


def council_page(view: View) -> View:
    """A page for council members alone, by the home clock; to others it is not there."""
    return for_role("is_council")(by_the_home_clock(view))
