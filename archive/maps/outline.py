"""Coasts for drawings: rings of the open land outline near a spot, and of the invented island in the demo."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
from django.conf import settings

from ..sky.mirror import on_map
from ..sky.vectors import DEGREE, Floats
from .frame import layer
from .globe import EARTH_KM

KM_PER_DEGREE = EARTH_KM * DEGREE


def files(is_invented: bool) -> list[Path]:
    """The land outline; in the demo the invented island's own coast as well."""
    fixtures = Path(settings.FIXTURES)
    return [fixtures / "land" / "land.geojson"] + [fixtures / "senneth" / "coast.geojson"] * is_invented


def near(is_invented: bool, middle: tuple[float, float], reach_km: float) -> list[Floats]:
    """Rings as (east, north) in km of the middle (latitude, longitude) whose box meets the square about it."""
    found = [ring for file in files(is_invented) for ring in _rings(file) if _meets(ring, middle, reach_km)]
    return [on_map(ring[:, 1], ring[:, 0], middle) for ring in found]


@lru_cache(maxsize=8)
def _rings(file: Path) -> list[Floats]:
    """Every ring of a GeoJSON file as (longitude, latitude) in degrees, (n, 2)."""
    rings: list[Floats] = []
    for feature in layer(file)["features"]:
        shape = feature["geometry"]
        polygons = shape["coordinates"] if shape["type"] == "MultiPolygon" else [shape["coordinates"]]
        rings += [np.array(ring, dtype=np.float64)[:, :2] for polygon in polygons for ring in polygon]
    return rings


def is_land(is_invented: bool, latitude_deg: float, longitude_deg: float) -> bool:
    """Whether a spot lies inside the outlines. At 1:110 million they hold no small island: no is not certain."""
    rings = (ring for file in files(is_invented) for ring in _rings(file))
    return sum(_crosses(ring, latitude_deg, longitude_deg) for ring in rings) % 2 == 1


def _crosses(ring: Floats, latitude_deg: float, longitude_deg: float) -> int:
    """How often a line due east from the spot crosses the ring (even-odd rule)."""
    (x0, y0), (x1, y1) = ring[:-1].T, ring[1:].T
    spans = (y0 > latitude_deg) != (y1 > latitude_deg)
    x0, y0, x1, y1 = (each[spans] for each in (x0, y0, x1, y1))
    return int(np.count_nonzero(longitude_deg < x0 + (latitude_deg - y0) * (x1 - x0) / (y1 - y0)))


def _meets(ring: Floats, middle: tuple[float, float], reach_km: float) -> bool:
    latitude, longitude = middle
    tall = reach_km / KM_PER_DEGREE
    wide = tall / max(np.cos(latitude * DEGREE), 0.01)
    (west, south), (east, north) = ring.min(axis=0), ring.max(axis=0)
    beside = ((west + east) / 2 - longitude + 180) % 360 - 180
    return bool(south - tall < latitude < north + tall and abs(beside) < (east - west) / 2 + wide)
