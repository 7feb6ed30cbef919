"""The map: places as their viewer may meet them, what is told there, and the list that says the same in words."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from django.conf import settings
from django.http import HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils.html import conditional_escape
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from ..access import ground, showing
from ..access.ground import PlaceOnMap
from ..access.showing import Label
from ..maps import frame, geojson
from .loading import GatedRequest

Json = dict[str, Any]


def _chosen(request: GatedRequest) -> Label | None:
    """What the map is narrowed to. An address that is not met narrows it to nothing, like one that is not there."""
    ref = request.GET.get("about", "")
    return ground.about_what(request.gate, ref) if ref else None


def _places(request: GatedRequest, about: Label | None) -> list[PlaceOnMap]:
    if request.GET.get("about") and about is None:
        return []
    return ground.places_on_map(request.gate, about.number if about else None)


@require_safe
def map_page(request: GatedRequest) -> HttpResponse:
    about = _chosen(request)
    places = _places(request, about)
    query = f"?about={about.ref}" if about else ""
    choices = [(_("Figures"), _labels(one.figures for one in places)), (_("Topics"), _topics(places))]
    return render(
        request,
        "map.html",
        {
            "nav": "map",
            "about": about,
            "rows": [_row(one) for one in places],
            "choices": choices,
            "frame_url": reverse("map_frame") + query,
            "geojson_url": reverse("places_geojson") + query,
        },
    )


def _labels(groups: Any) -> list[Label]:
    found = {one.ref: one for group in groups for one in group}
    return sorted(found.values(), key=lambda one: (one.text.casefold(), one.ref))


def _topics(places: Sequence[PlaceOnMap]) -> list[Label]:
    return _labels(card.topics for one in places for card in one.segments)


def _row(one: PlaceOnMap) -> Json:
    return {
        "label": one.place.label,
        "nature": one.place.nature,
        "at": one.place.at,
        "cell": one.place.cell,
        "caution": one.place.caution,
        "segments": one.segments,
        "figures": one.figures,
    }


@require_safe
def map_frame(request: GatedRequest) -> HttpResponse:
    held = showing.house()
    features = [_feature(one) for one in _places(request, _chosen(request))]
    html = frame.page(features, _layers(held.is_invented), (held.latitude_deg, held.longitude_deg))
    return HttpResponse(html, headers={"Content-Security-Policy": frame.policy(html)})


def _layers(is_invented: bool) -> list[Json]:
    """The land outline; in the demo the invented island's own coast lies over it."""
    fixtures = Path(settings.FIXTURES)
    files = [fixtures / "land" / "land.geojson"]
    if is_invented:
        files.append(fixtures / "senneth" / "coast.geojson")
    return [frame.layer(file) for file in files]


def _feature(one: PlaceOnMap) -> Json:
    label = one.place.label
    lines = [(card.label.text, reverse("segment", args=[card.label.ref])) for card in one.segments[:8]]
    lines += [(_("mirrors %s") % figure.text, reverse("figure", args=[figure.ref])) for figure in one.figures]
    nature = one.place.nature if one.place.at else _("%s; its exact spot is not for everyone") % one.place.nature
    address = reverse("place", args=[label.ref])
    return geojson.feature(
        one.place,
        popup=frame.popup(label.text, label.also, nature, address, lines),
        tooltip=conditional_escape(label.text),
    )


@require_safe
def places_geojson(request: GatedRequest) -> JsonResponse:
    features = [
        geojson.feature(
            one.place,
            segments=[reverse("segment", args=[card.label.ref]) for card in one.segments],
            figures=[figure.text for figure in one.figures],
            precision_note="" if one.place.at else _("generalised to a cell of a fixed grid by the council's word"),
        )
        for one in _places(request, _chosen(request))
    ]
    access = _("As this viewer may meet it, at the time of asking. Ask the council before passing it on.")
    return JsonResponse(
        geojson.collection(features, access=access),
        content_type="application/geo+json",
        json_dumps_params={"ensure_ascii": False, "indent": 1},
    )


urlpatterns: list[URLPattern] = [
    path("map/", map_page, name="map"),
    path("map/frame/", map_frame, name="map_frame"),
    path("map/places.geojson", places_geojson, name="places_geojson"),
]
