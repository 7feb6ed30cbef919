"""Stars as pages name them: from the star list, by Hipparcos number."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from django.utils.translation import gettext as _

from ...access.showing import ShownTie
from ...sky.catalogue import load_catalogue
from ...sky.errors import SkyError
from ...sky.vectors import ra_dec
from .parts import Shown, asked_url


def name(hip: int) -> str:
    """The star's approved name, else its designation, else its number."""
    return load_catalogue().label(hip)


def is_named(hip: int) -> bool:
    """Whether it has a name or a designation, so that its number says more."""
    return hip in load_catalogue().names


def notes(ties: Iterable[ShownTie]) -> dict[str, str]:
    """For ties that join a place to a star: the star's name, by the ref of the tie's other end."""
    return {tie.other.ref: name(tie.hip) for tie in ties if tie.hip is not None}


def headings() -> list[Shown]:
    return [
        {"label": _("Star")},
        {"label": _("HIP"), "number": True},
        {"label": _("Magnitude"), "number": True},
        {"label": _("Right ascension"), "number": True},
        {"label": _("Declination"), "number": True},
    ]


def rows(hips: Sequence[int]) -> list[list[Shown]]:
    """One row a star, in the order given; what the star list does not hold has its number alone."""
    return [_row(hip) for hip in hips]


def _row(hip: int) -> list[Shown]:
    known = facts(hip)
    magnitude, right_ascension, declination = known or ("", "", "")
    return [
        {"value": name(hip), "url": asked_url(f"sky:HIP {hip}")},
        {"value": str(hip), "number": True},
        {"value": magnitude, "number": True},
        {"value": right_ascension, "number": True},
        {"value": declination, "number": True},
    ]


def facts(hip: int) -> tuple[str, str, str] | None:
    """Magnitude V, right ascension and declination (ICRS, epoch 1991.25) as words; None for a star not listed."""
    stars = load_catalogue()
    try:
        at = stars.indices(hip)
    except SkyError:
        return None
    ra_deg, dec_deg = (float(np.degrees(angle)[0]) for angle in ra_dec(stars.position[at]))
    return f"{stars.v_mag[at][0]:.2f}".replace("-", "−"), _hours(ra_deg % 360), _degrees(dec_deg)


def _hours(ra_deg: float) -> str:
    """Hours and minutes of time to a tenth, 15 degrees to the hour."""
    tenths = round(ra_deg / 15 * 600) % 14400
    return f"{tenths // 600} h {tenths % 600 / 10:04.1f} m"


def _degrees(dec_deg: float) -> str:
    minutes = round(abs(dec_deg) * 60)
    return f"{'−' if dec_deg < 0 else '+'}{minutes // 60}° {minutes % 60:02d}′"
