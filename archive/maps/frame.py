"""The map itself: folium's page, with every part from our own host and the same bytes for the same data.

The page holds the land and where to look. The places come after it in one compact file (`columns`), and the script
`undersky/map.js` draws those that are in view, so that thousands of them cost no more than some.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import folium
from branca.element import CssLink, Element, JavascriptLink, MacroElement
from django.conf import settings
from django.templatetags.static import static
from django.utils.html import format_html
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from folium.template import Template

from ..access.ground import MirrorDrawn, PlaceCounted
from .geojson import bounds

Json = dict[str, Any]
NARROWEST_DEG = 0.02
MOST_NORTH_DEG = 85.0  # a Mercator map goes no farther; what lies beyond is marked at its edge
DRAWN_DECIMALS = 6  # of a degree: a tenth of a metre


class HouseMap(folium.Map):
    """folium's map without the parts it would fetch from elsewhere: Leaflet is all that is needed."""

    default_js: list[tuple[str, str]] = []
    default_css: list[tuple[str, str]] = []


class Places(MacroElement):
    """Has the script draw the places that `options["places"]` is the address of."""

    _template = Template(
        "{% macro script(this, kwargs) %}underskyPlaces({{ this._parent.get_name() }}, {{ this.options|tojson }});"
        "{% endmacro %}"
    )

    def __init__(self, options: Mapping[str, Any]) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self._name = "Places"
        self.options = dict(options)


def page(
    features: Sequence[Json],
    layers: Sequence[Json],
    home: tuple[float, float],
    options: Json,
    tiles: tuple[str, tuple[int, int]] | None = None,
) -> str:
    """The HTML of the map's frame. Of `features` (GeoJSON) only the bounds are taken; `options` go to the script.

    `tiles` are the address of a base map of our own ({z}, {x}, {y}) and its least and greatest zoom.
    """
    house_map = HouseMap(
        location=list(home), zoom_start=10, tiles=None, control_scale=True, min_zoom=1, zoom_control="bottomright"
    )
    _parts(house_map)
    if settings.TILE_SERVER:
        folium.TileLayer(settings.TILE_SERVER, attr=_("Tiles by the archive's tile server")).add_to(house_map)
    if tiles is not None:
        first, last = tiles[1]
        folium.TileLayer(
            tiles[0], attr=_("Base map of this archive"), min_zoom=first, max_zoom=18, max_native_zoom=last
        ).add_to(house_map)
    for layer in layers:
        folium.GeoJson(layer, style_function=lambda _one: {"className": "land"}, interactive=False).add_to(house_map)
    view = _view(features)
    if view:
        house_map.fit_bounds(view, max_zoom=13)
    Places(options).add_to(house_map)
    root: Any = house_map.get_root()
    root.title = _("Map")
    return _steady(root.render())


def _parts(house_map: HouseMap) -> None:
    root: Any = house_map.get_root()
    header = root.header
    header.add_child(CssLink(static("vendor/leaflet/leaflet.css")), name="leaflet_css")
    for sheet in ("colours", "map"):
        header.add_child(CssLink(static(f"undersky/{sheet}.css")), name=f"{sheet}_css")
    header.add_child(JavascriptLink(static("vendor/leaflet/leaflet.js")), name="leaflet")
    for script in ("scheme", "map_line", "map"):
        header.add_child(JavascriptLink(static(f"undersky/{script}.js")), name=f"{script}_js")
    header.add_child(Element('<base target="_top">'), name="base")
    mark = format_html('<link rel="icon" type="image/svg+xml" href="{}">', static("undersky/mark.svg"))
    header.add_child(Element(mark), name="icon")


def _view(features: Sequence[Json]) -> list[list[float]]:
    found = bounds(features)
    if found is None:
        return []
    south, west, north, east = found
    margin = max(NARROWEST_DEG - (north - south), 0) / 2
    south = min(max(south - margin, -MOST_NORTH_DEG), MOST_NORTH_DEG - NARROWEST_DEG)
    north = max(min(north + margin, MOST_NORTH_DEG), NARROWEST_DEG - MOST_NORTH_DEG)
    return [[south, west - margin], [north, east + margin]]


def columns(places: Sequence[PlaceCounted], mirrors: Sequence[MirrorDrawn], figure_urls: Mapping[str, str]) -> Json:
    """What the script draws, by columns: `at` is [latitude, longitude], or a cell's [south, west, north, east].

    The names of languages and kinds of place stand once each; the columns hold their positions.
    """
    shown = [one.place for one in places]
    languages = sorted({one.label.language for one in shown})
    natures = sorted({one.nature for one in shown})
    language_at = {tag: at for at, tag in enumerate(languages)}
    nature_at = {nature: at for at, nature in enumerate(natures)}
    return {
        "languages": languages,
        "natures": natures,
        "refs": [one.label.ref for one in shown],
        "names": [one.label.text for one in shown],
        "language": [language_at[one.label.language] for one in shown],
        "nature": [nature_at[one.nature] for one in shown],
        "told": [one.told for one in places],
        "at": [[round(degrees, DRAWN_DECIMALS) for degrees in one.at or one.cell or ()] for one in shown],
        "mirrors": [
            {
                "figure": one.figure.text,
                "language": one.figure.language,
                "url": figure_urls[one.figure.ref],
                "runs": [[[round(degrees, DRAWN_DECIMALS) for degrees in spot] for spot in run] for run in one.runs],
            }
            for one in mirrors
        ],
    }


def _steady(html: str) -> str:
    """folium numbers its parts at random; number them in order instead. Let the page say its language and be enlarged.

    (WCAG 2.2, success criteria 3.1.1 and 1.4.4.)
    """
    seen: dict[str, str] = {}
    html = html.replace("<html>", f'<html lang="{get_language() or "en"}">', 1)
    html = re.sub(r",\s*maximum-scale=1\.0, user-scalable=no", "", html, count=1)
    return re.sub(r"(?<=_)[0-9a-f]{32}(?![0-9a-f])", lambda found: seen.setdefault(found[0], f"n{len(seen)}"), html)


def policy(html: str) -> str:
    """The Content-Security-Policy of the frame: our own host, and just these inline scripts."""
    scripts = re.findall(r"<script>(.*?)</script>", html, re.DOTALL)
    hashes = " ".join(f"'sha256-{_digest(script)}'" for script in scripts)
    return (
        f"default-src 'none'; script-src 'self' {hashes}; style-src 'self' 'unsafe-inline'; connect-src 'self'; "
        f"media-src 'self'; img-src 'self' data: {_tile_host()}; base-uri 'self'; frame-ancestors 'self'"
    )


def _digest(script: str) -> str:
    return base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()


def _tile_host() -> str:
    found = re.match(r"https?://[^/]+", settings.TILE_SERVER.replace("{s}.", "*."))
    return found[0] if found else ""


@lru_cache(maxsize=8)
def layer(path: Path) -> Json:
    """A GeoJSON file of the base map."""
    found: Json = json.loads(path.read_text(encoding="utf-8"))
    return found
