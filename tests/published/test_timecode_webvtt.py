"""WebVTT files against the parser algorithm of the W3C standard, whose step is named beside each case.

Standard: WebVTT: The Web Video Text Tracks Format, W3C. Sections as in its editor's draft: 4 syntax, 6.1 file
parsing, 6.3 cue timings and settings parsing, 6.4 cue text parsing rules. The cases are written from that text.
"""

import pytest
import webvtt

from archive.timecode.cues import Block
from archive.timecode.readers import read_transcript
from archive.timecode.times import TimecodeError, parse_time
from archive.timecode.webvtt import collect_timings, plain_text

CUE = "00:01.000 --> 00:02.000\nHello"
HELLO = (1_000, 2_000, "", "Hello")


def cues(file: str | bytes) -> list[tuple[int | None, int | None, str, str]]:
    data = file if isinstance(file, bytes) else file.encode()
    return [(cue.start_ms, cue.end_ms, cue.identifier, cue.markup or cue.text)
            for cue in read_transcript(data, "a.vtt").cues]


@pytest.mark.parametrize("file", [
    # 6.1, steps 4 to 6: the signature is WEBVTT at the end of input or before a space, a tab or a line feed.
    "WEBVTT\n\n" + CUE, "WEBVTT \n\n" + CUE, "WEBVTT\t\n\n" + CUE, "WEBVTT some words\n\n" + CUE,
    "WEBVTT\ta --> b\n\n" + CUE,
    # 6.1, first paragraph: "UTF-8 decode" takes a byte order mark away.
    "\ufeffWEBVTT\n\n" + CUE,
    # 6.1, step 1: CRLF and CR are line feeds.
    "WEBVTT\r\n\r\n" + CUE.replace("\n", "\r\n"), "WEBVTT\r\r" + CUE.replace("\n", "\r"), "WEBVTT\r\n\r" + CUE + "\r",
    # 6.1, steps 11 and 12: a header block up to a blank line, or up to an arrow.
    "WEBVTT\nKind: words\nLanguage: qse\n\n" + CUE, "WEBVTT\n" + CUE, "WEBVTT\nwords\n" + CUE,
    "WEBVTT\nSTYLE\n\n" + CUE,
    # 6.1, step 13 and block loop: any number of blank lines.
    "WEBVTT\n\n\n\n\n" + CUE + "\n\n\n", "WEBVTT\n\n" + CUE + "\n",
    # 4.1: comments, style and region blocks are no cues.
    "WEBVTT\n\nNOTE a\nb\n\n" + CUE, "WEBVTT\n\nNOTE\n\n" + CUE, "WEBVTT\n\nNOTE\ta\n\n" + CUE,
    "WEBVTT\n\nSTYLE\n::cue { color: red }\n\n" + CUE, "WEBVTT\n\nSTYLE \t\n::cue {}\n\n" + CUE,
    "WEBVTT\n\nREGION\nid:a width:40%\n\n" + CUE,
    # Collect a WebVTT block: a block without an arrow in its first two lines is no cue, at any length.
    "WEBVTT\n\nid\nwords\nmore\n\n" + CUE,
    # The same, the arrow in its third line: the block ends before it, and a cue begins there.
    "WEBVTT\n\none\ntwo\n" + CUE,
    # The same, step "Collect timings … if that fails, let cue be null": the block is dropped whole.
    "WEBVTT\n\nx --> y\nwords\n\n" + CUE, "WEBVTT\n\nid\n-->\nwords\n\n" + CUE,
    # Two bad timing lines in a row: the second begins a block of its own, and so does a good one behind them.
    "WEBVTT\n\na --> b\nc --> d\n" + CUE,
])
def test_one_cue_is_read(file: str) -> None:
    assert cues(file) == [HELLO]


