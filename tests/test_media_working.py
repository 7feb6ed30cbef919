"""The working copy: sample numbers are the time code, in flat memory, whole or not at all."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import numpy as np
import pytest

from archive.media.errors import MediaError
from archive.media.working import WorkingReader, make_working_copy, read_working_copy
from tests.media_sounds import as_24_bit, decode, voice, write_pcm, write_sound


def read_all(path: Path) -> np.ndarray:
    copy = read_working_copy(path)
    with WorkingReader(copy) as reader:
        return reader.read(0, copy.samples)


@pytest.mark.parametrize("channels", [1, 2])
def test_a_24_bit_master_at_48_khz_keeps_every_sample(tmp_path: Path, channels: int) -> None:
    pcm = np.stack([as_24_bit(voice(2.5, seed)) for seed in range(channels)])
    master = write_pcm(tmp_path / "a.wav", pcm)
    copy = make_working_copy(master, tmp_path / "a.flac")
    assert (copy.samples, copy.channels, copy.bits, copy.duration_ms) == (120_000, channels, 24, 2_500)
    np.testing.assert_array_equal(read_all(copy.path), pcm)


def test_a_16_bit_master_stays_16_bits(tmp_path: Path) -> None:
    master = write_sound(tmp_path / "a.wav", voice(1.0), "pcm_s16le")
    copy = make_working_copy(master, tmp_path / "a.flac")
    assert copy.bits == 16
    np.testing.assert_array_equal(read_all(copy.path), decode(master))


def test_more_than_two_channels_become_two(tmp_path: Path) -> None:
    master = write_sound(tmp_path / "a.wav", np.stack([voice(0.5, seed) / 4 for seed in range(6)]), "pcm_s16le")
    copy = make_working_copy(master, tmp_path / "a.flac")
    assert (copy.channels, copy.samples) == (2, 24_000)


@pytest.mark.parametrize("rate_hz", [8_000, 16_000, 22_050, 44_100, 96_000])
def test_a_click_stays_at_its_second_whatever_the_rate(tmp_path: Path, rate_hz: int) -> None:
    """One sample of the master may land between two at 48 kHz: 1 ms is the time code's own step."""
    sound = np.zeros(2 * rate_hz)
    sound[round(1.5 * rate_hz)] = 0.9
    copy = make_working_copy(write_sound(tmp_path / "a.wav", sound, rate_hz=rate_hz), tmp_path / "a.flac")
    assert copy.samples == 96_000
    click = int(np.abs(read_all(copy.path)[0].astype(np.int64)).argmax())
    assert abs(click - 72_000) < 48


def test_sound_that_starts_late_in_a_film_keeps_its_second(tmp_path: Path) -> None:
    sound = np.zeros(48_000)
    sound[24_000] = 0.9
    film = write_sound(tmp_path / "a.mkv", sound, "pcm_s16le", film=True, delay_s=1.0)
    copy = make_working_copy(film, tmp_path / "a.flac")
    click = int(np.abs(read_all(copy.path)[0].astype(np.int64)).argmax())
    assert abs(click - 72_000) <= 48, "Matroska rounds times to 1 ms"
    assert copy.samples == pytest.approx(96_000, abs=48)


@pytest.mark.parametrize(("start", "stop"), [(0, 1), (0, 4_608), (4_607, 4_609), (50_000, 99_999), (119_999, 120_000)])
def test_any_stretch_can_be_read(tmp_path: Path, start: int, stop: int) -> None:
    pcm = as_24_bit(voice(2.5))
    copy = make_working_copy(write_pcm(tmp_path / "a.wav", pcm), tmp_path / "a.flac")
    with WorkingReader(copy) as reader:
        reader.read(70_000, 80_000)
        np.testing.assert_array_equal(reader.read(start, stop)[0], pcm[start:stop])


def test_beyond_the_end_there_is_silence(tmp_path: Path) -> None:
    copy = make_working_copy(write_pcm(tmp_path / "a.wav", as_24_bit(voice(0.5))), tmp_path / "a.flac")
    with WorkingReader(copy) as reader:
        assert not reader.read(24_000, 25_000).any()
        assert reader.read(23_000, 25_000)[0, :1_000].any()


def test_the_blocks_make_up_the_whole(tmp_path: Path) -> None:
    pcm = as_24_bit(voice(2.5))
    copy = make_working_copy(write_pcm(tmp_path / "a.wav", pcm), tmp_path / "a.flac")
    with WorkingReader(copy) as reader:
        parts = list(reader.blocks(50_000))
    assert [start for start, _ in parts] == [0, 50_000, 100_000]
    np.testing.assert_array_equal(np.concatenate([part for _, part in parts], axis=1)[0], pcm)


def test_the_fingerprint_is_that_of_the_sound_not_of_the_file(tmp_path: Path) -> None:
    pcm = as_24_bit(voice(0.5))
    wav = make_working_copy(write_pcm(tmp_path / "a.wav", pcm), tmp_path / "a.flac")
    flac = make_working_copy(wav.path, tmp_path / "b.flac")
    other = make_working_copy(write_pcm(tmp_path / "c.wav", pcm[::-1].copy()), tmp_path / "c.flac")
    assert wav.pcm_md5 == flac.pcm_md5 != other.pcm_md5
    assert wav.pcm_md5 != "0" * 32


def test_progress_rises_to_one(tmp_path: Path) -> None:
    seen: list[float] = []
    make_working_copy(write_pcm(tmp_path / "a.wav", as_24_bit(voice(2.0))), tmp_path / "a.flac", seen.append)
    assert seen == sorted(seen)
    assert seen[-1] == 1.0


def stop(share: float) -> None:
    raise InterruptedError("the person pressed stop")


def test_work_that_is_stopped_leaves_nothing(tmp_path: Path) -> None:
    master = write_pcm(tmp_path / "a.wav", as_24_bit(voice(2.0)))
    with pytest.raises((InterruptedError, MediaError)):
        make_working_copy(master, tmp_path / "out" / "a.flac", stop)
    assert list((tmp_path / "out").iterdir()) == []


@pytest.mark.parametrize("name", ["a.wav", "a.txt"])
def test_anything_else_is_no_working_copy(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    if name == "a.wav":
        write_pcm(path, as_24_bit(voice(0.1)))
    else:
        path.write_text("not a sound")
    with pytest.raises(MediaError) as told:
        read_working_copy(path)
    assert told.value.code == "not_working_copy"


def test_a_damaged_working_copy_is_told(tmp_path: Path) -> None:
    copy = make_working_copy(write_pcm(tmp_path / "a.wav", as_24_bit(voice(2.0))), tmp_path / "a.flac")
    data = copy.path.read_bytes()
    copy.path.write_bytes(data[: len(data) // 2])
    with WorkingReader(copy) as reader, pytest.raises(MediaError) as told:
        reader.read(0, copy.samples)
    assert told.value.code == "damaged"


def test_python_holds_no_more_for_a_longer_master(tmp_path: Path) -> None:
    """Only blocks pass through: what Python allocates must not grow with the length (the bench measures the rest)."""
    peaks = []
    for seconds in (2, 12):
        master = write_pcm(tmp_path / f"{seconds}.wav", as_24_bit(voice(seconds)))
        tracemalloc.start()
        make_working_copy(master, tmp_path / f"{seconds}.flac")
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < peaks[0] + 1_000_000
