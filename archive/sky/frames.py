"""The turning of the sky: precession, nutation, the poles and the ecliptic in any year, and aberration.

The long-term precession of Vondrak, Capitaine & Wallace, A&A 534, A22 (2011), as ERFA's ``ltpb``, ``ltpequ``,
``ltpecl``, ``ltecm``; it agrees with IAU 2006 to a milliarcsecond near 2000.  Years are Julian epochs (TT);
2000.0 is JD 2451545.0.
"""

from dataclasses import dataclass

import numpy as np
from erfa import ufunc

from .catalogue import CATALOGUE_EPOCH, Catalogue, load_catalogue
from .times import check_year
from .vectors import (
    DEGREE,
    Floats,
    Ints,
    Number,
    as_floats,
    normalise,
    ra_dec,
    separation,
)

POLE_REACH = 15000
"""The pole and its path are given for more years than places of stars (years -POLE_REACH..+POLE_REACH)."""
DAYS_PER_LIGHT_AU = 499.004782 / 86400


@dataclass(frozen=True)
class Pole:
    """A pole of the sky in one year; right ascension and declination are ICRS, in degrees."""

    year: float
    ra_deg: float
    dec_deg: float
    obliquity_deg: float
    ecliptic_ra_deg: float
    ecliptic_dec_deg: float


@dataclass(frozen=True)
class NearStar:
    """A star near a pole."""

    hip: int
    name: str
    separation_deg: float
    hp_mag: float
    v_mag: float


def star_vectors(stars: Catalogue, rows: Ints, year: Number) -> Floats:
    """ICRS unit vectors of catalogue rows at Julian epochs, from uniform space motion.

    ``year`` a number gives (k, 3); years of shape (m,) give (m, k, 3).  The model's own error against a
    rigorous propagation (light-time of the motion left out) is at most 3 arcsec over 12,000 years.
    """
    elapsed = as_floats(year) - CATALOGUE_EPOCH
    position, motion = stars.position[rows], stars.motion[rows]
    return normalise(position + elapsed[..., None, None] * motion)


def precession(year: Number) -> Floats:
    """Rotation ICRS -> mean equator and equinox of date, shape (..., 3, 3): ERFA ``ltpb``."""
    return as_floats(ufunc.ltpb(as_floats(year)))


def ecliptic_matrix(year: Number) -> Floats:
    """Rotation ICRS -> mean ecliptic and equinox of date: ERFA ``ltecm``."""
    return as_floats(ufunc.ltecm(as_floats(year)))


def obliquity(year: Number) -> Floats:
    """Mean obliquity of date in radians: the angle between ``ltpequ`` and ``ltpecl``."""
    return separation(as_floats(ufunc.ltpequ(as_floats(year))), as_floats(ufunc.ltpecl(as_floats(year))))


def nutation(jd_tt: Number) -> tuple[Floats, Floats]:
    """Nutation in longitude and in obliquity, radians (IAU 2000B)."""
    jd = as_floats(jd_tt)
    whole = np.floor(jd)
    d_psi, d_eps = ufunc.nut00b(whole, jd - whole)
    return as_floats(d_psi), as_floats(d_eps)


def true_matrix(jd_tt: Number) -> tuple[Floats, Floats]:
    """Rotation ICRS -> true equator and equinox of date, and the equation of the equinoxes (radians)."""
    jd = as_floats(jd_tt)
    year = 2000.0 + (jd - 2451545.0) / 365.25
    eps = obliquity(year)
    d_psi, d_eps = nutation(jd)
    matrix = np.einsum("...ij,...jk->...ik", as_floats(ufunc.numat(eps, d_psi, d_eps)), precession(year))
    whole = np.floor(jd)
    complement = as_floats(ufunc.eect00(whole, jd - whole))
    return matrix, d_psi * np.cos(eps) + np.where(np.abs(year - 2000) < 1000, complement, 0.0)


def aberrate(direction: Floats, velocity_au_day: Floats) -> Floats:
    """Directions turned toward the observer's motion (annual aberration, special relativity; as ERFA ``ab``
    without the Sun's potential, 0.4 microarcsec).
    """
    beta = velocity_au_day * DAYS_PER_LIGHT_AU
    inverse_gamma = np.sqrt(1 - np.einsum("...i,...i->...", beta, beta))
    along = np.einsum("...i,...i->...", direction, np.broadcast_to(beta, direction.shape))
    scale = 1 + along / (1 + inverse_gamma)
    return normalise(direction * inverse_gamma[..., None] + beta * scale[..., None])


def celestial_pole(year: Number, south: bool = False) -> Floats:
    """ICRS unit vector of the mean celestial pole of date, (..., 3): the third row of ``ltpb``."""
    vector = precession(year)[..., 2, :]
    return -vector if south else vector


def ecliptic_pole(year: Number) -> Floats:
    """ICRS unit vector of the north pole of the mean ecliptic of date: the third row of ``ltecm``."""
    return ecliptic_matrix(year)[..., 2, :]


def pole(year: float, south: bool = False) -> Pole:
    """The celestial pole, the ecliptic pole of the same side, and the obliquity in one year."""
    check_year(year, POLE_REACH)
    sign = -1.0 if south else 1.0
    ra, dec = ra_dec(celestial_pole(year, south))
    ecl_ra, ecl_dec = ra_dec(sign * ecliptic_pole(year))
    return Pole(float(year), *(float(x / DEGREE) for x in (ra, dec, obliquity(year), ecl_ra, ecl_dec)))


def pole_path(years: Number, south: bool = False) -> tuple[Floats, Floats]:
    """ICRS right ascension and declination in degrees of the pole in each year (the computed path)."""
    asked = as_floats(years)
    if asked.size:
        check_year(float(asked.min()), POLE_REACH)
        check_year(float(asked.max()), POLE_REACH)
    ra, dec = ra_dec(celestial_pole(asked, south))
    return ra / DEGREE, dec / DEGREE


def nearest_to_pole(year: float, hp_limit: float = 4.0, count: int = 5,
                    south: bool = False) -> list[NearStar]:
    """Stars with Hp at most ``hp_limit`` nearest to the mean celestial pole of date, nearest first.

    Which star is "the pole star" depends on the limit, so show the limit beside the answer.
    """
    check_year(year, POLE_REACH)
    stars = load_catalogue()
    rows = np.flatnonzero(stars.hp_mag <= hp_limit)
    away = separation(star_vectors(stars, rows, year), celestial_pole(year, south)) / DEGREE
    order = np.argsort(away, kind="stable")[:count]
    return [NearStar(int(stars.hip[rows[i]]), stars.label(int(stars.hip[rows[i]])), float(away[i]),
                     float(stars.hp_mag[rows[i]]), float(stars.v_mag[rows[i]])) for i in order]
