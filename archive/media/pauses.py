"""Pauses in talk, as suggestions for where to cut. An archivist decides; nothing is cut by itself.

Method (common practice, no source): energy between 150 and 3500 Hz every 20 ms, compared with a floor that follows
the recording's own noise, with two thresholds so that a pause does not flicker. Breaths and clicks below 80 ms do not
end a pause. The list shows the rhythm of speech: made from a working copy it is for those who may hear all of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np

from .decode import sound_blocks
from .spans import RATE_HZ

STEP_MS = 20
_DECIMATION = 3
_STEP_SAMPLES = RATE_HZ // _DECIMATION * STEP_MS // 1000
_BINS = slice(3, 71)
"""150 to 3500 Hz in steps of 50 Hz, one step being a 20 ms window's resolution."""
_BLOCK_SAMPLES = 20 * RATE_HZ
_SILENCE_DB = -100.0
_STEPS_PER_S = 1000 // STEP_MS
_FLOOR_HALF_WIDTH_S = 10
_SHORTEST_SOUND_STEPS = 4
_WINDOW = np.hanning(_STEP_SAMPLES).astype(np.float32)


class Pause(NamedTuple):
    """A stretch without talk, [start_ms, end_ms)."""

    start_ms: int
    end_ms: int


def find_pauses(path: Path | str, shortest_ms: int = 700) -> list[Pause]:
    """Return the pauses of at least `shortest_ms` in a working copy or rendition, in order.

    Edges are good to about 40 ms. Raises MediaError("damaged").
    """
    levels = [band_levels_db(block) for block in sound_blocks(path, _BLOCK_SAMPLES)]
    return pauses_in(np.concatenate(levels), shortest_ms) if levels else []


def band_levels_db(sound: np.ndarray) -> np.ndarray:
    """Return the level between 150 and 3500 Hz every 20 ms, in dB, of sound of shape (channels, samples).

    Three samples are averaged into one first: what folds down from above 8 kHz is weak in speech.
    """
    mono = sound[0] if len(sound) == 1 else sound.mean(axis=0)
    mono = np.pad(mono, (0, -len(mono) % (_DECIMATION * _STEP_SAMPLES)))
    thin = (mono[::3] + mono[1::3] + mono[2::3]) / np.float32(3)
    spectrum = np.fft.rfft(thin.reshape(-1, _STEP_SAMPLES) * _WINDOW, axis=1)[:, _BINS]
    power = np.einsum("ij,ij->i", spectrum.real, spectrum.real) + np.einsum("ij,ij->i", spectrum.imag, spectrum.imag)
    return np.asarray(10 * np.log10(power / _STEP_SAMPLES**2 + 1e-12), np.float32)


def pauses_in(levels_db: np.ndarray, shortest_ms: int) -> list[Pause]:
    """Return the pauses in levels that are 20 ms apart."""
    if not len(levels_db):
        return []
    is_talk = _without_short_sounds(_is_talk(levels_db))
    runs = ((start * STEP_MS, end * STEP_MS) for start, end in _runs(~is_talk))
    return [Pause(start, end) for start, end in runs if end - start >= shortest_ms]


def _is_talk(levels_db: np.ndarray) -> np.ndarray:
    """Say for each step whether someone talks; between the two thresholds the last answer holds."""
    smooth = np.convolve(np.pad(levels_db, 1, mode="edge"), np.full(3, 1 / 3, np.float32), mode="valid")
    floor, span = _floor_and_span(smooth)
    loud = smooth > floor + np.maximum(6.0, 0.40 * span)
    quiet = smooth < floor + np.maximum(4.0, 0.30 * span)
    decided = np.where(loud | quiet, np.arange(len(smooth)), 0)
    return np.asarray(loud[np.maximum.accumulate(decided)])


def _floor_and_span(levels_db: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the noise floor and the height of talk above it, for each step, from the 10 s on either side.

    Where noise rises for good, pauses in the first 10 s of it are missed. Digital silence is no noise floor: it is
    left out, or a closed span would make all noise around it look like talk.
    """
    seconds = -(-len(levels_db) // _STEPS_PER_S)
    grid = np.full(seconds * _STEPS_PER_S, np.nan, np.float32)
    grid[: len(levels_db)] = np.where(levels_db > _SILENCE_DB, levels_db, np.nan)
    low, high = _seconds_range(grid.reshape(seconds, _STEPS_PER_S))
    floor = _around(low, np.inf).min(axis=1)
    top = _around(high, -np.inf).max(axis=1)
    floor[~np.isfinite(floor)] = _SILENCE_DB
    span = np.where(np.isfinite(top), top - floor, 0.0)
    return np.repeat(floor, _STEPS_PER_S)[: len(levels_db)], np.repeat(span, _STEPS_PER_S)[: len(levels_db)]


def _seconds_range(grid: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return a low and a high level for each second, infinite where there is only silence."""
    ordered = np.sort(grid, axis=1)  # nan goes last
    count = np.sum(~np.isnan(grid), axis=1)
    rows = np.arange(len(grid))
    low = ordered[rows, np.minimum(count // 10, _STEPS_PER_S - 1)]
    high = ordered[rows, np.maximum(count * 9 // 10 - 1, 0)]
    return np.where(count > 0, low, np.inf), np.where(count > 0, high, -np.inf)


def _around(values: np.ndarray, beyond: float) -> np.ndarray:
    """Return, for each second, the values of the seconds around it."""
    padded = np.pad(values, _FLOOR_HALF_WIDTH_S, constant_values=beyond)
    return np.lib.stride_tricks.sliding_window_view(padded, 2 * _FLOOR_HALF_WIDTH_S + 1)


def _without_short_sounds(is_talk: np.ndarray) -> np.ndarray:
    steady = is_talk.copy()
    for start, end in _runs(is_talk):
        if end - start < _SHORTEST_SOUND_STEPS:
            steady[start:end] = False
    return steady


def _runs(flags: np.ndarray) -> Iterator[tuple[int, int]]:
    """Yield [start, end) of every run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    return zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
