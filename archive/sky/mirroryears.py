"""A mirror's fit through the years: the stars' own motion changes a figure's form, slowly.

Precession turns the whole sky and changes no form, so that only the stars' own motion can tell one year from another.
Over the years that anyone's memory spans it is far smaller than the error of any headland: the least residual is then
flat, and dates nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .catalogue import load_catalogue
from .frames import star_vectors
from .mirror import complexes, on_chart, places_on_map
from .vectors import Floats, as_floats

FIRST_YEAR, LAST_YEAR, STEP_YEARS = -10000, 10000, 100
EPOCHS = tuple(range(FIRST_YEAR, LAST_YEAR + 1, STEP_YEARS))
T_95 = (12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228, 2.201, 2.179, 2.160, 2.145, 2.131,
        2.120, 2.110, 2.101, 2.093, 2.086)
"""Student's t, two-sided 95 %, for 1 to 20 degrees of freedom (NIST/SEMATECH e-Handbook 1.3.6.7.2); 1.96 beyond is
too small by less than 6 %."""


@dataclass(frozen=True)
class Years:
    """``rms_km`` (m,): root mean square miss on the ground in each of ``years`` (m,), for one handedness.

    From ``flat_from`` to ``flat_to`` the fit is no worse than the best, ``least_km``, by more than the scatter of the
    pairs about it explains (95 %).
    """

    years: Floats
    rms_km: Floats
    least_year: int
    least_km: float
    flat_from: int
    flat_to: int

    @property
    def is_at_edge(self) -> bool:
        """Whether the least lies at the first or the last year, so that it is no least at all."""
        return self.least_year in (int(self.years[0]), int(self.years[-1]))

    @property
    def tells_nothing(self) -> bool:
        """Whether every year fits about as well as the best."""
        return (self.flat_from, self.flat_to) == (int(self.years[0]), int(self.years[-1]))


def through_years(lat_deg: npt.ArrayLike, lon_deg: npt.ArrayLike, hips: Sequence[int], reflected: bool,
                  years: Sequence[float] = EPOCHS) -> Years:
    """The residual of the fit of one handedness in many years at once."""
    w = complexes(places_on_map(lat_deg, lon_deg), "places")
    asked = as_floats(years)
    stars = load_catalogue()
    chart = on_chart(star_vectors(stars, stars.indices(list(hips)), asked))
    z = chart[..., 0] + (-1j if reflected else 1j) * chart[..., 1]
    dz, dw = z - z.mean(axis=1, keepdims=True), w - w.mean()
    spread = float((np.abs(dw) ** 2).sum())
    share = np.abs((np.conj(dz) * dw).sum(axis=1)) ** 2 / ((np.abs(dz) ** 2).sum(axis=1) * spread)
    rms = np.sqrt(np.maximum(1 - share, 0.0) * spread / len(w))
    least = int(np.argmin(rms))
    first, last = _flat(rms, least, len(w))
    return Years(asked, as_floats(rms), int(asked[least]), float(rms[least]), int(asked[first]), int(asked[last]))


def _flat(rms: Floats, least: int, pairs: int) -> tuple[int, int]:
    """The run of positions about the least in which the fit is not worse beyond doubt.

    A fit has four unknowns and the year is a fifth, so that nu = 2 n - 5 of the 2 n coordinates are free; a year is
    worse where its sum of squares is above the least by the factor 1 + t**2 / nu (the usual bound of a profile; Seber
    and Wild, Nonlinear Regression, 1989, equation 5.21).  With two pairs nothing is free, and no year is worse.
    """
    free = 2 * pairs - 5
    if free < 1:
        return 0, len(rms) - 1
    student = T_95[free - 1] if free <= len(T_95) else 1.96
    worse = np.flatnonzero(rms**2 > rms[least] ** 2 * (1 + student**2 / free))
    before, after = worse[worse < least], worse[worse > least]
    return (int(before[-1]) + 1 if len(before) else 0), (int(after[0]) - 1 if len(after) else len(rms) - 1)
