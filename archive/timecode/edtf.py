"""Dates and spans as they are asked for and written down: EDTF, levels 0 and 1 (ISO 8601-2:2019, clause 4 and annex A).

The Library of Congress keeps the open text of the profile (“Extended Date/Time Format (EDTF) Specification”, 2019),
whose examples are the checks in tests/published. Beside it one form of plain English is read: `1950s`.

What a date may mean is a stretch of days, each a number year * 10000 + month * 100 + day (Gregorian, astronomical
years: 0 is 1 BCE). The numbers are for comparing, not for counting; a month's last day is its real one.
"""

from __future__ import annotations

import re
from calendar import monthrange
from dataclasses import dataclass

# Numbers before and after every day that can be written (a letter-prefixed year has at most nine digits here).
BEFORE_ALL, AFTER_ALL = -(10**14), 10**14
NO_BOUND = ("", "..")

# EDTF level 1 names four seasons of the year and leaves open which months they are; these are the months of
# meteorological seasons (World Meteorological Organization, “Guide to Climatological Practices”, WMO-No. 100), in the
# northern half of the globe. A winter begins in the December of the year that is written.
SEASON_MONTHS = {21: (3, 5), 22: (6, 8), 23: (9, 11), 24: (12, 14)}

YEAR = r"-?\d{4}"
DATE = re.compile(rf"(?P<year>{YEAR})(?:-(?P<month>\d\d)(?:-(?P<day>\d\d))?)?(?P<mark>[?~%]?)", re.ASCII)
UNSPECIFIED = re.compile(
    r"(?:(?P<decade>-?\d{3})X|(?P<century>-?\d{2})XX|(?P<year>-?\d{4})-XX(?P<any_day>-XX)?"
    r"|(?P<of_year>-?\d{4})-(?P<month>\d\d)-XX)(?P<mark>[?~%]?)",
    re.ASCII,
)
LONG_YEAR = re.compile(r"Y(?P<year>-?\d{5,9})", re.ASCII)
DECADE_IN_WORDS = re.compile(r"(?P<decade>\d{3})0s", re.ASCII)
MOMENT = re.compile(r"(\d{4}-\d\d-\d\d)T\d\d:\d\d:\d\d(?:Z|[+-]\d\d(?::\d\d)?)?", re.ASCII)


@dataclass(frozen=True)
class Days:
    """A stretch of days, both ends included. `is_approximate` (~, %) and `is_uncertain` (?, %) as they were written."""

    first: int
    last: int
    is_approximate: bool = False
    is_uncertain: bool = False


def read(text: str) -> Days | None:
    """What a date or an interval may mean; None for what is neither. Never raises."""
    parts = text.strip().split("/")
    if len(parts) == 1:
        return _date(parts[0])
    if len(parts) == 2:
        return _interval(*parts)
    return None


def _interval(start: str, end: str) -> Days | None:
    """From the start's first day to the end's last; `..` is open and nothing is unknown: both bound nothing."""
    if start in NO_BOUND and end in NO_BOUND:
        return None
    first = Days(BEFORE_ALL, BEFORE_ALL) if start in NO_BOUND else _date(start)
    last = Days(AFTER_ALL, AFTER_ALL) if end in NO_BOUND else _date(end)
    if first is None or last is None:
        return None
    is_approximate = first.is_approximate or last.is_approximate
    found = Days(first.first, last.last, is_approximate, first.is_uncertain or last.is_uncertain)
    return found if found.first <= found.last else None


def _date(text: str) -> Days | None:
    text = text.strip()
    moment = MOMENT.fullmatch(text)
    if moment:
        text = moment[1]
    decade = DECADE_IN_WORDS.fullmatch(text)
    if decade:
        text = f"{decade['decade']}X"
    plain = DATE.fullmatch(text)
    if plain:
        return _plain(plain)
    unspecified = UNSPECIFIED.fullmatch(text.upper())
    if unspecified:
        return _unspecified(unspecified)
    long_year = LONG_YEAR.fullmatch(text.upper())
    return _years(int(long_year["year"]), int(long_year["year"]), "") if long_year else None


def _plain(match: re.Match[str]) -> Days | None:
    year, mark = int(match["year"]), match["mark"]
    if match["year"] == "-0000":
        return None
    if match["month"] is None:
        return _years(year, year, mark)
    month = int(match["month"])
    if match["day"] is not None:
        return _one_day(year, month, int(match["day"]), mark)
    if month in SEASON_MONTHS:
        return _months(year, *SEASON_MONTHS[month], mark)
    return _months(year, month, month, mark) if 1 <= month <= 12 else None


def _unspecified(match: re.Match[str]) -> Days | None:
    mark = match["mark"]
    if match["decade"]:
        return _digits_left_open(match["decade"], 10, mark)
    if match["century"]:
        return _digits_left_open(match["century"], 100, mark)
    if match["year"]:
        return _years(int(match["year"]), int(match["year"]), mark)
    month = int(match["month"])
    return _months(int(match["of_year"]), month, month, mark) if 1 <= month <= 12 else None


def _digits_left_open(written: str, width: int, mark: str) -> Days:
    """196X is 1960 to 1969; -196X is -1969 to -1960."""
    nearest = abs(int(written)) * width
    if written.startswith("-"):
        return _years(-(nearest + width - 1), -nearest, mark)
    return _years(nearest, nearest + width - 1, mark)


def _years(first: int, last: int, mark: str) -> Days:
    return _marked(number(first, 1, 1), number(last, 12, 31), mark)


def _months(year: int, first: int, last: int, mark: str) -> Days:
    """Months past the twelfth are those of the next year."""
    end_year, end_month = year + (last - 1) // 12, (last - 1) % 12 + 1
    return _marked(number(year, first, 1), number(end_year, end_month, _month_length(end_year, end_month)), mark)


def _one_day(year: int, month: int, day: int, mark: str) -> Days | None:
    if not (1 <= month <= 12 and 1 <= day <= _month_length(year, month)):
        return None
    return _marked(number(year, month, day), number(year, month, day), mark)


def _month_length(year: int, month: int) -> int:
    """The Gregorian calendar repeats itself every 400 years; `calendar` knows only those from 1 on."""
    return monthrange(year % 400 + 400, month)[1]


def _marked(first: int, last: int, mark: str) -> Days:
    return Days(first, last, mark in ("~", "%"), mark in ("?", "%"))


def number(year: int, month: int, day: int) -> int:
    return year * 10_000 + month * 100 + day


# --- asking ---

ABOUT_YEARS = 2


def asked(text: str) -> Days | None:
    """What a question means by a date: as read, and two years wider on either side where it says “about”.

    How wide “about” is, EDTF leaves open (ISO 8601-2:2019, 4.2.1); two years is ours, and said on the page.
    """
    found = read(text)
    if found is None or not found.is_approximate:
        return found
    wider = ABOUT_YEARS * 10_000
    first = found.first if found.first == BEFORE_ALL else found.first - wider
    last = found.last if found.last == AFTER_ALL else found.last + wider
    return Days(first, last, True, found.is_uncertain)
