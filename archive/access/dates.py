"""The days an event date can mean, as numbers that can be compared (EDTF, ISO 8601-2:2019, level 1 as far as taken)."""

from __future__ import annotations

from ..models.tags import EDTF_DATE

Days = tuple[int, int]  # first and last, each year * 10000 + month * 100 + day


def days_of(text: str) -> Days | None:
    """First and last day of a date such as 1962-07-14, 1962-07, 1962~, 196X or 1962/1964; None if it is none.

    A month's last day is taken as 31: the numbers are for comparing, not for counting.
    """
    parts = [_part(part) for part in text.strip().upper().split("/")]
    if len(parts) > 2 or any(part is None for part in parts):
        return None
    known = [part for part in parts if part is not None]
    first, last = known[0][0], known[-1][1]
    return (first, last) if first <= last else None


def _part(text: str) -> Days | None:
    match = EDTF_DATE.fullmatch(text)
    if not match:
        return None
    year, month, day = match.groups()
    first, last = int(year.replace("X", "0")) * 10_000, int(year.replace("X", "9")) * 10_000
    return first + int(month or 1) * 100 + int(day or 1), last + int(month or 12) * 100 + int(day or 31)