@pytest.mark.parametrize("file", [
    # 6.1, steps 4 to 6.
    "", "WEB", "WEBVT", "WEBVTTX\n\n" + CUE, "webvtt\n\n" + CUE, " WEBVTT\n\n" + CUE, "\nWEBVTT\n\n" + CUE,
    "\ufeff\ufeffWEBVTT\n\n" + CUE, "WEBVTT-\n\n" + CUE, "WEBVTT\u00a0\n\n" + CUE, "WEBVTT\f\n\n" + CUE,
    "1\n00:00:01,000 --> 00:00:02,000\nHello\n",
])
def test_bad_signature_is_refused(file: str) -> None:
    transcript = read_transcript(file.encode(), "a.vtt")
    assert transcript.cues == []
    assert transcript.refused


@pytest.mark.parametrize("file", ["WEBVTT", "WEBVTT\n", "WEBVTT x", "WEBVTT\n\n", "WEBVTT\nKind: words\n"])
def test_file_without_cues_is_well_read(file: str) -> None:
    """6.1, steps 8 and 10: "The file was successfully processed, but it contains no useful data"."""
    transcript = read_transcript(file.encode(), "a.vtt")
    assert not transcript.refused
    assert transcript.cues == []


@pytest.mark.parametrize(("line", "expected"), [
    # 6.3, collect cue timings and settings; collect a timestamp.
    ("00:01.500 --> 00:02.000", (1_500, 2_000, "")),
    ("00:00:01.500 --> 00:00:02.000", (1_500, 2_000, "")),
    ("1:00:00.000 --> 1:00:01.000", (3_600_000, 3_601_000, "")),       # step 5: hours are any number of digits
    ("123:00:00.000 --> 1234:00:00.000", (442_800_000, 4_442_400_000, "")),
    ("59:59.999 --> 60:00:00.000", (3_599_999, 216_000_000, "")),      # step 7: over 59 means hours
    ("00:01.000-->00:02.000", (1_000, 2_000, "")),                     # whitespace is optional
    (" \t00:01.000\t \f-->\t00:02.000", (1_000, 2_000, "")),           # skip whitespace: ASCII whitespace
    ("00:02.000 --> 00:01.000", (2_000, 1_000, "")),                   # a parser keeps reversed times
    ("00:01.000 --> 00:02.000 align:start line:0", (1_000, 2_000, "align:start line:0")),
    ("00:01.000 --> 00:02.000align:start", (1_000, 2_000, "align:start")),
    ("00:01.000 --> 00:02.000 nonsense", (1_000, 2_000, "nonsense")),  # settings that are none are passed over
    ("00:01.000 --> 00:02.000 --> 00:03.000", (1_000, 2_000, "--> 00:03.000")),
])
def test_timing_lines_are_read(line: str, expected: tuple[int, int, str]) -> None:
    assert collect_timings(line) == expected


@pytest.mark.parametrize("line", [
    # 6.3, collect a timestamp, steps 4 to 17.
    "60:00.000 --> 61:00.000",            # step 7: hours then, and the third field is missing
    "00:60.000 --> 01:00.000", "00:60:00.000 --> 01:00:00.000", "00:00:60.000 --> 00:01:00.000",
    "0:01.000 --> 0:02.000", "1:01.000 --> 1:02.000",     # not two digits: hours, and the third field is missing
    "00:1.000 --> 00:2.000", "00:001.000 --> 00:002.000", "00:00:1.000 --> 00:00:2.000",
    "00:01.00 --> 00:02.00", "00:01.0000 --> 00:02.0000", "00:01. --> 00:02.", "00:01 --> 00:02",
    "00:01,000 --> 00:02,000", ":01.000 --> :02.000", "-00:01.000 --> 00:02.000", "00:01.000 --> -00:02.000",
    "00:00:00:01.000 --> 00:00:00:02.000", "a00:01.000 --> 00:02.000", "00:01.000a --> 00:02.000",
    # 6.3, collect cue timings and settings, steps 6 to 8: exactly -->.
    "00:01.000 -> 00:02.000", "00:01.000 -- > 00:02.000", "00:01.000 - --> 00:02.000", "00:01.000 ---> 00:02.000",
    "00:01.000 -->", "--> 00:02.000", "-->", "00:01.000\u00a0--> 00:02.000", "00:01.000 --> \u00a000:02.000",
    "\u0660\u0660:\u0660\u0661.000 --> 00:02.000",
])
def test_timing_lines_are_refused(line: str) -> None:
    assert collect_timings(line) is None
    transcript = read_transcript(f"WEBVTT\n\n{line}\nlost words\n\n{CUE}\n".encode(), "a.vtt")
    assert [cue.text for cue in transcript.cues] == ["Hello"]
    assert [p.raw for p in transcript.problems if p.severity == "refused"] == [f"{line}\nlost words"]


