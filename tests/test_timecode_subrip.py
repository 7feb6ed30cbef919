"""SubRip files that go wrong. SubRip has no standard, so the expected readings are ours, from common practice.

Each case is a file, the cues that must come out of it, and the codes of what must be reported. Several are
inputs on which general SubRip readers lose cues, alter times or invent them without a word.
"""

from typing import NamedTuple

import pytest

from archive.timecode.readers import read_transcript

T1 = "00:00:01,000 --> 00:00:02,000"
T2 = "00:00:03,000 --> 00:00:04,500"
ODD_BREAKS = "a\u2028b\u0085c\x0bd\x0ce\x1cf\x1dg\x1eh"
ONE = (1_000, 2_000, "Hello")
TWO = (3_000, 4_500, "Stars")


class Case(NamedTuple):
    """A file, its cues as (start_ms, end_ms, text), and the codes to be reported."""

    file: str
    cues: list[tuple[int, int, str]]
    codes: set[str] = set()


def one(timing: str) -> str:
    return f"1\n{timing}\nHello\n"


CASES = {
    # Layout
    "usual": Case(f"1\n{T1}\nHello\n\n2\n{T2}\nStars\n", [ONE, TWO]),
    "no newline at the end": Case(f"1\n{T1}\nHello\n\n2\n{T2}\nStars", [ONE, TWO]),
    "many blank lines": Case(f"\n\n\n1\n{T1}\nHello\n\n\n\n2\n{T2}\nStars\n\n\n", [ONE, TWO]),
    "CRLF": Case(f"1\r\n{T1}\r\nHello\r\n\r\n2\r\n{T2}\r\nStars\r\n", [ONE, TWO]),
    "CR alone": Case(f"1\r{T1}\rHello\r\r2\r{T2}\rStars\r", [ONE, TWO]),
    "line ends mixed": Case(f"1\r\n{T1}\nHello\r\r2\n{T2}\r\nStars", [ONE, TWO]),
    "CR CR LF": Case(
        f"1\r\r\n{T1}\r\r\nHello\r\r\n\r\r\n2\r\r\n{T2}\r\r\nStars\r\r\n", [ONE, TWO], {"doubled-line-ends"}),
    "every line double spaced": Case(f"1\n\n{T1}\n\nHello\n\n\n2\n\n{T2}\n\nStars\n\n", [ONE, TWO]),
    "no blank line between": Case(f"1\n{T1}\nHello\n2\n{T2}\nStars\n", [ONE, TWO], {"no-blank-line"}),
    "no blank line, no numbers": Case(f"{T1}\nHello\n{T2}\nStars\n", [ONE, TWO], {"no-blank-line", "no-index"}),
    "blank line inside the text": Case(
        f"1\n{T1}\nHello\n\nthere\n\n2\n{T2}\nStars\n", [(1_000, 2_000, "Hello\n\nthere"), TWO],
        {"blank-line-in-text"}),
    "blank line before the text": Case(f"1\n{T1}\n\nHello\n\n2\n{T2}\nStars\n", [ONE, TWO]),
    "blank line is spaces": Case(f"1\n{T1}\nHello\n  \t\n2\n{T2}\nStars\n", [ONE, TWO]),
    "no-break space is text": Case(f"1\n{T1}\n\u00a0\n\n2\n{T2}\nStars\n", [(1_000, 2_000, "\u00a0"), TWO],
                                   {"empty-text"}),
    "no-break space inside": Case(f"1\n{T1}\nHello\n\u00a0\nyou\n", [(1_000, 2_000, "Hello\n\u00a0\nyou")]),
    "words before the first cue": Case(f"Told at Senneth\n\n1\n{T1}\nHello\n", [ONE], {"before-first-cue"}),
    "byte order mark": Case(f"\ufeff1\n{T1}\nHello\n", [ONE]),
    "byte order mark inside, files joined": Case(f"1\n{T1}\nHello\n\n\ufeff2\n{T2}\nStars\n", [ONE, TWO]),
    # Numbers
    "no numbers": Case(f"{T1}\nHello\n\n{T2}\nStars\n", [ONE, TWO], {"no-index"}),
    "numbers jump": Case(f"1\n{T1}\nHello\n\n7\n{T2}\nStars\n", [ONE, TWO], {"index-order"}),
    "numbers repeat": Case(f"1\n{T1}\nHello\n\n1\n{T2}\nStars\n", [ONE, TWO], {"index-order"}),
    "numbers from 0": Case(f"0\n{T1}\nHello\n\n1\n{T2}\nStars\n", [ONE, TWO]),
    "letters for a number": Case(f"1a\n{T1}\nHello\n\n1b\n{T2}\nStars\n", [ONE, TWO], {"no-index"}),
    "number on the timing line": Case(f"1 {T1}\nHello\n\n2 {T2}\nStars\n", [ONE, TWO], {"index-on-timing-line"}),
    "number with a dot": Case(f"1.\n{T1}\nHello\n\n2.\n{T2}\nStars\n", [ONE, TWO]),
    "text is a number": Case(f"1\n{T1}\n42\n\n2\n{T2}\nStars\n", [(1_000, 2_000, "42"), TWO]),
    "text is a number, no numbers": Case(f"{T1}\n42\n\n{T2}\nStars\n", [(1_000, 2_000, "42"), TWO], {"no-index"}),
    "text ends in a number, no numbers, no blank": Case(
        f"{T1}\nwe were\n42\n{T2}\nStars\n", [(1_000, 2_000, "we were\n42"), TWO], {"no-index", "no-blank-line"}),
    "a very long number": Case("9" * 5_000 + f"\n{T1}\nHello\n", [ONE], {"before-first-cue", "no-index"}),
    # Times read one way only
    "dot for the comma": Case(one("00:00:01.000 --> 00:00:02.000"), [ONE], {"odd-decimal-mark"}),
    "no hours": Case(one("00:01,000 --> 00:02,000"), [ONE], {"no-hours"}),
    "no milliseconds": Case(one("00:00:01 --> 00:00:02"), [ONE], {"no-milliseconds"}),
    "no hours, no milliseconds": Case(one("00:01 --> 00:02"), [ONE], {"no-hours", "no-milliseconds"}),
    "one digit fields": Case(one("0:0:1,000 --> 0:0:2,000"), [ONE]),
    "hundred hours": Case(one("100:00:01,000 --> 100:00:02,000"), [(360_001_000, 360_002_000, "Hello")]),
    "one digit behind the comma": Case(one("00:00:01,5 --> 00:00:02,5"), [(1_500, 2_500, "Hello")], {"odd-fraction"}),
    "four digits behind the comma": Case(
        one("00:00:01,5000 --> 00:00:02,5000"), [(1_500, 2_500, "Hello")], {"odd-fraction"}),
    "seconds over 59": Case(one("00:00:61,000 --> 00:00:75,000"), [(61_000, 75_000, "Hello")], {"over-59"}),
    "minutes over 59": Case(one("00:75:00,000 --> 00:76:00,000"), [(4_500_000, 4_560_000, "Hello")], {"over-59"}),
    "no space at the arrow": Case(one("00:00:01,000-->00:00:02,000"), [ONE]),
    "many spaces": Case(one("  00:00:01,000   -->\t 00:00:02,000  "), [ONE]),
    "spaces inside the times": Case(one("00 : 00 : 01 , 000 --> 00: 00: 02, 000"), [ONE]),
    "short arrow": Case(one("00:00:01,000 -> 00:00:02,000"), [ONE], {"odd-arrow"}),
    "long arrow": Case(one("00:00:01,000 ---> 00:00:02,000"), [ONE], {"odd-arrow"}),
    "drawn arrow": Case(one("00:00:01,000 → 00:00:02,000"), [ONE], {"odd-arrow"}),
    "dash arrow": Case(one("00:00:01,000 –> 00:00:02,000"), [ONE], {"odd-arrow"}),
    "split arrow": Case(one("00:00:01,000 -- > 00:00:02,000"), [ONE], {"odd-arrow"}),
    "escaped arrow": Case(one("00:00:01,000 --&gt; 00:00:02,000"), [ONE], {"odd-arrow"}),
    "settings behind a space": Case(one(T1 + " X1:10 X2:20 Y1:5 Y2:9"), [ONE]),
    "settings behind a tab": Case(one(T1 + "\tX1:10 X2:20 Y1:5 Y2:9"), [ONE]),
    "words on the timing line": Case(
        f"1\n{T1} Hello\nthere\n", [(1_000, 2_000, "Hello\nthere")], {"text-on-timing-line"}),
    # Kept as read and reported
    "end before start": Case(one("00:00:02,000 --> 00:00:01,000"), [(2_000, 1_000, "Hello")], {"reversed"}),
    "end at start": Case(one("00:00:01,000 --> 00:00:01,000"), [(1_000, 1_000, "Hello")], {"zero-length"}),
    "no text": Case(f"1\n{T1}\n\n2\n{T2}\nStars\n", [(1_000, 2_000, ""), TWO], {"empty-text"}),
    "out of order": Case(f"1\n{T2}\nStars\n\n2\n{T1}\nHello\n", [TWO, ONE], {"out-of-order"}),
    "an arrow in the text": Case(
        f"1\n{T1}\nnorth --> west\n\n2\n{T2}\nStars\n", [(1_000, 2_000, "north --> west"), TWO], {"arrow-in-text"}),
    "numbers and an arrow in the text": Case(f"1\n{T1}\n7 --> 8\n", [(1_000, 2_000, "7 --> 8")], {"arrow-in-text"}),
    # Refused with their text
    "letter l for 1": Case(f"1\n00:00:0l,000 --> 00:00:02,000\nx\n\n2\n{T2}\nStars\n", [TWO], {"unreadable-time"}),
    "letter O for 0": Case(f"1\nOO:00:01,000 --> 00:00:02,000\nx\n\n2\n{T2}\nStars\n", [TWO], {"unreadable-time"}),
    "letter in the end": Case(f"1\n00:00:01,000 --> 00:00:02,0O0\nx\n\n2\n{T2}\nStars\n", [TWO], {"unreadable-time"}),
    "negative": Case(f"1\n-00:00:01,000 --> 00:00:02,000\nx\n\n2\n{T2}\nStars\n", [TWO], {"negative-time"}),
    "negative end": Case(f"1\n00:00:01,000 --> -00:00:02,000\nx\n\n2\n{T2}\nStars\n", [TWO], {"negative-time"}),
    "no end": Case(f"1\n00:00:01,000 -->\nx\n\n2\n{T2}\nStars\n", [TWO], {"missing-time"}),
    "no start": Case(f"1\n--> 00:00:02,000\nx\n\n2\n{T2}\nStars\n", [TWO], {"missing-time"}),
    "frames": Case(f"1\n00:00:01:12 --> 00:00:02:10\nx\n\n2\n{T2}\nStars\n", [TWO], {"frames"}),
    "drop-frame labels": Case(f"1\n00:00:01;12 --> 00:00:02;10\nx\n\n2\n{T2}\nStars\n", [TWO], {"frames"}),
    "no colons": Case(f"1\n000001,000 --> 000002,000\nx\n\n2\n{T2}\nStars\n", [TWO], {"unreadable-time"}),
    "digits without end": Case(
        f"1\n{'9' * 5_000} --> 00:00:02,000\nx\n\n2\n{T2}\nStars\n", [TWO], {"unreadable-time"}),
    "only refused": Case(one("00:00:01:12 --> 00:00:02:10"), [], {"frames"}),
    # Text is kept letter for letter
    "tags": Case(f"1\n{T1}\n<i>Hello</i> <font color=\"#fff\">x</font>\n",
                 [(1_000, 2_000, "<i>Hello</i> <font color=\"#fff\">x</font>")]),
    "line separators that are not line ends": Case(
        f"1\n{T1}\n{ODD_BREAKS}\n", [(1_000, 2_000, ODD_BREAKS)]),
    "trailing spaces": Case(f"1\n{T1}\nHello  \n", [(1_000, 2_000, "Hello  ")]),
    "right to left": Case(f"1\n{T1}\nنجوم البحر\n", [(1_000, 2_000, "نجوم البحر")]),
    "composed and not": Case(f"1\n{T1}\n\u00e9 e\u0301 ʔaʻo\n", [(1_000, 2_000, "\u00e9 e\u0301 ʔaʻo")]),
    "a zero character": Case(f"1\n{T1}\nHel\0lo\n", [(1_000, 2_000, "Hel\ufffdlo")], {"lost-letters"}),
}


