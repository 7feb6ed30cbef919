"""The answers of the sky command, as plain data: one function per verb, no printing, no Django.

``answer({"verb": "pole", "year": -2800})`` gives a dictionary fit for JSON.  Angles are degrees, times ISO 8601
UTC, azimuths from north through east, years astronomical.  What is wrong with a request is raised as SkyError.
"""

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict
from typing import Any

import numpy as np

from .altaz import body_altaz, refraction_of_true, star_altaz
from .bearings import read_bearing
from .catalogue import load_catalogue
from .errors import SkyError
from .frames import nearest_to_pole, pole
from .phases import star_phases
from .places import star_places
from .requests import Answer, Request, read_number, read_place, read_target, read_text, read_whole, rounded, when
from .rising import rise
from .times import LAST_YEAR, format_time, parse_date, parse_time
from .tonight import Twilight, tonight
from .wobble import turn_years


def position(request: Request) -> Answer:
    """A star's right ascension and declination in a year and frame (icrs, mean, true, apparent)."""
    hip, year, frame = read_whole(request, "hip"), read_number(request, "year"), request.get("frame", "mean")
    ra, dec = star_places([hip], year, str(frame))
    return {"hip": hip, "name": load_catalogue().label(hip), "year": year, "frame": frame,
            "ra_deg": rounded(ra[0], 8), "dec_deg": rounded(dec[0], 8)}


def pole_verb(request: Request) -> Answer:
    """The celestial pole of a year (ICRS), the obliquity, the ecliptic pole and the nearest stars."""
    year, limit = read_number(request, "year"), read_number(request, "limit", 4.0)
    south = bool(request.get("south", False))
    found = pole(year, south)
    near = nearest_to_pole(year, limit, south=south)
    return {"year": year, "ra_deg": rounded(found.ra_deg, 8), "dec_deg": rounded(found.dec_deg, 8),
            "obliquity_deg": rounded(found.obliquity_deg, 8), "limit_hp": limit,
            "turn_years": rounded(turn_years(year), 1) if abs(year) <= LAST_YEAR else None,
            "nearest": [{"hip": s.hip, "name": s.name, "separation_deg": rounded(s.separation_deg),
                         "hp": s.hp_mag} for s in near],
            "ecliptic_pole": {"ra_deg": rounded(found.ecliptic_ra_deg, 8),
                              "dec_deg": rounded(found.ecliptic_dec_deg, 8)}}


def altaz(request: Request) -> Answer:
    """True and (unless well below the horizon) apparent altitude, and azimuth, at an instant."""
    hip, body = read_target(request)
    place, jd = read_place(request), parse_time(read_text(request, "at"))
    altitude, azimuth = star_altaz([hip], place, jd) if hip is not None else body_altaz(body, place, jd)
    true = float(np.ravel(altitude)[0])
    apparent = true + float(refraction_of_true(true)) if true > -1 else None
    return {"at": format_time(jd), "altitude_deg": rounded(true), "apparent_altitude_deg": rounded(apparent),
            "azimuth_deg": rounded(np.ravel(azimuth)[0])}


def bearing(request: Request) -> Answer:
    """The declination behind a bearing, and what has it."""
    lat, azimuth = read_number(request, "lat"), read_number(request, "azimuth")
    found = read_bearing(lat, azimuth, read_number(request, "altitude", 0.0), read_whole(request, "year", 2000),
                         not request.get("no_refraction", False))
    bodies = [{"kind": m.kind, "name": m.what, "hip": m.hip, "declination_deg": rounded(m.declination_deg),
               "off_deg": rounded(m.off_deg), "dates": list(m.dates)} for m in found.matches]
    return {"declination_deg": rounded(found.declination_deg), "true_altitude_deg": rounded(found.true_altitude_deg),
            "event": found.event, "year": found.year, "bodies": bodies}


def phases(request: Request) -> Answer:
    """A star's first and last nights in a year."""
    found = star_phases(read_whole(request, "hip"), read_place(request), read_whole(request, "year"),
                        read_number(request, "skyline", 0.0))
    return {**asdict(found), "never": found.never or None}


def _twilight(found: Twilight) -> Answer:
    return {"dusk_at": when(found.dusk_jd), "dawn_at": when(found.dawn_jd), "state": found.state or None}


def up(request: Request) -> Answer:
    """What is up at dusk on a night: twilights, moon, planets and bright stars."""
    place, day = read_place(request), parse_date(read_text(request, "date"))
    night = tonight(place, day, v_limit=read_number(request, "limit", 1.5))
    bodies = [{"name": b.name, "hip": b.hip, "altitude_deg": rounded(b.altitude_deg), "azimuth_deg":
               rounded(b.azimuth_deg), "direction": b.direction, "rise_at": when(b.rise_jd),
               "set_at": when(b.set_jd)} for b in (*night.planets, *night.stars) if b.altitude_deg > 0]
    moon = night.moon and {"phase": night.moon.phase, "lit": rounded(night.moon.lit, 4), "rise_at":
                           when(night.moon.rise_jd), "set_at": when(night.moon.set_jd),
                           "up_at_dusk": night.moon.up_at_dusk}
    return {"twilights": {name: _twilight(found) for name, found in night.twilights.items()},
            "shown_for": when(night.dark[0] if night.dark else night.noon_jd + 0.5),
            "dark": bool(night.dark), "moon": moon, "up": bodies}


VERBS: dict[str, Callable[[Request], Answer]] = {
    "position": position, "pole": pole_verb, "altaz": altaz, "up": up, "rise": rise, "bearing": bearing,
    "phases": phases}

ARGUMENTS: dict[str, tuple[str, ...]] = {
    "position": ("hip", "year", "frame"),
    "pole": ("year", "limit", "south"),
    "altaz": ("hip", "body", "lat", "lon", "at"),
    "up": ("lat", "lon", "date", "limit"),
    "rise": ("hip", "body", "lat", "lon", "date", "year", "altitude", "horizon", "extinction", "no_refraction"),
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
