"""Builds ``fixtures/sky/stars.csv`` from the table of the new Hipparcos reduction.

    python -m archive.sky.build_catalogue path/to/hip2.dat [folder]

The table is ``hip2.dat`` of F. van Leeuwen, "Hipparcos, the New Reduction of the Raw Data",
A&A 474, 653 (2007) (catalogue I/311): one star a line, fields parted by blanks, right ascension and
declination in radians (ICRS, epoch 1991.25), parallax in mas, proper motion in mas/yr (the one in right
ascension already multiplied by the cosine of the declination).  The folder (``fixtures/sky`` by default)
holds ``radial_velocities.csv`` and receives ``stars.csv``.

What is mended on the way is described in ``fixtures/sky/SOURCES.md``; each step is one function below.
"""

import argparse
import csv
import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

HP_LIMIT = 6.7
"""Faintest Hp magnitude kept: V <= 6.5 is whole with it (V - Hp lies between -0.2 and 0 for most stars)."""

PAIR_ARCSEC = 31.0
ARCSEC_PER_RAD = 206264.80624709636
COLUMNS = ("hip", "ra_rad", "dec_rad", "plx_mas", "pm_ra_mas_yr", "pm_dec_mas_yr", "rv_km_s", "hp_mag",
           "b_v", "v_mag")


@dataclass(frozen=True)
class Row:
    """One star; angles in radians, parallax in mas, motion and its errors in mas/yr."""

    hip: int
    ra_rad: float
    dec_rad: float
    plx_mas: float
    pm_ra: float
    pm_dec: float
    plx_error: float
    pm_ra_error: float
    pm_dec_error: float
    hp_mag: float
    b_v: float
    v_mag: float


def v_minus_hp(b_v: float) -> float:
    """V - Hp from B-V: a least squares fit to bright Hipparcos stars with B-V < 1.7, rms 0.025 mag.

    Colours past the fit's ends are held at the ends (-0.4 and 1.7).
    """
    b = min(max(b_v, -0.4), 1.7)
    return -0.006 - 0.314 * b + 0.279 * b**2 - 0.200 * b**3 + 0.080 * b**4


def read_row(line: str) -> Row:
    """One line of hip2.dat (van Leeuwen 2007, ReadMe of catalogue I/311)."""
    field = line.split()
    hp, b_v = float(field[19]), float(field[23])
    return Row(int(field[0]), float(field[4]), float(field[5]), float(field[6]), float(field[7]),
               float(field[8]), float(field[11]), float(field[12]), float(field[13]), hp, b_v,
               hp + v_minus_hp(b_v))


def added_rows() -> list[Row]:
    """Three bright stars the new reduction has no row for (see SOURCES.md, "Added by hand")."""
    degree = math.pi / 180
    xi_uma = Row(55203, 169.545423 * degree, 31.529161 * degree, 137.0, -431.0, -586.0, 1, 1, 1,
                 3.79 - v_minus_hp(0.59), 0.59, 3.79)
    xi_sco = Row(78727, (16 + 4 / 60 + 22.1 / 3600) * 15 * degree, -(11 + 22 / 60 + 23 / 3600) * degree,
                 48.0, -60.0, -29.0, 1, 1, 1, 4.16 - v_minus_hp(0.47), 0.47, 4.16)
    aqr_94b = Row(115125, (23 + 19 / 60 + 6.55 / 3600) * 15 * degree,
                  -(13 + 27 / 60 + 18.9 / 3600) * degree, 47.35, 267.23, -46.21, 99, 99, 99,
                  5.19 - v_minus_hp(0.80), 0.80, 5.19)
    return [at_1991(row) for row in (xi_uma, xi_sco, aqr_94b)]


def at_1991(row: Row) -> Row:
    """A place given for J2000 carried back to 1991.25 (linear; 8.75 years, far below an arcsecond off)."""
    years, mas = 1991.25 - 2000.0, 1e-3 / ARCSEC_PER_RAD
    return replace(row, ra_rad=row.ra_rad + years * row.pm_ra * mas / math.cos(row.dec_rad),
                   dec_rad=row.dec_rad + years * row.pm_dec * mas)


MENDED_V = {32349: -1.44, 71681: 1.35, 26551: 6.62}
"""V magnitudes where the table's Hp is wrong (see SOURCES.md, "Mended by hand")."""


def mend(row: Row) -> Row:
    """The rows known to be wrong (see SOURCES.md, "Mended by hand")."""
    if row.hip in MENDED_V:
        v_mag = MENDED_V[row.hip]
        return replace(row, hp_mag=v_mag - v_minus_hp(row.b_v), v_mag=v_mag)
    if row.hip == 71502:
        return replace(row, plx_mas=0.0, pm_ra=0.0, pm_dec=0.0, plx_error=999.0, pm_ra_error=999.0,
                       pm_dec_error=999.0)
    return row


def separation_arcsec(a: Row, b: Row) -> float:
    """Angle between two rows' places (haversine, good at small angles)."""
    s = (math.sin((a.dec_rad - b.dec_rad) / 2) ** 2
         + math.cos(a.dec_rad) * math.cos(b.dec_rad) * math.sin((a.ra_rad - b.ra_rad) / 2) ** 2)
    return 2 * math.asin(math.sqrt(s)) * ARCSEC_PER_RAD