@pytest.mark.parametrize("name", CASES)
def test_file_is_read_and_reported(name: str) -> None:
    case = CASES[name]
    transcript = read_transcript(case.file.encode(), "told.srt")
    assert [(cue.start_ms, cue.end_ms, cue.text) for cue in transcript.cues] == case.cues
    codes = {problem.code for problem in transcript.problems}
    assert case.codes <= codes
    severe = {problem.code for problem in transcript.problems if problem.severity != "note"}
    assert severe <= case.codes, "nothing else may be reported as more than a note"


def test_refused_cue_is_reported_with_its_lines() -> None:
    file = f"1\n{T1}\nHello\n\n2\n00:00:0l,000 --> 00:00:02,000\nlost\nwords\n\n3\n{T2}\nStars\n"
    problem = next(p for p in read_transcript(file.encode()).problems if p.severity == "refused")
    assert problem.line == 6
    assert (problem.raw_line, problem.raw) == (5, "2\n00:00:0l,000 --> 00:00:02,000\nlost\nwords")
    assert "“00:00:0l,000”" in problem.text
    assert "00:01:02,500" in problem.text


def test_identifier_settings_and_lines_are_kept() -> None:
    file = f"12\n{T1} X1:10 X2:20\nHello\nthere\n\n{T2}\nStars\n"
    first, second = read_transcript(file.encode()).cues
    assert (first.identifier, first.settings, first.line, first.last_line) == ("12", "X1:10 X2:20", 1, 4)
    assert (second.identifier, second.line, second.last_line) == ("", 6, 7)


