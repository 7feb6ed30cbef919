"""The commands `timecode`, `transcript` and `suggest-cuts`: what they print and how they end."""

import io
import json
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command, load_command_class
from django.core.management.base import BaseCommand

SRT = "1\n00:00:01,000 --> 00:00:02,000\nHello\n\n2\n00:00:03,000 --> 00:00:04,000\nStars\n"


def run(name: str, *arguments: str) -> tuple[list[Any], int]:
    """Return what a command printed, line by line from JSON, and its exit code."""
    out, code = io.StringIO(), 0
    try:
        call_command(name, *arguments, stdout=out)
    except SystemExit as end:
        code = int(end.code or 0)
    return [json.loads(line) for line in out.getvalue().splitlines()], code


@pytest.mark.parametrize(("arguments", "answer"), [
    (["1:02:03.5"], {"ms": 3_723_500}), (["00:01:00;02", "--rate", "29.97"], {"ms": 60_060}),
    (["#t=10,20"], {"start_ms": 10_000, "end_ms": 20_000}), (["#t=10"], {"start_ms": 10_000, "end_ms": None}),
])
def test_time_is_told(arguments: list[str], answer: dict[str, Any]) -> None:
    assert run("timecode", *arguments, "--json") == ([answer], 0)


@pytest.mark.parametrize("arguments", [["1:75:00"], ["#t=20,10"], ["00:00:03:12"], ["0:07", "--rate", "fast"], [""]])
def test_what_is_no_time_ends_with_1(arguments: list[str]) -> None:
    [answer], code = run("timecode", *arguments, "--json")
    if arguments[0] == "0:07":
        assert answer == {"ms": 7_000}
    else:
        assert (list(answer), code) == (["error"], 1)


def test_minus_sign_reaches_our_own_refusal(capsys: pytest.CaptureFixture[str]) -> None:
    command = load_command_class("archive", "timecode")
    assert isinstance(command, BaseCommand)
    with pytest.raises(SystemExit) as ended:
        command.run_from_argv(["manage.py", "timecode", "-0:07", "--json"])
    assert ended.value.code == 1
    assert "before the start" in json.loads(capsys.readouterr().out)["error"]


def test_batch_answers_line_by_line(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = [{"text": "0:07"}, {"text": "00:00:03:12", "rate": 25}, {"text": "00:00:03:12", "rate": "29.97"},
             {"text": "#t=,20"}, {"text": "x"}, {"text": 5}, {"text": "0:07", "rate": []}, [], {}]
    lines = "\n".join(map(json.dumps, asked)) + "\nnot json\n\n" + "[" * 100_000 + "\n"
    monkeypatch.setattr("sys.stdin", io.StringIO(lines))
    answers, code = run("timecode", "--batch")
    assert answers[:4] == [{"ms": 7_000}, {"ms": 3_480}, {"ms": 3_403}, {"start_ms": 0, "end_ms": 20_000}]
    assert [list(answer) for answer in answers[4:]] == [["error"]] * 7
    assert code == 0


def test_time_is_told_in_words() -> None:
    out = io.StringIO()
    for text in ("1:02:03.5", "#t=10", "#t=10,20"):
        call_command("timecode", text, stdout=out)
    assert out.getvalue() == "3723500 ms (1:02:03.5)\nfrom 10000 ms to the end\nfrom 10000 ms to 20000 ms\n"
    for wrong in (["noon"], []):
        with pytest.raises(CommandError):
            call_command("timecode", *wrong, stdout=out)


def test_transcripts_are_checked(tmp_path: Path) -> None:
    good, bad = tmp_path / "good.srt", tmp_path / "bad.srt"
    good.write_text(SRT, "utf-8")
    bad.write_text(SRT.replace("00:00:03,000", "00:00:0l,000"), "utf-8")
    [first], code = run("transcript", "check", str(good), "--json")
    assert code == 0
    assert first["cues"][1] == {"start_ms": 3_000, "end_ms": 4_000, "text": "Stars", "speaker": "", "identifier": "2"}
    assert (first["file"], first["format"], first["problems"]) == (str(good), "srt", [])
    reports, code = run("transcript", "check", str(good), str(bad), str(tmp_path / "none.srt"), "--json")
    assert code == 1
    assert [[p["code"] for p in report["problems"]] for report in reports] == [[], ["unreadable-time"], ["no-file"]]
    assert all(list(report) == ["file", "format", "cues", "problems"] for report in reports)
    assert set(reports[1]["problems"][0]) == {"line", "code", "severity", "text"}
    assert reports[1]["problems"][0]["line"] == 6


def test_transcripts_are_checked_in_words(tmp_path: Path) -> None:
    file = tmp_path / "told.srt"
    file.write_bytes(SRT.replace("Hello", "Žluť").encode("cp1250"))
    out = io.StringIO()
    call_command("transcript", "check", str(file), "--encoding", "cp1250", stdout=out)
    assert out.getvalue() == f"{file}: srt, cp1250, 2 cues\n"
    call_command("transcript", "check", str(file), stdout=out)
    assert "line 3: warning: The file does not say its encoding" in out.getvalue()


def test_cuts_are_suggested(tmp_path: Path) -> None:
    sea = ["boat", "reef", "wave", "sail", "oar", "tide", "net"]
    sky = ["star", "night", "moon", "dark", "north", "rise", "shine"]
    lines = [" ".join(words[at:] + words[:at]) for words in (sea, sky) for at in range(7)]
    file = tmp_path / "told.txt"
    file.write_text("\n".join(lines), "utf-8")
    [report], code = run("suggest-cuts", str(file), "--json")
    assert code == 0
    assert report == {"file": str(file), "cues": 14, "boundaries": [7], "segments": [
        {"first_cue": 1, "last_cue": 7, "start_ms": None, "end_ms": None},
        {"first_cue": 8, "last_cue": 14, "start_ms": None, "end_ms": None}]}
    srt = tmp_path / "told.srt"
    srt.write_text(SRT, "utf-8")
    out = io.StringIO()
    call_command("suggest-cuts", str(srt), "--segments", "2", stdout=out)
    assert out.getvalue() == "cues 1 to 1  0:01  0:02\ncues 2 to 2  0:03  0:04\n"
    call_command("suggest-cuts", str(srt), "--segments", "1", stdout=out)
    assert out.getvalue().endswith("No cut is suggested.\n")


def test_cuts_of_what_is_no_transcript(tmp_path: Path) -> None:
    file = tmp_path / "a.srt"
    file.write_bytes(b"\x89PNG")
    with pytest.raises(SystemExit):
        call_command("suggest-cuts", str(file), stderr=io.StringIO())
    for wrong in ([str(tmp_path / "none")], [str(file), "--segments", "0"]):
        with pytest.raises(CommandError):
            call_command("suggest-cuts", *wrong)
