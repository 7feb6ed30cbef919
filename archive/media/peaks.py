"""Peaks for drawing a waveform: 50 pairs (lowest, highest) a second, int8.

They are made from silenced samples or from a rendition, never from a master or working copy: peaks of the whole
would show the rhythm of the closed words.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from .decode import sound_blocks
from .spans import RATE_HZ

PEAKS_PER_S = 50
PEAK_SAMPLES = RATE_HZ // PEAKS_PER_S
_BLOCK_PEAKS = 250


def peaks_of(rendition_path: Path | str) -> np.ndarray:
    """Return the peaks of a rendition, shape (n, 2), int8.

    Any other file is refused: MediaError("not_rendition"). `rendition.render` gives peaks without decoding.
    """
    blocks = sound_blocks(rendition_path, _BLOCK_PEAKS * PEAK_SAMPLES, only_rendition=True)
    parts = [_float_peaks(block) for block in blocks]
    return np.concatenate(parts) if parts else np.zeros((0, 2), np.int8)


def pcm_peaks(pcm: np.ndarray) -> np.ndarray:
    """Return the peaks of silenced samples, shape (channels, samples), int16 or int32, as (n, 2) int8.

    Full scale is -128 to 127; rounding is outward, so that any sound at all shows. The last pair may cover less.
    """
    low, high = _extremes(*_over_channels(pcm))
    step = 2 ** (8 * pcm.dtype.itemsize - 8)
    return _pairs(np.floor(low / step), np.ceil(high / step))


def _float_peaks(sound: np.ndarray) -> np.ndarray:
    low, high = _extremes(*_over_channels(sound))
    return _pairs(np.floor(low * 128), np.ceil(high * 128))


def _over_channels(sound: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    if len(sound) == 1:
        return sound[0], sound[0]
    return sound.min(axis=0), sound.max(axis=0)


def _pairs(low: np.ndarray, high: np.ndarray) -> np.ndarray:
    pairs: np.ndarray = np.clip(np.stack([low, high], axis=1), -128, 127).astype(np.int8)
    return pairs


def _extremes(low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    missing = -len(low) % PEAK_SAMPLES
    if missing:
        low, high = np.pad(low, (0, missing), mode="edge"), np.pad(high, (0, missing), mode="edge")
    return low.reshape(-1, PEAK_SAMPLES).min(axis=1), high.reshape(-1, PEAK_SAMPLES).max(axis=1)
