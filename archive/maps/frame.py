"""The map itself: folium's page, with every part from our own host and the same bytes for the same data."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import folium
from branca.element import CssLink, Element, JavascriptLink
from django.conf import settings
from django.templatetags.static import static
from django.utils.html import format_html, format_html_join
from django.utils.translation import gettext as _
from folium.utilities import JsCode

from .geojson import bounds

Json = dict[str, Any]
NARROWEST_DEG = 0.02


class HouseMap(folium.Map):
    """folium's map without the parts it would fetch from elsewhere: Leaflet is all that is needed."""

    default_js: list[tuple[str, str]] = []
    default_css: list[tuple[str, str]] = []


BIND_POPUP = JsCode(
    "function (feature, layer) { layer.bindPopup(feature.properties.popup, {maxWidth: 280});"
    " layer.bindTooltip(feature.properties.tooltip); }"
)


def page(features: Sequence[Json], layers: Sequence[Json], home: tuple[float, float]) -> str:
    """The HTML of the map's frame. `features` carry `popup` and `tooltip` properties that are safe HTML already."""
    house_map = HouseMap(location=list(home), zoom_start=10, tiles=None, control_scale=True, prefer_canvas=False)
    _parts(house_map)
    if settings.TILE_SERVER:
        folium.TileLayer(settings.TILE_SERVER, attr=_("Tiles by the archive's tile server")).add_to(house_map)
    for layer in layers:
        folium.GeoJson(layer, style_function=lambda _one: {"className": "land"}, interactive=False).add_to(house_map)
    if features:
        folium.GeoJson(
            {"type": "FeatureCollection", "features": list(features)},
            marker=folium.CircleMarker(radius=9),
            style_function=lambda one: {"className": f"place-{one['properties']['precision']}"},
            on_each_feature=BIND_POPUP,
        ).add_to(house_map)
        house_map.fit_bounds(_view(features), max_zoom=13)
    root: Any = house_map.get_root()
    root.title = _("Map")
    return _steady(root.render())


def _parts(house_map: HouseMap) -> None:
    root: Any = house_map.get_root()
    header = root.header
    header.add_child(CssLink(static("vendor/leaflet/leaflet.css")), name="leaflet_css")
    for sheet in ("colours", "map"):
        header.add_child(CssLink(static(f"undersky/{sheet}.css")), name=sheet)
    header.add_child(JavascriptLink(static("vendor/leaflet/leaflet.js")), name="leaflet")
    header.add_child(JavascriptLink(static("undersky/scheme.js")), name="scheme")
    header.add_child(Element('<base target="_top">'), name="base")


def _view(features: Sequence[Json]) -> list[list[float]]:
    found = bounds(features)
    if found is None:
        return []
    south, west, north, east = found
    margin = max(NARROWEST_DEG - (north - south), 0) / 2
    return [[south - margin, west - margin], [north + margin, east + margin]]


def _steady(html: str) -> str:
    """folium numbers its parts at random; number them in order instead."""
    seen: dict[str, str] = {}
    return re.sub(r"(?<=_)[0-9a-f]{32}(?![0-9a-f])", lambda found: seen.setdefault(found[0], f"n{len(seen)}"), html)


def policy(html: str) -> str:
    """The Content-Security-Policy of the frame: our own host, and just these inline scripts."""
    scripts = re.findall(r"<script>(.*?)</script>", html, re.DOTALL)
    hashes = " ".join(f"'sha256-{_digest(script)}'" for script in scripts)
    return (
        f"default-src 'none'; script-src 'self' {hashes}; style-src 'self' 'unsafe-inline'; "
        f"img-src 'self' data: {_tile_host()}; base-uri 'self'; frame-ancestors 'self'"
    )


def _digest(script: str) -> str:
    return base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()


def _tile_host() -> str:
    found = re.match(r"https?://[^/]+", settings.TILE_SERVER.replace("{s}.", "*."))
    return found[0] if found else ""


def popup(name: str, also: str, nature: str, address: str, lines: Sequence[tuple[str, str]]) -> str:
    """What a place says when it is pressed; `lines` are (words, address)."""
    rest = format_html_join("", '<li><a href="{1}">{0}</a></li>', lines)
    return format_html(
        '<p class="place-name"><a href="{}">{}</a></p><p>{}</p><ul>{}</ul>',
        address,
        name,
        " · ".join(part for part in (also, nature) if part),
        rest,
    )


@lru_cache(maxsize=8)
def layer(path: Path) -> Json:
    """A GeoJSON file of the base map."""
    found: Json = json.loads(path.read_text(encoding="utf-8"))
    return found
