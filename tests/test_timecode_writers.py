"""Writers: what is written reads back equal, and what a form cannot hold is reported."""

import pysrt
import pytest
import webvtt
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.timecode.cues import Block, Cue, Transcript
from archive.timecode.readers import read_transcript
from archive.timecode.writers import write_srt, write_vtt

# Lines of text as people write them; a blank one inside a text is reported, so it has tests of its own.
LINE = st.text(st.characters(blacklist_categories=["Cs"], blacklist_characters="\0\r\n"), min_size=1, max_size=20)
WORDS = st.one_of(LINE, st.sampled_from(["42", "a --> b", "00:01 --> 00:02", "<i>x</i>", "&amp;", "NOTE", "Maren: x",
                                         "WEBVTT", "<v Tovi>x", "x > y", "ʔaʻo", "1"])).filter(lambda t: t.strip())
TEXT = st.lists(WORDS, min_size=1, max_size=3).map("\n".join)
MS = st.integers(0, 400 * 3_600_000)
NAME = st.one_of(st.just(""), st.sampled_from(["Maren", "Maren Tal", "M&T <x>", "ʔaʻo"]))
IDENTIFIER = st.sampled_from(["", "1", "id 1"])
CUES = st.lists(st.builds(lambda *fields: Cue(*fields), MS, MS, TEXT, NAME, IDENTIFIER), max_size=5)


def bare(cues: list[Cue]) -> list[tuple[object, ...]]:
    return [(cue.start_ms, cue.end_ms, cue.text, cue.speaker, cue.identifier, cue.settings) for cue in cues]


@settings(deadline=None)
@given(cues=CUES)
def test_webvtt_reads_back_equal(cues: list[Cue]) -> None:
    written = write_vtt(Transcript("vtt", "utf-8", cues))
    again = read_transcript(written.text.encode(), "a.vtt")
    assert bare(again.cues) == bare(cues)
    assert written.problems == []
    assert not again.refused


@settings(deadline=None)
@given(cues=CUES)
def test_subrip_reads_back_equal(cues: list[Cue]) -> None:
    """Apart from what SubRip cannot hold: the speaker is in the text, cues are counted, arrows are replaced."""
    plain = [cue._replace(speaker="", identifier=str(number)) for number, cue in enumerate(cues, 1)]
    written = write_srt(Transcript("srt", "utf-8", plain))
    again = read_transcript(written.text.encode(), "a.srt")
    if plain and {problem.code for problem in written.problems} <= {"arrow-replaced"}:
        texts = [cue.text for cue in again.cues]
        assert [cue[:2] for cue in again.cues] == [cue[:2] for cue in plain]
        assert [cue.identifier for cue in again.cues] == [cue.identifier for cue in plain]
        if not written.problems:
            assert texts == [cue.text for cue in plain]


@settings(deadline=None)
@given(cues=CUES)
def test_each_written_file_reads_back_as_itself(cues: list[Cue]) -> None:
    for write, name in ((write_srt, "a.srt"), (write_vtt, "a.vtt")):
        once = write(Transcript("vtt", "utf-8", cues)).text
        assert write(read_transcript(once.encode(), name)).text == once or not cues


def test_subrip_is_read_alike_by_another_reader() -> None:
    """pysrt's own reader, an independent one."""
    cues = [Cue(1_000, 2_500, "Stars\nlow", "Maren"), Cue(360_001_000, 360_002_000, "ʔaʻo <i>x</i>")]
    theirs = pysrt.from_string(write_srt(Transcript("vtt", "utf-8", cues)).text)
    assert [(i.index, i.start.ordinal, i.end.ordinal, i.text) for i in theirs] == [
        (1, 1_000, 2_500, "Maren: Stars\nlow"), (2, 360_001_000, 360_002_000, "ʔaʻo <i>x</i>")]


