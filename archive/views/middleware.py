"""Around every request: one gate for its viewer and moment, and the headers that keep pages private."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils.cache import patch_vary_headers
from django.utils.functional import SimpleLazyObject

from ..access.gate import Gate
from . import seeing

Handler = Callable[[HttpRequest], HttpResponse]

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; media-src 'self'; "
    "connect-src 'self'; font-src 'self'; frame-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'self'; manifest-src 'self'"
)


class GateMiddleware:
    """`request.gate`: what this viewer meets at the moment of the request. It is opened when first asked for."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request.gate = SimpleLazyObject(lambda: _gate_of(request))  # type: ignore[attr-defined]
        refused = seeing.begin(request)
        return refused or self.get_response(request)


def _gate_of(request: HttpRequest) -> Gate:
    return Gate(request.user if request.user.is_authenticated else None)  # type: ignore[arg-type]


class PageHeaders:
    """Nothing that passed the gate is kept by a cache, told to another site, or fetched from one."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        # Said of every page alike: else it would tell whether a page had to ask who is there to find nothing.
        patch_vary_headers(response, ("Cookie",))
        response.headers.setdefault("Cache-Control", "private, no-store")
        response.headers.setdefault("Content-Security-Policy", POLICY)
        response.headers.setdefault("Permissions-Policy", "camera=(), microphone=(), geolocation=(self)")
        return response
