"""Files of places held to what others made of the same standards.

- KML: OGC 07-147r2, the OGC's own schema ogckml22.xsd, as the package fastkml 1.4.0 carries it, by lxml.
- GeoJSON: RFC 7946 as geojson-pydantic 2.2.0 has it; the RFC's own examples.
- GPX: files written by gpxpy 1.6.2.
- CSV: RFC 4180, by Python's csv module.
"""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import fastkml
import gpxpy.gpx
import pytest
from geojson_pydantic import FeatureCollection
from lxml import etree

from archive.access.ground import PlaceOnMap
from archive.access.showing import Label, PlaceShown
from archive.exchange import geojson_in, places_in, places_out
from archive.exchange.places_out import PlaceOut

pytestmark = pytest.mark.django_db

SCHEMA = Path(fastkml.__file__).parent / "schema" / "ogckml22.xsd"


def out(name: str, at=None, cell=None, is_open: bool = True) -> PlaceOut:
    label = Label(1, "place", name.encode().hex(), name, "qse-x-senneth", "The <Cove>", "en")
    shown = PlaceShown(label, "cove", "Deep & cold.\x07", at, cell)
    mirrored = (Label(2, "figure", "f", "Kiln", "en"),)
    return PlaceOut(PlaceOnMap(shown, (), (), mirrored), "https://x.test/p/", (), is_open)


PLACES = [
    out("Ŋol Sual", at=(46.0123456789, -38.0234567891)),
    out("Hidden", cell=(46.0, -38.2, 46.1, -38.1)),
    out("=cmd()", at=(-90.0, 180.0), is_open=False),
]


def test_kml_holds_to_the_schema_of_the_ogc():
    body = places_out.as_kml(PLACES, "The house & home")
    schema = etree.XMLSchema(etree.parse(SCHEMA))
    schema.assertValid(etree.fromstring(body))


def test_a_general_library_reads_the_kml_as_it_was_meant():
    document = fastkml.KML.from_string(places_out.as_kml(PLACES, "House")).features[0]
    first, second, third = document.features
    assert (first.name, first.geometry.coords) == ("Ŋol Sual", ((-38.0234567891, 46.0123456789),))
    assert second.geometry.bounds == (-38.2, 46.0, -38.1, 46.1)
    said = {one.name: one.value for one in third.extended_data.elements}
    assert said["precision"] == "spot"
    assert "not to everybody" in said["access"]
    whole = {one.name: one.value for one in document.extended_data.elements}
    assert "licence" in whole


def test_geojson_holds_to_models_of_the_standard():
    held = places_out.as_geojson(PLACES)
    read = FeatureCollection.model_validate_json(json.dumps(held))
    assert [one.geometry.type for one in read.features] == ["Point", "Polygon", "Point"]
    assert read.features[1].properties["precision_note"]
    assert {"licence", "access", "care"} <= set(held)


def test_csv_says_licence_precision_and_access_in_every_row_and_starts_no_formula():
    rows = list(csv.DictReader(io.StringIO(places_out.as_csv(PLACES), newline="")))
    assert [row["precision"] for row in rows] == ["spot", "cell", "spot"]
    assert all(row["licence"] and row["access"] for row in rows)
    assert rows[1]["latitude"] == ""
    assert rows[2]["name"] == "'=cmd()"


@pytest.mark.parametrize("form", ["kml", "geojson", "csv"])
def test_what_is_given_out_is_read_back_the_same(form):
    given = {
        "kml": places_out.as_kml(PLACES[::2], "House"),
        "geojson": json.dumps(places_out.as_geojson(PLACES[::2])).encode(),
        "csv": places_out.as_csv(PLACES[::2]).encode(),
    }[form]
    found = places_in.read(given, "en")
    assert [(one.name, one.latitude_deg, one.longitude_deg) for one in found.rows] == [
        ("Ŋol Sual", 46.0123456789, -38.0234567891), ("=cmd()", -90.0, 180.0)
    ]
    assert not [one for one in found.problems if one.severity == "refused"]


def test_waypoints_of_a_gpx_file_written_by_a_general_library():
    made = gpxpy.gpx.GPX()
    made.waypoints.append(gpxpy.gpx.GPXWaypoint(46.1, -38.2, name="Tolë", description="A cove.", type="cove"))
    made.tracks.append(gpxpy.gpx.GPXTrack(name="walk"))
    found = places_in.read(made.to_xml(version="1.1").encode(), "en")
    assert [(one.name, one.about, one.nature, one.latitude_deg, one.longitude_deg) for one in found.rows] == [
        ("Tolë", "A cove.", "cove", 46.1, -38.2)
    ]
    assert [one.severity for one in found.problems] == ["note"]


# RFC 7946: section 1.5 and appendix A.
EXAMPLES = {
    "Point": [100.0, 0.0],
    "LineString": [[100.0, 0.0], [101.0, 1.0]],
    "Polygon": [
        [[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]],
        [[100.8, 0.8], [100.8, 0.2], [100.2, 0.2], [100.2, 0.8], [100.8, 0.8]],
    ],
    "MultiPoint": [[100.0, 0.0], [101.0, 1.0]],
    "MultiLineString": [[[100.0, 0.0], [101.0, 1.0]], [[102.0, 2.0], [103.0, 3.0]]],
    "MultiPolygon": [
        [[[102.0, 2.0], [103.0, 2.0], [103.0, 3.0], [102.0, 3.0], [102.0, 2.0]]],
        [
            [[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]],
            [[100.2, 0.2], [100.2, 0.8], [100.8, 0.8], [100.8, 0.2], [100.2, 0.2]],
        ],
    ],
}


@pytest.mark.parametrize("kind", EXAMPLES)
def test_the_examples_of_the_standard_are_read_as_they_stand(kind):
    found = geojson_in.read(json.dumps({"type": kind, "coordinates": EXAMPLES[kind]}).encode())
    assert (found.features[0][1]["geometry"]["coordinates"], found.problems) == (EXAMPLES[kind], [])
    FeatureCollection.model_validate_json(found.text())


def test_the_example_of_a_collection_of_geometries():
    # RFC 7946, appendix A.7.
    held = {
        "type": "GeometryCollection",
        "geometries": [
            {"type": "Point", "coordinates": [100.0, 0.0]},
            {"type": "LineString", "coordinates": [[101.0, 0.0], [102.0, 1.0]]},
        ],
    }
    found = geojson_in.read(json.dumps(held).encode())
    assert found.features[0][1]["geometry"] == held
    assert geojson_in.positions(held) == [[100.0, 0.0], [101.0, 0.0], [102.0, 1.0]]
