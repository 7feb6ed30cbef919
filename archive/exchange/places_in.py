"""Places from files of elsewhere: GeoJSON (RFC 7946), KML 2.2 (OGC 07-147r2), GPX 1.1 (its schema) and CSV (RFC 4180).

Nothing raises: every fault is told by row. XML with a document type or entities is refused before it is read, so that
it can neither grow in memory nor fetch anything.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from xml.etree import ElementTree as ET

from defusedxml import ElementTree as SafeET
from defusedxml.common import DefusedXmlException
from django.utils.translation import gettext as _

from ..access.table_rows import Problem, delimiter_of
from ..timecode.decoding import decode_lines
from . import geojson_in
from .geojson_in import out_of_range

MOST_BYTES = 10 << 20
MOST_ROWS = 1000
LONGEST_ABOUT = 2000

# What other programs and people call the columns; the first of each is ours.
CALLED = {
    "name": ("name", "title", "label"),
    "language": ("language", "lang"),
    "nature": ("nature", "kind", "type"),
    "about": ("about", "description", "desc", "cmt"),
    "latitude": ("latitude", "lat", "y", "latitude_deg", "lat_deg"),
    "longitude": ("longitude", "lon", "lng", "long", "x", "longitude_deg", "lon_deg"),
}


@dataclass(frozen=True)
class PlaceRow:
    """A place as a file has it. `number` counts from 1; in a table its first row names the columns and is row 1."""

    number: int
    name: str
    language: str
    nature: str
    about: str
    latitude_deg: float
    longitude_deg: float


@dataclass
class ReadPlaces:
    rows: list[PlaceRow] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def say(self, row: int, column: str, severity: str, text: str) -> None:
        self.problems.append(Problem(row, column, severity, text))


class _Wrong(Exception):
    """This row cannot be taken in: the column, and why."""

    def __init__(self, column: str, text: str) -> None:
        super().__init__(text)
        self.column = column


def read(data: bytes, language: str, is_turned: bool = False) -> ReadPlaces:
    """The places of a file, each with a spot on the globe; `is_turned` takes north for east and east for north."""
    found = ReadPlaces()
    start = data.lstrip(b"\xef\xbb\xbf \t\r\n")[:1]
    is_geojson = start in (b"{", b"[")
    try:
        rows = _geojson(data, found, is_turned) if is_geojson else (_xml if start == b"<" else _table)(data, found)
        for number, given in rows:
            if len(found.rows) >= MOST_ROWS:
                words = _("Only the first %(most)d places are taken in at once. Split the file for the others.")
                found.say(number, "", "refused", words % {"most": MOST_ROWS})
                break
            try:
                found.rows.append(_row(number, given, language, is_turned and not is_geojson))
            except _Wrong as error:
                found.say(number, error.column, "refused", str(error))
    except geojson_in.Refused as error:
        found.say(0, "", "refused", str(error))
    if not found.rows and not any(one.severity == "refused" for one in found.problems):
        found.say(0, "", "refused", _("There are no places in the file."))
    return found


def _row(number: int, given: dict[str, Any], language: str, is_turned: bool) -> PlaceRow:
    name = " ".join(str(given.get("name", "")).split())
    if not name:
        raise _Wrong("name", _("It has no name. Write one."))
    if len(name) > 200:
        raise _Wrong("name", _("Its name is longer than 200 letters."))
    latitude_deg, longitude_deg = (_degrees(given, column) for column in ("latitude", "longitude"))
    if is_turned:
        latitude_deg, longitude_deg = longitude_deg, latitude_deg
    if not (-90 <= latitude_deg <= 90 and -180 <= longitude_deg <= 180):
        raise _Wrong("latitude", out_of_range(latitude_deg, longitude_deg))
    texts = {column: str(given.get(column, "")).replace("\0", "").strip() for column in ("language", "nature", "about")}
    return PlaceRow(
        number, name.removeprefix("'"), texts["language"] or language, texts["nature"][:60],
        texts["about"][:LONGEST_ABOUT], latitude_deg, longitude_deg,
    )


def _degrees(given: dict[str, Any], column: str) -> float:
    raw = str(given.get(column, "")).strip().replace("−", "-")
    if not raw:
        raise _Wrong(column, _("This is empty. Give degrees, such as 46.1234."))
    if "," in raw and "." not in raw:
        raw = raw.replace(",", ".")
    try:
        number = float(raw)
    except ValueError as error:
        words = _("“%(text)s” is no number. Give degrees with a decimal point, such as -38.1234.")
        raise _Wrong(column, words % {"text": raw[:40]}) from error
    if not math.isfinite(number):
        raise _Wrong(column, _("This is no number of degrees."))
    return number


def _called(given: dict[str, Any]) -> dict[str, Any]:
    """The values under our own names of columns."""
    lower = {str(name).strip().casefold(): value for name, value in given.items() if value not in (None, "")}
    return {
        own: next((lower[name] for name in names if name in lower), "") for own, names in CALLED.items()
    }


# --- the formats ---

Rows = Iterator[tuple[int, dict[str, Any]]]


def _geojson(data: bytes, found: ReadPlaces, is_turned: bool) -> Rows:
    held = geojson_in.read(data, is_turned)
    found.problems += held.problems
    for number, feature in held.features:
        geometry = feature["geometry"]
        if geometry["type"] != "Point":
            words = _("It is a %(type)s. Only points become places; lines and areas go into a layer of the map.")
            found.say(number, "geometry", "refused", words % {"type": geometry["type"]})
            continue
        longitude_deg, latitude_deg = geometry["coordinates"]
        yield number, _called(feature["properties"]) | {"latitude": latitude_deg, "longitude": longitude_deg}


def _table(data: bytes, found: ReadPlaces) -> Rows:
    decoded = decode_lines(data)
    for odd in decoded.problems:  # by line: a cell can hold several, so that lines are not rows
        found.say(0, _("line %(number)d") % {"number": odd.line} if odd.line else "", odd.severity, odd.text)
    rows = csv.reader(io.StringIO("\n".join(decoded.lines)), delimiter=delimiter_of(decoded.lines))
    header: list[str] = []
    try:
        for number, cells in enumerate(rows, start=1):
            if not any(cell.strip() for cell in cells):
                continue
            if not header:
                header = [cell.strip().casefold() for cell in cells]
                _check_header(header)
                continue
            if len(cells) > len(header):
                found.say(number, "", "warning", _("The row has more cells than there are columns; look whether a text "
                                                   "with commas wants quotation marks."))
            yield number, _called(dict(zip(header, cells, strict=False)))
    except csv.Error as error:
        raise geojson_in.Refused(_("The table cannot be read: %(why)s.") % {"why": error}) from error


def _check_header(header: list[str]) -> None:
    missing = [own for own in ("name", "latitude", "longitude") if not set(CALLED[own]) & set(header)]
    if missing:
        words = _("The first row must name the columns name, latitude and longitude. Missing: %(missing)s.")
        raise geojson_in.Refused(words % {"missing": ", ".join(missing)})


def _xml(data: bytes, found: ReadPlaces) -> Rows:
    try:
        root = SafeET.fromstring(data, forbid_dtd=True)
    except DefusedXmlException as error:
        raise geojson_in.Refused(
            _("The file has a document type or entities in it, which KML and GPX need not have. Export it again.")
        ) from error
    except (ET.ParseError, ValueError, LookupError) as error:
        raise geojson_in.Refused(_("The file is not well-formed XML: %(why)s.") % {"why": error}) from error
    kind = _local(root.tag)
    if kind == "kml":
        yield from _kml(root, found)
    elif kind == "gpx":
        yield from _gpx(root, found)
    else:
        raise geojson_in.Refused(_("The file is XML, but neither KML nor GPX: it begins with “%(name)s”.")
                                 % {"name": kind[:40]})


def _local(tag: Any) -> str:
    """A name without its namespace: programs write KML and GPX of several versions."""
    return str(tag).rpartition("}")[2]


def _child(element: ET.Element, *names: str) -> str:
    for name in names:
        for one in element:
            if _local(one.tag) == name and (one.text or "").strip():
                return str(one.text).strip()
    return ""


def _kml(root: ET.Element, found: ReadPlaces) -> Rows:
    marks = [one for one in root.iter() if _local(one.tag) == "Placemark"]
    for number, mark in enumerate(marks, start=1):
        point = next((one for one in mark if _local(one.tag) == "Point"), None)
        if point is None:
            words = _("It is no single point. Lines and areas go into a layer of the map, as GeoJSON.")
            found.say(number, "Placemark", "refused", words)
            continue
        longitude, _comma, rest = _child(point, "coordinates").partition(",")
        yield number, _called(_kml_data(mark)) | {
            "name": _child(mark, "name"), "latitude": rest.partition(",")[0], "longitude": longitude,
        } | ({"about": _child(mark, "description")} if _child(mark, "description") else {})


def _kml_data(mark: ET.Element) -> dict[str, str]:
    held = next((one for one in mark if _local(one.tag) == "ExtendedData"), None)
    if held is None:
        return {}
    return {str(one.get("name")): _child(one, "value") for one in held.iter() if _local(one.tag) == "Data"}


def _gpx(root: ET.Element, found: ReadPlaces) -> Rows:
    points = [one for one in root if _local(one.tag) == "wpt"]
    for number, point in enumerate(points, start=1):
        yield number, {
            "name": _child(point, "name"), "about": _child(point, "desc", "cmt"),
            "nature": _child(point, "type", "sym"), "latitude": point.get("lat", ""), "longitude": point.get("lon", ""),
        }
    others = {_local(one.tag) for one in root} & {"trk", "rte"}
    if others:
        words = _("Tracks and routes are left out: only waypoints become places.")
        found.say(0, ", ".join(sorted(others)), "note", words)


# --- between looking over and taking in ---


def kept(rows: list[PlaceRow]) -> str:
    """The rows as a table that `read` takes again."""
    made = io.StringIO()
    table = csv.writer(made, lineterminator="\n")
    table.writerow(["name", "language", "nature", "about", "latitude", "longitude"])
    for row in rows:
        about = " ".join(row.about.split())
        table.writerow([row.name, row.language, row.nature, about, repr(row.latitude_deg), repr(row.longitude_deg)])
    return made.getvalue()
