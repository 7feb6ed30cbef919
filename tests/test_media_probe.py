"""Probing by content. Expected lengths are those of the sounds written; FFmpeg's own encoders make the files."""

from __future__ import annotations

from pathlib import Path

import av
import numpy as np
import pytest

from archive.media.errors import MediaError
from archive.media.probe import MediaFacts, check_name_matches, probe
from archive.media.working import make_working_copy
from tests.media_sounds import voice, write_sound

SECONDS = 1.234
PACKET_MS = 60
"""The longest packet of any codec here (Opus: RFC 6716 section 2.1.4) bounds what a count of packets can be off."""

ACCEPTED = [
    ("a.wav", "pcm_u8", 8_000, {}, "wav", 16),
    ("a.wav", "pcm_s16le", 44_100, {}, "wav", 16),
    ("a.wav", "pcm_s24le", 48_000, {}, "wav", 24),
    ("a.wav", "pcm_s32le", 96_000, {}, "wav", 24),
    ("a.wav", "pcm_f32le", 96_000, {}, "wav", 24),
    ("a.wav", "pcm_f64le", 48_000, {}, "wav", 24),
    ("a.aiff", "pcm_s16be", 44_100, {}, "aiff", 16),
    ("a.flac", "flac", 96_000, {}, "flac", 16),
    ("a.mp3", "libmp3lame", 44_100, {}, "mp3", 24),
    ("a.m4a", "aac", 44_100, {"container": "ipod"}, "mov", 24),
    ("a.aac", "aac", 44_100, {"container": "adts"}, "aac", 24),
    ("a.opus", "libopus", 48_000, {"container": "ogg"}, "ogg", 24),
    ("a.ogg", "flac", 48_000, {"container": "ogg"}, "ogg", 16),
    ("a.webm", "libopus", 48_000, {}, "matroska", 24),
    ("a.mka", "pcm_s16le", 48_000, {"container": "matroska"}, "matroska", 16),
    ("film.mp4", "aac", 48_000, {"film": True}, "mov", 24),
    ("film.webm", "libopus", 48_000, {"film": True}, "matroska", 24),
    ("film.avi", "libmp3lame", 48_000, {"film": True}, "avi", 24),
]


@pytest.mark.parametrize(("name", "codec", "rate_hz", "more", "container", "bits"), ACCEPTED)
def test_every_accepted_format_is_known_and_decoded(
    tmp_path: Path, name: str, codec: str, rate_hz: int, more: dict, container: str, bits: int
) -> None:
    path = write_sound(tmp_path / name, voice(SECONDS, rate_hz=rate_hz), codec, rate_hz, **more)
    facts = probe(path)
    assert (facts.container, facts.channels, facts.has_video) == (container, 1, "film" in more)
    assert facts.rate_hz == rate_hz
    assert facts.duration_ms == pytest.approx(SECONDS * 1000, abs=PACKET_MS)
    check_name_matches(facts, name)
    copy = make_working_copy(path, tmp_path / "work.flac")
    assert (copy.bits, copy.channels) == (bits, 1)
    assert copy.duration_ms == pytest.approx(facts.duration_ms, abs=PACKET_MS)


def test_the_name_does_not_matter_for_reading(tmp_path: Path) -> None:
    plain = write_sound(tmp_path / "a.wav", voice(0.5))
    liar = tmp_path / "a.mp3"
    liar.write_bytes(plain.read_bytes())
    assert probe(liar) == probe(plain)


def test_a_name_that_promises_another_format_is_refused() -> None:
    facts = MediaFacts("flac", "flac", 1000, 48_000, 1, "s16", False)
    check_name_matches(facts, "talk.FLAC")
    check_name_matches(facts, "talk")
    check_name_matches(facts, "talk.2019-07-02")
    with pytest.raises(MediaError, match="rename it") as told:
        check_name_matches(facts, "talk.wav")
    assert told.value.code == "name_mismatch"


def code_of(path: Path) -> str:
    with pytest.raises(MediaError) as told:
        probe(path)
    assert told.value.message.endswith(".") or "?" in told.value.message
    return told.value.code


def test_an_empty_file_is_told(tmp_path: Path) -> None:
    (tmp_path / "a.wav").write_bytes(b"")
    assert code_of(tmp_path / "a.wav") == "empty"


@pytest.mark.parametrize("junk", [b"hello, this is not a sound\n" * 400, bytes(50_000), b"RIFF"])
def test_what_is_not_media_is_told(tmp_path: Path, junk: bytes) -> None:
    (tmp_path / "a.mp3").write_bytes(junk)
    assert code_of(tmp_path / "a.mp3") == "not_media"


def test_random_bytes_are_not_media(tmp_path: Path) -> None:
    (tmp_path / "a.mp3").write_bytes(np.random.default_rng(5).bytes(100_000))
    assert code_of(tmp_path / "a.mp3") in ("not_media", "damaged", "no_sound", "clock")


@pytest.mark.parametrize(
    ("name", "codec", "more"),
    [
        ("a.wav", "pcm_s16le", {}),
        ("a.wav", "pcm_f32le", {}),
        ("a.aiff", "pcm_s16be", {}),
        ("a.flac", "flac", {}),
        ("a.mp3", "libmp3lame", {}),
        ("a.m4a", "aac", {"container": "ipod"}),
        ("front.m4a", "aac", {"container": "ipod"}),
        ("a.ogg", "libopus", {"container": "ogg"}),
        ("a.webm", "libopus", {}),
        ("film.mp4", "aac", {"film": True}),
        ("film.webm", "libopus", {"film": True}),
    ],
)
def test_a_file_cut_off_in_the_middle_is_told(tmp_path: Path, name: str, codec: str, more: dict) -> None:
    path = write_sound(tmp_path / name, voice(3.0), codec, **more)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) * 6 // 10])
    assert code_of(path) == "truncated"