def test_webvtt_is_read_alike_by_another_reader() -> None:
    """webvtt-py, an independent one."""
    cues = [Cue(1_000, 2_500, "Stars & <low>", "Maren", "id 1", "align:start"), Cue(3_600_000, 3_601_000, "x")]
    theirs = webvtt.from_string(write_vtt(Transcript("vtt", "utf-8", cues)).text)
    assert [(c.identifier, c.start, c.end, c.voice) for c in theirs] == [
        ("id 1", "00:00:01.000", "00:00:02.500", "Maren"), (None, "01:00:00.000", "01:00:01.000", None)]
    assert theirs[0].raw_text == "<v Maren>Stars &amp; &lt;low&gt;"


def test_webvtt_keeps_everything_around_the_cues() -> None:
    file = ("WEBVTT x\nKind: words\n\nREGION\nid:a\n\nSTYLE\n::cue {}\n\nNOTE one\ntwo\n\nid\n"
            "00:00:01.000 --> 00:00:02.000 region:a\n<v Maren><i>Hi</i> &amp; <laughs>\n\nNOTE between\n\n"
            "00:00:03.000 --> 00:00:04.000\nx\n\nNOTE last\n")
    assert write_vtt(read_transcript(file.encode(), "a.vtt")).text == file


def test_changed_text_does_not_bring_old_markup_back() -> None:
    cue = Cue(0, 1, "mended", "Maren", markup="<v Maren>misheard")
    assert "<v Maren>mended" in write_vtt(Transcript("vtt", "utf-8", [cue])).text


def test_header_of_another_form_becomes_a_note() -> None:
    told = read_transcript(b"Told at Senneth --> east\n\n[0:01] Hello\n[0:02] you\n", "a.txt")
    written = write_vtt(told, 3_000)
    assert written.text == ("WEBVTT\n\nNOTE\nTold at Senneth → east\n\n00:00:01.000 --> 00:00:02.000\nHello\n\n"
                            "00:00:02.000 --> 00:00:03.000\nyou\n")


@pytest.mark.parametrize(("cue", "srt_code", "vtt_code"), [
    (Cue(0, 1, "a\n\nb"), "blank-line-left-out", "blank-line-left-out"),
    (Cue(0, 1, "a\n \nb"), "blank-line-left-out", None),
    (Cue(0, 1, "00:00:01,000 --> 00:00:02,000"), "arrow-replaced", None),
    (Cue(0, 1, "a", identifier="b --> c"), None, "arrow-replaced"),
    (Cue(0, 1, "a", settings="align:start"), "settings-left-out", None),
    (Cue(0, 1, "a", settings="X1:1 X2:2 Y1:3 Y2:4"), None, "settings-left-out"),
    (Cue(None, None, "a"), "no-time", "no-time"),
    (Cue(-1, 1, "a"), "negative-time", "negative-time"),
])
def test_what_a_form_cannot_hold_is_reported(cue: Cue, srt_code: str | None, vtt_code: str | None) -> None:
    transcript = Transcript("vtt", "utf-8", [cue._replace(line=7), Cue(2, 3, "after")])
    for write, code, name in ((write_srt, srt_code, "a.srt"), (write_vtt, vtt_code, "a.vtt")):
        written = write(transcript)
        assert [(p.line, p.code) for p in written.problems] == ([(7, code)] if code else [])
        again = read_transcript(written.text.encode(), name).cues
        assert again[-1].text == "after"
        assert len(again) == (1 if code in ("no-time", "negative-time") else 2)


def test_open_end_takes_the_length_of_the_recording() -> None:
    transcript = Transcript("text", "utf-8", [Cue(1_000, None, "a")])
    assert "00:00:01,000 --> 00:00:09,000" in write_srt(transcript, 9_000).text
    assert write_srt(transcript).problems[0].code == "no-time"


def test_a_comment_stays_a_comment() -> None:
    transcript = Transcript("vtt", "utf-8", [Cue(0, 1, "a", line=9)], comments=[Block("comment", 1, "said --> x")])
    again = read_transcript(write_vtt(transcript).text.encode(), "a.vtt")
    assert again.comments[0].text == "NOTE\nsaid → x"
    assert len(again.cues) == 1
