"""Seasons by dates at the home place: whether one is open, and when it next opens or closes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo


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
        year = moment.astimezone(zone).year
        return [
            datetime(day.year, day.month, day.day, tzinfo=zone)
            for each in (year - 1, year, year + 1)
            for day in (_day(each, self.first), _day_after(each, self.last))
        ]


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
