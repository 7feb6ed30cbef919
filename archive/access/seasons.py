"""Seasons at the home place: whether one is open, and when it next opens or closes.

Every kind answers two questions. `is_open` at a moment; and `edges` near it: moments at which the answer may change,
so that whatever was worked out before one of them is worked out anew after it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from itertools import pairwise
from typing import Protocol
from zoneinfo import ZoneInfo

from ..models import Season, SeasonKind
from . import skyseasons

FIRST_YEAR, LAST_YEAR = 2, 9997


class AnySeason(Protocol):
    def is_open(self, moment: datetime, zone: ZoneInfo) -> bool: ...

    def edges(self, moment: datetime, zone: ZoneInfo) -> list[datetime]: ...


def _years_near(moment: datetime, zone: ZoneInfo) -> list[int]:
    """The year before, this year and the next, as far as the calendar goes."""
    year = moment.astimezone(zone).year
    return [each for each in (year - 1, year, year + 1) if FIRST_YEAR <= each <= LAST_YEAR]


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(), zone)


@dataclass(frozen=True)
class DateSeason:
    """Both days belong to the season. Where `first` comes after `last` it wraps the year's end."""

    first: tuple[int, int]  # month, day
    last: tuple[int, int]

    def is_open(self, moment: datetime, zone: ZoneInfo) -> bool:
        local = moment.astimezone(zone)
        today = (local.month, local.day)
        if self.first <= self.last:
            return self.first <= today <= self.last
        return today >= self.first or today <= self.last

    def edges(self, moment: datetime, zone: ZoneInfo) -> list[datetime]:
        """The openings and closings of the year before, this year and the next."""
        return [
            _midnight(day, zone)
            for year in _years_near(moment, zone)
            for day in (_day(year, self.first), _day_after(year, self.last))
        ]


@dataclass(frozen=True)
class SwitchSeason:
    """Opened and closed by hand: only a new policy version changes the answer."""

    is_on: bool

    def is_open(self, moment: datetime, zone: ZoneInfo) -> bool:
        return self.is_on

    def edges(self, moment: datetime, zone: ZoneInfo) -> list[datetime]:
        return []


@dataclass(frozen=True)
class SkySeason:
    """Whole days by the sky at one spot (archive.access.skyseasons), worked out once a year and kept."""

    rule: str
    stars: tuple[int, ...]
    latitude_deg: float
    longitude_deg: float

    def is_open(self, moment: datetime, zone: ZoneInfo) -> bool:
        return self.holds_on(moment.astimezone(zone).date())

    def holds_on(self, day: date) -> bool:
        return day in self._days(day.year)

    def edges(self, moment: datetime, zone: ZoneInfo) -> list[datetime]:
        """The days on which it turns, and each New Year: the years after the next are only looked at then."""
        found = []
        for year in _years_near(moment, zone):
            found.append(_midnight(date(year, 1, 1), zone))
            found += [_midnight(day, zone) for day in _sky_turns(self, year)]
        return found

    def _days(self, year: int) -> frozenset[date]:
        return skyseasons.days_of(self.rule, self.stars, self.latitude_deg, self.longitude_deg, year)


@lru_cache(maxsize=512)
def _sky_turns(season: SkySeason, year: int) -> tuple[date, ...]:
    """The days of a year on which it is open and the day before was not, or the other way."""
    days = [date(year, 1, 1) + timedelta(days=at) for at in range(-1, (date(year + 1, 1, 1) - date(year, 1, 1)).days)]
    return tuple(
        day for before, day in pairwise(days) if season.holds_on(before) != season.holds_on(day)
    )


def of(row: Season) -> AnySeason:
    """The season as the gate judges by it."""
    if row.kind == SeasonKind.SWITCH:
        return SwitchSeason(row.is_on)
    if row.kind == SeasonKind.SKY:
        return SkySeason(row.sky_rule, tuple(row.stars), row.latitude_deg, row.longitude_deg)
    return DateSeason((row.from_month, row.from_day), (row.to_month, row.to_day))


def next_turn(season: AnySeason, moment: datetime, zone: ZoneInfo) -> datetime | None:
    """The next moment at which time alone opens or closes it; None where none is near."""
    now = season.is_open(moment, zone)
    ahead = sorted(edge for edge in season.edges(moment, zone) if edge > moment)
    return next((edge for edge in ahead if season.is_open(edge, zone) != now), None)


def turns(season: AnySeason, zone: ZoneInfo, first_year: int, count: int) -> list[tuple[date, bool]]:
    """Each day within some years on which it opens (True) or has closed (False: the first day it is closed)."""
    found: dict[date, bool] = {}
    for year in range(first_year, first_year + count):
        middle = datetime(year, 7, 1, tzinfo=zone)
        for edge in season.edges(middle, zone):
            local = edge.astimezone(zone)
            if local.year == year and season.is_open(edge, zone) != season.is_open(edge - timedelta(seconds=1), zone):
                found[local.date()] = season.is_open(edge, zone)
    return sorted(found.items())


def _day(year: int, month_day: tuple[int, int]) -> date:
    """The day itself; 29 February in a common year is 1 March."""
    month, day = month_day
    try:
        return date(year, month, day)
    except ValueError:
        return date(year, 3, 1)


def _day_after(year: int, month_day: tuple[int, int]) -> date:
    month, day = month_day
    try:
        return date(year, month, day) + timedelta(days=1)
    except ValueError:
        return date(year, 3, 1)
