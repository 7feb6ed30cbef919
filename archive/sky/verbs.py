"""The answers of the sky command, as plain data: one function per verb, no printing, no Django.

``answer({"verb": "pole", "year": -2800})`` gives a dictionary fit for JSON.  Angles are degrees, times ISO 8601
UTC, azimuths from north through east, years astronomical.  What is wrong with a request is raised as SkyError.
"""

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict
from typing import Any

import numpy as np

from .altaz import Place, body_altaz, refraction_of_true, star_altaz
from .bearings import read_bearing
from .bodies import BODIES
from .catalogue import load_catalogue
from .errors import SkyError
from .frames import nearest_to_pole, pole
from .horizon import (
    POINT_HORIZON_DEG,
    Crossing,
    body_crossing,
    default_horizon_deg,
    rise_azimuth_deg,
    star_crossing,
)
from .phases import star_phases
from .places import star_places
from .times import format_time, parse_date, parse_time
from .tonight import Twilight, tonight

Request = dict[str, Any]
Answer = dict[str, Any]


def _number(request: Request, key: str, default: float | None = None) -> float:
    value = request.get(key, default)
    if value is None:
        raise SkyError(f"{key} is missing. Give it as a number.")
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise SkyError(f"{key} is {value!r}, which is not a number.") from None
    if isinstance(value, bool) or not np.isfinite(number):
        raise SkyError(f"{key} is {value!r}, which is not a number.")
    return number


def _whole(request: Request, key: str, default: int | None = None) -> int:
    number = _number(request, key, default)
    if number != int(number) or abs(number) > 1e9:
        raise SkyError(f"{key} is {request[key]!r}; it must be a whole number of ordinary size.")
    return int(number)


def _text(request: Request, key: str) -> str:
    value = request.get(key)
    if not isinstance(value, str) or not value:
        raise SkyError(f"{key} is missing. Give it as text.")
    return value


def _place(request: Request) -> Place:
    return Place(_number(request, "lat"), _number(request, "lon"))


def _target(request: Request) -> tuple[int | None, str]:
    """A star's number or a body's name; exactly one must be given."""
    hip, body = request.get("hip"), request.get("body")
    if (hip is None) == (body is None):
        raise SkyError(f"Give either hip (a Hipparcos number) or body ({', '.join(BODIES)}).")
    if hip is not None:
        number = _whole(request, "hip")
        load_catalogue().indices([number])
        return number, ""
    if body not in BODIES:
        raise SkyError(f"The body {body!r} is not known. Choose one of: {', '.join(BODIES)}.")
    return None, str(body)


def _round(value: float | None, digits: int = 6) -> float | None:
    return None if value is None else round(float(value), digits) + 0.0


def _when(jd: float | None) -> str | None:
    return None if jd is None else format_time(jd)


def position(request: Request) -> Answer:
    """A star's right ascension and declination in a year and frame (icrs, mean, true, apparent)."""
    hip, year, frame = _whole(request, "hip"), _number(request, "year"), request.get("frame", "mean")
    ra, dec = star_places([hip], year, str(frame))
    return {"hip": hip, "name": load_catalogue().label(hip), "year": year, "frame": frame,
            "ra_deg": _round(ra[0], 8), "dec_deg": _round(dec[0], 8)}


def pole_verb(request: Request) -> Answer:
    """The celestial pole of a year (ICRS), the obliquity, the ecliptic pole and the nearest stars."""
    year, limit = _number(request, "year"), _number(request, "limit", 4.0)
    south = bool(request.get("south", False))
    found = pole(year, south)
    near = nearest_to_pole(year, limit, south=south)
    return {"year": year, "ra_deg": _round(found.ra_deg, 8), "dec_deg": _round(found.dec_deg, 8),
            "obliquity_deg": _round(found.obliquity_deg, 8), "limit_hp": limit,
            "nearest": [{"hip": s.hip, "name": s.name, "separation_deg": _round(s.separation_deg),
                         "hp": s.hp_mag} for s in near],
            "ecliptic_pole": {"ra_deg": _round(found.ecliptic_ra_deg, 8),
                              "dec_deg": _round(found.ecliptic_dec_deg, 8)}}


def altaz(request: Request) -> Answer:
    """True and (unless well below the horizon) apparent altitude, and azimuth, at an instant."""
    hip, body = _target(request)
    place, jd = _place(request), parse_time(_text(request, "at"))
    altitude, azimuth = star_altaz([hip], place, jd) if hip is not None else body_altaz(body, place, jd)
    true = float(np.ravel(altitude)[0])
    apparent = true + float(refraction_of_true(true)) if true > -1 else None
    return {"at": format_time(jd), "altitude_deg": _round(true), "apparent_altitude_deg": _round(apparent),
            "azimuth_deg": _round(np.ravel(azimuth)[0])}


def rise(request: Request) -> Answer:
    """Where a star or body rises and sets; with a date also when, first in the 24 hours from 0h UTC."""
    hip, body = _target(request)
    default = POINT_HORIZON_DEG if hip is not None else default_horizon_deg(body)
    altitude = _number(request, "altitude", default)
    if not -90 < altitude < 90:
        raise SkyError(f"altitude is {altitude:g}; the horizon must lie between -90 and 90 degrees.")
    if request.get("date") is not None:
        return _rise_on(hip, body, _place(request), parse_date(_text(request, "date")), altitude)
    return _rise_in_year(hip, _number(request, "lat"), request, altitude)


