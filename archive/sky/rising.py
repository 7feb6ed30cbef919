"""The verb ``rise``: where and when a star or a body rises and sets, by a level horizon or a skyline."""

from pathlib import Path

from .altaz import Place
from .errors import SkyError
from .horizon import (
    POINT_HORIZON_DEG,
    Crossing,
    body_crossing,
    default_horizon_deg,
    rise_azimuth_deg,
    star_crossing,
)
from .passages import Event, Passage, body_passage, star_passage, turn_passage
from .places import star_places
from .requests import Answer, Request, read_number, read_place, read_target, read_text, read_whole, rounded, when
from .skyline import Skyline, read_skyline
from .times import parse_date
from .turns import Turn, turn_azimuths_deg, turns

MOST_LOSS_MAG = 2.0


def rise(request: Request) -> Answer:
    """Where a star or body rises and sets, by a level horizon or a skyline; with a date also when (24 h from 0h UTC).

    For a year a star keeps one azimuth; of the sun, the moon and planets the turns are given, the northern one first.
    """
    hip, body = read_target(request)
    date = None if request.get("date") is None else parse_date(read_text(request, "date"))
    if date is not None and request.get("year") is not None:
        raise SkyError("Give either date (a day) or year, not both.")
    if request.get("horizon") is not None:
        return _by_skyline(hip, body, date, request)
    unused = [key for key in ("extinction", "no_refraction") if request.get(key)]
    if unused:
        raise SkyError(f"{' and '.join(unused)} only go with a horizon file.")
    default = POINT_HORIZON_DEG if hip is not None else default_horizon_deg(body)
    altitude = read_number(request, "altitude", default)
    if not -90 < altitude < 90:
        raise SkyError(f"altitude is {altitude:g}; the horizon must lie between -90 and 90 degrees.")
    if date is not None:
        return _on_a_day(hip, body, read_place(request), date, altitude)
    lat_deg = _latitude(request)
    if hip is None:
        return _body_in_year(body, lat_deg, read_whole(request, "year"), altitude)
    return _star_in_year(hip, lat_deg, read_number(request, "year"), altitude)


def _latitude(request: Request) -> float:
    return Place(read_number(request, "lat"), 0.0).lat_deg


def _azimuths(found: tuple[float, float] | str) -> Answer:
    if isinstance(found, str):
        return {"never": found, "rise_azimuth_deg": None, "set_azimuth_deg": None}
    return {"never": None, "rise_azimuth_deg": rounded(found[0]), "set_azimuth_deg": rounded(found[1])}


def _turn(turn: Turn) -> Answer:
    return {"turn": turn.what, "turn_at": when(turn.jd_ut), "declination_deg": rounded(turn.declination_deg)}


# --- by a level horizon ---


def _on_a_day(hip: int | None, body: str, place: Place, day_jd: float, altitude: float) -> Answer:
    found: Crossing = (star_crossing(hip, place, day_jd, altitude) if hip is not None
                       else body_crossing(body, place, day_jd, altitude))
    return {"horizon_altitude_deg": rounded(altitude), "never": found.never or None,
            "rise_azimuth_deg": rounded(found.rise_azimuth_deg), "set_azimuth_deg": rounded(found.set_azimuth_deg),
            "rise_at": when(found.rise_jd), "set_at": when(found.set_jd),
            "culmination_at": when(found.culmination_jd),
            "culmination_altitude_deg": rounded(found.culmination_altitude_deg)}


def _star_in_year(hip: int, lat_deg: float, year: float, altitude: float) -> Answer:
    dec = float(star_places([hip], year, "mean")[1][0])
    return {"horizon_altitude_deg": rounded(altitude), "declination_deg": rounded(dec),
            **_azimuths(rise_azimuth_deg(dec, lat_deg, altitude))}


def _body_in_year(body: str, lat_deg: float, year: int, altitude: float) -> Answer:
    def told(turn: Turn) -> Answer:
        azimuths = _azimuths(turn_azimuths_deg(body, turn.declination_deg, lat_deg, altitude))
        return {**_turn(turn), **azimuths}

    rows = [told(turn) for turn in turns(body, year)]
    return {"horizon_altitude_deg": rounded(altitude), **rows[0], "turns": rows}


# --- by a skyline ---


def _skyline(request: Request) -> Skyline:
    name = read_text(request, "horizon")
    try:
        text = Path(name).read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise SkyError(f"The horizon file {name!r} is not text in UTF-8. Save it as CSV in UTF-8.") from None
    except (OSError, ValueError):
        raise SkyError(f"The horizon file {name!r} cannot be read. Is the name right?") from None
    return read_skyline(text, refraction=not request.get("no_refraction", False))


def _by_skyline(hip: int | None, body: str, day_jd: float | None, request: Request) -> Answer:
    if request.get("altitude") is not None:
        raise SkyError("Give either altitude (a level horizon) or horizon (a file), not both.")
    skyline, loss = _skyline(request), read_number(request, "extinction", 0.0)
    if not 0 <= loss <= MOST_LOSS_MAG:
        raise SkyError(f"extinction is {loss:g}; it must be 0 to {MOST_LOSS_MAG:g} magnitudes lost overhead.")
    if hip is None:
        if day_jd is None:
            return _turns_by_skyline(body, _latitude(request), read_whole(request, "year"), skyline, loss)
        return _passage(body_passage(body, read_place(request), skyline, day_jd, loss), skyline)
    if day_jd is None:
        place, year = Place(_latitude(request), 0.0), read_number(request, "year")
        return _passage(star_passage(hip, place, skyline, year=year, loss_mag=loss), skyline)
    return _passage(star_passage(hip, read_place(request), skyline, day_jd, loss_mag=loss), skyline)


def _turns_by_skyline(body: str, lat_deg: float, year: int, skyline: Skyline, loss: float) -> Answer:
    rows = [{**_turn(turn), **_passage(turn_passage(body, turn.declination_deg, lat_deg, skyline, loss), skyline)}
            for turn in turns(body, year)]
    return {**rows[0], "turns": rows}


def _event(event: Event | None) -> Answer | None:
    if event is None:
        return None
    return {"at": when(event.jd_ut), "azimuth_deg": rounded(event.azimuth_deg),
            "altitude_deg": rounded(event.altitude_deg)}


def _passage(found: Passage, skyline: Skyline) -> Answer:
    """The first rising and the last setting, and all of them where hills come between."""
    first, last = (_event(one[at]) or {} if one else {} for one, at in ((found.rises, 0), (found.sets, -1)))
    return {"horizon_points": len(skyline.azimuth_deg), "widest_gap_deg": rounded(skyline.widest_gap_deg),
            "never": found.never or None, "rise_azimuth_deg": first.get("azimuth_deg"),
            "set_azimuth_deg": last.get("azimuth_deg"), "rise_at": first.get("at"), "set_at": last.get("at"),
            "risings": [_event(one) for one in found.rises], "settings": [_event(one) for one in found.sets],
            "culmination": _event(found.culmination)}
