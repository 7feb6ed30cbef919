"""Byte ranges against RFC 9110 (HTTP Semantics, June 2022). Each test names the section that asks for it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive.media.ranges import CAP_BYTES, RangePlan, plan_range, strong_etag

ETAG = strong_etag("0f" * 32)


def ask(header: str | None, size: int = 10_000, if_range: str | None = None, cap: int = CAP_BYTES) -> RangePlan:
    return plan_range(header, if_range, ETAG, size, cap)


@pytest.mark.parametrize(
    ("header", "start", "end"),
    [
        ("bytes=0-499", 0, 500),  # "the first 500 bytes"
        ("bytes=500-999", 500, 1_000),  # "the second 500 bytes"
        ("bytes=-500", 9_500, 10_000),  # "the final 500 bytes"
        ("bytes=9500-", 9_500, 10_000),  # "or"
    ],
)
def test_the_examples_of_section_14_1_2(header: str, start: int, end: int) -> None:
    """Section 14.1.2 gives these for a representation of 10000 bytes."""
    plan = ask(header)
    assert (plan.status, plan.start, plan.end) == (206, start, end)
    assert plan.headers["Content-Range"] == f"bytes {start}-{end - 1}/10000"
    assert plan.headers["Content-Length"] == str(end - start)


@pytest.mark.parametrize("header", ["bytes=0-0,-1", "bytes= 0-999, 4500-5499, -1000", "bytes=500-600,601-999"])
def test_several_ranges_are_answered_with_everything(header: str) -> None:
    """Section 14.2: "A server MAY ignore the Range header field." The examples are those of section 14.1.2."""
    assert (ask(header).status, ask(header).end) == (200, 10_000)
    assert "Content-Range" not in ask(header).headers


@pytest.mark.parametrize(("header", "start", "end"), [("bytes=0-0", 0, 1), ("bytes=-1", 9_999, 10_000)])
def test_a_single_byte_is_a_range(header: str, start: int, end: int) -> None:
    """Section 14.1.2: positions are inclusive and count from zero."""
    plan = ask(header)
    assert (plan.status, plan.start, plan.end) == (206, start, end)


@pytest.mark.parametrize("header", ["bytes=9000-20000", "bytes=9000-10000", "bytes=9000-" + "9" * 4_000])
def test_a_last_position_beyond_the_end_means_the_rest(header: str) -> None:
    """Section 14.1.2, also "recipients MUST anticipate potentially large decimal numerals"."""
    plan = ask(header)
    assert (plan.status, plan.start, plan.end) == (206, 9_000, 10_000)


@pytest.mark.parametrize("header", ["bytes=-10000", "bytes=-10001", "bytes=-" + "9" * 4_000])
def test_a_suffix_longer_than_the_file_is_the_file(header: str) -> None:
    """Section 14.1.2: "if the selected representation is shorter ... the entire representation is used"."""
    plan = ask(header)
    assert (plan.status, plan.start, plan.end) == (206, 0, 10_000)


@pytest.mark.parametrize("header", ["bytes=10000-", "bytes=10000-10001", "bytes=-0", "bytes=" + "9" * 4_000 + "-"])
def test_what_lies_outside_is_not_satisfiable(header: str) -> None:
    """Sections 14.1.2 and 15.5.17: 416 with the length, as in "bytes */47022", and without the file's bytes."""
    plan = ask(header)
    assert (plan.status, plan.start, plan.end) == (416, 0, 0)
    assert plan.headers["Content-Range"] == "bytes */10000"
    assert plan.headers["Content-Length"] == "0"


@pytest.mark.parametrize(
    "header",
    [
        "bytes=500-499",  # section 14.1.1: last-pos less than first-pos is invalid
        "bytes=",
        "bytes=-",
        "bytes=--1",
        "bytes=a-b",
        "bytes=0",
        "bytes=0-1-2",
        "bytes=0x0-0x9",
        "bytes=+0-5",
        "bytes=0 -5",
        "bytes=١-٢",  # digits are ASCII digits only: RFC 5234 appendix B.1
        "bytes:0-5",
        "bytes",
        "",
        "0-5",
        "bytes = 0-5",  # no space belongs before the equals sign
        "bytes=0-5;x",
        "bytes=9" + "9" * 5_000 + "-",
    ],
)
def test_a_malformed_or_reversed_range_is_ignored(header: str) -> None:
    """Section 14.2: a server "MAY ignore or reject a Range header field that contains an invalid ranges-specifier"."""
    plan = ask(header)
    assert (plan.status, plan.start, plan.end) == (200, 0, 10_000)
    assert "Content-Range" not in plan.headers


@pytest.mark.parametrize("header", ["seconds=0-5", "byte=0-5", "none=0-5"])
def test_an_unknown_unit_is_ignored(header: str) -> None:
    """Section 14.2: "MUST ignore a Range header field that contains a range unit it does not understand"."""
    assert ask(header).status == 200


