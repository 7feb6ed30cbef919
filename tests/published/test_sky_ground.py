"""Bearings and pattern fits against published numbers."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from archive.sky.bearings import declination_deg, read_bearing
from archive.sky.mirror import fit, map_middle, places_on_map
from archive.sky.mirroryears import T_95


def test_bearing_of_lockyer_and_penrose() -> None:
    # Proc. R. Soc. 69, 137 (1901): latitude 51 10 42, azimuth 49 34 18, true altitude -5 35; +23 54 30; 2 arcsec
    lat, azimuth, altitude = 51 + 10 / 60 + 42 / 3600, 49 + 34 / 60 + 18 / 3600, -(5 / 60 + 35 / 3600)
    wanted = 23 + 54 / 60 + 30 / 3600
    assert declination_deg(lat, azimuth, altitude) == pytest.approx(wanted, abs=2 / 3600)
    found = read_bearing(lat, azimuth, altitude, year=-1680, refraction=False)
    assert found.matches[0].what == "june solstice"


def test_similarity_of_umeyama() -> None:
    # S. Umeyama, IEEE PAMI 13, 376 (1991), the worked example; printed to three figures, 5e-4
    ground, sky = [(0, 0), (1, 0), (0, 2)], [(0, 0), (-1, 0), (0, 2)]
    found = fit(ground, sky, reflected=False)
    assert found.scale == pytest.approx(0.721, abs=5e-4)
    assert found.turn_deg == pytest.approx(-33.69, abs=0.01)  # rotation [[.832, .555], [-.555, .832]]
    assert found.shift == pytest.approx((-0.8, 0.4), abs=5e-4)
    assert found.mean_square == pytest.approx(8 / 15, abs=1e-12)  # exact, by hand


@pytest.mark.parametrize(("lat", "lon", "across_deg", "off"), [
    (46.0, -38.0, 0.5, 1e-6), (46.0, -38.0, 15.0, 1.5e-3), (-17.0, 180.0, 0.5, 1e-6), (89.9, 20.0, 0.3, 1e-6),
    (0.0, 0.0, 20.0, 2e-3)])
def test_distances_and_bearings_of_geographiclib(lat: float, lon: float, across_deg: float, off: float) -> None:
    # C. F. F. Karney, Algorithms for geodesics, J. Geodesy 87, 43 (2013), by his library; from the places' middle
    random = np.random.default_rng(3)
    ring = [Geodesic.WGS84.Direct(lat, lon, turn, reach * 111e3 * across_deg)
            for turn, reach in zip(random.random(40) * 360, random.random(40), strict=True)]
    around = [(one["lat2"], one["lon2"]) for one in ring]
    flat = places_on_map(*zip(*around, strict=True))
    middle = map_middle(*zip(*around, strict=True))
    for (east, north), spot in zip(flat, around, strict=True):
        geodesic = Geodesic.WGS84.Inverse(*middle, *spot)
        azimuth, away = np.radians(geodesic["azi1"]), geodesic["s12"] / 1000
        wanted = away * np.array([np.sin(azimuth), np.cos(azimuth)])
        assert np.hypot(*(np.array([east, north]) - wanted)) <= off * max(away, 1)


def test_the_table_of_student() -> None:
    # two-sided 95 %: the density of Student (Biometrika 6, 1, 1908) integrated here by the trapezoidal rule
    for free, printed in enumerate(T_95, 1):
        t = np.linspace(-printed, printed, 200_001)
        density = (1 + t**2 / free) ** (-(free + 1) / 2)
        angle = np.linspace(-np.pi / 2, np.pi / 2, 200_001)  # t = sqrt(free) tan(angle): the whole density
        whole = np.trapezoid(np.sqrt(free) * np.cos(angle) ** (free - 1), angle)
        assert np.trapezoid(density, t) / whole == pytest.approx(0.95, abs=2e-4)
