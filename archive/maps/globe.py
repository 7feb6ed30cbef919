"""Distances on a sphere with the earth's mean radius: good to half a percent on the ellipsoid."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

EARTH_KM = 6371.0088
"""Mean radius (IUGG 1980; Moritz, "Geodetic Reference System 1980", Bulletin Géodésique 54, 1980)."""


def distance_km(latitude_deg: ArrayLike, other_deg: ArrayLike, apart_deg: ArrayLike) -> NDArray[np.float64]:
    """Between points of two latitudes, `apart_deg` of longitude from one another, along a great circle.

    By the haversine formula (Sinnott, "Virtues of the Haversine", Sky and Telescope 68, 1984).
    """
    one, two, apart = (np.radians(np.asarray(each, dtype=np.float64)) for each in (latitude_deg, other_deg, apart_deg))
    half = np.sin((one - two) / 2) ** 2 + np.cos(one) * np.cos(two) * np.sin(apart / 2) ** 2
    found: NDArray[np.float64] = 2 * EARTH_KM * np.arcsin(np.minimum(1.0, np.sqrt(half)))
    return found
