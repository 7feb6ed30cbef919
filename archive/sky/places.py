"""Where the stars stand in any year from -10000 to +10000.

Frames
  icrs      the fixed frame of the catalogue; only the stars' own motion changes a place in it
  mean      mean equator and equinox of date (long-term precession, see ``frames``)
  true      mean plus nutation (IAU 2000B; 0.001 arcsec near 2000).  Beyond a few centuries the series'
            phases run off, so that a true place may be wrong by the whole nutation, at most 20 arcsec
  apparent  true plus annual parallax, bending of light by the Sun and annual aberration (20 arcsec): what an
            instrument points at, without refraction

Error: below 0.01 arcsec against Astropy with the same star data, 1950-2050 (the catalogue's own motions are good
to about 0.05); at +-10000 below 0.01 degree against a rigorous propagation of the same data, and what SOURCES.md
says for uncertain radial velocities.
"""

from collections.abc import Iterable

import numpy as np
from erfa import ufunc

from .bodies import earth_state
from .catalogue import Catalogue, load_catalogue
from .errors import SkyError
from .frames import aberrate, precession, star_vectors, true_matrix
from .times import check_year, epoch_of_jd, jd_of_epoch
from .vectors import ARCSEC, DEGREE, Floats, Ints, Number, as_floats, normalise, ra_dec, rotate

FRAMES = ("icrs", "mean", "true", "apparent")


def apparent_vectors(stars: Catalogue, rows: Ints, jd_tt: Number) -> Floats:
    """Apparent directions in ICRS axes, (..., k, 3), of catalogue rows: motion, parallax, bending, aberration."""
    earth, velocity = earth_state(jd_tt)
    fixed = star_vectors(stars, rows, epoch_of_jd(jd_tt))
    shift = earth[..., None, :] * (stars.parallax_mas[rows] * ARCSEC / 1000)[:, None]
    away = np.sqrt(np.einsum("...i,...i->...", earth, earth))
    bent = ufunc.ldsun(normalise(fixed - shift), (earth / away[..., None])[..., None, :], away[..., None])
    return aberrate(as_floats(bent), velocity[..., None, :])


def star_directions(hips: Iterable[int], year: float, frame: str = "mean",
                    stars: Catalogue | None = None) -> Floats:
    """Unit vectors (k, 3) of stars in one of FRAMES at a Julian epoch."""
    if frame not in FRAMES:
        raise SkyError(f"The frame {frame!r} is not known. Choose one of: {', '.join(FRAMES)}.")
    check_year(year)
    known = stars or load_catalogue()
    rows, jd_tt = known.indices(list(hips)), float(jd_of_epoch(year))
    fixed = apparent_vectors(known, rows, jd_tt) if frame == "apparent" else star_vectors(known, rows, year)
    if frame == "icrs":
        return fixed
    return rotate(precession(year) if frame == "mean" else true_matrix(jd_tt)[0], fixed)


def star_places(hips: Iterable[int], year: float, frame: str = "mean") -> tuple[Floats, Floats]:
    """Right ascension and declination in degrees, each (k,), of stars in one of FRAMES."""
    ra, dec = ra_dec(star_directions(hips, year, frame))
    return ra / DEGREE, dec / DEGREE


def apparent_of_date(rows: Ints, jd_tt: Number) -> tuple[Floats, Floats]:
    """Apparent right ascension and declination (..., k), radians, true equator of date, of catalogue rows."""
    seen = apparent_vectors(load_catalogue(), rows, jd_tt)
    return ra_dec(rotate(true_matrix(jd_tt)[0][..., None, :, :], seen))
