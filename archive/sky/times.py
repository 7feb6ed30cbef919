"""Calendars and time scales.

Dates are Julian calendar before 1582-10-15 and Gregorian from that day on, with astronomical years (year 0
exists and is 1 BC; -1 is 2 BC).  Instants are Julian dates as plain floats, which resolves 0.05 ms.

Universal time: from 1972 the time given is UTC, and UT1, which turns with the Earth, is found from the observed
difference until mid-2026; afterwards the two are taken as one.  Before 1972 the time given is UT1.
"""

import re
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from erfa import ufunc

from .errors import SkyError
from .vectors import Floats, Number, as_floats

J2000 = 2451545.0
FIRST_YEAR, LAST_YEAR = -10000, 10000
_LAST_LEAP_OFFSET_S = 69.184

_TIME = re.compile(
    r"(?P<year>[+-]?\d{1,6})-(?P<month>\d{1,2})-(?P<day>\d{1,2})"
    r"(?:[T ](?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2}(?:\.\d+)?))?"
    r"\s*(?P<zone>Z|UTC|[+-]\d{2}:?\d{2})?)?")


@dataclass(frozen=True)
class CalendarDate:
    """A day in the calendar in force then; ``calendar`` is "julian" or "gregorian"."""

    year: int
    month: int
    day: int
    calendar: str

    def __str__(self) -> str:
        """ISO 8601 with at least four digits of year: 2025-01-31, -2800-07-19, 0000-03-01."""
        sign = "-" if self.year < 0 else ("+" if self.year > 9999 else "")
        return f"{sign}{abs(self.year):04d}-{self.month:02d}-{self.day:02d}"


def check_year(year: float, reach: int = LAST_YEAR) -> float:
    """The year itself, or a SkyError outside -reach..+reach (or not a number)."""
    if not -reach <= year <= reach:
        raise SkyError(f"The year {year:g} is outside {-reach} to +{reach}. Ask for one inside that range.")
    return float(year)


