"""Bearings and pattern fits against published numbers."""

import pytest

from archive.sky.bearings import declination_deg, read_bearing
from archive.sky.mirror import fit


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
