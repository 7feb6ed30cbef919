"""Readers: encodings, forms, plain text, tables, and what holds for any bytes at all."""

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from archive.timecode.checks import check_against_duration
from archive.timecode.cues import Cue, Problem, Transcript
from archive.timecode.decoding import blank, decode_lines
from archive.timecode.readers import read_transcript

T1 = "00:00:01,000 --> 00:00:02,000"
SRT = f"1\n{T1}\nHéllo ʔaʻo\n\n2\n00:00:03,000 --> 00:00:04,000\nStars\n"


def codes(transcript: Transcript) -> set[str]:
    return {problem.code for problem in transcript.problems}


# Encodings ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("encoded", "encoding", "code"), [
    (SRT.encode(), "utf-8", None),
    (SRT.encode("utf-8-sig"), "utf-8", None),
    (b"\xff\xfe" + SRT.encode("utf-16-le"), "utf-16-le", None),
    (b"\xfe\xff" + SRT.encode("utf-16-be"), "utf-16-be", None),
    (b"\xff\xfe\0\0" + SRT.encode("utf-32-le"), "utf-32-le", None),
    (SRT.encode("utf-16-le"), "utf-16-le", "utf16-without-mark"),
    (SRT.encode("utf-16-be"), "utf-16-be", "utf16-without-mark"),
])
def test_unicode_files_read_alike(encoded: bytes, encoding: str, code: str | None) -> None:
    transcript = read_transcript(encoded, "told.srt")
    assert [cue.text for cue in transcript.cues] == ["Héllo ʔaʻo", "Stars"]
    assert transcript.encoding == encoding
    assert codes(transcript) == ({code} if code else set())


def test_utf16_without_mark_in_another_script() -> None:
    text = f"1\n{T1}\nنجوم البحر وأسماؤها\n\n" * 3
    transcript = read_transcript(text.encode("utf-16-le"), "told.srt")
    assert transcript.encoding == "utf-16-le"
    assert len(transcript.cues) == 3


def test_eight_bit_file_is_guessed_and_said() -> None:
    """Windows-1252 has letters where Latin-1 has controls (0x85 is …), so it is the better guess."""
    transcript = read_transcript(f"1\n{T1}\nHéllo… you\n".encode("cp1252"), "told.srt")
    assert transcript.cues[0].text == "Héllo… you"
    assert [(p.code, p.severity, p.line) for p in transcript.problems] == [("encoding-guessed", "warning", 3)]


@pytest.mark.parametrize(("encoding", "text"), [("cp1250", "Žluť"), ("koi8-r", "звезды"), ("mac_roman", "é…")])
def test_given_encoding_is_used(encoding: str, text: str) -> None:
    transcript = read_transcript(f"1\n{T1}\n{text}\n".encode(encoding), "told.srt", encoding)
    assert transcript.cues[0].text == text
    assert not transcript.problems


@pytest.mark.parametrize("encoding", ["klingon", "hex", "rot13", "idna", "unicode_escape", "undefined", "\0", "é"])
def test_unknown_encoding_is_refused_in_words(encoding: str) -> None:
    transcript = read_transcript(SRT.encode(), "told.srt", encoding)
    assert "encoding-unknown" in codes(transcript)
    assert transcript.refused


def test_byte_order_mark_overrules_a_given_encoding() -> None:
    transcript = read_transcript(SRT.encode("utf-8-sig"), "told.srt", "latin-1")
    assert transcript.cues[0].text == "Héllo ʔaʻo"
    assert codes(transcript) == {"encoding-overruled"}
    for same in ("utf-8", "UTF8", "utf-8-sig"):
        assert not read_transcript(SRT.encode("utf-8-sig"), "told.srt", same).problems


def test_mostly_utf8_keeps_its_letters() -> None:
    text = "1\n" + T1 + "\nʔaʻo ɔ ŋ é ü ē\n"
    transcript = read_transcript(text.encode() + b"\xff\n", "told.srt")
    assert transcript.cues[0].text.startswith("ʔaʻo ɔ ŋ")
    assert {"bytes-replaced", "lost-letters"} <= codes(transcript)