def _rise_on(hip: int | None, body: str, place: Place, day_jd: float, altitude: float) -> Answer:
    found: Crossing = (star_crossing(hip, place, day_jd, altitude) if hip is not None
                       else body_crossing(body, place, day_jd, altitude))
    return {"horizon_altitude_deg": _round(altitude), "never": found.never or None,
            "rise_azimuth_deg": _round(found.rise_azimuth_deg), "set_azimuth_deg": _round(found.set_azimuth_deg),
            "rise_at": _when(found.rise_jd), "set_at": _when(found.set_jd),
            "culmination_at": _when(found.culmination_jd),
            "culmination_altitude_deg": _round(found.culmination_altitude_deg)}


def _rise_in_year(hip: int | None, lat_deg: float, request: Request, altitude: float) -> Answer:
    if hip is None:
        raise SkyError("The sun, the moon and planets need a date; a year alone is only enough for a star.")
    Place(lat_deg, 0.0)
    dec = float(star_places([hip], _number(request, "year"), "mean")[1][0])
    found = rise_azimuth_deg(dec, lat_deg, altitude)
    never = found if isinstance(found, str) else None
    rising, setting = (None, None) if isinstance(found, str) else found
    return {"horizon_altitude_deg": _round(altitude), "never": never, "declination_deg": _round(dec),
            "rise_azimuth_deg": _round(rising), "set_azimuth_deg": _round(setting)}


def bearing(request: Request) -> Answer:
    """The declination behind a bearing, and what has it."""
    found = read_bearing(_number(request, "lat"), _number(request, "azimuth"), _number(request, "altitude", 0.0),
                         _whole(request, "year", 2000), not request.get("no_refraction", False))
    bodies = [{"kind": m.kind, "name": m.what, "hip": m.hip, "declination_deg": _round(m.declination_deg),
               "off_deg": _round(m.off_deg), "dates": list(m.dates)} for m in found.matches]
    return {"declination_deg": _round(found.declination_deg), "true_altitude_deg": _round(found.true_altitude_deg),
            "event": found.event, "year": found.year, "bodies": bodies}


def phases(request: Request) -> Answer:
    """A star's first and last nights in a year."""
    found = star_phases(_whole(request, "hip"), _place(request), _whole(request, "year"),
                        _number(request, "skyline", 0.0))
    return {**asdict(found), "never": found.never or None}


def _twilight(found: Twilight) -> Answer:
    return {"dusk_at": _when(found.dusk_jd), "dawn_at": _when(found.dawn_jd), "state": found.state or None}


def up(request: Request) -> Answer:
    """What is up at dusk on a night: twilights, moon, planets and bright stars."""
    place, day = _place(request), parse_date(_text(request, "date"))
    night = tonight(place, day, v_limit=_number(request, "limit", 1.5))
    bodies = [{"name": b.name, "hip": b.hip, "altitude_deg": _round(b.altitude_deg), "azimuth_deg":
               _round(b.azimuth_deg), "direction": b.direction, "rise_at": _when(b.rise_jd),
               "set_at": _when(b.set_jd)} for b in (*night.planets, *night.stars) if b.altitude_deg > 0]
    moon = night.moon and {"phase": night.moon.phase, "lit": _round(night.moon.lit, 4), "rise_at":
                           _when(night.moon.rise_jd), "set_at": _when(night.moon.set_jd),
                           "up_at_dusk": night.moon.up_at_dusk}
    return {"twilights": {name: _twilight(found) for name, found in night.twilights.items()},
            "shown_for": _when(night.dark[0] if night.dark else night.noon_jd + 0.5),
            "dark": bool(night.dark), "moon": moon, "up": bodies}


VERBS: dict[str, Callable[[Request], Answer]] = {
    "position": position, "pole": pole_verb, "altaz": altaz, "up": up, "rise": rise, "bearing": bearing,
    "phases": phases}

ARGUMENTS: dict[str, tuple[str, ...]] = {
    "position": ("hip", "year", "frame"),
    "pole": ("year", "limit", "south"),
    "altaz": ("hip", "body", "lat", "lon", "at"),
    "up": ("lat", "lon", "date", "limit"),
    "rise": ("hip", "body", "lat", "lon", "date", "year", "altitude"),
    "bearing": ("lat", "azimuth", "altitude", "no_refraction", "year"),
    "phases": ("hip", "lat", "lon", "year", "skyline")}


def answer(request: Any) -> Answer:
    """The answer to one request, a dictionary with a verb and its arguments; SkyError says what is wrong."""
    if not isinstance(request, dict):
        raise SkyError('A request is an object, like {"verb": "pole", "year": -2800}.')
    verb = request.get("verb")
    if verb not in VERBS:
        raise SkyError(f"The verb {verb!r} is not known. Choose one of: {', '.join(VERBS)}.")
    plain = {str(key).replace("-", "_"): value for key, value in request.items()}
    strange = sorted(set(plain) - {"verb", "json", *ARGUMENTS[verb]})
    if strange:
        raise SkyError(f"{verb} does not take {', '.join(strange)}. It takes: {', '.join(ARGUMENTS[verb])}.")
    return VERBS[verb](plain)


def answer_lines(lines: Iterable[str]) -> Iterator[str]:
    """One line of JSON for each non-empty line of JSON; a bad one is answered with {"error": why}."""
    for line in lines:
        if not line.strip():
            continue
        try:
            result = answer(json.loads(line))
        except json.JSONDecodeError as problem:
            result = {"error": f"Not JSON: {problem}."}
        except SkyError as problem:
            result = {"error": str(problem)}
        yield json.dumps(result, ensure_ascii=False)
