"""Every kind of bad input, by page and by command: said in words, by line or second, and nothing half-saved."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from contextlib import suppress
from io import StringIO
from pathlib import Path

import av
import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.urls import reverse

from archive.models import Cue, Item, Master, Transcript

from .conftest import tone
from .media_sounds import _add_film, _write_film, voice, write_sound
from .test_desk_pages import SRT, form_of_bringing

pytestmark = pytest.mark.django_db
# Processor time, so that a busy machine does not count.
MOST_S = 1.0


# --- sound ---


def not_sound(folder: Path) -> Path:
    (folder / "a.wav").write_bytes(b"a letter, and no sound\n" * 400)
    return folder / "a.wav"


def empty(folder: Path) -> Path:
    (folder / "a.wav").write_bytes(b"")
    return folder / "a.wav"


def wrong_name(folder: Path) -> Path:
    return tone(folder / "a.wav", 2).rename(folder / "a.mp3")


def cut_off(folder: Path) -> Path:
    path = write_sound(folder / "a.flac", voice(3.0), "flac")
    path.write_bytes(path.read_bytes()[: path.stat().st_size * 6 // 10])
    return path


def locked(folder: Path) -> Path:
    """`drms` in place of `mp4a` is what a protected file's sample entry says (common practice, no source)."""
    path = write_sound(folder / "a.m4a", voice(0.5), "aac", container="ipod")
    path.write_bytes(path.read_bytes().replace(b"mp4a", b"drms"))
    return path


def unknown_code(folder: Path) -> Path:
    path = write_sound(folder / "a.mka", voice(0.5), "libopus", container="matroska")
    path.write_bytes(path.read_bytes().replace(b"A_OPUS", b"A_ZZZZ"))
    return path


def film_without_sound(folder: Path) -> Path:
    with av.open(str(folder / "a.mp4"), "w") as out:
        _write_film(out, _add_film(out), 1.0)
    return folder / "a.mp4"


def no_numbers(folder: Path) -> Path:
    sound = voice(3.0)
    sound[int(2.5 * 48_000)] = np.nan
    return write_sound(folder / "a.wav", sound, "pcm_f32le")


def no_seconds(folder: Path) -> Path:
    path = write_sound(folder / "a.wav", voice(0.5), "pcm_s16le")
    data = path.read_bytes()
    at = data.index(b"data") + 4
    path.write_bytes(data[:at] + bytes(4))
    return path


def clock_backwards(folder: Path) -> Path:
    """The time of a Matroska cluster is element 0xE7 (RFC 9559, section 5.1.3.1): the second one is set to zero."""
    path = write_sound(folder / "a.mka", voice(12.0), "libopus", container="matroska")
    data = bytearray(path.read_bytes())
    second = data.index(b"\x1f\x43\xb6\x75", data.index(b"\x1f\x43\xb6\x75") + 4)
    at = data.index(b"\xe7", second + 4)
    data[at + 2 : at + 2 + (data[at + 1] & 0x7F)] = bytes(data[at + 1] & 0x7F)
    path.write_bytes(data)
    return path


SOUNDS: list[tuple[Callable[[Path], Path], str]] = [
    (not_sound, "not a sound or video file"),
    (empty, "empty (0 bytes)"),
    (wrong_name, "The name ends in .mp3"),
    (cut_off, "cut off"),
    (locked, "locked by its seller"),
    (unknown_code, "in a code we cannot read"),
    (film_without_sound, "There is no sound in this file"),
    (no_numbers, "0:00:02"),
    (no_seconds, "holds no sound at all"),
    (clock_backwards, "runs backwards"),
]
BY_NAME = [one[0].__name__ for one in SOUNDS]


def nothing_is_kept(settings) -> bool:
    files = [path for path in Path(settings.MASTERS).rglob("*") if path.is_file()]
    return not (files or Item.ungated.exists() or Master.ungated.exists() or Cue.ungated.exists())


@pytest.mark.parametrize(("made", "words"), SOUNDS, ids=BY_NAME)
def test_bad_sound_is_refused_by_page(at_desk, settings, tmp_path, made, words):
    path = made(tmp_path)
    form = form_of_bringing(settings.HOME, audio=SimpleUploadedFile(path.name, path.read_bytes()))
    answer = at_desk.post(reverse("bring"), form)
    assert answer.status_code == 200
    said = answer.content.decode()
    assert words in said[said.index("Nothing was saved") :]
    assert nothing_is_kept(settings)