# Forms -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("text", "name", "form"), [
    (SRT, "a.srt", "srt"), (SRT, "", "srt"), (SRT, "a.txt", "srt"), (SRT, "a.vtt", "vtt"),
    ("WEBVTT\n", "a.vtt", "vtt"), ("WEBVTT - x\n", "a.srt", "vtt"), ("WEBVTTX\n", "", "text"),
    ("start,end,text\n", "", "csv"), ("start;end;text\n", "a.csv", "csv"), ("a,b\n", "a.csv", "csv"),
    ("Hello.\n", "", "text"), ("start,end,text\n", "a.txt", "text"),
])
def test_form_is_told_by_content_then_name(text: str, name: str, form: str) -> None:
    assert read_transcript(text.encode(), name).format == form


@pytest.mark.parametrize("data", [
    b"", b"\n \n", b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 4, b"{\\rtf1\\ansi Hello}", b"%PDF-1.7\nstream",
    b"<?xml version='1.0'?><tt/>", b"<html><body>x", b'{"a": 1}', bytes(1000), b"OggS\0\x02\0\0" + bytes(range(200)),
])
def test_what_is_no_transcript_is_refused(data: bytes) -> None:
    transcript = read_transcript(data)
    assert transcript.cues == []
    assert transcript.refused


def test_many_notes_are_told_once() -> None:
    file = "".join(f"{n}\n00:00:{n:02d}.000 --> 00:00:{n:02d}.500\nx\n\n" for n in range(1, 50))
    problems = read_transcript(file.encode(), "a.srt").problems
    assert [(p.line, p.code) for p in problems] == [(2, "odd-decimal-mark")]
    assert "97 more" in problems[0].text


# Plain text --------------------------------------------------------------------------------------------------


def test_plain_lines_without_marks() -> None:
    transcript = read_transcript(b"We sailed at night.\n\nThe star stood low.\n", "told.txt")
    assert transcript.cues == [
        Cue(None, None, "We sailed at night.", line=1, last_line=1),
        Cue(None, None, "The star stood low.", line=3, last_line=3),
    ]


def test_plain_lines_with_marks_and_speakers() -> None:
    text = ("Told at Senneth\n\n[0:07] Maren: We sailed.\nFar out.\n(0:12 - 0:15) Tovi: When?\n"
            "[1:00:00,5] Maren: Ever.\n")
    transcript = read_transcript(text.encode(), "told.txt")
    assert [cue[:4] for cue in transcript.cues] == [
        (7_000, 12_000, "We sailed.\nFar out.", "Maren"),
        (12_000, 15_000, "Tovi: When?", ""),
        (3_600_500, None, "Ever.", "Maren"),
    ]
    assert transcript.headers[0].text == "Told at Senneth"
    assert codes(transcript) == {"end-from-next", "speakers-from-text"}


def test_bare_marks_count_only_when_several() -> None:
    assert read_transcript(b"10:30 we left.\nWe came home.\n", "a.txt").cues[0].start_ms is None
    cues = read_transcript(b"00:10 we left.\nSlowly.\n00:30 - we came home.\n", "a.txt").cues
    assert [(cue.start_ms, cue.text) for cue in cues] == [(10_000, "we left.\nSlowly."), (30_000, "we came home.")]


@pytest.mark.parametrize("mark", ["[1:75:00]", "[00:00:03:12]", "[-0:07]", "[0:7]"])
def test_marks_that_are_no_time_are_refused(mark: str) -> None:
    transcript = read_transcript(f"[0:01] Hello\n{mark} lost\nwords\n".encode(), "a.txt")
    assert [cue.text for cue in transcript.cues] == ["Hello"]
    problem = next(p for p in transcript.problems if p.severity == "refused")
    assert (problem.line, problem.raw) == (2, f"{mark} lost\nwords")