def motion_gap(a: Row, b: Row) -> tuple[float, float]:
    """Difference of two motions in units of their joint error, and as a share of the larger motion."""
    d_ra, d_dec = a.pm_ra - b.pm_ra, a.pm_dec - b.pm_dec
    sigma = max(d_ra**2 / (a.pm_ra_error**2 + b.pm_ra_error**2),
                d_dec**2 / (a.pm_dec_error**2 + b.pm_dec_error**2)) ** 0.5
    largest = max(math.hypot(a.pm_ra, a.pm_dec), math.hypot(b.pm_ra, b.pm_dec), 1e-9)
    return sigma, math.hypot(d_ra, d_dec) / largest


def is_pair(a: Row, b: Row) -> bool:
    """Within 31 arcsec, and not plainly going different ways (over 5 sigma and half the motion)."""
    if separation_arcsec(a, b) > PAIR_ARCSEC:
        return False
    sigma, share = motion_gap(a, b)
    return not (sigma > 5 and share > 0.5)


def find_groups(rows: list[Row]) -> list[list[int]]:
    """Indices of rows that belong together as close pairs or triples."""
    order = sorted(range(len(rows)), key=lambda i: rows[i].dec_rad)
    groups: dict[int, list[int]] = {}
    reach = PAIR_ARCSEC / ARCSEC_PER_RAD
    for at, i in enumerate(order):
        for j in order[at + 1:]:
            if rows[j].dec_rad - rows[i].dec_rad > reach:
                break
            if is_pair(rows[i], rows[j]):
                joined = sorted(set(groups.get(i, [i])) | set(groups.get(j, [j])))
                for member in joined:
                    groups[member] = joined
    return [list(g) for g in sorted({tuple(g) for g in groups.values()})]


def weighted_mean(values: list[float], errors: list[float], equal: bool) -> float:
    """Plain mean, or the mean weighted by inverse variance."""
    weights = [1.0 if equal else 1 / max(e, 0.01) ** 2 for e in errors]
    return sum(w * v for w, v in zip(weights, values, strict=True)) / sum(weights)


def share_motion(rows: list[Row]) -> list[Row]:
    """One motion and one parallax for a close pair, so that it does not drift apart over millennia.

    Where the motions agree within 3 sigma: weighted by inverse variance.  Where they differ by more, the
    difference is orbital motion and the plain mean (equal masses) is nearest to the pair's own motion.
    """
    equal = max(motion_gap(rows[0], other)[0] for other in rows[1:]) > 3
    plx = weighted_mean([r.plx_mas for r in rows], [r.plx_error for r in rows], equal=False)
    pm_ra = weighted_mean([r.pm_ra for r in rows], [r.pm_ra_error for r in rows], equal)
    pm_dec = weighted_mean([r.pm_dec for r in rows], [r.pm_dec_error for r in rows], equal)
    if {r.hip for r in rows} == {71681, 71683}:
        plx, pm_ra, pm_dec = 747.17, -3639.95, 700.40
    return [replace(r, plx_mas=plx, pm_ra=pm_ra, pm_dec=pm_dec) for r in rows]


def share_motions(rows: list[Row]) -> list[Row]:
    """All close pairs given one motion each."""
    out = list(rows)
    for group in find_groups(rows):
        for i, row in zip(group, share_motion([rows[i] for i in group]), strict=True):
            out[i] = row
    return out


def read_velocities(path: Path) -> dict[int, str]:
    """Radial velocities in km/s by Hipparcos number, as text, from ``radial_velocities.csv``."""
    with path.open(encoding="utf-8", newline="") as file:
        return {int(row["hip"]): row["rv_km_s"] for row in csv.DictReader(file)}


def build(lines: Iterable[str]) -> list[Row]:
    """Rows to write, mended and sorted by Hipparcos number."""
    rows = [mend(row) for row in map(read_row, lines) if row.hp_mag <= HP_LIMIT]
    return sorted(share_motions(rows + added_rows()), key=lambda row: row.hip)


def as_text(row: Row, velocity: str) -> list[str]:
    """CSV fields of one star; a parallax that is not positive becomes 0 (distance unknown)."""
    plx = max(row.plx_mas, 0.0)
    return [str(row.hip), f"{row.ra_rad % (2 * math.pi):.10f}", f"{row.dec_rad:.10f}", f"{plx:.2f}",
            f"{row.pm_ra:.2f}", f"{row.pm_dec:.2f}", velocity if plx > 0 else "", f"{row.hp_mag:.3f}",
            f"{row.b_v:.3f}", f"{row.v_mag:.2f}"]


def write(rows: list[Row], velocities: dict[int, str], path: Path) -> None:
    """Writes the star list; line ends are LF on every system."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerows(as_text(row, velocities.get(row.hip, "")) for row in rows)


def main() -> None:
    """Command line; prints how many stars were written."""
    default = Path(__file__).resolve().parents[2] / "fixtures" / "sky"
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("table", type=Path, help="hip2.dat of van Leeuwen (2007)")
    parser.add_argument("folder", type=Path, nargs="?", default=default)
    asked = parser.parse_args()
    with asked.table.open(encoding="ascii") as lines:
        rows = build(lines)
    write(rows, read_velocities(asked.folder / "radial_velocities.csv"), asked.folder / "stars.csv")
    print(f"{len(rows)} stars written to {asked.folder / 'stars.csv'}")


if __name__ == "__main__":
    main()
