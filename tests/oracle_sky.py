"""Seasons by the sky, read a second time: plain formulae for the sun and one star, good to half a degree.

Sun and sidereal time: the low-precision formulae of the Astronomical Almanac (section C; 0.01 degrees). Stars: places
at J2000.0 by the Hipparcos catalogue (ESA SP-1200, 1997), from memory, precession left out (a third of a degree by
2024). That is not enough to name the day on which a season turns: `steady` finds the seasons that turn far from the
moments asked about, whatever the exact depth of twilight, and only those are asked of the gate.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from functools import lru_cache
from itertools import product
from math import asin, atan2, cos, degrees, radians, sin

# Hipparcos number, right ascension and declination in degrees.
STARS = {
    "Sirius": (32349, 101.287, -16.716), "Betelgeuse": (27989, 88.793, 7.407), "Antares": (80763, 247.352, -26.432),
    "Vega": (91262, 279.235, 38.784), "Spica": (65474, 201.298, -11.161),
}
RULES = ("dusk", "year")
SPOTS = ((46.0, -38.0), (-35.0, 20.0))  # latitude, longitude in degrees, north and east
CLEAR_DAYS = 6
UNIX_EPOCH_JD = 2440587.5
Sky = tuple[str, str, str, tuple[float, float]]  # "sky", the rule, the star, the spot


def sun(jd: float) -> tuple[float, float]:
    """Right ascension and declination in degrees."""
    days = jd - 2451545.0
    anomaly = radians(357.528 + 0.9856003 * days)
    longitude = radians(280.460 + 0.9856474 * days + 1.915 * sin(anomaly) + 0.020 * sin(2 * anomaly))
    obliquity = radians(23.439)
    right_ascension = atan2(cos(obliquity) * sin(longitude), cos(longitude))
    return degrees(right_ascension), degrees(asin(sin(obliquity) * sin(longitude)))


def altitude(place: tuple[float, float], jd: float, spot: tuple[float, float]) -> float:
    """Degrees above the horizon of a right ascension and declination."""
    latitude, longitude = spot
    sidereal = 280.46062 + 360.98564737 * (jd - 2451545.0)
    hour = radians(sidereal + longitude - place[0])
    dec, lat = radians(place[1]), radians(latitude)
    return degrees(asin(sin(lat) * sin(dec) + cos(lat) * cos(dec) * cos(hour)))


def from_noon(day: date, spot: tuple[float, float]) -> Iterator[float]:
    """Julian dates from the day's noon by the sun to the next, ten minutes apart."""
    noon = (day - date(1970, 1, 1)).days + UNIX_EPOCH_JD + 0.5 - spot[1] / 360
    return (noon + at / 144 for at in range(144))


@lru_cache(maxsize=20_000)
def holds(rule: str, star: str, spot: tuple[float, float], day: date, off_deg: float = 0.0) -> bool:
    """Up (above 10 degrees) when the sun has sunk to 12; or seen at some time of a night: both half a guess deeper."""
    place = STARS[star][1:]
    if rule == "dusk":
        dusk = next(jd for jd in from_noon(day, spot) if altitude(sun(jd), jd, spot) < -12)
        return altitude(place, dusk, spot) > 10 + off_deg
    dark = (jd for jd in from_noon(day, spot) if altitude(sun(jd), jd, spot) < -11 - off_deg)
    return any(altitude(place, jd, spot) > 1 for jd in dark)


def steady(days: Iterable[date]) -> list[Sky]:
    """The seasons that are the same for some days round each of these, however deep twilight is taken to be."""
    round_each = [[day + timedelta(days=off) for off in range(-CLEAR_DAYS, CLEAR_DAYS + 1, 2)] for day in days]

    def is_steady(rule: str, star: str, spot: tuple[float, float]) -> bool:
        said = ({holds(rule, star, spot, day, off) for day in near for off in (-4, 0, 4)} for near in round_each)
        return all(len(one) == 1 for one in said)

    return [("sky", *each) for each in product(RULES, STARS, SPOTS) if is_steady(*each)]
