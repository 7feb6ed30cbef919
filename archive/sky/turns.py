"""How far north and south the sun, the moon and the planets go in a year: where their risings turn back.

The sun turns at the solstices.  The moon swings each month, and its swing itself widens and narrows in 18.6 years:
its furthest of all are the standstills.  A planet's furthest depends on the year.
"""

from dataclasses import dataclass

import numpy as np

from .altaz import body_of_date
from .bearings import MOON_PARALLAX_DEG, day_of_longitude, standstills_deg
from .bodies import BODY_YEARS, beyond_body_years, check_body
from .frames import obliquity
from .horizon import rise_azimuth_deg
from .times import check_year, year_start
from .vectors import DEGREE, Floats, ra_dec

_STEP_DAYS = {"moon": 0.125}


@dataclass(frozen=True)
class Turn:
    """``what`` is a code: "june solstice", "december solstice", "march equinox", "september equinox",
    "furthest north", "furthest south", "major north" ... (standstills, which have no instant in the year)."""

    what: str
    declination_deg: float
    jd_ut: float | None


def turns(body: str, year: int) -> list[Turn]:
    """The turns of a body's geocentric declination in an astronomical year, the northern one first.

    The sun any year; the moon's and the planets' furthest -3000 to 3000, of the moon the standstills any year.
    """
    check_year(year)
    if body == "sun":
        return _sun(year)
    check_body(body)
    if body == "moon":
        standstills = [Turn(what, dec, None) for what, dec in standstills_deg(year).items()]
        return [*(_furthest(body, year) if _is_known(year) else []), *standstills]
    if not _is_known(year):
        raise beyond_body_years(body.capitalize())
    return _furthest(body, year)


def _is_known(year: int) -> bool:
    return BODY_YEARS[0] <= year < BODY_YEARS[1]


def _sun(year: int) -> list[Turn]:
    eps, start = float(obliquity(float(year))) / DEGREE, year_start(year)
    wanted = (("june solstice", eps, 90), ("december solstice", -eps, 270), ("march equinox", 0.0, 0),
              ("september equinox", 0.0, 180))
    return [Turn(what, dec, day_of_longitude(start, longitude * DEGREE)) for what, dec, longitude in wanted]


def _furthest(body: str, year: int) -> list[Turn]:
    jd = np.arange(year_start(year), year_start(year + 1), _STEP_DAYS.get(body, 1.0))
    dec = ra_dec(body_of_date(body, jd)[0])[1] / DEGREE
    return [Turn("furthest north", *_peak(jd, dec, 1)), Turn("furthest south", *_peak(jd, dec, -1))]


def _peak(jd: Floats, dec: Floats, sign: int) -> tuple[float, float]:
    """Highest (or lowest) value and its instant, by a parabola through the three samples about it."""
    at = int(np.argmax(dec * sign))
    if at in (0, len(jd) - 1):
        return float(dec[at]), float(jd[at])
    left, here, right = dec[at - 1:at + 2]
    bend = left - 2 * here + right
    offset = 0.5 * (left - right) / bend if bend else 0.0
    return float(here - 0.25 * (left - right) * offset), float(jd[at] + offset * (jd[1] - jd[0]))


def turn_azimuths_deg(body: str, declination_deg: float, lat_deg: float,
                      altitude_deg: float) -> tuple[float, float] | str:
    """Rising and setting azimuth at a turn, or "rises" / "sets" for what it never does then.

    The moon is lifted by its mean parallax, since a declination is told from the Earth's middle (error 0.1 degree).
    """
    lift = MOON_PARALLAX_DEG * np.cos(altitude_deg * DEGREE) if body == "moon" else 0.0
    return rise_azimuth_deg(declination_deg, lat_deg, float(altitude_deg + lift))
