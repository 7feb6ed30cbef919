"""What the sky tests share: the star data as other libraries want it, and an Earth for Skyfield without downloads."""

import csv
from collections.abc import Callable
from typing import Any

import numpy as np
from erfa import ufunc
from skyfield.api import Star, wgs84
from skyfield.vectorlib import VectorFunction

from archive.sky.catalogue import DATA_FOLDER
from archive.sky.vectors import Floats

UNIX_JD = 2440587.5


def star_columns() -> dict[str, Floats]:
    """The star list's columns as written in the file, blanks as 0."""
    with (DATA_FOLDER / "stars.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {key: np.array([float(row[key] or 0) for row in rows]) for key in rows[0]}


def utc_jd(times: Any) -> list[float]:
    """Julian dates (UTC) of Skyfield times."""
    return [moment.timestamp() / 86400 + UNIX_JD for moment in times.utc_datetime()]


class Moving(VectorFunction):
    """A Skyfield body whose place and speed (au, au/day, barycentric) come from a function of TDB days."""

    def __init__(self, number: int, state: Callable[[Floats], tuple[Floats, Floats]]) -> None:
        self.center, self.target, self.state = 0, number, state

    def _at(self, t: Any) -> tuple[Any, Any, None, None]:
        position, velocity = self.state(np.atleast_1d(t.tdb))
        if np.ndim(t.tdb) == 0:
            position, velocity = position[:, 0], velocity[:, 0]
        return position, velocity, None, None


def erfa_earth(jd: Floats) -> tuple[Floats, Floats]:
    """The Earth's barycentric state (3, n) from ERFA ``epv00``."""
    _, bary, _ = ufunc.epv00(np.floor(jd), jd - np.floor(jd))
    return bary["p"].T, bary["v"].T


def erfa_sun(jd: Floats) -> tuple[Floats, Floats]:
    """The Sun's barycentric state (3, n) from ERFA ``epv00``."""
    helio, bary, _ = ufunc.epv00(np.floor(jd), jd - np.floor(jd))
    return (bary["p"] - helio["p"]).T, (bary["v"] - helio["v"]).T


def drawn_stars(scale: Any, seed: int, count: int) -> dict[int, Star]:
    """Stars of the list, drawn at random, as Skyfield has them; by Hipparcos number."""
    data = star_columns()
    rows = np.random.default_rng(seed).choice(len(data["hip"]), count, replace=False)
    epoch = scale.tt_jd(2451545 + (1991.25 - 2000) * 365.25)
    return {int(data["hip"][i]): Star(
        ra_hours=np.degrees(data["ra_rad"][i]) / 15, dec_degrees=np.degrees(data["dec_rad"][i]),
        ra_mas_per_year=data["pm_ra_mas_yr"][i], dec_mas_per_year=data["pm_dec_mas_yr"][i],
        parallax_mas=data["plx_mas"][i], radial_km_per_s=data["rv_km_s"][i], epoch=epoch) for i in rows}


def observer(lat: float, earth: Moving, sun: Moving) -> Any:
    """Somebody at this latitude and 38 degrees west."""
    seen = earth + wgs84.latlon(lat, -38.0)
    seen.ephemeris = Deflectors(sun)
    return seen


class Deflectors(dict[int, VectorFunction]):
    """The bodies Skyfield bends light by; Jupiter and Saturn are put where the Sun is (below 0.02 arcsec)."""

    def __init__(self, sun: VectorFunction) -> None:
        super().__init__({10: sun, 5: sun, 6: sun})


def de421() -> Any:
    """JPL's DE421 as packaged for ``jplephem``, or a skip where it is not installed."""
    import pytest
    module = pytest.importorskip("de421", reason="the package de421 (JPL ephemeris, 27 MB) is not installed")
    from jplephem.ephem import Ephemeris
    return Ephemeris(module)
