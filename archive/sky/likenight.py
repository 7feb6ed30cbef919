"""The like night of another year: its date, and its distance from the solstice, which needs no calendar.

Over thousands of years dates slip against the seasons (both calendars drift, and the Earth's turning slows by an
amount nobody knows), so that an ancient night is best told as days since the solstice.
"""

from dataclasses import dataclass

import numpy as np

from .bearings import day_of_longitude
from .bodies import solar_longitude
from .times import CalendarDate, calendar_date, check_year, tt_of_ut, year_start
from .vectors import TAU


@dataclass(frozen=True)
class LikeNight:
    """``solstice`` is "june" or "december", whichever was last; ``days_since`` it, in whole days."""

    date: CalendarDate
    solstice: str
    days_since: int


def like_night(jd_ut: float, year: int) -> LikeNight:
    """The day of an astronomical year on which the sun stands where it stands at this instant (UT).

    The sun's place is good to 3 arcminutes at -10000 (``bodies``), a twentieth of a day.
    """
    check_year(year)
    longitude = float(solar_longitude(float(tt_of_ut(jd_ut)))) % TAU
    day = day_of_longitude(year_start(year), longitude)
    is_after_june = TAU / 4 <= longitude < 3 * TAU / 4
    solstice = day_of_longitude(day - 195, TAU / 4 if is_after_june else 3 * TAU / 4)
    return LikeNight(calendar_date(day)[0], "june" if is_after_june else "december", int(np.floor(day - solstice)))
