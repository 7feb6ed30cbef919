"""Pause finding on made-up talk whose pauses are known, clean and in noise (no published source: common practice)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from archive.media.pauses import Pause, find_pauses, pauses_in
from archive.media.rendition import render
from archive.media.working import make_working_copy
from tests.media_sounds import RATE_HZ, as_24_bit, voice, write_pcm

EDGE_MS = 80
"""Four steps of 20 ms: levels are smoothed over three, and a step is the resolution."""


def phrase(seconds: float, seed: int) -> np.ndarray:
    """Talk that is loud from its first to its last sample."""
    talk = voice(seconds, seed)
    knock = np.sin(2 * np.pi * 300 * np.arange(len(talk)) / RATE_HZ)
    return talk + 0.1 * knock


def told(lengths_s: list[float], snr_db: float, seed: int = 1) -> tuple[np.ndarray, list[Pause]]:
    """Return phrases with pauses of these lengths between them, in noise, and where the pauses are."""
    rng = np.random.default_rng(seed)
    parts, true, at_ms = [phrase(1.5, 0)], [], 1_500
    for number, length in enumerate(lengths_s):
        parts += [np.zeros(round(length * RATE_HZ)), phrase(1.5, number + 1)]
        true.append(Pause(at_ms, at_ms + round(length * 1_000)))
        at_ms = true[-1].end_ms + 1_500
    sound = np.concatenate(parts)
    power = np.mean(parts[0] ** 2)
    noise = rng.normal(0, np.sqrt(power * 10 ** (-snr_db / 10)), len(sound))
    return np.clip(sound + noise, -1, 1) * 0.5, true


def found_in(sound: np.ndarray, folder: Path, shortest_ms: int = 700) -> list[Pause]:
    copy = make_working_copy(write_pcm(folder / "a.wav", as_24_bit(sound)), folder / "a.flac")
    return find_pauses(copy.path, shortest_ms)


def assert_same(found: list[Pause], true: list[Pause]) -> None:
    assert len(found) == len(true)
    for one, other in zip(found, true, strict=True):
        assert abs(one.start_ms - other.start_ms) <= EDGE_MS
        assert abs(one.end_ms - other.end_ms) <= EDGE_MS


@pytest.mark.parametrize("snr_db", [60, 30, 17])
def test_every_pause_is_found_and_no_other(tmp_path: Path, snr_db: float) -> None:
    sound, true = told([0.8, 1.0, 2.5, 0.75, 5.0, 1.2], snr_db)
    assert_same(found_in(sound, tmp_path), true)


def test_shorter_pauses_are_left_out(tmp_path: Path) -> None:
    sound, true = told([0.4, 1.0, 0.4], 30)
    assert_same(found_in(sound, tmp_path), true[1:2])
    assert_same(found_in(sound, tmp_path, 300), true)


def test_hum_and_rumble_do_not_hide_a_pause(tmp_path: Path) -> None:
    """50 Hz hum and 30 Hz rumble, louder than the talk, lie outside 150 to 3500 Hz."""
    sound, true = told([1.0, 2.0], 40)
    time = np.arange(len(sound)) / RATE_HZ
    loud = 0.3 * np.sin(2 * np.pi * 50 * time) + 0.15 * np.sin(2 * np.pi * 30 * time)
    assert_same(found_in(np.clip(sound / 2 + loud, -1, 1), tmp_path), true)


def test_a_floor_that_rises_halfway_is_followed(tmp_path: Path) -> None:
    """Someone starts a generator: 10 s later the pauses in its noise, 25 dB up, are found like those before it."""
    quiet, first = told([1.0] * 12, 50)
    noisy, second = told([1.0] * 12, 25, seed=2)
    change_ms = round(len(quiet) / 48)
    true = [Pause(a + change_ms, b + change_ms) for a, b in second if a > 10_000]
    found = found_in(np.concatenate([quiet, noisy]), tmp_path)
    assert_same([one for one in found if one.end_ms < change_ms], first)
    assert_same([one for one in found if one.start_ms > change_ms + 10_000], true)


def test_a_click_does_not_end_a_pause(tmp_path: Path) -> None:
    sound, true = told([2.0], 50)
    middle = (true[0].start_ms + 1_000) * 48
    sound[middle : middle + 480] = 0.5
    assert_same(found_in(sound, tmp_path), true)


def test_silence_alone_is_one_pause_and_nothing_gives_none(tmp_path: Path) -> None:
    assert found_in(np.zeros(RATE_HZ * 3), tmp_path) == [Pause(0, 3_000)]
    assert pauses_in(np.zeros(0), 700) == []


def test_pauses_of_a_rendition_tell_nothing_of_what_was_closed(tmp_path: Path) -> None:
    sound, true = told([1.0, 1.0, 1.0, 1.0], 40)
    copy = make_working_copy(write_pcm(tmp_path / "a.wav", as_24_bit(sound)), tmp_path / "a.flac")
    closed = (true[1].start_ms - 800, true[2].end_ms + 400)
    found = find_pauses(render(copy.path, tmp_path / "a.m4a", [closed]).path)
    assert_same(found, [true[0], Pause(*closed), true[3]])
