"""Times against standards and worked examples. The source is named above each group."""

from fractions import Fraction

import pytest

from archive.timecode.errors import TimecodeError
from archive.timecode.frames import frame_of_label, label_of_frame, ms_of_frame
from archive.timecode.times import Span, parse_fragment, parse_time, parse_time_or_span


@pytest.mark.parametrize(("text", "ms"), [
    # Arithmetic: 1 h 2 min 3.5 s. ISO 8601-1 durations from memory: designators H, M, S behind PT, a decimal
    # dot or comma in the last field only.
    ("1:02:03.5", 3_723_500),
    ("01:02:03,500", 3_723_500),
    ("01:02:03.500", 3_723_500),
    ("PT1H2M3.5S", 3_723_500),
    ("PT1H2M3,5S", 3_723_500),
    ("PT62M3S", 3_723_000),
    ("PT1.5H", 5_400_000),
    ("PT36H", 129_600_000),
    ("PT0S", 0),
])
def test_clock_and_iso_durations(text: str, ms: int) -> None:
    assert parse_time(text) == ms


@pytest.mark.parametrize(("text", "rate", "frame"), [
    # SMPTE ST 12-1 drop-frame rule (from memory): labels ;00 and ;01 are skipped each minute but the tenth.
    # 1799 and 1800 also stand in the tests of the Perl module Time::Timecode.
    ("00:00:59;29", "29.97", 1_799),
    ("00:01:00;02", "29.97", 1_800),
    # Counted frame by frame: ten minutes hold 10·1800 − 9·2 frames; an hour six times that. The PyPI package
    # timecode 1.5.1 gives the same hour (it counts from 1).
    ("00:10:00;00", "29.97", 17_982),
    ("01:00:00;00", "29.97", 107_892),
    # 59.94 skips four labels: 216,000 − 54·4.
    ("01:00:00;00", "59.94", 215_784),
    # Without drop-frame a label second is 24 or 30 frames: plain multiplication.
    ("01:00:00:00", "23.976", 86_400),
    ("01:00:00:00", "29.97", 108_000),
])
def test_smpte_frame_numbers(text: str, rate: str, frame: int) -> None:
    assert frame_of_label(text, rate) == frame
    assert label_of_frame(frame, rate, drop=";" in text) == text


@pytest.mark.parametrize(("text", "rate", "ms"), [
    # Arithmetic: frame number divided by the exact rate (30000/1001, 24000/1001), half up to a millisecond.
    ("00:01:00;02", "29.97", 60_060),
    ("00:10:00;00", "29.97", 599_999),
    ("01:00:00;00", "29.97", 3_599_996),
    ("01:00:00:00", "23.976", 3_603_600),
    ("01:00:00:00", "29.97", 3_603_600),
    ("00:00:03:12", "25", 3_480),
    ("00:00:03:12", "30", 3_400),
    ("00:00:03:12", "23.976", 3_504),
    ("00:00:03:12", "29.97", 3_403),
])
def test_smpte_labels_in_milliseconds(text: str, rate: str, ms: int) -> None:
    assert parse_time(text, rate) == ms


@pytest.mark.parametrize("text", ["00:01:00;00", "00:01:00;01", "00:59:00;01"])
def test_labels_that_drop_frame_skips_do_not_exist(text: str) -> None:
    """SMPTE ST 12-1, drop-frame compensation (from memory)."""
    with pytest.raises(TimecodeError, match="skips"):
        parse_time(text, "29.97")


def test_a_day_of_drop_frame_labels() -> None:
    """Arithmetic: 144 ten-minute blocks of 17,982 frames are 2,589,408, which run 86.4 ms short of a day."""
    last = frame_of_label("23:59:59;29", "29.97")
    assert last + 1 == 2_589_408
    assert 86_400_000 - Fraction(2_589_408 * 1001, 30) == Fraction("86.4")
    assert ms_of_frame(last + 1, "29.97") == 86_400_000 - 86


