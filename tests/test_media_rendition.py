"""Renditions: chunks, clips, keys, and what happens when work breaks off. Absence itself: test_media_absence.py."""

from __future__ import annotations

import hashlib
import subprocess
import sys
import wave
from pathlib import Path

import numpy as np
import pytest

from archive.media import rendition
from archive.media.chunks import Recipe, plan
from archive.media.errors import MediaError
from archive.media.files import remove_leftovers
from archive.media.peaks import peaks_of
from archive.media.rendition import Rendition, render, rendition_key, sweep_chunks
from archive.media.spans import cut_to, merge, silence, to_samples
from archive.media.working import WorkingCopy, make_working_copy
from tests.media_sounds import as_24_bit, decode, voice, write_pcm

SMALL = Recipe(chunk_packets=30)
"""Chunks of 0.64 s, so that a few seconds of sound hold several."""


@pytest.fixture(scope="module")
def talk() -> np.ndarray:
    return as_24_bit(voice(5.0))


@pytest.fixture(scope="module")
def copy(talk: np.ndarray, tmp_path_factory: pytest.TempPathFactory) -> WorkingCopy:
    folder = tmp_path_factory.mktemp("talk")
    return make_working_copy(write_pcm(folder / "a.wav", talk), folder / "a.flac")


def count_encodings(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    made: list[int] = []
    real = rendition.encode

    def counted(pcm, one, recipe):
        made.append(one.peaks[0])
        return real(pcm, one, recipe)

    monkeypatch.setattr(rendition, "encode", counted)
    return made


def test_the_facts_of_a_rendition_are_those_of_its_file(copy: WorkingCopy, tmp_path: Path) -> None:
    got = render(copy.path, tmp_path / "a.m4a", [(1_000, 2_000)], recipe=SMALL)
    data = got.path.read_bytes()
    assert got.sha256 == hashlib.sha256(data).hexdigest()
    assert got.size == len(data)
    assert got.duration_ms == 5_000
    assert [path.name for path in tmp_path.iterdir()] == ["a.m4a"]


def test_the_plain_copy_sounds_like_the_master_and_starts_with_it(copy: WorkingCopy, tmp_path: Path) -> None:
    """Lag 0 by cross-correlation; below 1 kHz, where the voice is, the error lies 15 dB and more below the sound.

    From measurement: constant quality 0.8 gives 20 to 26 dB on synthesised speech; hiss above is coded coarsely.
    """
    master = decode(copy.path)[0].astype(float) / 2**31
    heard = decode(render(copy.path, tmp_path / "a.m4a", [], recipe=SMALL).path)[0][: len(master)].astype(float)
    spectrum = np.fft.rfft(master, 1 << 19) * np.conj(np.fft.rfft(heard, 1 << 19))
    assert int(np.fft.irfft(spectrum).argmax()) == 0
    below_1_khz = slice(0, len(master) // 48)
    error, sound = np.fft.rfft(heard - master)[below_1_khz], np.fft.rfft(master)[below_1_khz]
    assert np.sum(np.abs(error) ** 2) < np.sum(np.abs(sound) ** 2) * 10**-1.5


def test_joins_are_as_clean_as_the_middle_of_a_chunk(copy: WorkingCopy, tmp_path: Path) -> None:
    """A bad join would be a click: error near joins within 3 dB of the error elsewhere (its own spread here)."""
    master = decode(copy.path)[0].astype(float) / 2**31
    heard = decode(render(copy.path, tmp_path / "a.m4a", [], recipe=SMALL).path)[0][: len(master)]
    error = (heard - master) ** 2
    place = np.arange(len(master)) % (SMALL.chunk_packets * 1024)
    near = (place < 2_048) | (place > SMALL.chunk_packets * 1024 - 2_048)
    assert error[near].mean() < 2 * error[~near].mean()


def test_packets_do_not_depend_on_how_they_were_gathered(copy: WorkingCopy, tmp_path: Path) -> None:
    """Kept chunks, fresh chunks, and chunks made in another order give the same file."""
    fresh = render(copy.path, tmp_path / "a.m4a", [(700, 900)], recipe=SMALL)
    store = tmp_path / "chunks"
    render(copy.path, tmp_path / "b.m4a", [(2_000, 4_000)], chunk_dir=store, recipe=SMALL)
    render(copy.path, tmp_path / "b.m4a", [], start_ms=1_500, chunk_dir=store, recipe=SMALL)
    kept = render(copy.path, tmp_path / "b.m4a", [(700, 900)], chunk_dir=store, recipe=SMALL)
    assert (fresh.sha256, fresh.peaks, fresh.chunks) == (kept.sha256, kept.peaks, kept.chunks)


def test_a_closure_encodes_only_the_chunks_it_touches(
    copy: WorkingCopy, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = count_encodings(monkeypatch)
    store = tmp_path / "chunks"
    render(copy.path, tmp_path / "a.m4a", [], chunk_dir=store, recipe=SMALL)
    assert len(made) == 8
    made.clear()
    render(copy.path, tmp_path / "b.m4a", [(1_500, 1_600)], chunk_dir=store, recipe=SMALL)
    assert made == [2 * 30 * 1024]
    made.clear()
    render(copy.path, tmp_path / "a.m4a", [], chunk_dir=store, recipe=SMALL)
    assert made == []


def test_chunks_out_of_reach_are_not_even_decoded(
    copy: WorkingCopy, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = tmp_path / "chunks"
    render(copy.path, tmp_path / "a.m4a", [], chunk_dir=store, recipe=SMALL)
    read: list[tuple[int, int]] = []
    real = rendition.WorkingReader.read
    monkeypatch.setattr(rendition.WorkingReader, "read", lambda self, a, b: (read.append((a, b)), real(self, a, b))[1])
    render(copy.path, tmp_path / "b.m4a", [(1_500, 1_600)], chunk_dir=store, recipe=SMALL)
    assert len(read) == 1


def test_two_recordings_can_share_a_chunk_folder(copy: WorkingCopy, talk: np.ndarray, tmp_path: Path) -> None:
    other = make_working_copy(write_pcm(tmp_path / "o.wav", talk[::-1].copy()), tmp_path / "o.flac")
    store = tmp_path / "chunks"
    render(copy.path, tmp_path / "a.m4a", [], chunk_dir=store, recipe=SMALL)
    shared = render(other.path, tmp_path / "b.m4a", [], chunk_dir=store, recipe=SMALL)
    alone = render(other.path, tmp_path / "c.m4a", [], recipe=SMALL)
    assert shared.sha256 == alone.sha256


@pytest.mark.parametrize(
    "spoil", [lambda data: data[:-1], lambda data: data[:40], lambda data: b"", lambda data: data[:-9] + b"x" * 9]
)
def test_a_spoilt_chunk_is_made_again(copy: WorkingCopy, tmp_path: Path, spoil) -> None:
    store = tmp_path / "chunks"
    first = render(copy.path, tmp_path / "a.m4a", [], chunk_dir=store, recipe=SMALL)
    victim = sorted(store.glob("??/*.chunk"))[3]
    victim.write_bytes(spoil(victim.read_bytes()))
    assert render(copy.path, tmp_path / "a.m4a", [], chunk_dir=store, recipe=SMALL) == first


def test_a_spoilt_list_of_keys_is_as_good_as_none(copy: WorkingCopy, tmp_path: Path) -> None:
    store = tmp_path / "chunks"
    first = render(copy.path, tmp_path / "a.m4a", [], chunk_dir=store, recipe=SMALL)
    for path in store.glob("*.keys"):
        path.write_bytes(b"\xff\n\n")
    assert render(copy.path, tmp_path / "a.m4a", [], chunk_dir=store, recipe=SMALL) == first


def test_sweeping_forgets_what_was_closed_since(copy: WorkingCopy, tmp_path: Path) -> None:
    store = tmp_path / "chunks"
    before = render(copy.path, tmp_path / "a.m4a", [], chunk_dir=store, recipe=SMALL)
    after = render(copy.path, tmp_path / "a.m4a", [(1_500, 1_600)], chunk_dir=store, recipe=SMALL)
    assert sweep_chunks(store, [after]) == 1
    left = {path.stem for path in store.glob("??/*.chunk")}
    assert left == set(after.chunks)
    assert len(set(before.chunks) - left) == 1
    assert render(copy.path, tmp_path / "b.m4a", [(1_500, 1_600)], chunk_dir=store, recipe=SMALL).sha256 == after.sha256


@pytest.mark.parametrize(("start_ms", "end_ms"), [(0, 1), (1_001, 2_003), (640, 1_280), (3_000, 5_000), (4_990, 9_000)])
def test_a_clip_is_the_file_of_an_archive_that_holds_just_it(
    copy: WorkingCopy, talk: np.ndarray, tmp_path: Path, start_ms: int, end_ms: int
) -> None:
    clip = render(copy.path, tmp_path / "a.m4a", [], start_ms, end_ms, recipe=SMALL)
    only = make_working_copy(write_pcm(tmp_path / "o.wav", talk[start_ms * 48 : end_ms * 48]), tmp_path / "o.flac")
    whole = render(only.path, tmp_path / "b.m4a", [], recipe=SMALL)
    assert (clip.sha256, clip.peaks, clip.duration_ms) == (whole.sha256, whole.peaks, whole.duration_ms)


def test_a_clip_beside_closed_seconds_is_that_of_a_recording_silent_there_from_the_start(
    copy: WorkingCopy, talk: np.ndarray, tmp_path: Path
) -> None:
    closed = [(0, 1_000), (2_000, 4_000)]
    quiet = write_pcm(tmp_path / "quiet.wav", silence(np.atleast_2d(talk), 0, to_samples(closed)))
    twin = make_working_copy(quiet, tmp_path / "quiet.flac")
    plain = render(twin.path, tmp_path / "a.m4a", [], 1_000, 2_000, recipe=SMALL)
    fenced = render(copy.path, tmp_path / "b.m4a", closed, 1_000, 2_000, recipe=SMALL)
    assert plain.sha256 == fenced.sha256


def test_a_closed_span_across_a_clips_edge_is_silent_in_it(copy: WorkingCopy, tmp_path: Path) -> None:
    clip = render(copy.path, tmp_path / "a.m4a", [(500, 1_500)], 1_000, 2_000, recipe=SMALL)
    heard = decode(clip.path)[0]
    assert not heard[: 500 * 48 - 2_048].any()
    assert heard[600 * 48 :].any()


@pytest.mark.parametrize(("start_ms", "end_ms"), [(5_000, 6_000), (2_000, 2_000), (3_000, 2_000), (-1, 500)])
def test_a_clip_outside_the_recording_is_refused(copy: WorkingCopy, tmp_path: Path, start_ms: int, end_ms: int) -> None:
    with pytest.raises(MediaError, match="5000 ms") as told:
        render(copy.path, tmp_path / "a.m4a", [], start_ms, end_ms, recipe=SMALL)
    assert told.value.code == "bad_span"


def stop_at(share: float):
    def progress(done: float) -> None:
        if done >= share:
            raise InterruptedError("stopped")

    return progress


@pytest.mark.parametrize("share", [0.1, 0.5, 1.0])
def test_work_that_breaks_off_leaves_the_old_file_and_can_go_on(
    copy: WorkingCopy, tmp_path: Path, share: float
) -> None:
    out, store = tmp_path / "a.m4a", tmp_path / "chunks"
    out.write_bytes(b"the old one")
    with pytest.raises((InterruptedError, MediaError)):
        render(copy.path, out, [], chunk_dir=store, progress=stop_at(share), recipe=SMALL)
    assert out.read_bytes() == b"the old one"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.m4a", "chunks"]
    after = render(copy.path, out, [], chunk_dir=store, recipe=SMALL)
    assert after.sha256 == render(copy.path, tmp_path / "b.m4a", [], recipe=SMALL).sha256


KILLED_HALF_WAY = """
import os, sys
from archive.media.chunks import Recipe
from archive.media.rendition import render
work, out, chunks = sys.argv[1:]
render(work, out, [], chunk_dir=chunks or None, recipe=Recipe(30), progress=lambda share: share > 0.5 and os._exit(9))
"""


@pytest.mark.parametrize("keeps_chunks", [True, False])
def test_a_killed_build_shows_nothing_and_is_swept_up(copy: WorkingCopy, tmp_path: Path, keeps_chunks: bool) -> None:
    """A process that dies without a word (os._exit runs no cleaning) half-way through."""
    out, store = tmp_path / "a.m4a", str(tmp_path / "chunks") if keeps_chunks else ""
    done = subprocess.run([sys.executable, "-c", KILLED_HALF_WAY, str(copy.path), str(out), store], check=False)
    assert done.returncode == 9
    assert not out.exists()
    got = render(copy.path, out, [], chunk_dir=store or None, recipe=SMALL)
    assert got.sha256 == render(copy.path, tmp_path / "b.m4a", [], recipe=SMALL).sha256
    assert remove_leftovers(tmp_path) == 0, "nothing that may still be in use is touched"
    remove_leftovers(tmp_path, older_than_s=0)
    assert {path.name for path in tmp_path.iterdir()} - {"chunks"} == {"a.m4a", "b.m4a"}


def test_a_crash_while_writing_leaves_nothing(
    copy: WorkingCopy, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def crash(*_: object) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr(rendition, "_write", crash)
    with pytest.raises(KeyboardInterrupt):
        render(copy.path, tmp_path / "a.m4a", [], recipe=SMALL)
    assert list(tmp_path.iterdir()) == []


def test_stereo_stays_stereo_and_is_silent_on_both_sides(talk: np.ndarray, tmp_path: Path) -> None:
    both = np.stack([talk, talk[::-1]])
    copy = make_working_copy(write_pcm(tmp_path / "a.wav", both), tmp_path / "a.flac")
    heard = decode(render(copy.path, tmp_path / "a.m4a", [(1_000, 2_000)], recipe=SMALL).path)
    assert heard.shape[0] == 2
    assert not heard[:, 50_048:93_952].any()
    assert heard[:, 100_000:].any(axis=1).all()


def test_16_bit_recordings_work_too(tmp_path: Path) -> None:
    from tests.media_sounds import write_sound

    copy = make_working_copy(write_sound(tmp_path / "a.wav", voice(2.0), "pcm_s16le"), tmp_path / "a.flac")
    got = render(copy.path, tmp_path / "a.m4a", [(500, 1_000)], recipe=SMALL)
    assert not decode(got.path)[0][26_048:45_952].any()


def test_the_key_is_the_same_for_the_same_closed_seconds() -> None:
    key = rendition_key("ab", [(1_000, 2_000), (2_000, 3_000), (5_000, 5_000)])
    assert key == rendition_key("ab", [(1_500, 3_000), (1_000, 1_600)])
    assert key != rendition_key("ab", [(1_000, 3_001)])
    assert key != rendition_key("cd", [(1_000, 3_000)])
    assert rendition_key("ab", [(0, 95), (905, 999)], 100, 900) == rendition_key("ab", [], 100, 900)
    beside = rendition_key("ab", [(50, 100), (900, 950)], 100, 900)
    assert rendition_key("ab", [(0, 100), (900, 999)], 100, 900) == beside
    assert rendition_key("ab", [], 100, 900) != rendition_key("ab", [], 100, 901)
    assert len(key) == 64
    assert set(key) <= set("0123456789abcdef")


@pytest.mark.parametrize("span", [(5, 4), (-1, 4)])
def test_a_senseless_span_is_refused(span: tuple[int, int]) -> None:
    with pytest.raises(MediaError, match="mend") as told:
        merge([(1, 2), span])
    assert told.value.code == "bad_span"


def test_spans_are_merged_and_cut() -> None:
    assert merge([(5, 9), (1, 3), (3, 4), (8, 12), (20, 20)]) == [(1, 4), (5, 12)]
    assert cut_to([(10, 40), (50, 120)], 30, 60) == [(-5, 10), (20, 35)]
    assert cut_to([(10, 40), (50, 120)], 40, 50) == [(-5, 0), (10, 15)]
    assert cut_to([(10, 40), (50, 120)], 45, 45 + 1) == [(5, 6)]
    assert cut_to([(10, 40), (50, 120)], 20, None) == [(-5, 20), (30, 100)]


@pytest.mark.parametrize("rate_hz", [8_000, 16_000, 44_100, 48_000])
def test_a_clip_holds_nothing_of_the_closed_span_beside_it(tmp_path: Path, rate_hz: int) -> None:
    """Two masters that differ in the closed second alone give the same clips on both sides of it, byte for byte.

    A resampler spreads each sample over its filter; without the guard the clips would differ in their last samples.
    """
    made = []
    for seed in (1, 2):
        times_s = np.arange(3 * rate_hz) / rate_hz
        pcm = 5_000 * np.sin(2 * np.pi * 440 * times_s)
        pcm[rate_hz : 2 * rate_hz] = np.random.default_rng(seed).integers(-20_000, 20_000, rate_hz)
        master = tmp_path / f"{seed}.wav"
        with wave.open(str(master), "wb") as file:
            file.setparams((1, 2, rate_hz, 0, "NONE", ""))
            file.writeframes(pcm.astype("<i2").tobytes())
        copy = make_working_copy(master, tmp_path / f"{seed}.flac").path
        made.append(
            [render(copy, tmp_path / "clip.m4a", [(1_000, 2_000)], start, start + 1_000).sha256 for start in (0, 2_000)]
        )
    assert made[0] == made[1]


@pytest.mark.parametrize("samples", [1, 1_023, 1_024, 30 * 1_024, 30 * 1_024 + 1, 240_000])
def test_the_plan_covers_every_packet_and_every_peak_once(samples: int) -> None:
    plans = plan(samples, SMALL)
    frames = -(-samples // 1024)
    kept = [one.window[0] // 1024 + packet for one in plans for packet in range(*one.keep)]
    assert kept == list(range(frames + 1))
    assert [one.peaks[0] for one in plans] == [i * 30 * 1_024 for i in range(len(plans))]
    assert plans[-1].peaks[1] == samples


def test_peaks_follow_the_sound_that_is_heard(copy: WorkingCopy, tmp_path: Path) -> None:
    """The codec alters a sample by a few hundredths of full scale here; closed seconds are flat in both."""
    got: Rendition = render(copy.path, tmp_path / "a.m4a", [(1_000, 2_000)], recipe=SMALL)
    before = np.frombuffer(got.peaks, np.int8).reshape(-1, 2).astype(int)
    decoded = peaks_of(got.path).astype(int)
    assert before.shape == decoded.shape == (250, 2)
    assert np.abs(before - decoded).max() <= 13
    assert not before[50:100].any()
    assert not decoded[53:97].any()
