"""The sky in words: years, clock times, directions, phases, and what each body's place is worth."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.utils.translation import pgettext_lazy as said

from ...access import showing
from ...sky import CalendarDate, ChartWords, LikeNight, NearStar, Place, turn_years
from ...sky.tonight import direction_code
from ...sky.vectors import runs

Shown = dict[str, Any]

DIRECTIONS = {
    "north": gettext_lazy("north"),
    "north-east": gettext_lazy("north-east"),
    "east": gettext_lazy("east"),
    "south-east": gettext_lazy("south-east"),
    "south": gettext_lazy("south"),
    "south-west": gettext_lazy("south-west"),
    "west": gettext_lazy("west"),
    "north-west": gettext_lazy("north-west"),
}
POINTS = tuple(DIRECTIONS)
PHASES = {
    "new": gettext_lazy("new moon"),
    "waxing crescent": gettext_lazy("a young moon, a growing crescent"),
    "first quarter": gettext_lazy("half moon, growing"),
    "waxing gibbous": gettext_lazy("more than half, growing"),
    "full": gettext_lazy("full moon"),
    "waning gibbous": gettext_lazy("more than half, shrinking"),
    "last quarter": gettext_lazy("half moon, shrinking"),
    "waning crescent": gettext_lazy("an old moon, a shrinking crescent"),
}
BODIES = {
    "sun": said("in the sky", "Sun"),
    "moon": said("in the sky", "Moon"),
    "mercury": said("in the sky", "Mercury"),
    "venus": said("in the sky", "Venus"),
    "mars": said("in the sky", "Mars"),
    "jupiter": said("in the sky", "Jupiter"),
    "saturn": said("in the sky", "Saturn"),
}
TURNS = {
    "june solstice": gettext_lazy("June solstice"),
    "december solstice": gettext_lazy("December solstice"),
    "march equinox": gettext_lazy("March equinox"),
    "september equinox": gettext_lazy("September equinox"),
    "furthest north": gettext_lazy("furthest north in the year"),
    "furthest south": gettext_lazy("furthest south in the year"),
    "major north": gettext_lazy("major standstill, north"),
    "major south": gettext_lazy("major standstill, south"),
    "minor north": gettext_lazy("minor standstill, north"),
    "minor south": gettext_lazy("minor standstill, south"),
}
MONTHS = tuple(date(2001, month, 1) for month in range(1, 13))


# --- years and dates ---


def year(number: int) -> str:
    """An astronomical year as people write it: there is no year 0, so 0 is 1 BCE and -2800 is 2801 BCE."""
    return _("%(year)d CE") % {"year": number} if number > 0 else _("%(year)d BCE") % {"year": 1 - number}


def day(one: date) -> str:
    return date_format(one, "j F Y")


def calendar_day(day: CalendarDate) -> str:
    """A day of any year, with the calendar it is in where that is not today's."""
    month = date_format(MONTHS[day.month - 1], "F")
    words = _("%(day)d %(month)s %(year)s") % {"day": day.day, "month": month, "year": year(day.year)}
    return _("%(words)s (Julian calendar)") % {"words": words} if day.calendar == "julian" else words


def since_solstice(night: LikeNight) -> str:
    if night.days_since == 0:
        return _("the night of the June solstice") if night.solstice == "june" else _(
            "the night of the December solstice")
    return days_after_solstice(night.solstice, night.days_since)


def days_after_solstice(solstice: str, days: int) -> str:
    """By the June solstice where its name begins so, else by the December one."""
    words = (
        ngettext("%(days)d day after the June solstice", "%(days)d days after the June solstice", days)
        if solstice.startswith("june")
        else ngettext("%(days)d day after the December solstice", "%(days)d days after the December solstice", days)
    )
    return words % {"days": days}


def month_runs(months: Sequence[int]) -> list[list[int]]:
    """Months (1 to 12) that follow one another, together; one that meets the year's end goes on at its beginning."""
    held = [list(range(first + 1, last + 1)) for first, last in runs(np.isin(np.arange(1, 13), months))]
    if len(held) > 1 and held[0][0] == 1 and held[-1][-1] == 12:
        held[0] = held.pop() + held[0]
    return held


# --- clock times ---


def zone() -> ZoneInfo:
    return ZoneInfo(showing.house().time_zone)


