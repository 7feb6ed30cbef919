"""Places as files for elsewhere: GeoJSON (RFC 7946), KML 2.2 (OGC 07-147r2) and CSV (RFC 4180).

Each says of itself what it may be used for, how exact each place is, and who else may meet it. Positions are WGS 84.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from xml.etree import ElementTree as ET

from django.utils.translation import gettext as _

from ..access import wordbook
from ..access.ground import PlaceOnMap
from ..maps import geojson

Json = dict[str, Any]
KML = "http://www.opengis.net/kml/2.2"
NO_XML = re.compile("[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")  # XML 1.0, production 2 (Char)


@dataclass(frozen=True)
class PlaceOut:
    """A place as its viewer meets it; `is_open` says whether everybody meets its spot."""

    shown: PlaceOnMap
    url: str
    passage_urls: tuple[str, ...]
    is_open: bool

    @property
    def facts(self) -> dict[str, str]:
        """What a file says of it beside its name and its geometry, in this order."""
        place = self.shown.place
        return {
            "also": place.label.also,
            "nature": place.nature,
            "precision": "spot" if place.at else "cell",
            "precision_note": self.precision_note(),
            "access": self.access(),
            "figures": "; ".join(figure.text for figure in self.shown.figures),
            "url": self.url,
        }

    def precision_note(self) -> str:
        place = self.shown.place
        if place.cell is None:
            return ""
        south, west, north, east = place.cell
        words = _("generalised to a cell of a fixed grid by the council's word: %(height)s° by %(width)s°")
        return words % {"height": f"{north - south:g}", "width": f"{east - west:g}"}

    def access(self) -> str:
        if self.shown.place.at is None:
            return _("its spot is not open to you")
        return _("open to everybody") if self.is_open else _("open to you, not to everybody: do not pass its spot on")


def statements() -> dict[str, str]:
    """What every file says of the whole."""
    return {
        "licence": wordbook.say("licence"),
        "access": _("As this viewer may meet it, at the time of asking. Ask the council before passing it on."),
        "care": _("Visit places only with the permission of the people they belong to."),
    }


def as_geojson(places: Sequence[PlaceOut]) -> Json:
    features = [
        geojson.feature(
            one.shown.place,
            segments=list(one.passage_urls),
            figures=[figure.text for figure in one.shown.figures],
            precision_note=one.precision_note(),
            access=one.access(),
            url=one.url,
        )
        for one in places
    ]
    return geojson.collection(features, **statements())


# --- KML ---


def as_kml(places: Sequence[PlaceOut], title: str) -> bytes:
    ET.register_namespace("", KML)
    root = ET.Element(f"{{{KML}}}kml")
    document = _sub(root, "Document")
    _sub(document, "name", title)
    _sub(document, "description", "\n".join(statements().values()))
    _data(document, statements())
    for one in places:
        _placemark(document, one)
    return bytes(ET.tostring(root, encoding="utf-8", xml_declaration=True))


def _placemark(document: ET.Element, one: PlaceOut) -> None:
    """Elements in the order of the schema: a Feature's own, then the geometry."""
    place = one.shown.place
    mark = _sub(document, "Placemark")
    mark.set("id", f"p-{place.label.ref}")
    _sub(mark, "name", place.label.text)
    _sub(mark, "description", place.about)
    _data(mark, one.facts)
    if place.at is not None:
        _sub(_sub(mark, "Point"), "coordinates", f"{place.at[1]!r},{place.at[0]!r}")
    elif place.cell is not None:
        ring = geojson.box(place.cell)["coordinates"][0]  # type: ignore[index]
        boundary = _sub(_sub(_sub(mark, "Polygon"), "outerBoundaryIs"), "LinearRing")
        _sub(boundary, "coordinates", " ".join(f"{longitude!r},{latitude!r}" for longitude, latitude in ring))


def _data(parent: ET.Element, facts: dict[str, str]) -> None:
    held = _sub(parent, "ExtendedData")
    for name, value in facts.items():
        data = _sub(held, "Data")
        data.set("name", name)
        _sub(data, "value", value)


def _sub(parent: ET.Element, name: str, text: str = "") -> ET.Element:
    made = ET.SubElement(parent, f"{{{KML}}}{name}")
    if text:
        made.text = NO_XML.sub("", text)
    return made


# --- CSV ---

COLUMNS = ("name", "language", "latitude", "longitude", "south", "west", "north", "east", "about")


def as_csv(places: Sequence[PlaceOut]) -> str:
    """A row a place, its licence on each: a table has no other room for it."""
    made = io.StringIO()
    licence = statements()["licence"]
    facts = list(places[0].facts) if places else []
    rows = csv.writer(made, lineterminator="\r\n")
    rows.writerow([*COLUMNS, *facts, "licence"])
    for one in places:
        place = one.shown.place
        spot: tuple[float | str, ...] = place.at or ("", "")
        cell: tuple[float | str, ...] = place.cell or ("", "", "", "")
        texts = [plain(place.about), *map(plain, one.facts.values()), plain(licence)]
        rows.writerow([plain(place.label.text), place.label.language, *spot, *cell, *texts])
    return made.getvalue()


def plain(text: str) -> str:
    """A text that no spreadsheet takes for a formula (common practice): an apostrophe goes before its first sign."""
    return f"'{text}" if text[:1] in {"=", "+", "-", "@", "\t", "\r"} else text
