"""Fetching is checking: the one way that a page gets its item."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, Protocol, TypeVar

from django.contrib.auth.views import redirect_to_login
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from ..access import asking, resting, showing
from ..access.gate import Gate, NotMet
from ..models import Account, Item, Level

Gated = TypeVar("Gated", bound=Item)


class GatedRequest(HttpRequest):
    """A request that has passed the middleware."""

    gate: Gate
    user: Account  # type: ignore[assignment]


class View(Protocol):
    def __call__(self, request: GatedRequest, *args: Any, **kwargs: Any) -> HttpResponse: ...


class OnlyNotice(Http404):
    """The viewer meets nothing of the item but the council's words: 404 on any page that does not show these."""

    def __init__(self, item: Item) -> None:
        super().__init__()
        self.item = item


def fetch(request: GatedRequest, model: type[Gated], ref: str, at_least: Level = Level.DESCRIPTION) -> Gated:
    """The item at this address; 404 where it is not met, whether it exists or not."""
    try:
        item = request.gate.fetch(model, ref, Level.NOTICE)
    except NotMet as error:
        raise Http404 from error
    level = request.gate.level_of(item)
    if level == Level.NOTICE and at_least >= Level.DESCRIPTION:
        raise OnlyNotice(item)
    if level < at_least:
        raise Http404
    return resting.masked(request.gate, item)


def item_page(view: View) -> View:
    """Turns OnlyNotice into the notice page: the council's words and whom to ask, and nothing of the item."""

    @wraps(view)
    def shown(request: GatedRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            return view(request, *args, **kwargs)
        except OnlyNotice as only:
            notices = request.gate.notices_on_page(only.item.pk, [])
            may_ask = asking.is_offered(request.gate, only.item)
            return render(request, "notice.html", {"notices": notices, "ask_url": "ask/" if may_ask else ""})

    return shown


def ask_url(request: GatedRequest, item: Item) -> str:
    """Where a person may ask the council for what they are shown a notice or a description of."""
    return reverse(f"ask_{item.kind}", args=[item.ref]) if asking.is_offered(request.gate, item) else ""


def for_role(role: str) -> Callable[[View], View]:
    """Pages that only people with a role may use: others get the same 404 as for an address that is not there."""

    def wrap(view: View) -> View:
        @wraps(view)
        def checked(request: GatedRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if not request.user.is_authenticated:
                return redirect_to_login(request.get_full_path())
            if not getattr(request.user, role):
                raise Http404
            return view(request, *args, **kwargs)

        return checked

    return wrap


def notices_for(request: GatedRequest, item: Item) -> list[showing.Notice]:
    return showing.notices(request.gate, item.pk)