def moment(jd_ut: float) -> datetime:
    """An instant by the clock at the home place; only for years that a clock knows (1 to 9999)."""
    return (datetime(2000, 1, 1, 12, tzinfo=UTC) + timedelta(days=jd_ut - 2451545.0)).astimezone(zone())


def clock(jd_ut: float) -> str:
    """Hours and minutes by the clock at the home place, to the nearest minute."""
    return (moment(jd_ut) + timedelta(seconds=30)).strftime("%H:%M")


def hour(hours: float) -> str:
    minutes = round(hours * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def number(value: float, places: int = 0) -> str:
    """With a true minus sign, and never minus nothing."""
    text = f"{value:.{places}f}"
    return text.removeprefix("-") if not text.strip("-0.") else text.replace("-", "−")


def direction(azimuth_deg: float) -> str:
    """Which of the eight ways is nearest, from north through east."""
    return str(DIRECTIONS[direction_code(azimuth_deg)])


def place(one: Place) -> str:
    """A place by its name where it is the home place, else by its degrees."""
    held = showing.house()
    where = _("%(latitude)s°, %(longitude)s°") % {
        "latitude": number(one.lat_deg, 2), "longitude": number(one.lon_deg, 2)}
    is_home = abs(one.lat_deg - held.latitude_deg) < 0.01 and abs(one.lon_deg - held.longitude_deg) < 0.01
    if not (is_home and held.home_name):
        return where
    return _("%(name)s (%(where)s)") % {"name": held.home_name, "where": where}


# --- the pole, and how good the places are ---


def pole_star(year_number: int, near: NearStar, south: bool) -> str:
    """The star nearest to the pole in words, with how well it marks it."""
    given = {"year": year(year_number), "star": near.name, "degrees": number(near.separation_deg, 1)}
    if near.separation_deg < 1.5:
        words = (
            _("In %(year)s %(star)s is the pole star of the south, %(degrees)s° from the pole.") if south
            else _("In %(year)s %(star)s is the pole star, %(degrees)s° from the pole.")
        )
    elif near.separation_deg < 6:
        words = _("In %(year)s %(star)s stands nearest to the pole, %(degrees)s° away, and turns in a small ring.")
    else:
        words = _("In %(year)s no bright star marks the pole; the nearest, %(star)s, is %(degrees)s° away.")
    return words % given


def whole_turn(year_number: int) -> str:
    """How long the pole takes to go round, told to the decade."""
    years = round(turn_years(year_number), -1)
    return _("At the pace of %(year)s the pole would go round in %(years)s years; its path does not close.") % {
        "year": year(year_number), "years": f"{years:,.0f}"}


def how_good() -> list[list[Shown]]:
    """Rows of what each body's place is worth: against published places 1900 to 2050, and further away."""
    rows = (
        (_("Stars"), _("1″"), _("0.01° at the ends (10,000 years)")),
        (BODIES["sun"], _("0.02″"), _("11″ to −3000 and 3000, 3′ at the ends")),
        (BODIES["moon"], _("3″ as a rule, 14″ at most"), _("3.5′")),
        (BODIES["mercury"], _("2″"), _("15″")),
        (BODIES["venus"], _("11″"), _("40″")),
        (BODIES["mars"], _("27″"), _("80″")),
        (BODIES["jupiter"], _("11″"), _("3′")),
        (BODIES["saturn"], _("43″"), _("2.6′")),
    )
    return [[{"value": str(cell)} for cell in row] for row in rows]


def chart_words() -> ChartWords:
    return ChartWords(
        north=_("N"),
        east=_("E"),
        south=_("S"),
        west=_("W"),
        horizon=_("Horizon"),
        milky_way=_("Milky Way"),
        pole_path=_("The pole's path among the stars"),
        title_pole=_("Sky around the celestial pole"),
        title_zenith=_("Whole sky, looking up"),
        looking_up=_("Drawn as seen looking up: with north at the top, east is on the left."),
        figures_up=_("Figures with a star above the horizon:"),
        no_figures_up=_("None of the figures has a star above the horizon."),
        latitude=_("Latitude"),
        longitude=_("longitude"),
        like_night=_("stars of the year"),
        year=year,
        bodies={name: str(words) for name, words in BODIES.items()},
    )