# Tables ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("file", [
    'start,end,speaker,text\n0:01,0:02,Maren,"Stars, many"\n',
    'Start;End;Speaker;Text\n00:00:01,000;00:00:02,000;Maren;"Stars, many"\n',
    "START\tEND\tSPEAKER\tTEXT\nPT1S\tPT2S\tMaren\tStars, many\n",
    'start_ms,end_ms,speaker,text\n1000,2000,Maren,"Stars, many"\n',
    'start (s),end (s),speaker,text\n1,2,Maren,"Stars, many"\n',
    'text,speaker,end,start\n"Stars, many",Maren,2.0,1.0\n',
])
def test_tables_read_alike(file: str) -> None:
    transcript = read_transcript(file.encode(), "told.csv")
    assert [cue[:4] for cue in transcript.cues] == [(1_000, 2_000, "Stars, many", "Maren")]
    assert not transcript.problems


def test_table_rows_that_cannot_be_taken_are_refused() -> None:
    file = 'start,end,text\n1,2,a\n0:0l,0:02,b\n,0:02,c\n"0:01"x,0:02,d\n0:03,0:04,"two\nlines"\n0:05,0:06,"open\n'
    transcript = read_transcript(file.encode(), "told.csv")
    assert [cue.text for cue in transcript.cues] == ["two\nlines"]
    assert (transcript.cues[0].line, transcript.cues[0].last_line) == (6, 7)
    assert [(p.line, p.code) for p in transcript.problems if p.severity == "refused"] == [
        (2, "unreadable-time"), (3, "unreadable-time"), (4, "unreadable-time"), (5, "unreadable-row"),
        (8, "unreadable-row")]


def test_cells_that_are_not_taken_are_said() -> None:
    transcript = read_transcript(b"start,end,text,mood\n0:01,0:02,a,glad\n", "told.csv")
    assert [(p.line, p.code) for p in transcript.problems] == [(2, "more-cells")]
    assert "glad" in transcript.problems[0].text


def test_table_without_columns_is_refused() -> None:
    transcript = read_transcript(b"a,b,c\n1,2,3\n", "told.csv")
    assert codes(transcript) == {"no-columns"}


# The end of the recording ------------------------------------------------------------------------------------


def test_cues_past_the_end_are_refused_and_reversed_ones_reported() -> None:
    file = "".join(f"{n}\n{t}\nx\n\n" for n, t in enumerate([
        "00:00:01,000 --> 00:00:10,000", "00:00:09,000 --> 00:00:10,001", "00:00:10,000 --> 00:00:11,000",
        "00:00:05,000 --> 00:00:04,000", "00:00:20,000 --> 00:00:03,000"], 1))
    transcript = read_transcript(file.encode(), "a.srt")
    problems = check_against_duration(transcript, 10_000)
    assert [(p.line, p.code, p.severity) for p in problems] == [
        (5, "past-end", "refused"), (9, "past-end", "refused"), (13, "reversed", "warning"),
        (17, "past-end", "refused"), (17, "reversed", "warning")]
    assert [cue.start_ms for cue in transcript.cues] == [1_000, 9_000, 10_000, 5_000, 20_000]
    assert set(problems) - {p for p in problems if p.code == "past-end"} <= set(transcript.problems)


def test_cues_without_times_are_not_past_the_end() -> None:
    assert check_against_duration(read_transcript(b"Hello\n", "a.txt"), 0) == []


# Any bytes ---------------------------------------------------------------------------------------------------

