"""Rising, setting and culmination, and long tables of them.

A horizon is a TRUE altitude (without refraction) of the body's centre as seen from the place.  The usual ones:
-34' for a point of light (mean refraction at the horizon), -50' for the sun's and the moon's upper limb
(refraction and 16' of half disc).  Real air moves a rising by a minute or so; a real skyline by more.

Difference from Skyfield with the same horizon (see the tests): 0.02 s and 0.0002 degree for stars and sun, 1.3 s
and 0.005 degree for the moon, away from grazing.  At the poles, and where a body never crosses, the answer says so;
no NaN leaves this module.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .altaz import Place, altitude_azimuth, body_hour_angle, greenwich_sidereal
from .bodies import EARTH_RADIUS_AU, check_body
from .catalogue import load_catalogue
from .places import apparent_of_date
from .times import tt_of_ut
from .vectors import DEGREE, TAU, Floats, Number, as_floats, wrap

POINT_HORIZON_DEG = -34 / 60
DISC_HORIZON_DEG = -50 / 60
SIDEREAL_RATE = TAU * 1.00273790935
"""Turn of the sky in radians per day of universal time."""

CROSSES, NEVER_RISES, NEVER_SETS = 0, 1, 2
NEVER = ("", "rises", "sets")
"""What each of these codes says that a body never does."""

Singles = npt.NDArray[np.float32]
Codes = npt.NDArray[np.int8]


@dataclass(frozen=True)
class Crossing:
    """What a body does in the 24 hours after ``start_jd``; instants are Julian dates (UT), azimuths degrees.

    ``never`` is "rises" (it stays below), "sets" (it stays above) or empty.  An instant is None where the
    event does not fall into these 24 hours, as happens to the moon.
    """

    start_jd: float
    rise_jd: float | None
    set_jd: float | None
    rise_azimuth_deg: float | None
    set_azimuth_deg: float | None
    culmination_jd: float | None
    culmination_altitude_deg: float | None
    never: str = ""


def semi_arc(dec: Number, lat: Number, altitude: Number) -> tuple[Floats, Codes]:
    """Hour angle of setting (0..pi) and CROSSES, NEVER_RISES or NEVER_SETS; all radians, broadcasting.

    cos H = (sin h - sin phi sin dec) / (cos phi cos dec).  The arc is 0 where a body never rises, pi where it
    never sets.
    """
    d, phi, h = as_floats(dec), as_floats(lat), as_floats(altitude)
    top = np.sin(h) - np.sin(phi) * np.sin(d)
    reach = np.maximum(np.cos(phi) * np.cos(d), 1e-15)
    state = np.where(top > reach, NEVER_RISES, np.where(top < -reach, NEVER_SETS, CROSSES)).astype(np.int8)
    return np.arccos(np.clip(top / reach, -1, 1)), state


def azimuths(arc: Floats, dec: Number, lat: Number) -> tuple[Floats, Floats]:
    """Azimuths (radians) where a body with this semi-arc rises and sets."""
    rising = altitude_azimuth(-arc, dec, lat)[1]
    return rising, (TAU - rising) % TAU


def rise_azimuth_deg(dec_deg: float, lat_deg: float,
                     altitude_deg: float = POINT_HORIZON_DEG) -> tuple[float, float] | str:
    """Rising and setting azimuth in degrees of a declination, or "rises" / "sets" for what it never does."""
    arc, state = semi_arc(dec_deg * DEGREE, lat_deg * DEGREE, altitude_deg * DEGREE)
    if state != CROSSES:
        return NEVER[int(state)]
    rising, setting = azimuths(arc, dec_deg * DEGREE, lat_deg * DEGREE)
    return float(rising / DEGREE), float(setting / DEGREE)


def _after(start_jd: Number, sidereal_start: Number, wanted: Number) -> Floats:
    """First instant at or after the start when the local sidereal time is ``wanted`` (radians)."""
    return as_floats(start_jd) + ((as_floats(wanted) - sidereal_start) % TAU) / SIDEREAL_RATE


def star_crossing(hip: int, place: Place, start_jd: float,
                  altitude_deg: float = POINT_HORIZON_DEG) -> Crossing:
    """Rising, setting and upper culmination of one star in the 24 hours after an instant."""
    stars = load_catalogue()
    ra, dec = (float(x[0]) for x in apparent_of_date(stars.indices([hip]), float(tt_of_ut(start_jd + 0.5))))
    lat, lon = place.lat_deg * DEGREE, place.lon_deg * DEGREE
    arc, state = semi_arc(dec, lat, altitude_deg * DEGREE)
    local = float(greenwich_sidereal(start_jd)) + lon
    culmination = float(_after(start_jd, local, ra))
    highest = float(altitude_azimuth(0.0, dec, lat)[0]) / DEGREE
    if state != CROSSES:
        return Crossing(start_jd, None, None, None, None, culmination, highest,
                        NEVER[int(state)])
    rising, setting = (float(x) / DEGREE for x in azimuths(arc, dec, lat))
    return Crossing(start_jd, float(_after(start_jd, local, ra - arc)), float(_after(start_jd, local, ra + arc)),
                    rising, setting, culmination, highest)


# --- sun, moon and planets: sampled, then refined ---------------------------------------------------------

Height = Callable[[Floats], Floats]
_SAMPLES = 97


def _with_extremes(height: Height, jd: Floats) -> tuple[Floats, Floats]:
    """Samples, with the turning points between them added so that a short appearance is not missed."""
    value = height(jd)
    left, here, right = value[:-2], value[1:-1], value[2:]
    turning = ((here >= left) & (here > right) & (here < 0)) | ((here <= left) & (here < right) & (here > 0))
    if not turning.any():
        return jd, value
    bend = left - 2 * here + right
    offset = np.where(turning, 0.5 * (left - right) / np.where(turning, bend, 1.0), 0.0)
    extra = (jd[1:-1] + offset * (jd[1] - jd[0]))[turning]
    jd = np.concatenate([jd, extra])
    order = np.argsort(jd)
    return jd[order], height(jd)[order]


def _roots(height: Height, jd: Floats, value: Floats) -> tuple[list[float], list[float]]:
    """Upward and downward crossings of zero between samples (regula falsi, Illinois form)."""
    up: list[float] = []
    down: list[float] = []
    for i in np.flatnonzero((value[:-1] < 0) != (value[1:] < 0)):
        (up if value[i] < 0 else down).append(_refine(height, jd[i], jd[i + 1], value[i], value[i + 1]))
    return up, down


def _refine(height: Height, a: float, b: float, fa: float, fb: float) -> float:
    for _ in range(12):
        c = (a * fb - b * fa) / (fb - fa)
        fc = float(height(as_floats(c)))
        if abs(fc) < 1e-9 or abs(b - a) < 1e-8:
            return float(c)
        if fc * fb < 0:
            a, fa = b, fb
        else:
            fa = fa / 2
        b, fb = c, fc
    return float(b)


def default_horizon_deg(body: str) -> float:
    """-50' for the sun and the moon, -34' for planets (and stars)."""
    return DISC_HORIZON_DEG if body in ("sun", "moon") else POINT_HORIZON_DEG


def body_crossing(body: str, place: Place, start_jd: float, altitude_deg: float | None = None) -> Crossing:
    """Rising, setting and upper culmination of the sun, the moon or a planet in the 24 hours after an instant."""
    check_body(body)
    lat, lon = place.lat_deg * DEGREE, place.lon_deg * DEGREE
    horizon = (default_horizon_deg(body) if altitude_deg is None else altitude_deg) * DEGREE

    def position(jd: Floats) -> tuple[Floats, Floats]:
        hour, dec = body_hour_angle(body, jd, lat, lon)
        return altitude_azimuth(hour, dec, lat)

    def height(jd: Floats) -> Floats:
        return position(jd)[0] - horizon

    jd, value = _with_extremes(height, start_jd + np.linspace(0, 1, _SAMPLES))
    ups, downs = _roots(height, jd, value)
    culmination = body_culmination(body, start_jd, lat, lon)
    highest = None if culmination is None else float(position(as_floats(culmination))[0]) / DEGREE
    rise, fall = ups[0] if ups else None, downs[0] if downs else None
    never = "" if ups or downs else ("sets" if value[0] > 0 else "rises")
    return Crossing(start_jd, rise, fall, _azimuth(position, rise), _azimuth(position, fall), culmination,
                    highest, never)


def _azimuth(position: Callable[[Floats], tuple[Floats, Floats]], jd: float | None) -> float | None:
    return None if jd is None else float(position(as_floats(jd))[1]) / DEGREE


def body_culmination(body: str, start_jd: float, lat: float, lon: float) -> float | None:
    """Instant of hour angle zero in the 24 hours, or None (the moon leaves one day a month without); radians."""

    def hour(jd: Floats) -> Floats:
        return body_hour_angle(body, jd, lat, lon)[0]

    jd = start_jd + np.linspace(0, 1, 25)
    angle = hour(jd)
    at = np.flatnonzero((angle[:-1] < 0) & (angle[1:] >= 0))
    if not at.size:
        return None
    i = int(at[0])
    return _refine(hour, jd[i], jd[i + 1], float(angle[i]), float(angle[i + 1]))


# --- the sun by table: fast where thousands of instants are asked -----------------------------------------


@dataclass(frozen=True)
class SunTable:
    """The sun once a day over a span; between days a cubic through four of them, wrong by below 0.05 arcsec."""

    start_jd: float
    slow: Floats
    dec: Floats

    def at(self, jd_ut: Number) -> tuple[Floats, Floats]:
        """Greenwich hour angle (radians, not wrapped) and declination, geocentric, at instants in the span."""
        days = as_floats(jd_ut) - self.start_jd
        first = np.clip(np.floor(days).astype(np.int64), 1, len(self.dec) - 3) - 1
        x = days - first
        weights = (-(x - 1) * (x - 2) * (x - 3) / 6, x * (x - 2) * (x - 3) / 2,
                   -x * (x - 1) * (x - 3) / 2, x * (x - 1) * (x - 2) / 6)
        slow = sum(w * self.slow[first + i] for i, w in enumerate(weights))
        dec = sum(w * self.dec[first + i] for i, w in enumerate(weights))
        return as_floats(slow + TAU * days), as_floats(dec)

    def altitude(self, jd_ut: Number, lat: Number, lon: Number) -> tuple[Floats, Floats]:
        """True altitude from the ground and hour angle -pi..pi, radians.

        The parallax taken off is that of the mean distance: the Earth's radius in au, 8.794 arcsec.
        """
        greenwich, dec = self.at(jd_ut)
        hour = wrap(greenwich + lon)
        geocentric = altitude_azimuth(hour, dec, lat)[0]
        return geocentric - EARTH_RADIUS_AU * np.cos(geocentric), hour


def sun_table(start_jd: float, stop_jd: float) -> SunTable:
    """A table over a span of universal time, with a margin of two days at both ends."""
    jd = np.arange(start_jd - 2, stop_jd + 3.0)
    hour, dec = body_hour_angle("sun", jd, 0.0, 0.0)
    return SunTable(float(jd[0]), np.unwrap(hour - TAU * (jd - jd[0])), dec)


def sun_reaches(table: SunTable, lat: Number, lon: Number, noon_jd: Number, altitude_deg: float,
                morning: bool = False) -> Floats:
    """Instant when the sun sinks to an altitude after local noon (or rises to it before the NEXT noon).

    ``noon_jd`` is local mean noon; broadcasts.  Infinite where it never does that night: the sun stays above
    (+inf) or stays below (-inf).
    """
    phi, east = as_floats(lat), as_floats(lon)
    target = altitude_deg * DEGREE + EARTH_RADIUS_AU * np.cos(altitude_deg * DEGREE)
    base = as_floats(noon_jd) + (1.0 if morning else 0.0)
    jd = base + (-0.25 if morning else 0.25)
    for _ in range(5):
        greenwich, dec = table.at(jd)
        arc, state = semi_arc(dec, phi, target)
        jd = jd - wrap(greenwich + east - (-arc if morning else arc)) / TAU
        jd = np.clip(jd, base - 0.6, base + 0.6)
    jd = np.where(state == NEVER_SETS, np.inf, jd)
    return as_floats(np.where(state == NEVER_RISES, -np.inf, jd))


# --- long tables for many stars, places and nights --------------------------------------------------------


@dataclass(frozen=True)
class StarAlmanac:
    """Tables of shape (places, nights, stars).

    ``rise_h`` and ``set_h`` are hours of universal time after 0h of the day (first event of that day, 0..24);
    ``rise_azimuth_deg`` in degrees (setting mirrors it: 360 minus); ``never`` holds CROSSES, NEVER_RISES or
    NEVER_SETS.  Where a star never crosses, the three are 0.
    """

    first_day_jd: float
    rise_h: Singles
    set_h: Singles
    rise_azimuth_deg: Singles
    never: Codes


def _apparent_nights(hips: Sequence[int], days: Floats) -> tuple[Floats, Floats]:
    """Apparent places (nights, stars), radians, at the middle of each day."""
    return apparent_of_date(load_catalogue().indices(list(hips)), tt_of_ut(days + 0.5))


def star_almanac(hips: Sequence[int], places: Sequence[Place], first_day_jd: float, nights: int,
                 altitude_deg: float = POINT_HORIZON_DEG) -> StarAlmanac:
    """Rising and setting of many stars at many places on many days.

    Works place by place, so that the working memory stays at a few tables of (nights, stars) besides the
    answer: 200 stars x 100 places x 365 nights stay below 300 MiB in all.
    """
    days = first_day_jd + np.arange(nights, dtype=np.float64)
    ra, dec = _apparent_nights(hips, days)
    greenwich = greenwich_sidereal(days)[:, None]
    shape = (len(places), nights, len(hips))
    rise, fall, azimuth = (np.zeros(shape, dtype=np.float32) for _ in range(3))
    never = np.zeros(shape, dtype=np.int8)
    sin_dec, cos_dec, sin_h = np.sin(dec), np.cos(dec), float(np.sin(altitude_deg * DEGREE))
    for i, place in enumerate(places):
        _fill_place(place, (sin_dec, cos_dec, sin_h), (ra - greenwich) / TAU,
                    (rise[i], fall[i], azimuth[i], never[i]))
    return StarAlmanac(first_day_jd, rise, fall, azimuth, never)


def _fill_place(place: Place, star: tuple[Floats, Floats, float], turn: Floats,
                out: tuple[Singles, Singles, Singles, Codes]) -> None:
    """One place's tables; ``turn`` is (right ascension - Greenwich sidereal time at 0h) in turns."""
    sin_dec, cos_dec, sin_h = star
    phi, lon_turn = place.lat_deg * DEGREE, place.lon_deg / 360
    top = sin_h - np.sin(phi) * sin_dec
    cos_arc = top / np.maximum(np.cos(phi) * cos_dec, 1e-15)
    never = np.where(cos_arc > 1, NEVER_RISES, np.where(cos_arc < -1, NEVER_SETS, CROSSES)).astype(np.int8)
    arc = np.arccos(np.clip(cos_arc, -1, 1)) / TAU
    hours = 24 * TAU / SIDEREAL_RATE
    rise, fall, azimuth, codes = out
    crosses = never == CROSSES
    up, down = turn - lon_turn - arc, turn - lon_turn + arc
    rise[...] = np.where(crosses, (up - np.floor(up)) * hours, 0)
    fall[...] = np.where(crosses, (down - np.floor(down)) * hours, 0)
    cos_azimuth = (sin_dec - np.sin(phi) * sin_h) / np.maximum(np.cos(phi) * np.sqrt(1 - sin_h**2), 1e-15)
    azimuth[...] = np.where(crosses, np.arccos(np.clip(cos_azimuth, -1, 1)) / DEGREE, 0)
    codes[...] = never


