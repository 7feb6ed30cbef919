"""The star list: complete, mended, and built from the raw table by the builder."""

from pathlib import Path

import numpy as np
import pytest

from archive.sky import SkyError, load_catalogue, star_places
from archive.sky.build_catalogue import Row, build, find_groups, v_minus_hp
from archive.sky.catalogue import CATALOGUE_EPOCH
from archive.sky.frames import star_vectors
from archive.sky.vectors import DEGREE, separation

STARS = load_catalogue()


def test_numbers_are_sorted_and_unique_and_finite() -> None:
    assert np.all(np.diff(STARS.hip) > 0)
    for column in (STARS.position, STARS.motion, STARS.hp_mag, STARS.v_mag, STARS.b_v, STARS.parallax_mas):
        assert np.isfinite(column).all()
    assert float(STARS.parallax_mas.min()) >= 0


def test_bright_stars_missing_from_the_new_reduction_are_there() -> None:
    # Hipparcos Catalogue (ESA SP-1200, 1997): V 3.79, 4.16, 5.19
    rows = STARS.indices([55203, 78727, 115125])
    assert STARS.v_mag[rows] == pytest.approx([3.79, 4.16, 5.19], abs=0.01)


def test_count_to_magnitude_six_is_near_the_naked_eye_count() -> None:
    # Bright Star Catalogue: about 5,000 stars to V 6.0 (common knowledge; 5,044 in one published list)
    assert 4900 < int((STARS.v_mag <= 6.0).sum()) < 5200


@pytest.mark.parametrize("hips", [(71681, 71683), (104214, 104217)])
def test_near_pairs_stay_together(hips: tuple[int, int]) -> None:
    # one motion per pair: alpha Centauri and 61 Cygni, 20 and 30 arcsec apart, stay within an arcmin
    rows = STARS.indices(list(hips))
    for year in (-10000.0, 10000.0):
        a, b = star_vectors(STARS, rows, year)
        assert float(separation(a, b)) / DEGREE * 60 < 1.2


def test_nonsense_motion_is_gone() -> None:
    # HIP 71502: 637 mas/yr with errors of 70 in the raw table
    row = STARS.indices([71502])[0]
    assert float(np.linalg.norm(STARS.motion[row]) / DEGREE * 3.6e6) < 30


def test_place_at_the_catalogue_epoch_is_the_catalogue_place() -> None:
    # Vega, ICRS 1991.25: 279.234108, 38.782993 degrees (van Leeuwen 2007)
    ra, dec = star_places([91262], CATALOGUE_EPOCH, "icrs")
    assert float(ra[0]) == pytest.approx(279.23411, abs=1e-5)
    assert float(dec[0]) == pytest.approx(38.78299, abs=1e-5)


def test_unknown_star_is_named() -> None:
    with pytest.raises(SkyError, match=r"Not in the star list: HIP 1, HIP 999999\."):
        STARS.indices([1, 32349, 999999])


def test_names() -> None:
    # IAU Catalog of Star Names; Toliman is alpha Centauri B
    assert STARS.label(32349) == "Sirius"
    assert STARS.label(71681) == "Toliman"
    assert STARS.names[102098].others == ("Arided",)
    assert STARS.label(3) == "HIP 3"


def test_missing_list_says_how_to_build_it(tmp_path: Path) -> None:
    with pytest.raises(SkyError, match="build_catalogue"):
        load_catalogue(tmp_path)


def _line(hip: int, ra: float, dec: float, hp: float, pm: tuple[float, float] = (10, 20)) -> str:
    """A line of hip2.dat with the columns that matter (van Leeuwen 2007, ReadMe)."""
    errors = "0.5 0.5 0.5 0.5 0.5"
    return (f"{hip} 5 0 1 {ra:.10f} {dec:.10f} 10.0 {pm[0]} {pm[1]} {errors} 90 0.1 0 0.0 0 {hp} 0.002 0.01 0 0.5 "
            "0.01 0.5 " + "0 " * 15)


def test_builder_keeps_bright_stars_and_adds_the_missing() -> None:
    rows = build([_line(10, 1, 0.1, 5.0), _line(11, 2, 0.2, 6.71)])
    assert [row.hip for row in rows] == [10, 55203, 78727, 115125]
    assert rows[0].v_mag == pytest.approx(5.0 + v_minus_hp(0.5))


def test_builder_gives_a_pair_one_motion() -> None:
    near = 1 + 20 / 206264.8
    rows = build([_line(10, 1, 0, 5.0), _line(11, near, 0, 6.0, (14, 24)), _line(12, 1.1, 0, 6.0, (99, 0))])
    motions = {row.hip: (row.pm_ra, row.pm_dec) for row in rows}
    assert motions[10] == motions[11] == (12, 22)
    assert motions[12] == (99, 0)


def test_builder_leaves_strangers_apart() -> None:
    def row(hip: int, pm_ra: float) -> Row:
        return Row(hip, 1 + hip * 1e-5, 0, 10, pm_ra, 0, 1, 1, 1, 5, 0.5, 5)
    assert find_groups([row(1, 0.0), row(2, 50.0)]) == []
    assert find_groups([row(1, 48.0), row(2, 50.0)]) == [[0, 1]]


def test_v_from_hp_holds_its_ends() -> None:
    # the fit is only good to B-V 1.7; redder stars are held there
    assert v_minus_hp(3.0) == v_minus_hp(1.7)