PIECES = st.sampled_from([
    "1", "2", "42", "WEBVTT", "WEBVTT x", "NOTE", "NOTE x", "STYLE", "REGION", "::cue {}", "id:a", "Hello", "",
    "", "", " ", "\t", "\u00a0", "\u2028", "\x85", "\x0c", "-->", "a --> b", "start,end,text", "start;text",
    "0:01,0:02,x", '0:01,0:02,"x', 'y"', "[0:07] Maren: x", "(0:12 - 0:15) y", "0:07 z", "[1:75:00] w", T1,
    "00:00:03.000 --> 00:00:04.000", "00:01.000 --> 00:02.000 align:start", "60:00.000 --> 61:00.000",
    "00:00:01,5 -> 00:00:02", "-00:00:01,000 --> 00:00:02,000", "00:00:01:12 --> 00:00:02:10",
    "00:00:01,000 -->", "--> 00:00:02,000", "<v Maren>Hi &amp; <i>you</i>", "&#65;", "\ufeff", "\0", "é", "ʔ",
    "3 " + T1, T1 + " and words", "Maren: x", "{", "\ufffd",
])
LINE_ENDS = st.sampled_from(["\n", "\n", "\r\n", "\r", "\r\r\n"])
FILES = st.lists(st.tuples(PIECES, LINE_ENDS), max_size=25).map(lambda parts: "".join(a + b for a, b in parts))
NAMES = st.sampled_from(["", "a.srt", "a.vtt", "a.txt", "a.csv", "a.tsv", "a.xyz"])
ENCODINGS = st.sampled_from([None, None, "utf-8", "latin-1", "utf-16", "utf-7", "cp037", "nonsense"])


def owned_lines(transcript: Transcript) -> list[int]:
    """Return every line number as often as it belongs to something."""
    blocks = [*transcript.headers, *transcript.comments]
    spans = [(cue.line, cue.last_line) for cue in transcript.cues]
    spans += [(block.line, block.line + block.text.count("\n")) for block in blocks]
    spans += [(p.raw_line, p.raw_line + p.raw.count("\n")) for p in transcript.problems if p.raw]
    return [number for first, last in spans for number in range(first, last + 1)]


def check_nothing_is_lost(data: bytes, name: str, encoding: str | None) -> None:
    transcript = read_transcript(data, name, encoding)
    lines = decode_lines(data, encoding).lines
    owned = [number for number in owned_lines(transcript) if not blank(lines[number - 1])]
    assert sorted(owned) == [number for number, line in enumerate(lines, 1) if not blank(line)]
    for problem in transcript.problems:
        assert problem.text
        if problem.raw:
            stop = problem.raw_line + problem.raw.count("\n")
            assert problem.raw == "\n".join(lines[problem.raw_line - 1 : stop])
    for cue in transcript.cues:
        assert cue.start_ms is None or cue.start_ms >= 0
        assert cue.end_ms is None or cue.end_ms >= 0


@settings(deadline=None)
@given(file=FILES, name=NAMES)
@example(file=f"1\n{T1}\n42\n43\n{T1}\n", name="a.srt")
@example(file="WEBVTT\n00:01.000 --> 00:02.000\n00:01.000 --> 00:02.000\nx", name="a.vtt")
def test_every_line_belongs_to_one_thing(file: str, name: str) -> None:
    check_nothing_is_lost(file.encode(), name, None)


@settings(deadline=None)
@given(data=st.binary(max_size=300), name=NAMES, encoding=ENCODINGS)
def test_any_bytes_are_read(data: bytes, name: str, encoding: str | None) -> None:
    check_nothing_is_lost(data, name, encoding)


@settings(deadline=None)
@given(file=FILES, name=NAMES, cut=st.integers(0, 60), junk=st.binary(max_size=5), wide=st.booleans())
def test_damaged_files_are_read(file: str, name: str, cut: int, junk: bytes, wide: bool) -> None:
    data = file.encode("utf-16-le" if wide else "utf-8")
    check_nothing_is_lost(data[:cut] + junk + data[cut:], name, None)


@settings(deadline=None)
@given(file=FILES)
def test_words_of_a_subrip_file_all_arrive(file: str) -> None:
    """Every line of text is found again in a cue, a header or a report."""
    file = "0\n" + file  # so that none of them is WebVTT
    transcript = read_transcript(file.encode(), "a.srt")
    held = "\n".join([cue.text for cue in transcript.cues] + [cue.identifier for cue in transcript.cues]
                     + [b.text for b in transcript.headers] + [p.raw for p in transcript.problems])
    for line in decode_lines(file.encode()).lines:
        if "Hello" in line or "you" in line or "{" in line:
            assert line in held


def test_problem_is_plain_data() -> None:
    assert Problem(1, "a", "note", "b")._asdict() == {
        "line": 1, "code": "a", "severity": "note", "text": "b", "raw": "", "raw_line": 0}