def test_a_recorder_that_left_the_size_open_is_forgiven(tmp_path: Path) -> None:
    """A recorder that loses power leaves the size of the data chunk at 0xFFFFFFFF or 0 (common practice)."""
    path = write_sound(tmp_path / "a.wav", voice(1.0), "pcm_s16le")
    data = path.read_bytes()
    at = data.index(b"data") + 4
    path.write_bytes(data[:at] + b"\xff\xff\xff\xff" + data[at + 4 :])
    assert probe(path).duration_ms == pytest.approx(1000, abs=5)


def test_the_length_of_an_mp3_without_a_length_frame_is_counted(tmp_path: Path) -> None:
    """1152 samples a frame (ISO/IEC 11172-3): a variable rate makes any guess from the file's size wrong."""
    sound = np.concatenate([np.zeros(48_000 * 4), voice(4.0)])
    path = write_sound(tmp_path / "a.mp3", sound, "libmp3lame", options={"q": "5"})
    data = path.read_bytes()
    info = max(data.find(b"Xing"), data.find(b"Info"))
    assert info > 0
    begin = data.rfind(b"\xff\xfb", 0, info)
    path.write_bytes(data[data.index(b"\xff\xfb", info) :] if begin >= 0 else data)
    assert probe(path).duration_ms == pytest.approx(8_000, abs=100)


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 16_000, 22_050, 44_100])
def test_an_mp3_at_every_rate_of_old_recorders_is_read(tmp_path: Path, rate_hz: int) -> None:
    """Its lead-in (1105 samples: encoder and decoder delay, LAME length frame) is 50 ms and more at 22 kHz and below.

    Rates of MPEG-1, -2 (ISO/IEC 13818-3) and the later -2.5; within one frame of 1152 samples.
    """
    sound = voice(3.0, rate_hz=rate_hz)
    facts = probe(write_sound(tmp_path / "a.mp3", sound, "mp3", rate_hz))
    assert facts.duration_ms == pytest.approx(3_000, abs=1_000 * 1_152 / rate_hz)


@pytest.mark.parametrize("tag", [b"drms", b"enca"])
def test_a_locked_file_is_told(tmp_path: Path, tag: bytes) -> None:
    path = write_sound(tmp_path / "a.m4a", voice(0.5), "aac", container="ipod")
    path.write_bytes(path.read_bytes().replace(b"mp4a", tag))
    assert code_of(path) == "locked"


def test_common_encryption_is_told(tmp_path: Path) -> None:
    """ISO/IEC 23001-7, as FFmpeg writes it: the sample entry that is seen stays `mp4a`, and only packets tell."""
    key = {f"encryption_{part}": "00112233445566778899aabbccddeeff" for part in ("key", "kid")}
    plain = write_sound(tmp_path / "a.m4a", voice(0.5), "aac", container="ipod")
    options = {"encryption_scheme": "cenc-aes-ctr", **key}
    with av.open(str(plain)) as source, av.open(str(tmp_path / "b.mp4"), "w", options=options) as out:
        target = out.add_stream_from_template(source.streams.audio[0])
        for packet in source.demux(audio=0):
            if packet.size:
                packet.stream = target
                out.mux(packet)
    assert code_of(tmp_path / "b.mp4") == "locked"


def test_a_wav_in_a_compressed_code_is_not_taken_for_one_cut_off(tmp_path: Path) -> None:
    """Microsoft's ADPCM, of small recorders; 1012 samples in a block of 512 bytes (common practice, no source)."""
    facts = probe(write_sound(tmp_path / "a.wav", voice(3.0, rate_hz=16_000), "adpcm_ms", 16_000))
    assert facts.duration_ms == pytest.approx(3_000, abs=150)


def test_an_unknown_code_is_told(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "a.mka", voice(0.5), "libopus", container="matroska")
    path.write_bytes(path.read_bytes().replace(b"A_OPUS", b"A_ZZZZ"))
    assert code_of(path) == "unknown_codec"


def test_a_film_without_sound_is_told(tmp_path: Path) -> None:
    from tests.media_sounds import _add_film, _write_film

    with av.open(str(tmp_path / "a.mp4"), "w") as out:
        _write_film(out, _add_film(out), 1.0)
    assert code_of(tmp_path / "a.mp4") == "no_audio"


def test_zero_seconds_are_told(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "a.wav", voice(0.5), "pcm_s16le")
    data = path.read_bytes()
    at = data.index(b"data") + 4
    path.write_bytes(data[:at] + bytes(4))
    assert code_of(path) == "no_sound"


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_samples_that_are_not_numbers_are_told_with_their_second(tmp_path: Path, value: float) -> None:
    sound = voice(3.0)
    sound[2 * 48_000] = value
    path = write_sound(tmp_path / "a.wav", np.stack([np.zeros_like(sound), sound]), "pcm_f32le")
    with pytest.raises(MediaError, match="0:00:02") as told:
        probe(path)
    assert told.value.code == "not_a_number"


def test_a_clock_that_runs_backwards_is_told(tmp_path: Path) -> None:
    """The time of a Matroska cluster is element 0xE7 (RFC 9559 section 5.1.3.1): the second one is set to zero."""
    path = write_sound(tmp_path / "a.mka", voice(12.0), "libopus", container="matroska")
    data = bytearray(path.read_bytes())
    clusters = [i for i in range(len(data)) if data[i : i + 4] == b"\x1f\x43\xb6\x75"]
    at = data.index(b"\xe7", clusters[1] + 4)
    length = data[at + 1] & 0x7F
    data[at + 2 : at + 2 + length] = bytes(length)
    path.write_bytes(data)
    assert code_of(path) == "clock"
