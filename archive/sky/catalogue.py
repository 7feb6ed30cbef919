"""The star list as arrays, loaded once.

Source: van Leeuwen (2007), mended; see ``fixtures/sky/SOURCES.md``.  Places are ICRS at epoch 1991.25.
"""

import csv
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from .errors import SkyError
from .vectors import DEGREE, MAS, Floats, Ints, separation, tangents, unit

CATALOGUE_EPOCH = 1991.25
KM_S_PER_AU_YR = 4.740470446
"""Astronomical unit per Julian year in km/s (IAU 2012 astronomical unit)."""

DATA_FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "sky"


@dataclass(frozen=True)
class StarName:
    """A star's names; ``name`` is the IAU-approved one where there is one, ``others`` further ones."""

    name: str
    designation: str
    others: tuple[str, ...] = ()


@dataclass(frozen=True)
class Catalogue:
    """n stars sorted by Hipparcos number.  ``position`` (n, 3) unit vectors; ``motion`` (n, 3) rad/yr."""

    hip: Ints
    position: Floats
    motion: Floats
    parallax_mas: Floats
    hp_mag: Floats
    v_mag: Floats
    b_v: Floats
    names: dict[int, StarName]

    @cached_property
    def listed(self) -> frozenset[int]:
        """The Hipparcos numbers of all stars of the list."""
        return frozenset(self.hip.tolist())

    def indices(self, hips: npt.ArrayLike) -> Ints:
        """Row numbers of stars; a SkyError names every number that is not in the list."""
        asked = np.atleast_1d(np.asarray(hips, dtype=np.int64))
        at = np.clip(np.searchsorted(self.hip, asked), 0, len(self.hip) - 1)
        missing = asked[self.hip[at] != asked]
        if missing.size:
            listed = ", ".join(f"HIP {n}" for n in missing[:10])
            raise SkyError(f"Not in the star list: {listed}. It holds the {len(self.hip)} Hipparcos stars "
                           "down to magnitude 6.5; check the number, or choose a brighter star.")
        return at.astype(np.int64)

    def brighter(self, v_limit: float) -> Ints:
        """Row numbers of stars with V at most ``v_limit``, brightest first."""
        rows = np.flatnonzero(self.v_mag <= v_limit)
        return rows[np.argsort(self.v_mag[rows], kind="stable")].astype(np.int64)

    def label(self, hip: int) -> str:
        """A short name for people: proper name, else designation, else "HIP n"."""
        known = self.names.get(int(hip))
        return (known.name or known.designation) if known else f"HIP {int(hip)}"


def _read_columns(path: Path) -> dict[str, list[str]]:
    if not path.is_file():
        raise SkyError(f"The star list {path} is missing. Restore it, or build it anew with "
                       "python -m archive.sky.build_catalogue.")
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {key: [row[key] for row in rows] for key in rows[0]}


def _read_names(path: Path) -> dict[int, StarName]:
    found: dict[int, list[dict[str, str]]] = {}
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            found.setdefault(int(row["hip"]), []).append(row)
    out = {}
    for hip, rows in found.items():
        rows.sort(key=lambda row: row["status"] != "approved")
        out[hip] = StarName(rows[0]["name"], rows[0]["designation"], tuple(row["name"] for row in rows[1:]))
    return out


def _numbers(texts: list[str]) -> Floats:
    return np.array([float(text) if text else 0.0 for text in texts])


def space_motion(ra_rad: Floats, dec_rad: Floats, pm_ra: Floats, pm_dec: Floats, plx_mas: Floats,
                 rv_km_s: Floats) -> Floats:
    """Motion vectors in rad/yr: the tangential motion plus the change of distance along the line of sight.

    ``pm_ra`` (with cos dec) and ``pm_dec`` in mas/yr.  Standard model of uniform space motion (ESA SP-1200,
    1997, volume 1, section 1.5.5), parallax in mas, radial velocity in km/s.
    """
    east, north = tangents(ra_rad, dec_rad)
    outward = rv_km_s * plx_mas * MAS / KM_S_PER_AU_YR
    along = east * (pm_ra * MAS)[:, None] + north * (pm_dec * MAS)[:, None]
    return along + unit(ra_rad, dec_rad) * outward[:, None]


@lru_cache(maxsize=4)
def load_catalogue(folder: Path = DATA_FOLDER) -> Catalogue:
    """The star list from ``stars.csv`` and ``star_names.csv`` in a folder; read once and kept."""
    text = _read_columns(folder / "stars.csv")
    ra, dec, plx = (_numbers(text[k]) for k in ("ra_rad", "dec_rad", "plx_mas"))
    motion = space_motion(ra, dec, _numbers(text["pm_ra_mas_yr"]), _numbers(text["pm_dec_mas_yr"]), plx,
                          _numbers(text["rv_km_s"]))
    return Catalogue(np.array([int(h) for h in text["hip"]], dtype=np.int64), unit(ra, dec), motion, plx,
                     _numbers(text["hp_mag"]), _numbers(text["v_mag"]), _numbers(text["b_v"]),
                     _read_names(folder / "star_names.csv"))


def separation_deg(hip_a: int, hip_b: int) -> float:
    """Angle in degrees between two stars of the list at epoch 1991.25."""
    stars = load_catalogue()
    a, b = stars.indices([hip_a, hip_b])
    return float(separation(stars.position[a], stars.position[b]) / DEGREE)
