"""Times: our own rules, where no standard decides, and round trips. Published values: tests/published."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.timecode.errors import TimecodeError
from archive.timecode.frames import (
    format_smpte,
    frame_at_ms,
    frame_of_label,
    label_of_frame,
    ms_of_frame,
    parse_rate,
)
from archive.timecode.times import (
    Span,
    format_clock,
    format_duration,
    format_fragment,
    format_srt,
    format_vtt,
    parse_clock,
    parse_fragment,
    parse_time,
    parse_time_or_span,
)

ANY_MS = st.integers(min_value=0, max_value=400 * 3_600_000)
RATES = ["23.976", "24", "25", "29.97", "30", "48", "50", "59.94", "60", "119.88", "120"]


@pytest.mark.parametrize(("text", "ms"), [
    ("62:03", 3_723_000),
    ("0:07", 7_000),
    (" 0:07 ", 7_000),
    ("75:00:00", 270_000_000),
    ("0:00.0005", 1),
    ("0:00.0004", 0),
    ("0:59.9999", 60_000),
    ("60:00.000", 3_600_000),
])
def test_clock_times_are_read(text: str, ms: int) -> None:
    """Our rule, no source: a leading field may pass 59; parts of a millisecond are rounded half up."""
    assert parse_time(text) == ms


@pytest.mark.parametrize("text", [
    "", " ", "1:75:00", "1:00:75", "0:75", "-0:07", "−0:07", "PT", "P1M", "P1D", "P1W", "PT1H75M", "PT1.5H2M",
    "PT-1S", "-PT1S", "pt1h", "90", "1.30", "1:5", "1:2:03", "1:02:3", ":07", "0:", "0:07.", "0:07,",
    "l:02:03", "1:02:03:", "noon", "1h2m", "0:07 pm", "١:٠٢", "0:07\n0:08", "0:٠7", "1;02",
    "9" * 5000 + ":00", "0:0x",
])
def test_what_is_no_time_is_refused(text: str) -> None:
    """Our rule, no source: what is not a time, or could be two times, is refused with a way to mend it."""
    with pytest.raises(TimecodeError) as caught:
        parse_time(text)
    assert len(str(caught.value)) < 300
    assert caught.value.reason


def test_message_names_the_text_the_reason_and_the_mending() -> None:
    with pytest.raises(TimecodeError) as caught:
        parse_time("1:75:00")
    assert str(caught.value) == (
        "“1:75:00” cannot be read as a time: only the first field may be more than 59. "
        "Write hours:minutes:seconds, such as 1:02:03.5, or minutes:seconds, such as 0:07.")


@pytest.mark.parametrize("text", ["00:00:03:12", "00:01:00;02"])
def test_label_without_a_rate_is_not_guessed(text: str) -> None:
    with pytest.raises(TimecodeError, match="frame rate"):
        parse_time(text)


@pytest.mark.parametrize(("text", "rate"), [
    ("00:00:03:25", "25"), ("00:00:03;12", "25"), ("00:00:03;12", "30"), ("00:00:03;12", "23.976"),
    ("24:00:00:00", "25"), ("00:60:00:00", "25"), ("00:00:60:00", "25"), ("00:00:00", "25"),
    ("0:0:0:0", "25"),
])
def test_labels_that_do_not_exist_are_refused(text: str, rate: str) -> None:
    with pytest.raises(TimecodeError):
        frame_of_label(text, rate)


@pytest.mark.parametrize("rate", [
    "0", "-25", "", "fast", "29.5", "12.5", "30000/1002", "30/0", "241", "1e3", "nan",
])
def test_rates_not_in_use_are_refused(rate: str) -> None:
    with pytest.raises(TimecodeError, match="frame rate"):
        parse_rate(rate)


@pytest.mark.parametrize("name", ["29.97", "29.970", "30000/1001", 29.97, 30000 / 1001])
def test_names_of_one_rate_agree(name: str | float) -> None:
    assert parse_rate(name).as_integer_ratio() == (30000, 1001)


def test_coarse_names_of_film_rate() -> None:
    assert parse_rate("23.98") == parse_rate("23.976") == parse_rate("24000/1001")


@pytest.mark.parametrize("rate", RATES)
@settings(deadline=None)
@given(frame=st.integers(min_value=0, max_value=23 * 3600 * 24))
def test_frame_to_ms_to_frame_is_the_identity(rate: str, frame: int) -> None:
    assert frame_at_ms(ms_of_frame(frame, rate), rate) == frame


@pytest.mark.parametrize(("rate", "drop"), [*((r, False) for r in RATES), ("29.97", True), ("59.94", True)])
@settings(deadline=None)
@given(frame=st.integers(min_value=0, max_value=23 * 3600 * 24))
def test_frame_to_label_to_frame_is_the_identity(rate: str, drop: bool, frame: int) -> None:
    assert frame_of_label(label_of_frame(frame, rate, drop), rate) == frame


def test_labels_do_not_run_past_a_day_or_before_zero() -> None:
    assert label_of_frame(24 * 3600 * 25 - 1, "25") == "23:59:59:24"
    for frame in (24 * 3600 * 25, -1):
        with pytest.raises(TimecodeError):
            label_of_frame(frame, "25")
    with pytest.raises(TimecodeError):
        format_smpte(-10, "25")
    with pytest.raises(TimecodeError):
        label_of_frame(5, "25", drop=True)


@settings(deadline=None)
@given(ms=ANY_MS)
def test_every_form_reads_back_as_written(ms: int) -> None:
    for form in (format_clock, format_srt, format_vtt, format_duration):
        assert parse_time(form(ms)) == ms


@settings(deadline=None)
@given(start=ANY_MS, length=st.integers(min_value=1, max_value=10**7), open_end=st.booleans())
def test_fragment_reads_back_as_written(start: int, length: int, open_end: bool) -> None:
    span = Span(start, None if open_end else start + length)
    assert parse_fragment(format_fragment(span)) == span
    assert parse_time_or_span("https://senneth.example/r/1" + format_fragment(span)) == span


@settings(deadline=None)
@given(text=st.text(max_size=40))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    for rate in (None, "25"):
        try:
            answer = parse_time_or_span(text, rate)
        except TimecodeError:
            continue
        assert answer == parse_time_or_span(text.strip(), rate)


@pytest.mark.parametrize(("ms", "text"), [
    (0, "0:00"), (7_000, "0:07"), (3_723_500, "1:02:03.5"), (60_010, "1:00.01"),
])
def test_clock_form_is_short(ms: int, text: str) -> None:
    assert format_clock(ms) == text


@pytest.mark.parametrize("form", [format_clock, format_srt, format_vtt, format_duration])
def test_negative_times_are_not_written(form: object) -> None:
    with pytest.raises(TimecodeError):
        form(-1)  # type: ignore[operator]


def test_clock_times_need_no_rate_and_ignore_one() -> None:
    assert parse_time("0:07", "25") == parse_clock("0:07")
