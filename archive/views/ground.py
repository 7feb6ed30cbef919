"""The map: places as their viewer may meet them, what is told there, and the list that says the same in words."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from functools import lru_cache
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from ..access import details, ground, layers, met, showing
from ..access.ground import Choices, Ground, Wanted
from ..access.showing import Label, SegmentCard
from ..exchange import places_out
from ..exchange.places_out import PlaceOut
from ..maps import frame, geojson, outline, tiles
from ..models import Kind, Level, Place
from ..templatetags.undersky import clock
from .loading import GatedRequest, OnlyNotice, fetch
from .pages import parts

Json = dict[str, Any]
log = logging.getLogger(__name__)
PAGE_SIZE = 50
PASSAGES_SHOWN = 8
FILES = ("GeoJSON", "KML", "CSV")
KINDS = {"about": "", "figure": Kind.FIGURE, "speaker": Kind.PERSON, "topic": Kind.TOPIC}


def _wanted(request: GatedRequest) -> Wanted | None:
    """What the map is narrowed to; None where that is not met, which leaves nothing, as if it had never been."""
    asked = _asked(request)
    kinds = {name: kind for name, kind in KINDS.items() if name in asked}
    found: Json = {name: ground.item_at(request.gate, asked[name], kind) for name, kind in kinds.items()}
    if "season" in asked:
        found["season"] = ground.season_at(asked["season"])
    if None in found.values():
        return None
    return Wanted(**found, nature=asked.get("nature", ""))


def _asked(request: GatedRequest) -> dict[str, str]:
    return {name: request.GET[name] for name in (*KINDS, "season", "nature") if request.GET.get(name)}


def _query(request: GatedRequest) -> str:
    """The narrowing as it was asked for, to be asked again."""
    asked = _asked(request)
    return f"?{urlencode(asked)}" if asked else ""


# --- the page ---


@require_safe
def map_page(request: GatedRequest) -> HttpResponse:
    seen = Ground(request.gate)
    wanted = _wanted(request)
    numbers = seen.narrowed(wanted)[0] if wanted else []
    page = details.page_of(numbers, parts.page_number(request), PAGE_SIZE)
    query = _query(request)
    return render(
        request,
        "map.html",
        {
            "nav": "map",
            "about": wanted.about if wanted else None,
            "is_narrowed": bool(query),
            "rows": seen.shown(wanted, page.numbers) if wanted else [],
            "mirrors": seen.mirrors_drawn(wanted) if wanted else [],
            "total": page.total,
            "page": parts.page_links(page),
            "layers": layers.layers(request.gate),
            "fields": _fields(seen.choices(), request),
            "frame_url": reverse("map_frame") + query,
            "files": [{"label": one, "url": reverse(f"places_{one.lower()}") + query} for one in FILES],
        },
    )


def _fields(choices: Choices, request: GatedRequest) -> list[Json]:
    """The boxes of the form; one without anything to choose is left away."""
    given: list[tuple[str, Any, list[tuple[str, str, str]]]] = [
        ("nature", _("Kind of place"), [(one, one, "") for one in choices.natures]),
        ("figure", _("Sky figure"), _options(choices.figures)),
        ("speaker", _("Who tells it"), _options(choices.speakers)),
        ("topic", _("Topic"), _options(choices.topics)),
        ("season", _("Told in season"), [(ref, name, "") for ref, name in choices.seasons]),
    ]
    return [
        {"name": name, "label": label, "options": options, "chosen": request.GET.get(name, "")}
        for name, label, options in given
        if options
    ]


def _options(labels: Sequence[Label]) -> list[tuple[str, str, str]]:
    return [(one.ref, f"{one.text} ({one.also})" if one.also else one.text, one.language) for one in labels]


# --- the frame and what is drawn in it ---


@require_safe
def map_frame(request: GatedRequest) -> HttpResponse:
    held, wanted = showing.house(), _wanted(request)
    shown = Ground(request.gate).counted(wanted) if wanted else []
    query = _query(request)
    options = {
        "places": reverse("map_places") + query,
        "place": reverse("map_place", args=["REF"]) + query,
        "find": reverse("find"),
        "layers": [
            {"title": one.label.text, "url": reverse("layer_geojson", args=[one.label.ref])}
            for one in layers.layers(request.gate, Level.OPEN)
        ],
        "bearings": reverse("bearings"),
        "words": {
            "line": _("Draw a line"),
            "stand": _("Press where you stand."),
            "towards": _("Press what you look towards."),
            "along": _("What rises or sets along it"),
            "many": _("%d places"),
            "told": _("told of: %d"),
            "layers": _("Layers"),
            "near": _("Told within %d km of here"),
            "area": _("shown as an area"),
            "wait": _("One moment …"),
            "fail": _("That could not be loaded. The list beside the map says the same."),
            "unsounded": _("The sound is being made ready, or cannot be had. Open the passage to hear it."),
        },
    }
    home = (held.latitude_deg, held.longitude_deg)
    land = [frame.layer(file) for file in outline.files(held.is_invented)]
    base = _base()
    own_tiles = (f"{reverse('map')}tiles/{{z}}/{{x}}/{{y}}", base.zooms) if base else None
    # Pictures lie under the land only where there is nothing to see of it.
    html = frame.page([geojson.feature(one.place) for one in shown], [] if base else land, home, options, own_tiles)
    return HttpResponse(html, headers={"Content-Security-Policy": frame.policy(html)})


def _base() -> tiles.Tiles | None:
    """The base map of our own host, where there is one that can be used."""
    if not settings.TILE_FILE:
        return None
    try:
        return tiles.opened(settings.TILE_FILE)
    except tiles.NoTiles as error:
        _warn_once(f"UNDERSKY_TILE_FILE cannot be used as a base map: {error}")
        return None


@lru_cache(maxsize=16)
def _warn_once(words: str) -> None:
    """A map asks for dozens of tiles at a time: what is wrong with their file is said once, not once a tile."""
    log.warning(words)


@require_safe
def map_tile(request: GatedRequest, zoom: str, column: str, row: str) -> HttpResponse:
    """A picture of the base map. Nobody's alone: the file is the house's own choice to show."""
    base = _base()
    asked = (zoom, column, row)
    if base is None or not all(one.isascii() and one.isdigit() and len(one) < 9 for one in asked):
        raise Http404
    numbers = int(zoom), int(column), int(row)
    try:
        found = base.tile(*numbers) if tiles.is_on_the_map(*numbers) else None
    except tiles.NoTiles as error:
        _warn_once(f"UNDERSKY_TILE_FILE cannot be read: {error}")
        found = None
    if found is None:
        raise Http404
    return HttpResponse(found, content_type=base.media_type, headers={"Cache-Control": "private, max-age=86400"})


@require_safe
def map_places(request: GatedRequest) -> JsonResponse:
    seen, wanted = Ground(request.gate), _wanted(request)
    mirrors = seen.mirrors_drawn(wanted) if wanted else []
    urls = {one.figure.ref: reverse("figure", args=[one.figure.ref]) for one in mirrors}
    found = frame.columns(seen.counted(wanted) if wanted else [], mirrors, urls)
    return JsonResponse(found, json_dumps_params={"ensure_ascii": False, "separators": (",", ":")})


@require_safe
def map_place(request: GatedRequest, ref: str) -> HttpResponse:
    """What a place says when it is pressed on the map: its passages, each to be played."""
    try:
        row = fetch(request, Place, ref)
    except OnlyNotice as error:
        raise Http404 from error
    wanted = _wanted(request)
    found = Ground(request.gate).shown(wanted, [row.pk]) if wanted else []
    if not found:
        raise Http404
    one = found[0]
    met.note(request.gate, row, "map")
    return render(
        request,
        "ground/place.html",
        {"row": one, "of": _passages(one.segments), "there": _passages(one.told_there)},
    )


def _passages(cards: Sequence[SegmentCard]) -> Json:
    return {
        "more": max(len(cards) - PASSAGES_SHOWN, 0),
        "items": [
            {
                "label": card.label,
                "length": clock(card.duration_ms),
                "speakers": ", ".join(one.text for one in card.speakers),
                "cautions": card.cautions,
                "sound": reverse("segment_sound", args=[card.label.ref]) if card.is_open else "",
            }
            for card in cards[:PASSAGES_SHOWN]
        ],
    }


# --- the places as a file ---


def _out(request: GatedRequest) -> list[PlaceOut]:
    """The places left on the map, for a file; those that not everybody meets are written down as given."""
    wanted = _wanted(request)
    found = Ground(request.gate).shown(wanted) if wanted else []
    shared = ground.met_by_everybody(request.gate)
    ground.note_given(request.gate, [one.place.label for one in found if one.place.label.number not in shared])
    return [
        PlaceOut(
            one,
            request.build_absolute_uri(reverse("place", args=[one.place.label.ref])),
            tuple(reverse("segment", args=[card.label.ref]) for card in one.segments),
            one.place.label.number in shared,
        )
        for one in found
    ]


@require_safe
def places_geojson(request: GatedRequest) -> JsonResponse:
    return JsonResponse(
        places_out.as_geojson(_out(request)),
        content_type="application/geo+json",
        json_dumps_params={"ensure_ascii": False, "indent": 1},
    )


@require_safe
def places_kml(request: GatedRequest) -> HttpResponse:
    body = places_out.as_kml(_out(request), showing.house().name)
    return HttpResponse(body, content_type="application/vnd.google-earth.kml+xml")


@require_safe
def places_csv(request: GatedRequest) -> HttpResponse:
    return HttpResponse(places_out.as_csv(_out(request)), content_type="text/csv; charset=utf-8; header=present")


urlpatterns: list[URLPattern] = [
    path("map/", map_page, name="map"),
    path("map/frame/", map_frame, name="map_frame"),
    path("map/tiles/<str:zoom>/<str:column>/<str:row>", map_tile, name="map_tile"),
    path("map/places.json", map_places, name="map_places"),
    path("map/places/<str:ref>/", map_place, name="map_place"),
    path("map/places.geojson", places_geojson, name="places_geojson"),
    path("map/places.kml", places_kml, name="places_kml"),
    path("map/places.csv", places_csv, name="places_csv"),
]
