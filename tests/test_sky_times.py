"""Calendars, parsing, delta T."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive.sky import SkyError, calendar_date, format_date, format_time, local_moment, parse_date, parse_time
from archive.sky.times import delta_t, jd_of_epoch, julian_day, tt_of_ut, ut1_of_utc


@given(st.floats(min_value=-1.9e6, max_value=5.3e6))
def test_written_times_read_back(jd: float) -> None:
    # to the second that is written; a Julian date resolves 0.05 ms
    assert abs(parse_time(format_time(jd)) - jd) * 86400 < 0.51


@given(st.integers(min_value=-1931000, max_value=5373000))
def test_days_follow_one_another(day: int) -> None:
    date, part = calendar_date(day + 0.5)
    assert part == 0.0
    assert julian_day(date.year, date.month, date.day) == day + 0.5
    assert date.calendar == ("gregorian" if day + 0.5 >= 2299160.5 else "julian")


def test_change_of_calendar() -> None:
    # the papal bull Inter gravissimas: 4 October 1582 was followed by 15 October
    assert format_date(parse_date("1582-10-15") - 1) == "1582-10-04"
    with pytest.raises(SkyError, match="There is no day"):
        parse_date("1582-10-10")


def test_year_zero_is_a_leap_year_and_sorts_between() -> None:
    # astronomical years: 1 BC is 0; every fourth Julian year is a leap year
    assert format_date(parse_date("0000-02-29") + 1) == "0000-03-01"
    assert parse_date("0001-01-01") - parse_date("-0001-01-01") == 366 + 365


@pytest.mark.parametrize(("text", "same"), [
    ("2025-06-21T22:30:00Z", "2025-06-21T22:30"), ("2025-06-21T22:30:00+02:00", "2025-06-21T20:30:00Z"),
    ("2025-06-21 24:00", "2025-06-22"), ("-2800-07-19T00:00:00Z", "-2800-7-19"), ("+10000-01-01", "10000-01-01")])
def test_ways_to_write_a_time(text: str, same: str) -> None:
    assert parse_time(text) == pytest.approx(parse_time(same), abs=1e-9)


@pytest.mark.parametrize("text", ["", "yesterday", "2025-13-01", "2025-02-30", "2025-06-21T25:00", "10001-01-01",
                                  "2025-06-21T22:61", "99999999-01-01", "2025-06-21T22:30:00+99:99:99", "٢٠٢٥-٠٦"])
def test_bad_times_are_refused_in_words(text: str) -> None:
    with pytest.raises(SkyError):
        parse_time(text)


def test_a_day_is_not_a_time() -> None:
    with pytest.raises(SkyError, match="a day only"):
        parse_date("2025-06-21T00:00")


def test_rounding_up_to_the_next_day() -> None:
    assert format_time(parse_time("2024-12-31T23:59:59.8Z")) == "2025-01-01T00:00:00Z"


@pytest.mark.parametrize(("year", "seconds", "within"), [
    (-500, 17190, 150), (0, 10580, 50), (1000, 1574, 10), (1500, 198, 5), (1700, 9, 1), (1800, 14, 1),
    (1900, -3, 1), (1950, 29, 1)])
def test_delta_t_table(year: int, seconds: float, within: float) -> None:
    # Espenak & Meeus (2006), their table of delta T from historical values
    assert float(delta_t(jd_of_epoch(year))) == pytest.approx(seconds, abs=within)


def test_delta_t_has_no_steps() -> None:
    # pieces meet within 1 s outside the leap seconds (1972 on); a wrong coefficient would tear them
    years = np.concatenate([np.arange(-500.5, 1971.5, 0.25), np.arange(2018, 2200, 0.25)])
    before, after = delta_t(jd_of_epoch(years)), delta_t(jd_of_epoch(years + 0.01))
    assert float(np.abs(after - before).max()) < 1.5


def test_leap_seconds() -> None:
    # IERS Bulletin C: TAI-UTC 36 until 2016-12-31, 37 from 2017-01-01
    day = parse_date("2017-01-01")
    assert float(tt_of_ut(day - 0.001) - (day - 0.001)) * 86400 == pytest.approx(68.184, abs=1e-3)
    assert float(tt_of_ut(day + 0.001) - (day + 0.001)) * 86400 == pytest.approx(69.184, abs=1e-3)


def test_ut1_stays_within_a_second_of_utc() -> None:
    # ITU-R TF.460: leap seconds keep UT1-UTC below 0.9 s; the half-year table adds 0.03
    jd = np.arange(parse_date("1972-01-01"), parse_date("2040-01-01"), 7.0)
    assert float(np.abs(ut1_of_utc(jd) - jd).max()) * 86400 < 0.93


def test_local_moment() -> None:
    assert local_moment("2025-06-21", 22.5, -2.5) == pytest.approx(parse_time("2025-06-22T01:00:00Z"))
    with pytest.raises(SkyError, match="hour"):
        local_moment("2025-06-21", 25, 0)
    with pytest.raises(SkyError, match="UTC"):
        local_moment("2025-06-21", 2, 30)
