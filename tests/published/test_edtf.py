"""Dates as EDTF writes them: every example of levels 0 and 1.

Source: Library of Congress, “Extended Date/Time Format (EDTF) Specification”, 4 February 2019 (the open profile of ISO
8601-2:2019); the examples are from memory of that page, and what each means is its own words.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive.timecode import edtf
from archive.timecode.edtf import AFTER_ALL, BEFORE_ALL, Days

LEVEL_0 = [
    ("1985-04-12", 1985_04_12, 1985_04_12),
    ("1985-04", 1985_04_01, 1985_04_30),
    ("1985", 1985_01_01, 1985_12_31),
    ("1985-04-12T23:20:30", 1985_04_12, 1985_04_12),
    ("1985-04-12T23:20:30Z", 1985_04_12, 1985_04_12),
    ("1985-04-12T23:20:30-04", 1985_04_12, 1985_04_12),
    ("1985-04-12T23:20:30+04:30", 1985_04_12, 1985_04_12),
    ("1964/2008", 1964_01_01, 2008_12_31),
    ("2004-06/2006-08", 2004_06_01, 2006_08_31),
    ("2004-02-01/2005-02-08", 2004_02_01, 2005_02_08),
    ("2004-02-01/2005-02", 2004_02_01, 2005_02_28),
    ("2004-02-01/2005", 2004_02_01, 2005_12_31),
    ("2005/2006-02", 2005_01_01, 2006_02_28),
]
LEVEL_1 = [
    ("Y170000002", 170000002_01_01, 170000002_12_31),
    ("Y-170000002", -170000002 * 10_000 + 101, -170000002 * 10_000 + 1231),
    ("2001-21", 2001_03_01, 2001_05_31),
    ("2001-22", 2001_06_01, 2001_08_31),
    ("2001-23", 2001_09_01, 2001_11_30),
    ("2001-24", 2001_12_01, 2002_02_28),
    ("1984?", 1984_01_01, 1984_12_31),
    ("2004-06~", 2004_06_01, 2004_06_30),
    ("2004-06-11%", 2004_06_11, 2004_06_11),
    ("201X", 2010_01_01, 2019_12_31),
    ("20XX", 2000_01_01, 2099_12_31),
    ("2004-XX", 2004_01_01, 2004_12_31),
    ("1985-04-XX", 1985_04_01, 1985_04_30),
    ("1985-XX-XX", 1985_01_01, 1985_12_31),
    ("1985-04-12/..", 1985_04_12, AFTER_ALL),
    ("1985-04/..", 1985_04_01, AFTER_ALL),
    ("1985/..", 1985_01_01, AFTER_ALL),
    ("../1985-04-12", BEFORE_ALL, 1985_04_12),
    ("../1985-04", BEFORE_ALL, 1985_04_30),
    ("../1985", BEFORE_ALL, 1985_12_31),
    ("1985-04-12/", 1985_04_12, AFTER_ALL),
    ("1985/", 1985_01_01, AFTER_ALL),
    ("/1985-04-12", BEFORE_ALL, 1985_04_12),
    ("/1985", BEFORE_ALL, 1985_12_31),
    ("-1985", -1985 * 10_000 + 101, -1985 * 10_000 + 1231),
]
# Level 2, and things that are no dates at all.
REFUSED = [
    "156X-12-25", "Y-17E7", "1950S2", "[1667,1668, 1670..1672]", "{1960,1961-12}", "2001-34", "?2004-06-~11",
    "1985-13", "1985-02-30", "1900-02-29", "1985-00", "85", "198", "", "/", "..", "../..", "1985/1984", "1/2/3",
    "1985 ~", "last year", "1985-4-1", "19850412", "-0000", "20X5", "Y1985",
]


@pytest.mark.parametrize(("text", "first", "last"), LEVEL_0 + LEVEL_1)
def test_each_example_means_what_the_profile_says(text, first, last):
    found = edtf.read(text)
    assert found is not None
    assert (found.first, found.last) == (first, last)


@pytest.mark.parametrize(
    ("text", "is_uncertain", "is_approximate"),
    [("1984?", True, False), ("2004-06~", False, True), ("2004-06-11%", True, True), ("1984~/2004-06", False, True)],
)
def test_qualifications_are_kept(text, is_uncertain, is_approximate):
    found = edtf.read(text)
    assert found is not None
    assert (found.is_uncertain, found.is_approximate) == (is_uncertain, is_approximate)


@pytest.mark.parametrize("text", REFUSED)
def test_what_is_not_of_level_1_is_refused(text):
    assert edtf.read(text) is None


def test_a_decade_in_plain_words():
    assert edtf.read("1950s") == edtf.read("195X")
    assert edtf.read("1955s") is None


def test_about_is_two_years_wider_when_asked_for():
    """Ours: the profile leaves open how wide “approximate” is."""
    assert edtf.asked("1962~") == Days(1960_01_01, 1964_12_31, True, False)
    assert edtf.asked("1962") == edtf.read("1962")
    assert edtf.asked("1962~/..") == Days(1960_01_01, AFTER_ALL, True, False)


@given(st.text(max_size=30) | st.text("0123456789-X/~?%Y.sTZ:", max_size=24))
def test_anything_is_read_or_refused(text):
    found = edtf.asked(text)
    assert found is None or found.first <= found.last


@given(st.dates())
def test_a_day_is_that_day(day):
    """Python's own calendar (datetime) agrees on which days there are."""
    number = day.year * 10_000 + day.month * 100 + day.day
    assert edtf.read(day.isoformat()) == Days(number, number)
