"""GeoJSON (RFC 7946) of places as their viewer may meet them: positions are longitude, latitude, WGS 84."""

from __future__ import annotations

import itertools
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
    """South, west, north, east of what is shown, and of nothing else; None where nothing is.

    The narrowest stretch of longitudes that holds it all: across the date line east is greater than 180, so that
    west is always the lesser (a drawing needs it so; in a file of the standard's it would wrap, section 5.2).
    """
    boxes = [_box_of(one["geometry"]) for one in features if one["geometry"] is not None]
    if not boxes:
        return None
    west, east = _narrowest([(west, east) for _south, west, _north, east in boxes])
    return min(box[0] for box in boxes), west, max(box[2] for box in boxes), east


def _box_of(geometry: Json) -> tuple[float, float, float, float]:
    ring = [geometry["coordinates"]] if geometry["type"] == "Point" else geometry["coordinates"][0]
    longitudes, latitudes = zip(*(spot[:2] for spot in ring), strict=True)
    return min(latitudes), min(longitudes), max(latitudes), max(longitudes)


def _narrowest(stretches: list[tuple[float, float]]) -> tuple[float, float]:
    """The stretch round the globe that leaves out the widest gap between those given."""
    ordered = sorted(stretches)
    ends = list(itertools.accumulate((east for _west, east in ordered), max))
    gaps = [(ordered[at + 1][0] - ends[at], at) for at in range(len(ordered) - 1)]
    around_deg = ordered[0][0] + 360.0 - ends[-1]
    widest_deg, at = max(gaps, default=(0.0, 0))
    if widest_deg <= around_deg:
        return ordered[0][0], ends[-1]
    return ordered[at + 1][0], ends[at] + 360.0
