"""GeoJSON as the archive writes it, held to RFC 7946 (sections named beside each check)."""

from __future__ import annotations

import itertools
import json
import math
from pathlib import Path

import pytest

from archive.access.cells import cell_of
from archive.access.showing import Label, PlaceShown
from archive.maps import geojson

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"


def place(at=None, cell=None) -> PlaceShown:
    return PlaceShown(Label(1, "place", "abc", "Cove <i>", "en"), "cove", "", at, cell)


def ring_is_counter_clockwise(ring) -> bool:
    """Twice the signed area, by the shoelace formula."""
    pairs = itertools.pairwise(ring)
    return sum(x0 * y1 - x1 * y0 for (x0, y0, *_), (x1, y1, *_) in pairs) > 0


def check_polygon(rings) -> None:
    """Section 3.1.6: four or more positions, first and last the same, exterior counter-clockwise, holes clockwise."""
    for number, ring in enumerate(rings):
        assert len(ring) >= 4
        assert ring[0] == ring[-1]
        assert ring_is_counter_clockwise(ring) is (number == 0)


def check_geometry(geometry) -> None:
    """Section 3.1: the type's coordinates; section 3.1.1: longitude first; section 4: WGS 84 degrees."""
    if geometry is None:
        return
    kind, coordinates = geometry["type"], geometry["coordinates"]
    if kind == "Point":
        assert len(coordinates) in (2, 3)
        assert -180 <= coordinates[0] <= 180
        assert -90 <= coordinates[1] <= 90
    elif kind == "Polygon":
        check_polygon(coordinates)
    elif kind == "MultiPolygon":
        for rings in coordinates:
            check_polygon(rings)
    else:
        raise AssertionError(f"unexpected geometry {kind}")


def check_collection(found) -> None:
    """Section 3.3 and 3.2: a list of Features, each with geometry and properties; section 4: no `crs` member."""
    assert found["type"] == "FeatureCollection"
    assert "crs" not in found
    for one in found["features"]:
        assert one["type"] == "Feature"
        assert set(one) >= {"geometry", "properties"}
        assert isinstance(one.get("id", ""), (str, int))
        check_geometry(one["geometry"])


def test_a_spot_is_a_point_with_longitude_first():
    # RFC 7946 section 1.5, first example: a Point at 102.0 east, 0.5 north.
    feature = geojson.feature(place(at=(0.5, 102.0)))
    assert feature["geometry"] == {"type": "Point", "coordinates": [102.0, 0.5]}
    check_collection(geojson.collection([feature]))


def test_a_cell_is_a_closed_counter_clockwise_ring():
    feature = geojson.feature(place(cell=cell_of(0.5, 100.5, 1.0)))
    # RFC 7946 appendix A.3, "no holes": this very ring.
    assert feature["geometry"]["coordinates"] == [
        [[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]]
    ]
    check_collection(geojson.collection([feature]))


def test_bounds_come_from_what_is_shown():
    features = [geojson.feature(place(at=(10.0, 20.0))), geojson.feature(place(cell=(0.0, 30.0, 1.0, 31.0)))]
    assert geojson.bounds(features) == (0.0, 20.0, 10.0, 31.0)
    assert geojson.bounds([]) is None


@pytest.mark.parametrize("name", ["land/land.geojson", "senneth/coast.geojson"])
def test_the_base_layers_hold_to_the_standard(name):
    check_collection(json.loads((FIXTURES / name).read_text(encoding="utf-8")))


@pytest.mark.parametrize("latitude_deg", [-90.0, -89.99, -71.3, -0.05, 0.0, 46.07, 60.05, 89.99, 90.0])
@pytest.mark.parametrize("longitude_deg", [-180.0, -38.01, 0.0, 179.99, 180.0])
def test_a_cell_holds_its_point_and_is_the_same_for_all_points_in_it(latitude_deg, longitude_deg):
    """Our own rule: a fixed grid, no jitter."""
    south, west, north, east = cell_of(latitude_deg, longitude_deg, 0.1)
    assert south - 1e-6 <= latitude_deg <= north + 1e-6
    assert west - 1e-6 <= longitude_deg <= east + 1e-6
    middle = cell_of((south + north) / 2, (west + east) / 2, 0.1)
    assert middle == (south, west, north, east)


@pytest.mark.parametrize("size_deg", [0.01, 0.1, 0.35, 0.7, 5.0])
@pytest.mark.parametrize("latitude_deg", [-90.0, -80.0, -60.2, 0.0, 46.3, 75.6, 89.9, 90.0])
@pytest.mark.parametrize("longitude_deg", [-180.0, -179.95, 0.0, 45.0, 179.95, 180.0])
def test_no_cell_is_smaller_than_was_chosen(size_deg, latitude_deg, longitude_deg):
    """Our own rule: near a pole or the date line a cell that is cut off, or that narrows, would tell more."""
    south, west, north, east = cell_of(latitude_deg, longitude_deg, size_deg)
    assert north - south >= size_deg - 2e-6
    narrowest = (east - west) * math.cos(math.radians(max(abs(south), abs(north))))
    assert narrowest >= size_deg / 2 - 2e-6 or (west, east) == (-180.0, 180.0)
    assert (west, east) == (-180.0, 180.0) or east - west >= size_deg - 2e-6