def test_writer_needs_two_hour_digits() -> None:
    """4.1, WebVTT timestamp: hours are optional, and two digits or more where given. A parser takes one."""
    file = read_transcript(b"WEBVTT\n\n1:00:00.000 --> 1:00:01.000\nx\n", "a.vtt")
    assert file.cues[0].start_ms == 3_600_000
    with pytest.raises(TimecodeError):
        parse_time("1:0:00.000")


@pytest.mark.parametrize(("file", "expected"), [
    # 6.1, collect a block: the line above the timing line is the identifier.
    ("WEBVTT\n\nid 1\n" + CUE, [(1_000, 2_000, "id 1", "Hello")]),
    ("WEBVTT\n\n1\n" + CUE, [(1_000, 2_000, "1", "Hello")]),
    ("WEBVTT\n\nNOTE\n" + CUE, [(1_000, 2_000, "NOTE", "Hello")]),
    ("WEBVTT\n\nSTYLE\n" + CUE, [(1_000, 2_000, "STYLE", "Hello")]),
    # Text runs to a blank line or to an arrow.
    ("WEBVTT\n\n" + CUE + "\nthere\n\nlost", [(1_000, 2_000, "", "Hello\nthere")]),
    ("WEBVTT\n\n" + CUE + "\n" + CUE, [HELLO, HELLO]),
    ("WEBVTT\n\n00:01.000 --> 00:02.000\n" + CUE, [(1_000, 2_000, "", ""), HELLO]),
    ("WEBVTT\n\n00:01.000 --> 00:02.000\n\n" + CUE, [(1_000, 2_000, "", ""), HELLO]),
    ("WEBVTT\n\n00:01.000 --> 00:02.000", [(1_000, 2_000, "", "")]),
    ("WEBVTT\n\n" + CUE + "\n \nyou", [(1_000, 2_000, "", "Hello\n \nyou")]),
    ("WEBVTT\n\n" + CUE + "\nid\n" + CUE, [(1_000, 2_000, "", "Hello\nid"), HELLO]),
    # A style block is one only before the first cue; its arrow ends it.
    ("WEBVTT\n\nSTYLE\n::cue {}\n" + CUE, [HELLO]),
    # An identifier over a failed timing line stays in the dropped block; a good line next to it starts afresh.
    ("WEBVTT\n\nid\nx --> y\n" + CUE, [HELLO]),
    # 6.1, step 1: zero characters become U+FFFD.
    ("WEBVTT\n\ni\0d\n00:01.000 --> 00:02.000\nHel\0lo", [(1_000, 2_000, "i\ufffdd", "Hel\ufffdlo")]),
    # Only LF, CR and CRLF end lines.
    ("WEBVTT\n\n" + CUE + "\u2028\u0085\x0b\x0cx", [(1_000, 2_000, "", "Hello\u2028\u0085\x0b\x0cx")]),
])
def test_blocks(file: str, expected: list[tuple[int, int, str, str]]) -> None:
    assert cues(file) == expected