def julian_day(year: int, month: int, day: float) -> float:
    """Julian date of a calendar day with fraction (Meeus, Astronomical Algorithms, chapter 7).

    Julian calendar before 1582-10-15.  Works for negative years, since floor division is used throughout.
    """
    y, m = (year - 1, month + 12) if month <= 2 else (year, month)
    century = y // 100
    gregorian = (year, month, day) >= (1582, 10, 15)
    shift = 2 - century + century // 4 if gregorian else 0
    return float((1461 * (y + 4716)) // 4 + (306001 * (m + 1)) // 10000 + day + shift - 1524.5)


def calendar_date(jd: float) -> tuple[CalendarDate, float]:
    """Calendar day and fraction of the day since 0h of a Julian date (inverse of ``julian_day``)."""
    whole = int(np.floor(jd + 0.5))
    fraction = jd + 0.5 - whole
    gregorian = whole >= 2299161
    a = whole
    if gregorian:
        alpha = (4 * whole - 7468865) // 146097
        a = whole + 1 + alpha - alpha // 4
    b = a + 1524
    c = (20 * b - 2442) // 7305
    d = (1461 * c) // 4
    e = ((b - d) * 10000) // 306001
    month = e - 1 if e < 14 else e - 13
    year = c - 4716 if month > 2 else c - 4715
    day = b - d - (306001 * e) // 10000
    return CalendarDate(year, month, day, "gregorian" if gregorian else "julian"), fraction


def _check_day(year: int, month: int, day: int, text: str) -> None:
    jd = julian_day(year, month, day) if 1 <= month <= 12 and 1 <= day <= 31 else None
    found = calendar_date(jd)[0] if jd is not None else None
    if found is None or (found.year, found.month, found.day) != (year, month, day):
        raise SkyError(f"There is no day {text!r} in the calendar (Julian before 1582-10-15, Gregorian from "
                       "then on). Write year-month-day, like 2025-06-21 or -2800-07-19.")
    check_year(year)


def parse_time(text: str) -> float:
    """Julian date (universal time) of an ISO 8601 time; without a zone it is UTC, a day alone means 0h.

    Accepts years with sign and more than four digits.  Raises SkyError naming what is wrong.
    """
    match = _TIME.fullmatch(text.strip())
    if match is None:
        raise SkyError(f"{text!r} is not a time this can read. Write it like 2025-06-21T22:30:00Z.")
    year, month, day = (int(match[k]) for k in ("year", "month", "day"))
    _check_day(year, month, day, text.strip())
    hour, minute, second = int(match["hour"] or 0), int(match["minute"] or 0), float(match["second"] or 0)
    if hour > 24 or minute > 59 or second >= 61:
        raise SkyError(f"{text!r} has an hour, minute or second that does not exist.")
    clock_days = (hour + minute / 60 + second / 3600) / 24
    return julian_day(year, month, day) + clock_days - _zone_days(match["zone"])


def _zone_days(zone: str | None) -> float:
    if zone in (None, "Z", "UTC"):
        return 0.0
    digits = str(zone)[1:].replace(":", "")
    return (-1 if str(zone)[0] == "-" else 1) * (int(digits[:2]) + int(digits[2:]) / 60) / 24


def parse_date(text: str) -> float:
    """Julian date of 0h on a day written year-month-day."""
    if "T" in text or ":" in text:
        raise SkyError(f"{text!r} should be a day only, like 2025-06-21.")
    return parse_time(text)


def local_moment(date: str, hour: float, utc_offset_hours: float) -> float:
    """Julian date (UT) of an hour (0..24, fractions allowed) on a day, by a clock that far ahead of UTC.

    For a place without a stated offset use its longitude divided by 15: local mean solar time.
    """
    if not 0 <= hour <= 24:
        raise SkyError(f"The hour {hour:g} is not between 0 and 24.")
    if not -16 <= utc_offset_hours <= 16:
        raise SkyError(f"The clock's distance from UTC, {utc_offset_hours:g} hours, is not between -16 and 16.")
    return parse_date(date) + (hour - utc_offset_hours) / 24


def format_time(jd: float) -> str:
    """ISO 8601 UTC to the nearest second, like 2025-06-21T22:30:05Z."""
    date, fraction = calendar_date(jd)
    seconds = int(fraction * 86400 + 0.5)
    if seconds >= 86400:
        date, seconds = calendar_date(np.floor(jd + 0.5) + 0.5)[0], 0
    return f"{date}T{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}Z"


def format_date(jd: float) -> str:
    """The calendar day (ISO form) that holds the instant."""
    return str(calendar_date(jd)[0])


def year_start(year: int) -> float:
    """Julian date of 1 January, 0h, of an astronomical year."""
    check_year(year)
    return julian_day(year, 1, 1)


def epoch_of_jd(jd_tt: Number) -> Floats:
    """Julian epoch (2000.0 = JD 2451545.0), a year with fraction."""
    return 2000.0 + (as_floats(jd_tt) - J2000) / 365.25


def jd_of_epoch(year: Number) -> Floats:
    """Julian date of a Julian epoch."""
    return J2000 + (as_floats(year) - 2000.0) * 365.25


_ERAS = (-500, 500, 1600, 1700, 1800, 1860, 1900, 1920, 1941, 1961, 1972)
_CUBIC = {  # first year of the span: (origin, scale, coefficients from the constant term up)
    -500: (0, 100, (10583.6, -1014.41, 33.78311, -5.952053, -0.1798452, 0.022174192, 0.0090316521)),
    500: (1000, 100, (1574.2, -556.01, 71.23472, 0.319781, -0.8503463, -0.005050998, 0.0083572073)),
    1600: (1600, 1, (120, -0.9808, -0.01532, 1 / 7129)),
    1700: (1700, 1, (8.83, 0.1603, -0.0059285, 0.00013336, -1 / 1174000)),
    1800: (1800, 1, (13.72, -0.332447, 0.0068612, 0.0041116, -0.00037436, 0.0000121272, -0.0000001699,
                     0.000000000875)),
    1860: (1860, 1, (7.62, 0.5737, -0.251754, 0.01680668, -0.0004473624, 1 / 233174)),
    1900: (1900, 1, (-2.79, 1.494119, -0.0598939, 0.0061966, -0.000197)),
    1920: (1920, 1, (21.20, 0.84493, -0.076100, 0.0020936)),
    1941: (1950, 1, (29.07, 0.407, -1 / 233, 1 / 2547)),
    1961: (1975, 1, (45.45, 1.067, -1 / 260, -1 / 718)),
}


def delta_t(jd_ut: Number) -> Floats:
    """TT - UT1 in seconds (from 1972: TT - UTC).

    Before -500 and after 2150: -20 + 32 u**2 with u in centuries from 1820; -500 to 1972: the polynomials of
    Espenak & Meeus, "Five Millennium Canon of Solar Eclipses" (NASA/TP-2006-214141; written from memory,
    tested against tabulated values); 1972 to 2017: 32.184 s plus the leap seconds; held at 69.184 s until
    2050 and then carried in a straight line to the parabola in 2150.  True uncertainty: seconds after 1700,
    minutes at 0, an hour at -2000, days at -10000.
    """
    jd = as_floats(jd_ut)
    year = epoch_of_jd(jd)
    out = -20 + 32 * ((year - 1820) / 100) ** 2
    for start, stop in pairwise(_ERAS):
        inside = (year >= start) & (year < stop)
        if np.any(inside):
            origin, scale, terms = _CUBIC[start]
            out = np.where(inside, np.polynomial.polynomial.polyval((year - origin) / scale, terms), out)
    if np.any((year >= 1972) & (year < 2150)):
        out = np.where((year >= 1972) & (year < 2050), _leap_offset(jd), out)
        slope = (-20 + 32 * 3.3**2 - _LAST_LEAP_OFFSET_S) / 100
        out = np.where((year >= 2050) & (year < 2150), _LAST_LEAP_OFFSET_S + slope * (year - 2050), out)
    return as_floats(out)


_LEAP_YEARS = np.array([
    (1972, 1, 10), (1972, 7, 11), (1973, 1, 12), (1974, 1, 13), (1975, 1, 14), (1976, 1, 15), (1977, 1, 16),
    (1978, 1, 17), (1979, 1, 18), (1980, 1, 19), (1981, 7, 20), (1982, 7, 21), (1983, 7, 22), (1985, 7, 23),
    (1988, 1, 24), (1990, 1, 25), (1991, 1, 26), (1992, 7, 27), (1993, 7, 28), (1994, 7, 29), (1996, 1, 30),
    (1997, 7, 31), (1999, 1, 32), (2006, 1, 33), (2009, 1, 34), (2012, 7, 35), (2015, 7, 36), (2017, 1, 37)])
_LEAP_JD = np.array([julian_day(int(y), int(m), 1) for y, m, _ in _LEAP_YEARS])


def _leap_offset(jd: Floats) -> Floats:
    """TT - UTC from the IERS leap seconds (Bulletin C; the last one so far is 2017-01-01)."""
    step = np.clip(np.searchsorted(_LEAP_JD, jd, side="right") - 1, 0, None)
    return as_floats(32.184 + _LEAP_YEARS[step, 2])


_OBSERVED_DELTA_T_S = np.array([
    42.23, 42.82, 43.37, 43.96, 44.48, 45.00, 45.48, 45.98, 46.46, 47.00, 47.52, 48.03, 48.53, 49.10,
    49.59, 50.10, 50.54, 50.98, 51.38, 51.81, 52.17, 52.57, 52.96, 53.43, 53.79, 54.09, 54.34, 54.64,
    54.87, 55.11, 55.32, 55.58, 55.82, 56.09, 56.30, 56.57, 56.86, 57.22, 57.57, 57.96, 58.31, 58.74,
    59.12, 59.58, 59.98, 60.40, 60.79, 61.25, 61.63, 62.00, 62.30, 62.66, 62.97, 63.28, 63.47, 63.66,
    63.83, 63.98, 64.09, 64.21, 64.30, 64.41, 64.47, 64.55, 64.57, 64.65, 64.69, 64.80, 64.85, 64.99,
    65.15, 65.34, 65.46, 65.63, 65.78, 65.95, 66.07, 66.24, 66.32, 66.47, 66.60, 66.77, 66.91, 67.13,
    67.28, 67.49, 67.64, 67.86, 68.10, 68.40, 68.59, 68.82, 68.97, 69.11, 69.22, 69.36, 69.36, 69.42,
    69.36, 69.35, 69.29, 69.25, 69.20, 69.22, 69.18, 69.19, 69.14, 69.14, 69.11, 69.17])
"""TT - UT1 in seconds at 1972.0, 1972.5, ... 2026.5, from the IERS (Bulletin B; 2026.5 a prediction)."""


def ut1_of_utc(jd_utc: Number) -> Floats:
    """UT1 of UTC, both Julian dates: observed 1972 to mid-2026 (good to 0.03 s), else the same."""
    jd = as_floats(jd_utc)
    half_years = (epoch_of_jd(jd) - 1972.0) * 2
    last = len(_OBSERVED_DELTA_T_S) - 1
    observed = np.interp(half_years, np.arange(last + 1), _OBSERVED_DELTA_T_S)
    inside = (half_years >= 0) & (half_years <= last)
    return as_floats(jd + np.where(inside, _leap_offset(jd) - observed, 0.0) / 86400)


def tt_of_ut(jd_ut: Number) -> Floats:
    """Terrestrial time of universal time, both Julian dates."""
    return as_floats(jd_ut) + delta_t(jd_ut) / 86400


def sidereal_time(jd_ut: Number, jd_tt: Number, equation_of_equinoxes_rad: Number = 0.0) -> Floats:
    """Greenwich sidereal time in radians: IAU 2006 mean time plus the equation of the equinoxes given.

    Far from 2000 the polynomial's error stays below 0.02 degrees to -3000 and grows to a degree or so at
    -10000; there the uncertainty of delta T, days of rotation, makes clock times nominal anyway.
    """
    ut, tt = ut1_of_utc(jd_ut), as_floats(jd_tt)
    whole = np.floor(ut)
    mean: Floats = ufunc.gmst06(whole, ut - whole, np.floor(tt), tt - np.floor(tt))
    return as_floats((mean + equation_of_equinoxes_rad) % (2 * np.pi))
