"""Layers of the map: the list, the page of one, and its lines and areas as a file."""

from __future__ import annotations

from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from ...access import layers, met
from ...access.layers import LayerShown
from ...models import Layer, Level
from ..loading import GatedRequest, OnlyNotice, fetch, item_page
from . import parts
from .parts import Shown


@require_safe
def index(request: GatedRequest) -> HttpResponse:
    found = layers.layers(request.gate)
    items = [_item(one) for one in found]
    return render(request, "pages/layers.html", {"nav": "map", "items": items, "total": len(found)})


def _item(one: LayerShown) -> Shown:
    return {
        "kind": "place",
        "url": parts.address(one.label),
        "title": one.label.text,
        "facts": [fact for fact in (_count(one), one.rights) if fact],
        "summary": one.about,
        "level": parts.level_word(one.label),
    }


def _count(one: LayerShown) -> str:
    if one.features is None:
        return ""
    return ngettext("%(count)d shape", "%(count)d shapes", one.features) % {"count": one.features}


@item_page
@require_safe
def page(request: GatedRequest, ref: str) -> HttpResponse:
    row = fetch(request, Layer, ref)
    shown = layers.layer(request.gate, row)
    facts: list[Shown] = [
        {"term": _("What it holds"), "value": _count(shown)},
        {"term": _("Whose it is, and its licence"), "value": shown.rights},
    ]
    return render(
        request,
        "pages/layer.html",
        parts.item_context(request, row, shown.label, "layers", _("Layers of the map"))
        | {
            "nav": "map",
            "about": shown.about,
            "rows": [fact for fact in facts if fact["value"]],
            "file_url": reverse("layer_geojson", args=[ref]) if shown.features is not None else "",
        },
    )


@require_safe
def geojson(request: GatedRequest, ref: str) -> JsonResponse:
    try:
        row = fetch(request, Layer, ref, Level.OPEN)
    except OnlyNotice as error:
        raise Http404 from error
    met.note(request.gate, row, "map")
    return JsonResponse(
        layers.collection(request.gate, row),
        content_type="application/geo+json",
        json_dumps_params={"ensure_ascii": False, "separators": (",", ":")},
    )


urlpatterns: list[URLPattern] = [
    path("layers/", index, name="layers"),
    path("layers/<str:ref>/", page, name="layer"),
    path("layers/<str:ref>/layer.geojson", geojson, name="layer_geojson"),
]
