"""Peaks for drawing a waveform: 50 pairs (lowest, highest) a second, int8.

They are made from silenced samples or from a rendition, never from a master or working copy: peaks of the whole
would show the rhythm of the closed words.
"""

from __future__ import annotations

import numpy as np

from .spans import RATE_HZ

PEAKS_PER_S = 50
PEAK_SAMPLES = RATE_HZ // PEAKS_PER_S


def pcm_peaks(pcm: np.ndarray) -> np.ndarray:
    """Return the peaks of silenced samples, shape (channels, samples), int16 or int32, as (n, 2) int8.

    Full scale is -128 to 127; rounding is outward, so that any sound at all shows. The last pair may cover less.
    """
    low, high = _extremes(pcm.min(axis=0), pcm.max(axis=0))
    shift = 8 * pcm.dtype.itemsize - 8
    pairs = np.stack([low >> shift, -(-high >> shift)], axis=1)
    return np.clip(pairs, -128, 127).astype(np.int8)


def _extremes(low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    missing = -len(low) % PEAK_SAMPLES
    if missing:
        low, high = np.pad(low, (0, missing), mode="edge"), np.pad(high, (0, missing), mode="edge")
    return low.reshape(-1, PEAK_SAMPLES).min(axis=1), high.reshape(-1, PEAK_SAMPLES).max(axis=1)
