"""Sounds of twin archives, and the file they are brought in as."""

from __future__ import annotations

import wave
from pathlib import Path

import numpy as np

from archive.access.spans import Span, overlaps
from archive.media.spans import FADE_MS, RATE_HZ, SAMPLES_PER_MS, silence, to_samples

from .twin import Plan, number_of


def tones(plan: Plan, key: str) -> np.ndarray:
    """Shape (1, samples), int16: a tone for the whole recording and another for each stretch."""
    times_s = np.arange(plan.by_key[key].end_ms * SAMPLES_PER_MS) / RATE_HZ
    pcm = 5000 * np.sin(2 * np.pi * _hertz(key) * times_s)
    for thing in plan.inside(key):
        within = slice(thing.start_ms * SAMPLES_PER_MS, thing.end_ms * SAMPLES_PER_MS)
        pcm[within] += 5000 * np.sin(2 * np.pi * _hertz(thing.key) * times_s[within])
    return pcm.astype(np.int16)[np.newaxis, :]


def _hertz(key: str) -> float:
    return 300.0 + number_of(key) % 4000


def noise(key: str, length_ms: int) -> np.ndarray:
    rng = np.random.default_rng(number_of(key))
    return rng.integers(-9000, 9000, (1, length_ms * SAMPLES_PER_MS), dtype=np.int16)


def without(pcm: np.ndarray, gone: list[Span], closed: list[Span]) -> np.ndarray:
    """The sound silent where things are missing, as the gate would leave it beside what it closes anyway.

    Where both end together the gate fades the edge: here it has not been faded yet.
    """
    found = silence(pcm, 0, to_samples(gone))
    edges = {edge for span in closed for edge in span} & {edge for span in gone for edge in span}
    for edge in edges:
        for part in ((edge - FADE_MS, edge), (edge, edge + FADE_MS)):
            if not overlaps(*part, gone):
                within = slice(max(0, part[0]) * SAMPLES_PER_MS, part[1] * SAMPLES_PER_MS)
                found[:, within] = pcm[:, within]
    return found


def write_wave(path: Path, pcm: np.ndarray) -> None:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes(pcm.astype("<i2").tobytes())
