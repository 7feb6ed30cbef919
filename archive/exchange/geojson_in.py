"""Reading GeoJSON (RFC 7946) as somebody brings it: what can be kept is kept, and every fault is told by feature.

Sections of the standard are named beside each rule. Positions are longitude, latitude, in degrees of WGS 84.
"""

from __future__ import annotations

import itertools
import json
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _

from ..access.table_rows import Problem

Json = dict[str, Any]
MOST_DEPTH = 60  # of brackets; a MultiPolygon in a collection in a file has ten
MOST_PROPERTIES = 40
LONGEST_PROPERTY = 1000
GEOMETRIES = ("Point", "MultiPoint", "LineString", "MultiLineString", "Polygon", "MultiPolygon")


class Refused(Exception):
    """This much cannot be kept; the words say why and how to mend it."""


@dataclass
class Read:
    """`features` that can be kept, each with the number (from 1) it had in the file, and what is amiss.

    `is_turned`: the file has latitude before longitude; what is kept has them as they should be.
    """

    is_turned: bool = False
    features: list[tuple[int, Json]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def text(self) -> str:
        """What can be kept, as the text of one FeatureCollection."""
        held = {"type": "FeatureCollection", "features": [feature for _number, feature in self.features]}
        return json.dumps(held, ensure_ascii=False, separators=(",", ":"))

    def say(self, row: int, column: str, severity: str, text: str) -> None:
        self.problems.append(Problem(row, column, severity, text))


def read(data: bytes, is_turned: bool = False) -> Read:
    """Never raises: a file that is not GeoJSON has no features and one problem."""
    found = Read(is_turned)
    try:
        held = _parsed(data)
        _check_crs(held, found)
        rows = _rows(held)
    except Refused as error:
        found.say(0, "", "refused", str(error))
        return found
    for number, row in enumerate(rows, start=1):
        try:
            found.features.append((number, _feature(row, number, found)))
        except Refused as error:
            found.say(number, "geometry", "refused", str(error))
    if not rows:
        found.say(0, "", "refused", _("There is nothing in the file: its list of features is empty."))
    return found


def _parsed(data: bytes) -> Json:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        words = _("The file is not in UTF-8, as GeoJSON must be: see byte %(at)d. Save it as UTF-8.")
        raise Refused(words % {"at": error.start + 1}) from error
    if _depth(text) > MOST_DEPTH:
        raise Refused(_("The file is nested too deep to be GeoJSON."))
    try:
        held = json.loads(text, parse_constant=_no_number)
    except json.JSONDecodeError as error:
        words = _("The file is not JSON: see line %(line)d, column %(column)d. Export it again as GeoJSON.")
        raise Refused(words % {"line": error.lineno, "column": error.colno}) from error
    except ValueError as error:
        raise Refused(str(error)) from error
    if not isinstance(held, dict):
        raise Refused(_("The file is JSON, but not GeoJSON: it has no “type”."))
    return held


def _depth(text: str) -> int:
    """How deep brackets are nested; those inside texts count too, which does no harm."""
    steps = ((letter in "[{") - (letter in "]}") for letter in text if letter in "[]{}")
    return max(itertools.accumulate(steps), default=0)


def _no_number(text: str) -> float:
    raise ValueError(_("%(text)s stands where a number must be.") % {"text": text})


def _check_crs(held: Json, found: Read) -> None:
    """Section 4: coordinates are WGS 84; the older `crs` member is gone. What it says is not passed over."""
    crs = held.get("crs")
    if crs is None:
        return
    said = json.dumps(crs)
    if "CRS84" in said or "4326" in said:
        found.say(0, "crs", "note", _("The file names its coordinate system, which is WGS 84 as it must be."))
        return
    words = _("The file says that its coordinates are not WGS 84 (%(crs)s). Export it again in WGS 84, also called "
              "EPSG:4326.")
    raise Refused(words % {"crs": said[:120]})


def _rows(held: Json) -> list[Any]:
    kind = held.get("type")
    if kind == "FeatureCollection":
        rows = held.get("features")
        if not isinstance(rows, list):
            raise Refused(_("The file has no list of features."))
        return rows
    if kind == "Feature":
        return [held]
    if kind in (*GEOMETRIES, "GeometryCollection"):
        return [{"type": "Feature", "properties": {}, "geometry": held}]
    raise Refused(_("The file is JSON, but not GeoJSON: its type is “%(type)s”.") % {"type": str(kind)[:40]})


# --- features ---


def _feature(row: Any, number: int, found: Read) -> Json:
    if not isinstance(row, dict) or row.get("type") != "Feature":
        raise Refused(_("This is not a feature: its type must be “Feature”."))
    geometry = row.get("geometry")
    if geometry is None:
        raise Refused(_("It has no geometry, so that it has no place on a map."))
    return {
        "type": "Feature",
        "properties": _properties(row.get("properties"), number, found),
        "geometry": _geometry(geometry, number, found),
    }


def _properties(given: Any, number: int, found: Read) -> Json:
    """Texts, numbers and yes or no, as they are; what is nested is left out."""
    if not isinstance(given, dict):
        return {}
    kept: Json = {}
    for name, value in list(given.items())[:MOST_PROPERTIES]:
        if isinstance(value, str):
            kept[name[:60]] = value.replace("\0", "")[:LONGEST_PROPERTY]
        elif isinstance(value, (bool, int, float)):
            kept[name[:60]] = value
        elif value is not None:
            found.say(number, name[:60], "note", _("What is nested inside this property is left out."))
    return kept


def _geometry(given: Any, number: int, found: Read) -> Json:
    if not isinstance(given, dict):
        raise Refused(_("Its geometry is not an object."))
    kind = given.get("type")
    if kind == "GeometryCollection":
        parts = given.get("geometries")
        if not isinstance(parts, list) or not parts:
            raise Refused(_("Its collection of geometries is empty."))
        return {"type": kind, "geometries": [_geometry(one, number, found) for one in parts]}
    if kind not in GEOMETRIES:
        raise Refused(_("“%(type)s” is no geometry of the standard.") % {"type": str(kind)[:40]})
    shape = _Shape(number, found)
    return {"type": kind, "coordinates": shape.read(kind, given.get("coordinates"))}


class _Shape:
    """Reads the coordinates of one geometry."""

    def __init__(self, number: int, found: Read) -> None:
        self.number, self.found = number, found
        self.told: set[str] = set()

    def read(self, kind: str, given: Any) -> list[Any]:
        if kind == "Point":
            return self.position(given)
        if kind == "MultiPoint":
            return self.each(given, self.position, 1)
        if kind == "LineString":
            return self.each(given, self.position, 2)
        if kind == "MultiLineString":
            return self.each(given, lambda line: self.each(line, self.position, 2), 1)
        if kind == "Polygon":
            return self.polygon(given)
        return self.each(given, self.polygon, 1)

    def each(self, given: Any, one: Callable[[Any], list[Any]], least: int) -> list[Any]:
        if not isinstance(given, list) or len(given) < least:
            raise Refused(_("Its list of positions is too short."))
        return [one(part) for part in given]

    def position(self, given: Any) -> list[Any]:
        """Section 3.1.1: longitude, latitude, and perhaps a height, which is left out."""
        if not isinstance(given, list) or len(given) < 2 or not all(_is_number(one) for one in given):
            raise Refused(_("A position must be two numbers: longitude, latitude."))
        longitude_deg, latitude_deg = (float(one) for one in (given[1::-1] if self.found.is_turned else given[:2]))
        if not (-180 <= longitude_deg <= 180 and -90 <= latitude_deg <= 90):
            raise Refused(out_of_range(latitude_deg, longitude_deg))
        if len(given) > 2:
            self.say("note", _("Heights are left out: only longitude and latitude are kept."))
        return [longitude_deg, latitude_deg]

    def polygon(self, given: Any) -> list[Any]:
        """Section 3.1.6: rings of four or more positions, closed; the outer one counter-clockwise, holes clockwise."""
        rings = self.each(given, lambda ring: self.each(ring, self.position, 3), 1)
        return [self.ring(ring, at == 0) for at, ring in enumerate(rings)]

    def ring(self, ring: list[list[float]], is_outer: bool) -> list[list[float]]:
        if ring[0] != ring[-1]:
            self.say("warning", _("A ring was not closed; its first position was put at its end."))
            ring = [*ring, ring[0]]
        if len(ring) < 4:
            raise Refused(_("A ring needs at least four positions, the last like the first."))
        area = sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in itertools.pairwise(ring))
        if (area > 0) is not is_outer and area != 0:
            self.say("note", _("A ring ran the wrong way round; it was turned."))
            return ring[::-1]
        return ring

    def say(self, severity: str, words: str) -> None:
        """Each thing once a geometry."""
        if words not in self.told:
            self.told.add(words)
            self.found.say(self.number, "geometry", severity, words)


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)


def out_of_range(latitude_deg: float, longitude_deg: float) -> str:
    """Why these are no degrees of the globe, and how to mend it."""
    if abs(longitude_deg) <= 90 < abs(latitude_deg) <= 180:
        words = _("Latitude %(latitude)s cannot be: north and east seem to be swapped. Tick the box that turns them.")
        return words % {"latitude": f"{latitude_deg:g}"}
    words = _("Latitude %(latitude)s, longitude %(longitude)s is not on the globe. Give degrees of WGS 84, not metres "
              "of a grid.")
    return words % {"latitude": f"{latitude_deg:g}", "longitude": f"{longitude_deg:g}"}


def positions(geometry: Json) -> list[list[float]]:
    """All positions of a geometry that was read here."""
    if geometry["type"] == "GeometryCollection":
        return [spot for one in geometry["geometries"] for spot in positions(one)]
    ahead, spots = [geometry["coordinates"]], []
    while ahead:
        part = ahead.pop()
        if isinstance(part[0], list):
            ahead += reversed(part)
        else:
            spots.append(part)
    return spots
