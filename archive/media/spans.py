"""Closed spans as arithmetic: merging, cutting to a clip, and silencing them in PCM.

Times are integer milliseconds, half-open [start, end). At 48 kHz one millisecond is exactly 48 samples, so no
rounding happens between a span's milliseconds and its samples.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from .errors import MediaError

RATE_HZ = 48_000
SAMPLES_PER_MS = RATE_HZ // 1000
FADE_MS = 5
FADE_SAMPLES = FADE_MS * SAMPLES_PER_MS
"""5 ms on each side of a closed span are altered: long enough not to click, short enough not to be missed."""
GUARD_SAMPLES = 120
"""The 2.5 ms next to the span are silent too. A resampler smears each sample over its filter: 16 input samples
either way in libswresample's default (filter_size 32), which is 2 ms for an 8 kHz master. Without the guard a trace
of the closed sound would pass through the fade."""

Spans = list[tuple[int, int]]


def merge(closed: Iterable[tuple[int, int]]) -> Spans:
    """Return spans sorted, with overlapping and adjoining ones joined and empty ones dropped.

    Raises MediaError("bad_span") for a negative or reversed span.
    """
    merged: Spans = []
    for start, end in sorted(closed):
        if start < 0 or end < start:
            raise MediaError(f"The closed span {start}-{end} ms is reversed or negative; mend its times.", "bad_span")
        if start == end:
            continue
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((start, end))
    return merged


def cut_to(closed: Iterable[tuple[int, int]], start_ms: int, end_ms: int | None) -> Spans:
    """Return the merged spans that alter [start_ms, end_ms), counted from start_ms.

    A span right beside the stretch alters it too, by its guard and fade: else the clip would keep what the resampler
    smeared over its edge, and sound other than the whole does there. Of a span, up to 5 ms outside the stretch are
    kept, so a start may be negative.
    """
    merged = merge(closed)
    stretch_end = end_ms if end_ms is not None else max((end for _, end in merged), default=0)
    near = ((max(a, start_ms - FADE_MS) - start_ms, min(b, stretch_end + FADE_MS) - start_ms) for a, b in merged)
    return [(a, b) for a, b in near if a < b]


def touches(closed_samples: Sequence[tuple[int, int]], start: int, stop: int) -> bool:
    """Say whether silencing would alter any sample in [start, stop)."""
    return any(a - FADE_SAMPLES < stop and start < b + FADE_SAMPLES for a, b in closed_samples)


def covers(closed_samples: Sequence[tuple[int, int]], start: int, stop: int) -> bool:
    """Say whether silencing leaves nothing but zeros in [start, stop)."""
    return any(a - GUARD_SAMPLES <= start and stop <= b + GUARD_SAMPLES for a, b in closed_samples)


def to_samples(closed_ms: Iterable[tuple[int, int]]) -> Spans:
    """Return spans in samples at 48 kHz."""
    return [(a * SAMPLES_PER_MS, b * SAMPLES_PER_MS) for a, b in closed_ms]


def silence(pcm: np.ndarray, first_sample: int, closed_samples: Sequence[tuple[int, int]]) -> np.ndarray:
    """Return a copy of `pcm` with the closed spans at exact zero.

    pcm: shape (channels, samples), int16 or int32 (24-bit sound in the upper bits); its first column is sample
    number `first_sample`. A faded sample is rounded to the sound's own depth, so that the result could have been
    recorded that way.
    """
    quiet = pcm.copy()
    step = 1 if pcm.dtype == np.int16 else 256
    for a, b in closed_samples:
        lo, hi = max(a - FADE_SAMPLES - first_sample, 0), min(b + FADE_SAMPLES - first_sample, pcm.shape[1])
        if lo >= hi:
            continue
        gain = _gain(np.arange(lo, hi) + first_sample, a, b)
        quiet[:, lo:hi] = np.rint(quiet[:, lo:hi] * gain / step) * step
    return quiet


def _gain(samples: np.ndarray, a: int, b: int) -> np.ndarray:
    """Return 0 inside [a - guard, b + guard), rising in a straight line to 1 at the end of each fade."""
    outside = np.maximum(a - samples, samples - b + 1)
    gain: np.ndarray = np.clip((outside - GUARD_SAMPLES) / (FADE_SAMPLES - GUARD_SAMPLES + 1), 0.0, 1.0)
    return gain
