"""The sky of far years: poles, obliquity and star places.

Sources: Vondrak, Capitaine & Wallace, A&A 534, A22 (2011), through ERFA; J. Laskar, A&A 157, 59 (1986); and
values computed with ERFA and Hipparcos data by a separate programme ("cross-check"), tolerances as it found.
"""

import erfa
import numpy as np
import pytest

from archive.sky.catalogue import KM_S_PER_AU_YR, load_catalogue
from archive.sky.frames import celestial_pole, ecliptic_pole, nearest_to_pole, obliquity, pole, pole_path, star_vectors
from archive.sky.horizon import rise_azimuth_deg
from archive.sky.places import star_places
from archive.sky.vectors import ARCSEC, DEGREE, MAS, Floats, ra_dec, separation, unit


def _laskar(year: float) -> float:
    """Obliquity in degrees, Laskar (1986) as in Meeus, Astronomical Algorithms, (22.3)."""
    u = (year - 2000) / 10000
    terms = (84381.448, -4680.93, -1.55, 1999.25, -51.38, -249.67, -39.05, 7.12, 27.87, 5.79, 2.45)
    return sum(term * u**power for power, term in enumerate(terms)) / 3600


@pytest.mark.parametrize(("year", "degrees"), [(-4000, 24.09944), (4000, 23.18350)])
def test_obliquity(year: int, degrees: float) -> None:
    # cross-check, 0.005 degree; Laskar's polynomial agrees within 11 and 0.4 arcsec
    assert float(obliquity(float(year))) / DEGREE == pytest.approx(degrees, abs=0.005)
    assert float(obliquity(float(year))) / DEGREE == pytest.approx(_laskar(year), abs=0.005)


def _closest(hip: int, years: Floats) -> tuple[float, float]:
    """Least separation in degrees from the mean pole, and the year."""
    stars = load_catalogue()
    places = star_vectors(stars, stars.indices([hip]), years)[:, 0]
    away = separation(places, celestial_pole(years)) / DEGREE
    return float(away.min()), float(years[int(np.argmin(away))])


@pytest.mark.parametrize(("hip", "degrees", "within", "year", "years"), [
    (11767, 27.626 / 60, 0.01 / 60, 2102.1, 0.2),  # Polaris
    (68756, 5.84 / 60, 0.1 / 60, -2796.4, 1.0),  # Thuban
    (116727, 1.850, 0.01, 4136.6, 1.0),  # Errai
    (91262, 5.695, 0.02, 13597, 5.0)])  # Vega
def test_stars_pass_the_pole(hip: int, degrees: float, within: float, year: float, years: float) -> None:
    # cross-check
    away, when = _closest(hip, np.arange(year - 60, year + 60, 0.05))
    assert away == pytest.approx(degrees, abs=within)
    assert when == pytest.approx(year, abs=years)


def test_nearest_star_depends_on_the_limit() -> None:
    # cross-check: -2800 Thuban, 2100 Polaris, 14000 Vega (Hp 2.5) or 13 Lyrae (Hp 4)
    assert nearest_to_pole(-2800)[0].name == "Thuban"
    assert nearest_to_pole(2100)[0].name == "Polaris"
    vega = nearest_to_pole(14000, hp_limit=2.5)[0]
    assert (vega.name, round(vega.separation_deg, 1)) == ("Vega", 6.2)
    lyrae = nearest_to_pole(14000, hp_limit=4.0)[0]
    assert (lyrae.hip, round(lyrae.separation_deg, 1)) == (92862, 5.7)


def test_pole_path_is_the_long_term_model() -> None:
    # the pole is the third row of ERFA's ltpb (Vondrak et al. 2011); computed through ltpequ and the frame bias
    years = np.linspace(-10000, 10000, 2001)
    ra, dec = pole_path(years)
    mean = np.array([erfa.ltpequ(float(y)) for y in years])
    away = separation(unit(ra * DEGREE, dec * DEGREE), mean)
    assert float(away.max()) < 0.03 * ARCSEC


def test_wobble_does_not_close() -> None:
    # cross-check: after a full turn (27085) the pole passes no nearer than 1.16 degrees to its place of 2000
    years = np.arange(25500.0, 29000.0, 5.0)
    away = separation(celestial_pole(years), celestial_pole(2000.0)) / DEGREE
    assert float(away.min()) == pytest.approx(1.16, abs=0.01)
    assert float(years[int(np.argmin(away))]) == pytest.approx(27085, abs=20)


def test_ecliptic_pole_of_2000_and_its_drift() -> None:
    # 18h00m00s +66 33 38.6 (IAU 2006 obliquity); at -10000 it has moved 1.64 degrees (cross-check)
    found = pole(2000.0)
    assert found.ecliptic_ra_deg == pytest.approx(270.0, abs=1e-4)
    assert found.ecliptic_dec_deg == pytest.approx(66 + 33 / 60 + 38.6 / 3600, abs=1e-4)
    moved = separation(ecliptic_pole(2000.0), ecliptic_pole(-10000.0)) / DEGREE
    assert float(moved) == pytest.approx(1.64, abs=0.01)


def test_sirius_of_minus_2800() -> None:
    # cross-check: mean of date 48.748, -21.795 (0.005); rises at azimuth 114.987 at 29.85 N, horizon -34' (0.01)
    ra, dec = star_places([32349], -2800, "mean")
    assert float(ra[0]) == pytest.approx(48.748, abs=0.005)
    assert float(dec[0]) == pytest.approx(-21.795, abs=0.005)
    found = rise_azimuth_deg(float(dec[0]), 29.85)
    assert found[0] == pytest.approx(114.987, abs=0.01)


@pytest.mark.parametrize("year", [-10000, 10000])
def test_whole_list_against_rigorous_motion(year: int) -> None:
    """All stars against ERFA ``pmsafe`` (rigorous): the goal is 0.01 degree (36 arcsec), found 3.

    Stars without a distance are left out: pmsafe gives them one of its own.
    """
    stars = load_catalogue()
    rows = np.flatnonzero(stars.parallax_mas > 0.5)
    ra, dec = ra_dec(stars.position[rows])
    outward = np.einsum("ij,ij->i", stars.motion[rows], stars.position[rows])
    across = stars.motion[rows] - outward[:, None] * stars.position[rows]
    pm_ra = (across[:, 1] * np.cos(ra) - across[:, 0] * np.sin(ra)) / np.cos(dec)
    pm_dec = across[:, 2] / np.cos(dec)
    velocity = outward / (stars.parallax_mas[rows] * MAS) * KM_S_PER_AU_YR
    jd_from, jd_to = 2451545 + (1991.25 - 2000) * 365.25, 2451545 + (year - 2000) * 365.25
    moved = erfa.ufunc.pmsafe(ra, dec, pm_ra, pm_dec, stars.parallax_mas[rows] / 1000, velocity, jd_from, 0.0,
                              jd_to, 0.0)
    away = separation(star_vectors(stars, rows, float(year)), unit(moved[0], moved[1])) / ARCSEC
    assert len(rows) > 9000
    assert float(away.max()) < 5
