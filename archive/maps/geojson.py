"""GeoJSON (RFC 7946) of places as their viewer may meet them: positions are longitude, latitude, WGS 84."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from ..access.showing import PlaceShown

Json = dict[str, Any]


def feature(place: PlaceShown, **more: Any) -> Json:
    """A Point where the spot is met; else the Polygon of its cell, wound counter-clockwise (section 3.1.6)."""
    return {
        "type": "Feature",
        "id": place.label.ref,
        "geometry": point(place.at) if place.at else box(place.cell),
        "properties": {
            "name": place.label.text,
            "name_language": place.label.language,
            "also": place.label.also,
            "nature": place.nature,
            "precision": "spot" if place.at else "cell",
            **more,
        },
    }


def point(at: tuple[float, float]) -> Json:
    latitude_deg, longitude_deg = at
    return {"type": "Point", "coordinates": [longitude_deg, latitude_deg]}


def box(cell: tuple[float, float, float, float] | None) -> Json | None:
    """A feature may be unlocated (section 3.2): its geometry is then null."""
    if cell is None:
        return None
    south, west, north, east = cell
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    return {"type": "Polygon", "coordinates": [ring]}


def collection(features: Iterable[Json], **more: Any) -> Json:
    return {"type": "FeatureCollection", "features": list(features), **more}


def bounds(features: Iterable[Json]) -> tuple[float, float, float, float] | None:
    """South, west, north, east of what is shown, and of nothing else; None where nothing is."""
    spots = [spot for one in features for spot in _positions(one["geometry"])]
    if not spots:
        return None
    longitudes, latitudes = zip(*spots, strict=True)
    return min(latitudes), min(longitudes), max(latitudes), max(longitudes)


def _positions(geometry: Json | None) -> list[list[float]]:
    if geometry is None:
        return []
    if geometry["type"] == "Point":
        return [geometry["coordinates"]]
    return [spot for ring in geometry["coordinates"] for spot in ring]
