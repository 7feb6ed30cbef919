"""Directions as unit vectors, and angles between them.

Arrays broadcast; the last axis of a vector array has length 3.  Angles are radians unless a name says
otherwise; right ascension runs 0 to 2 pi.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]
Number = float | Floats

TAU = 2 * np.pi
DEGREE = np.pi / 180
ARCSEC = DEGREE / 3600
MAS = ARCSEC / 1000


def as_floats(value: Any) -> Floats:
    """Anything array-like as float64."""
    return np.asarray(value, dtype=np.float64)


def unit(ra_rad: Number, dec_rad: Number) -> Floats:
    """Unit vectors, shape (..., 3), from spherical coordinates."""
    ra, dec = np.broadcast_arrays(as_floats(ra_rad), as_floats(dec_rad))
    return np.stack([np.cos(dec) * np.cos(ra), np.cos(dec) * np.sin(ra), np.sin(dec)], axis=-1)


def ra_dec(vector: Floats) -> tuple[Floats, Floats]:
    """Spherical coordinates (0..2 pi, -pi/2..pi/2) of vectors of any length."""
    x, y, z = vector[..., 0], vector[..., 1], vector[..., 2]
    return np.arctan2(y, x) % TAU, np.arctan2(z, np.hypot(x, y))


def normalise(vector: Floats) -> Floats:
    """The same directions with length 1."""
    length: Floats = np.sqrt(np.einsum("...i,...i->...", vector, vector))
    return as_floats(vector / length[..., None])


def rotate(matrix: Floats, vector: Floats) -> Floats:
    """Matrices (..., 3, 3) applied to vectors (..., 3), broadcasting the leading axes."""
    return as_floats(np.einsum("...ij,...j->...i", matrix, vector))


def rotate_back(matrix: Floats, vector: Floats) -> Floats:
    """The inverse rotation: transposed matrices applied to vectors."""
    return as_floats(np.einsum("...ji,...j->...i", matrix, vector))


def separation(a: Floats, b: Floats) -> Floats:
    """Angle in radians between directions; exact for small angles too (atan2 of cross and dot)."""
    cross = np.cross(a, b)
    dot = np.einsum("...i,...i->...", a, b)
    return as_floats(np.arctan2(np.sqrt(np.einsum("...i,...i->...", cross, cross)), dot))


def wrap(angle_rad: Number) -> Floats:
    """Angles brought into -pi (included) to pi (excluded)."""
    return (as_floats(angle_rad) + np.pi) % TAU - np.pi


def runs(flags: Flags) -> list[tuple[int, int]]:
    """Stretches of true positions along one axis: first, and the one after the last."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8))).tolist()
    return list(zip(edges[::2], edges[1::2], strict=True))


def tangents(ra_rad: Floats, dec_rad: Floats) -> tuple[Floats, Floats]:
    """Unit vectors pointing east and north on the sky at the given places, each (..., 3)."""
    sin_ra, cos_ra, sin_dec, cos_dec = np.sin(ra_rad), np.cos(ra_rad), np.sin(dec_rad), np.cos(dec_rad)
    east = np.stack([-sin_ra, cos_ra, np.zeros_like(ra_rad)], axis=-1)
    north = np.stack([-sin_dec * cos_ra, -sin_dec * sin_ra, cos_dec], axis=-1)
    return east, north