@pytest.mark.parametrize("file", [
    "", "\n\n", "Hello", "one\ntwo\n", "42", "WEBVT\n\n00:01.000\n", "1\n2\n3\n", "-->", "a --> b",
])
def test_file_that_is_no_subrip_is_refused_whole(file: str) -> None:
    transcript = read_transcript(file.encode(), "told.srt")
    assert transcript.cues == []
    assert transcript.refused


@pytest.mark.parametrize("line", [
    "9" * 100_000, " " * 100_000, "-" * 100_000 + ">", "=" * 100_000, "<" * 100_000, "&" * 100_000,
    "00:" * 33_000, "00:00:01,000 --> " + "9" * 100_000, "9" * 100_000 + " --> 00:00:02,000",
    "00:00:01,000 --> 00:00:02,000 " + "a:" * 50_000, "\u2014" * 100_000, "[" * 100_000, "(0:0" * 25_000,
    "\"" * 100_001, "\t" * 100_000 + "x", "&#" + "9" * 100_000 + ";", "<v " + "a" * 100_000, ": " * 50_000,
])
@pytest.mark.parametrize("name", ["a.srt", "a.vtt", "a.txt", "a.csv", ""])
def test_one_line_of_anything_is_read(line: str, name: str) -> None:
    """Lines on which a careless pattern would take minutes; the suite as a whole would show that."""
    head = {"a.vtt": "WEBVTT\n\n00:01.000 --> 00:02.000\n", "a.csv": "start,end,text\n"}.get(name, f"1\n{T1}\n")
    for file in (line, head + line, head + line + "\n" + line):
        read_transcript(file.encode(), name)
