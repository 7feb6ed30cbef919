"""How times, dates, languages and spots are written on pages."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime
from itertools import zip_longest

from django import template
from django.conf.locale import LANG_INFO
from django.template.defaultfilters import date as written_date
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from ..access import policy, wordbook, wording
from ..timecode.times import format_clock

register = template.Library()

EDTF = re.compile(r"(-?\d{4}|\d{3}X|\d{2}XX)(?:-(\d{2})(?:-(\d{2}))?)?([?~%]?)", re.ASCII)


@register.simple_tag
def say(key: str) -> str:
    """What pages say about access, in the community's own words (archive.access.wordbook)."""
    return wordbook.say(key)


@register.filter
def beside(headings: Sequence[object], row: Sequence[object]) -> list[tuple[object, object]]:
    """The cells of a table's row, each behind its heading; None before a cell that has none."""
    return list(zip_longest(headings[: len(row)], row))


@register.filter
def clock(ms: int | None) -> str:
    """Milliseconds as `12:07` or `1:02:03`, whole seconds, rounded down so that a line is never missed."""
    return "" if ms is None else format_clock(ms // 1000 * 1000)


@register.filter
def last_day(moment: datetime) -> str:
    """The last day, by the clock of the home place, of what ends at this moment."""
    return wording.last_day(moment, policy.home_zone())


@register.filter
def lang_attr(tag: str) -> SafeString:
    """` lang="…"` for a BCP 47 tag (HTML, section 3.2.6.1), and nothing for none."""
    return format_html(' lang="{}"', tag) if tag else SafeString("")


@register.filter
def language_name(tag: str) -> str:
    """A language by its name where one is known; a private tag such as `qse-x-senneth` by its last part."""
    known = LANG_INFO.get(tag.lower()) or LANG_INFO.get(tag.split("-")[0].lower(), {})
    if "-x-" in tag or tag.startswith("x-"):
        return tag.rpartition("-")[2].capitalize()
    return _(known["name"]) if "name" in known else tag


@register.filter
def event_date(text: str) -> str:
    """An EDTF date (ISO 8601-2:2019) in words: `1962~` is "about 1962", `196X` "some time in the 1960s"."""
    first, slash, last = text.partition("/")
    if slash:
        return _("from %(first)s to %(last)s") % {"first": _date_words(first), "last": _date_words(last)}
    return _date_words(text)


def _date_words(text: str) -> str:
    match = EDTF.fullmatch(text)
    if match is None:
        return text
    year, month, day, mark = match.groups()
    words = _unspecified(year) if "X" in year else _calendar(year, month, day)
    marks = {"~": _("about %(date)s"), "?": _("%(date)s, not certain"), "%": _("about %(date)s, not certain")}
    return marks[mark] % {"date": words} if mark else words


def _unspecified(year: str) -> str:
    if year.endswith("XX"):
        return _("some time from %(first)s to %(last)s") % {
            "first": year.replace("XX", "00"),
            "last": year.replace("XX", "99"),
        }
    return _("some time in the %(decade)ss") % {"decade": year.replace("X", "0")}


def _calendar(year: str, month: str | None, day: str | None) -> str:
    if month is None or not 1 <= int(year) <= 9999:
        return year if month is None else "-".join(part for part in (year, month, day) if part)
    try:
        moment = date(int(year), int(month), int(day or 1))
    except ValueError:
        return "-".join(part for part in (year, month, day) if part)
    return written_date(moment, "j F Y" if day else "F Y")


@register.filter
def cell_words(cell: tuple[float, float, float, float]) -> str:
    """A cell (south, west, north, east in degrees) in words."""
    south, west, north, east = cell
    return _("somewhere between %(south)s and %(north)s, and between %(west)s and %(east)s") % {
        "south": latitude(south),
        "north": latitude(north),
        "west": longitude(west),
        "east": longitude(east),
    }


@register.filter
def spot_words(at: tuple[float, float]) -> str:
    """A spot (latitude, longitude in degrees, WGS 84) to five decimals, about a metre."""
    return f"{latitude(at[0], 5)}, {longitude(at[1], 5)}"


def latitude(degrees: float, places: int = 2) -> str:
    side = _("%(degrees)s° north") if degrees >= 0 else _("%(degrees)s° south")
    return side % {"degrees": _trimmed(abs(degrees), places)}


def longitude(degrees: float, places: int = 2) -> str:
    side = _("%(degrees)s° east") if degrees >= 0 else _("%(degrees)s° west")
    return side % {"degrees": _trimmed(abs(degrees), places)}


def _trimmed(number: float, places: int) -> str:
    return f"{number:.{places}f}"