@pytest.mark.parametrize(("made", "words"), SOUNDS, ids=BY_NAME)
def test_bad_sound_is_refused_by_command(cast, settings, tmp_path, made, words):
    with pytest.raises(CommandError) as said:
        add(made(tmp_path))
    assert words in str(said.value)
    assert nothing_is_kept(settings)


def add(path: Path, *more: str, said: StringIO | None = None) -> None:
    call_command("add_recording", str(path), "--title", "T", "--date", "1962", "--by", "archivist", *more, stdout=said)


# --- transcripts ---


DIGITS = "9" * 100_000
PAST_THE_END = SRT.replace("00:00:04,000", "00:10:04,000")
REFUSED = {  # and what both say
    "digits": (f"1\n{DIGITS}\n", "No timing line"),
    "digits in a time": (f"1\n00:00:00,{DIGITS} --> 00:00:01,000\nword\n", "No timing line"),
    "past the end": (PAST_THE_END, "but the recording ends at 0:05"),
    "no times": ("no times at all\n" * 3, "No timing line"),
}
REPORTED = {
    "utf-16 without a mark": (SRT.encode("utf-16-le"), "No byte order mark"),
    "digits for a text": (f"{SRT}\n3\n00:00:04,100 --> 00:00:04,500\n{DIGITS}\n".encode(), ""),
    "backwards": (f"{SRT}\n3\n00:00:04,500 --> 00:00:04,100\nword\n".encode(), "before it starts"),
}


def checked(path: Path) -> dict:
    """What `transcript check --json` says, and that it was said soon."""
    out, start_s = StringIO(), time.process_time()
    with suppress(CommandError, SystemExit):  # 1 where something was refused
        call_command("transcript", "check", str(path), "--json", stdout=out)
    assert time.process_time() - start_s < MOST_S
    return json.loads(out.getvalue())


@pytest.mark.parametrize("case", REFUSED)
def test_a_bad_transcript_is_refused_by_page_and_command(at_desk, settings, tmp_path, case):
    text, words = REFUSED[case]
    file = tmp_path / "bad.srt"
    file.write_text(text)
    if case != "past the end":  # which only a sound can tell
        assert any(problem["severity"] == "refused" for problem in checked(file)["problems"])
    start_s = time.process_time()
    form = form_of_bringing(tmp_path, **{"transcript-0-file": SimpleUploadedFile("bad.srt", text.encode())})
    answer = at_desk.post(reverse("bring"), form)
    assert time.process_time() - start_s < MOST_S
    assert answer.status_code == 200
    assert "Nothing was saved" in answer.content.decode()
    assert words in answer.content.decode()
    assert len(answer.content) < 100_000  # a line of 100 kB is not said back whole
    assert nothing_is_kept(settings)
    out = StringIO()
    with pytest.raises(CommandError):
        add(tone(tmp_path / "t.wav", 5), "--transcript", str(file), said=out)
    assert words in out.getvalue()
    assert nothing_is_kept(settings)


@pytest.mark.parametrize("case", REPORTED)
def test_an_odd_transcript_is_taken_whole_and_told_of(at_desk, tmp_path, case):
    data, words = REPORTED[case]
    file = tmp_path / "odd.srt"
    file.write_bytes(data)
    told = checked(file)
    assert [cue["text"] for cue in told["cues"]][:2] == ["The lamp stood over the head.", "And then it went."]
    assert any(words in problem["text"] for problem in told["problems"]) or not words
    form = form_of_bringing(tmp_path, **{"transcript-0-file": SimpleUploadedFile("odd.srt", data)})
    start_s = time.process_time()
    answer = at_desk.post(reverse("bring"), form)
    assert time.process_time() - start_s < MOST_S
    assert answer.status_code == 302
    assert bytes(Transcript.ungated.get().original) == data
    assert Cue.ungated.count() == sum(cue["start_ms"] < cue["end_ms"] for cue in told["cues"])