def evening_hours(hips: Sequence[int], places: Sequence[Place], first_day_jd: float, nights: int,
                  altitude_deg: float = 10.0, sun_altitude_deg: float = -12.0) -> Singles:
    """Hours each star stands above an altitude between dusk and local midnight; (places, nights, stars).

    Dusk is the sun's passage of ``sun_altitude_deg`` (-12: end of nautical dusk).  Where it never gets that dark
    before midnight the hours are 0; where the sun stays below all day the evening starts at local noon.
    """
    days = first_day_jd + np.arange(nights, dtype=np.float64)
    ra, dec = _apparent_nights(hips, days)
    table = sun_table(first_day_jd - 1, first_day_jd + nights + 1)
    out = np.zeros((len(places), nights, len(hips)), dtype=np.float32)
    for i, place in enumerate(places):
        noon = days + 0.5 - place.lon_deg / 360
        dusk = sun_reaches(table, place.lat_deg * DEGREE, place.lon_deg * DEGREE, noon, sun_altitude_deg)
        start = np.clip(np.where(dusk == -np.inf, noon, dusk), noon, noon + 0.5)
        out[i] = _overlap(ra, dec, place, altitude_deg, start, noon + 0.5)
    return out


def _overlap(ra: Floats, dec: Floats, place: Place, altitude_deg: float, start: Floats,
             stop: Floats) -> Floats:
    """Hours within [start, stop] (half a day at most) that stars spend above an altitude; (nights, stars)."""
    arc, _ = semi_arc(dec, place.lat_deg * DEGREE, altitude_deg * DEGREE)
    local = (greenwich_sidereal(start) + place.lon_deg * DEGREE)[:, None]
    first = wrap(local - ra)
    length = ((stop - start) * SIDEREAL_RATE)[:, None]
    total = np.zeros_like(first)
    for turn in (0.0, TAU):
        total += np.clip(np.minimum(first + length, turn + arc) - np.maximum(first, turn - arc), 0, None)
    return total / SIDEREAL_RATE * 24