@pytest.mark.parametrize("header", ["Bytes=0-5", "BYTES=0-5", " bytes=0-5 ", "bytes= 0-5", "bytes=,0-5, ,"])
def test_case_spaces_and_empty_elements_do_not_matter(header: str) -> None:
    """Section 14.1: unit names are case-insensitive; section 5.6.1.2: empty list elements are to be ignored."""
    plan = ask(header)
    assert (plan.status, plan.start, plan.end) == (206, 0, 6)


def test_no_range_is_everything_and_says_that_ranges_exist() -> None:
    """Section 14.3, Accept-Ranges."""
    plan = ask(None)
    assert (plan.status, plan.start, plan.end) == (200, 0, 10_000)
    assert plan.headers == {"Accept-Ranges": "bytes", "ETag": ETAG, "Content-Length": "10000"}


@pytest.mark.parametrize(("header", "status"), [("bytes=0-", 416), ("bytes=0-0", 416), ("bytes=-5", 200), (None, 200)])
def test_an_empty_file(header: str | None, status: int) -> None:
    """Section 14.1.2: of nothing, only a suffix is satisfiable; its 206 could not be written (section 14.4)."""
    assert ask(header, size=0).status == status


def test_if_range_with_the_same_tag_gives_the_part() -> None:
    """Section 13.1.5."""
    assert ask("bytes=5-9", if_range=ETAG).status == 206


@pytest.mark.parametrize(
    "if_range",
    [
        strong_etag("1f" * 32),
        f"W/{ETAG}",  # "A client MUST NOT generate ... weak"; comparison is strong (section 8.8.3.2)
        ETAG.strip('"'),
        "Wed, 25 Nov 2026 09:00:00 GMT",  # we give no Last-Modified, so no date can match
        "",
        f"{ETAG}, {ETAG}",
        "*",
    ],
)
def test_if_range_with_anything_else_gives_everything(if_range: str) -> None:
    """Section 13.1.5: where the condition is false, "ignore the Range header field"."""
    assert ask("bytes=5-9", if_range=if_range).status == 200
    assert ask("bytes=99999-", if_range=if_range).status == 200


def test_a_part_is_cut_to_the_cap() -> None:
    """Section 15.3.7: a server may send "only a subset of the data requested"; Content-Range tells which."""
    plan = plan_range("bytes=0-", None, ETAG, 5 * CAP_BYTES)
    assert (plan.status, plan.end) == (206, CAP_BYTES) == (206, 1 << 20)
    assert plan.headers["Content-Range"] == f"bytes 0-{CAP_BYTES - 1}/{5 * CAP_BYTES}"
    suffix = plan_range(f"bytes=-{2 * CAP_BYTES}", None, ETAG, 5 * CAP_BYTES)
    assert (suffix.start, suffix.end) == (3 * CAP_BYTES, 4 * CAP_BYTES)


@pytest.mark.parametrize("etag", ["abc", 'W/"abc"', '"a"b"', '"a b\n"'])
def test_a_weak_or_malformed_tag_of_our_own_is_a_mistake(etag: str) -> None:
    """Section 8.8.3: the grammar of an entity tag; parts may be combined only under a strong one."""
    with pytest.raises(ValueError, match="strong"):
        plan_range(None, None, etag, 10)


@given(size=st.integers(0, 5_000), first=st.integers(0, 6_000), length=st.integers(0, 6_000), cap=st.integers(1, 999))
def test_a_player_that_follows_content_range_gets_every_byte(size: int, first: int, length: int, cap: int) -> None:
    """Section 15.3.7.3, combining parts: ask on from where the last answer ended until the end is there."""
    data = bytes(i % 251 for i in range(size))
    got, at = b"", first
    while (
        plan := plan_range(f"bytes={at}-{first + length}", ETAG, ETAG, size, cap)
    ).status == 206 and at <= plan.start:
        assert 0 < plan.end - plan.start <= cap
        got += data[plan.start : plan.end]
        at = plan.end
        if at > first + length:
            break
    assert got == data[first : first + length + 1]


@given(
    header=st.one_of(st.none(), st.text(max_size=40), st.from_regex(r"bytes=[0-9,\- ]{0,12}", fullmatch=True)),
    if_range=st.one_of(st.none(), st.just(ETAG), st.text(max_size=10)),
    size=st.integers(0, 3_000_000),
)
def test_no_header_can_lead_outside_the_file(header: str | None, if_range: str | None, size: int) -> None:
    """Whatever comes, the answer is one of three, inside the file, and its headers agree with it."""
    plan = plan_range(header, if_range, ETAG, size)
    assert plan.status in (200, 206, 416)
    assert 0 <= plan.start <= plan.end <= size
    assert plan.headers["Content-Length"] == str(plan.end - plan.start)
    assert ("Content-Range" in plan.headers) == (plan.status != 200)
    if plan.status == 206:
        assert 0 < plan.end - plan.start <= CAP_BYTES
    if plan.status == 200:
        assert (plan.start, plan.end) == (0, size)
