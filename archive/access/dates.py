"""The days an event date can mean, as numbers that can be compared."""

from __future__ import annotations

from ..timecode import edtf

Days = tuple[int, int]  # first and last, each year * 10000 + month * 100 + day


def days_of(text: str) -> Days | None:
    """First and last day of a date such as 1962-07-14, 1962-07, 1962~, 196X or 1962/1964; None if it is none."""
    found = edtf.read(text)
    return (found.first, found.last) if found else None