def test_what_is_no_cue_is_kept() -> None:
    """4.1: the optional blocks of a file. The standard drops them from the cues; an archive keeps them."""
    transcript = read_transcript(
        b"WEBVTT x\nKind: words\n\nREGION\nid:a\n\nSTYLE\n::cue {}\n\nNOTE one\ntwo\n\n"
        b"00:01.000 --> 00:02.000 region:a\nHello\n\nSTYLE\n::late {}\n\nwords without time\n", "a.vtt")
    assert transcript.headers == [
        Block("header", 1, "WEBVTT x\nKind: words"), Block("region", 4, "REGION\nid:a"),
        Block("style", 7, "STYLE\n::cue {}")]
    assert transcript.comments == [Block("comment", 10, "NOTE one\ntwo")]
    assert transcript.cues[0].settings == "region:a"
    assert [(p.line, p.code, p.severity) for p in transcript.problems] == [
        (16, "late-block", "warning"), (19, "no-time", "refused")]


@pytest.mark.parametrize(("markup", "speaker", "text"), [
    # 6.4, cue text parsing rules: start tags, end tags, timestamps and character references.
    ("Hello", "", "Hello"),
    ("<v Maren>Hello", "Maren", "Hello"),
    ("<v Maren>Hello</v>", "Maren", "Hello"),
    ("<v.loud.far Maren Tal>Hello", "Maren Tal", "Hello"),
    ("<v  Maren \n Tal >Hello", "Maren Tal", "Hello"),                # annotations: whitespace is collapsed
    ("<v M&amp;T>Hello", "M&T", "Hello"),
    ("<v>Hello", "", "Hello"),
    ("<i>He</i><b>ll</b><u>o</u>", "", "Hello"),
    ("<c.red>Hel</c>lo", "", "Hello"),
    ("<lang qse>He</lang>llo", "", "Hello"),
    ("He<00:01.500>llo", "", "Hello"),
    ("<ruby>He<rt>he</rt></ruby>", "", "Hehe"),
    ("1 &lt; 2 &gt; 1 &amp; 3", "", "1 < 2 > 1 & 3"),
    ("a&nbsp;b&lrm;c&rlm;d", "", "a\u00a0b\u200ec\u200fd"),
    ("&#65;&#x42;&amp &unknown;", "", "AB& &unknown;"),
    ("</i>Hello", "", "Hello"),
])
def test_cue_text(markup: str, speaker: str, text: str) -> None:
    assert plain_text(markup)[:2] == (speaker, text)


@pytest.mark.parametrize(("markup", "text"), [
    # Ours, where the standard would drop words: what looks like a tag and is none stays.
    ("<laughs> Hello", "<laughs> Hello"), ("1 < 2", "1 < 2"), ("<i unclosed words", "<i unclosed words"),
    ("<v Maren>When? <v Tovi>Now.", "When? Tovi: Now."), ("a <", "a <"), ("&#9999999999;", "&#9999999999;"),
])
def test_cue_text_that_loses_no_words(markup: str, text: str) -> None:
    assert plain_text(markup)[1] == text


@pytest.mark.parametrize("file", [
    "WEBVTT\n\n" + CUE + "\n", "WEBVTT\n\nid\n" + CUE + "\n\n" + CUE + "\n",
    "WEBVTT\n\nNOTE x\n\n" + CUE + " <i>you</i>\nand\n\n01:00:00.000 --> 01:00:01.000 align:end\n<v Maren>Ever\n",
])
def test_ordinary_files_agree_with_another_reader(file: str, tmp_path: object) -> None:
    """webvtt-py (PyPI), an independent reader: same times, identifiers and text."""
    theirs = webvtt.from_string(file)
    ours = read_transcript(file.encode(), "a.vtt").cues
    assert [(c.identifier or "", c.text) for c in theirs] == [(c.identifier, c.text) for c in ours]
    assert [(c.start, c.end) for c in theirs] == [
        (_padded(c.start_ms), _padded(c.end_ms)) for c in ours]


def _padded(ms: int | None) -> str:
    seconds, rest_ms = divmod(ms or 0, 1000)
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}.{rest_ms:03d}"
