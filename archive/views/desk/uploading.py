"""Uploads in pieces, for the script of the bring-in page: begin, add a piece, ask how far it is, drop.

An upload is begun with its name and size (JSON), then its bytes follow in order, each piece as the raw body of a PUT
with its place in `X-Offset`. Every answer says how many bytes are here, so that a script goes on from there after
anything: a lost connection, a closed laptop, a restarted server.
"""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.urls import URLPattern, path
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from ...access import uploads
from ...access.uploads import Arriving, NotTaken
from ..loading import GatedRequest, for_role
from .drawing import read_json

PIECE_BYTES = 4 << 20
LARGEST_PIECE_BYTES = 16 << 20


@for_role("is_archivist")
@require_POST
def begin_upload(request: GatedRequest) -> HttpResponse:
    try:
        given = read_json(request.body)
        name, size = str(given["name"]), int(given["size"])
    except (ValueError, OverflowError, KeyError, TypeError):
        return _refused(_("Say the file's name and size."), 0, 400)
    try:
        return JsonResponse(_shown(uploads.begin(request.user, name, size)))
    except NotTaken as error:
        return _refused(error.message, 0, 400)


@for_role("is_archivist")
@require_http_methods(["GET", "HEAD", "PUT", "DELETE"])
def upload(request: GatedRequest, ref: str) -> HttpResponse:
    arriving = uploads.get(request.user, ref)
    if arriving is None:
        raise Http404
    if request.method == "PUT":
        return _piece(request, ref)
    if request.method == "DELETE":
        uploads.drop(request.user, ref)
        return JsonResponse({"dropped": True})
    return JsonResponse(_shown(arriving))


def _piece(request: GatedRequest, ref: str) -> HttpResponse:
    offset, size = _number(request.headers.get("X-Offset")), _number(request.headers.get("Content-Length"))
    if offset is None or size is None or not 0 < size <= LARGEST_PIECE_BYTES:
        return _refused(_("A piece needs its place (X-Offset) and at most 16 MB."), 0, 400)
    try:
        return JsonResponse(_shown(uploads.append(request.user, ref, offset, request, size)))
    except NotTaken as error:
        return _refused(error.message, error.arrived, 507 if error.full else 409)


def _number(text: str | None) -> int | None:
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 16 else None


def _shown(one: Arriving) -> dict[str, Any]:
    return {"ref": one.ref, "name": one.original_name, "size": one.size_bytes, "arrived": one.arrived_bytes}


def _refused(words: str, arrived: int, status: int) -> JsonResponse:
    return JsonResponse({"words": words, "arrived": arrived}, status=status)


@for_role("is_archivist")
@require_POST
def drop_upload(request: GatedRequest, ref: str) -> HttpResponse:
    if not uploads.drop(request.user, ref):
        raise Http404
    return redirect("bring")


urlpatterns: list[URLPattern] = [
    path("desk/uploads/", begin_upload, name="begin_upload"),
    path("desk/uploads/<str:ref>/", upload, name="upload"),
    path("desk/uploads/<str:ref>/drop/", drop_upload, name="drop_upload"),
]