@pytest.mark.parametrize("rate", ["29.97", "59.94"])
def test_drop_frame_labels_counted_one_by_one(rate: str) -> None:
    """ST 12-1's rule spelt out: list every label of an hour, leave out the skipped ones, number the rest."""
    per_second, skipped = (30, 2) if rate == "29.97" else (60, 4)
    labels = [f"00:{m:02d}:{s:02d};{f:02d}" for m in range(60) for s in range(60) for f in range(per_second)
              if not (s == 0 and f < skipped and m % 10)]
    for frame, label in list(enumerate(labels))[::17] + list(enumerate(labels))[1_790:1_810]:
        assert label_of_frame(frame, rate, drop=True) == label
        assert frame_of_label(label, rate) == frame


@pytest.mark.parametrize(("text", "span"), [
    # W3C Media Fragments URI 1.0, 4.2.1 (npt is the default and may be named) and its user agent test cases
    # (w3.org/2008/WebVideo/Fragments/TC), numbers TC…-UA.
    ("#t=10,20", (10_000, 20_000)),
    ("#t=npt:10,20", (10_000, 20_000)),
    ("#t=10", (10_000, None)),
    ("#t=,20", (0, 20_000)),
    ("#t=0,9.97", (0, 9_970)),                       # TC0004
    ("#t=3,7", (3_000, 7_000)),                      # TC0005
    ("#t=3", (3_000, None)),                         # TC0011
    ("#t=,7", (0, 7_000)),                           # TC0015
    ("#%74=3", (3_000, None)),                       # TC0035
    ("#t=%33", (3_000, None)),                       # TC0036
    ("#t=3%2C7", (3_000, 7_000)),                    # TC0037
    ("#t=%6Ept:3", (3_000, None)),                   # TC0038
    ("#t=npt%3A3", (3_000, None)),                   # TC0039
    ("#&t=3,7&", (3_000, 7_000)),                    # TC0091 in WebKit's copy
    ("#t=0:00:03,0:00:07", (3_000, 7_000)),          # TC0095 in WebKit's copy; RFC 2326, 3.6: hours 1*DIGIT
    ("#t=02:00,121.5", (120_000, 121_500)),          # 4.2.1: two forms may be mixed
    ("#t=3.,7", (3_000, 7_000)),                     # 4.2.1: npt-sec is 1*DIGIT [ "." *DIGIT ]
    # 5.1.1: unknown dimensions are passed over; the last valid occurrence counts.
    ("#track=2&t=3", (3_000, None)),
    ("#t=3&t=7", (7_000, None)),
    ("#t=3&t=banana", (3_000, None)),
])
def test_media_fragments(text: str, span: tuple[int, int | None]) -> None:
    assert parse_fragment(text) == Span(*span)
    assert parse_time_or_span(text) == Span(*span)


@pytest.mark.parametrize("text", [
    # Same test cases: a browser ignores these and plays everything; here they are refused.
    "#t=,",                                          # TC0001
    "#t=3,3", "#t=10,10",                            # TC0002
    "#t=7,3", "#t=20,10",                            # TC0003
    "#t=3,", "#t=10,",                               # TC0012
    "#t=banana", "#t=3,banana", "#t=banana,7",       # TC0027 to TC0029
    "#t='3'", "#t=3-7", "#t=3:7", "#t=3,7,9",        # TC0030 to TC0033
    "#t%3D3",                                        # TC0034
    "#t=1:5",                                        # 4.2.1: npt-mm and npt-ss are 2DIGIT
    "#t=62:03", "#t=00:75",                          # 4.2.1: 0-59
    "#t=-3", "#t=+3", "#t=1e1", "#t=", "#t", "#", "#T=3",
    # smpte: and clock: are not in the basic specification (1.0) but in its advanced companion.
    "#t=smpte:00:00:10:00", "#t=clock:2009-07-26T11:19:01Z", "#t=%FF",
])
def test_invalid_media_fragments(text: str) -> None:
    with pytest.raises(TimecodeError):
        parse_time_or_span(text)
