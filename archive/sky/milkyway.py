"""The Milky Way as a smooth band about the computed galactic equator.

A model, not a survey: the band's half width is 7 + 5 cos**2(l/2) degrees at galactic longitude l (7 degrees
toward Auriga, 12 toward the centre in Sagittarius), and three nested strips stand for its brightening
toward the middle.  The dark rift and the separate clouds are not drawn.  The shape was chosen by eye to be
near what the naked eye sees; no published surface photometry was used.
"""

import numpy as np
from erfa import ufunc

from .vectors import DEGREE, Floats, as_floats, unit

STRIPS = (1.0, 0.6, 0.28)
"""Half widths of the nested strips as shares of the whole band, widest (faintest) first."""


def half_width_deg(longitude_deg: Floats) -> Floats:
    """Half width of the band in degrees of galactic latitude."""
    return 7 + 5 * np.cos(longitude_deg / 2 * DEGREE) ** 2


def galactic_to_icrs(longitude_deg: Floats, latitude_deg: Floats) -> Floats:
    """ICRS unit vectors of galactic coordinates (ERFA ``g2icrs``; Hipparcos definition, ESA SP-1200)."""
    ra, dec = ufunc.g2icrs(as_floats(longitude_deg) * DEGREE, as_floats(latitude_deg) * DEGREE)
    return unit(as_floats(ra), as_floats(dec))


def band_edges(share: float, step_deg: float = 4.0) -> tuple[Floats, Floats]:
    """ICRS vectors of the two edges of a strip, each (n + 1, 3), from l = 0 round to l = 360."""
    longitude = np.arange(0, 360 + step_deg / 2, step_deg)
    half = share * half_width_deg(longitude)
    return galactic_to_icrs(longitude, half), galactic_to_icrs(longitude, -half)
