"""Where the planets and the Earth-Moon barycentre stand about the Sun: ERFA ``plan94`` (Simon et al., A&A 282, 663,
1994), corrected toward JPL's DE406 by a short series.

Corrections are added to ecliptic longitude and latitude of J2000 and, as a share, to the distance:

    sum of (cos_arcsec * cos(argument) + sin_arcsec * sin(argument)) * u**power,   u = (year - 2000) / 3000

with arguments made of the mean longitudes.  They were fitted to DE406 over -3000 to 3000, the years 1800 to 2150 four
times as heavily; ``fixtures/sky/SOURCES.md`` says how.  Within 20 years of the ends they are faded out.
What is left of the error is told in ``bodies``.
"""

import csv
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from erfa import ufunc

from .catalogue import DATA_FOLDER
from .errors import SkyError
from .times import J2000
from .vectors import ARCSEC, DEGREE, Floats, Number, as_floats, ra_dec, rotate, rotate_back, unit

NUMBERS = {"mercury": 1, "venus": 2, "earthmoon": 3, "mars": 4, "jupiter": 5, "saturn": 6}
REACH_YEARS, FADE_YEARS = 5000.0, 20.0
"""Years before 2000 that the fit reaches back; it reaches 1000 ahead."""
_MEAN_LONGITUDE = {
    "mercury": (252.25090552, 26087.9031415742), "venus": (181.97980085, 10213.2855462110),
    "earthmoon": (100.46645683, 6283.0758499914), "mars": (355.43299958, 3340.6124266998),
    "jupiter": (34.35151874, 529.6909650946), "saturn": (50.07744430, 213.2990954380)}
"""At J2000 (degrees) and rate (radians per millennium); Simon et al. (1994)."""
_TO_ECLIPTIC = as_floats(ufunc.rx(84381.448 * ARCSEC, np.eye(3)))
"""J2000 equator -> J2000 ecliptic, obliquity of IAU 1976."""


@dataclass(frozen=True)
class Term:
    """One term: multiples of mean longitudes, the power of u, and amplitudes in arcsec."""

    multiples: tuple[tuple[int, str], ...]
    power: int
    cos_arcsec: float
    sin_arcsec: float


@lru_cache(maxsize=1)
def corrections() -> dict[str, dict[str, tuple[Term, ...]]]:
    """The series by planet and coordinate ("l", "b", "r")."""
    found: dict[str, dict[str, list[Term]]] = {name: {"l": [], "b": [], "r": []} for name in NUMBERS}
    with (DATA_FOLDER / "planet_corrections.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            multiples = tuple(_multiple(one) for one in row["argument"].split())
            found[row["planet"]][row["coordinate"]].append(
                Term(multiples, int(row["power"]), float(row["cos_arcsec"]), float(row["sin_arcsec"])))
    return {name: {key: tuple(terms) for key, terms in series.items()} for name, series in found.items()}


def _multiple(text: str) -> tuple[int, str]:
    count, name = text.split("*")
    return int(count), name


def heliocentric(name: str, jd_tt: Number) -> tuple[Floats, Floats]:
    """Heliocentric position and velocity (au, au/day; J2000 axes, 0.02 arcsec from ICRS), the position corrected.

    ``name`` is of NUMBERS.  ``plan94``'s status "outside 1000-3000" is known and accepted.
    """
    if name not in NUMBERS:
        raise SkyError(f"The planet {name!r} is not known. Choose one of: {', '.join(NUMBERS)}.")
    jd = as_floats(jd_tt)
    day = np.floor(jd)
    pv, _ = ufunc.plan94(day, jd - day, NUMBERS[name])
    return _corrected(name, as_floats(pv["p"]), (jd - J2000) / 365250), as_floats(pv["v"])


def _faded(millennia: Floats) -> Floats:
    """1 where the fit holds, 0 outside, a straight line between."""
    years = millennia * 1000
    ahead = (REACH_YEARS + years) / FADE_YEARS
    return np.clip(np.minimum(ahead, (1000.0 - years) / FADE_YEARS), 0.0, 1.0)


def _corrected(name: str, position: Floats, millennia: Floats) -> Floats:
    weight = _faded(millennia)
    if not np.any(weight):
        return position
    inside = np.clip(millennia, -REACH_YEARS / 1000, 1.0)
    on_ecliptic = rotate(_TO_ECLIPTIC, position)
    longitude, latitude = ra_dec(on_ecliptic)
    distance = np.sqrt(np.einsum("...i,...i->...", position, position))
    turned = {one: start * DEGREE + rate * inside for one, (start, rate) in _MEAN_LONGITUDE.items()}
    d_l, d_b, d_r = (_sum(terms, inside, turned) * weight for terms in corrections()[name].values())
    moved = unit(longitude + d_l, latitude + d_b) * (distance * (1 + d_r))[..., None]
    return rotate_back(_TO_ECLIPTIC, moved)


def _sum(terms: tuple[Term, ...], millennia: Floats, turned: dict[str, Floats]) -> Floats:
    """A series in radians (or, of the distance, as a share); ``turned`` holds the mean longitudes."""
    u = millennia / 3
    total = np.zeros_like(millennia)
    for term in terms:
        if term.multiples:
            angle = sum(count * turned[name] for count, name in term.multiples)
            total += u**term.power * (term.cos_arcsec * np.cos(angle) + term.sin_arcsec * np.sin(angle))
        else:
            total += u**term.power * term.cos_arcsec
    return total * ARCSEC
