"""The dial of a bearing: a compass on the ground, with the turns of sun and moon on its rim and places about it.

North is at the top and east on the right, as on a map; distances of places go by their square root, so that near ones
do not all lie on the middle.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import cos, radians, sin

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from ...access.showing import PlaceShown
from ...sky import refraction_of_apparent, rise_azimuth_deg
from ...sky.bearings import MOON_TILT_DEG
from ...sky.frames import obliquity
from ...sky.mirror import on_map
from ...sky.vectors import DEGREE
from .words import Shown

MIDDLE, RADIUS = 320.0, 236.0
MOST_AROUND = 40
FARTHEST_KM = 100.0
LETTERS = ((0, gettext_lazy("N")), (90, gettext_lazy("E")), (180, gettext_lazy("S")), (270, gettext_lazy("W")))


def point(azimuth_deg: float, radius: float, middle: float = MIDDLE) -> Shown:
    """North up and east to the right, as on a map: a compass lies on the ground."""
    turn = radians(azimuth_deg)
    return {"x": middle + radius * sin(turn), "y": middle - radius * cos(turn)}


def dial(spot: tuple[float, float], azimuth_deg: float, altitude_deg: float, year: int) -> Shown:
    return {
        "middle": MIDDLE, "radius": RADIUS, "line": point(azimuth_deg, RADIUS),
        "ticks": [{"out": point(at, RADIUS), "in": point(at, RADIUS - (18 if at % 90 == 0 else 9))}
                  for at in range(0, 360, 15)],
        "letters": [{"at": point(at, RADIUS - 38), "text": text} for at, text in LETTERS],
        "turns": [one for each in _turns(spot[0], altitude_deg, year) for one in each],
    }


def _turns(latitude_deg: float, altitude_deg: float, year: int) -> list[list[Shown]]:
    """Where sun and moon turn on the rim, rising and setting."""
    eps = float(obliquity(float(year))) / DEGREE
    true = altitude_deg - float(refraction_of_apparent(altitude_deg))
    sun = [("sun", dec, name) for dec, name in ((eps, _("June")), (0.0, ""), (-eps, _("Dec")))]
    moon = [("moon", sign * (eps + tilt), "") for sign in (1, -1) for tilt in (MOON_TILT_DEG, -MOON_TILT_DEG)]
    return [_both(rise_azimuth_deg(dec, latitude_deg, true), kind, name) for kind, dec, name in [*sun, *moon]]


def _both(found: tuple[float, float] | str, kind: str, name: str) -> list[Shown]:
    if isinstance(found, str):
        return []
    return [
        {"kind": kind, "in": point(at, RADIUS - 4), "out": point(at, RADIUS + 20), "label": point(at, RADIUS + 48),
         "name": name} for at in found
    ]


def around(spot: tuple[float, float], places: Sequence[PlaceShown]) -> list[Shown]:
    """The nearest places, each to be looked towards."""
    if not places:
        return []
    latitudes, longitudes = zip(*(one.at for one in places if one.at), strict=True)
    flat = on_map(latitudes, longitudes, spot)
    away = np.hypot(*flat.T)
    nearest = [at for at in np.argsort(away, kind="stable")[:MOST_AROUND] if 0.02 < away[at] < FARTHEST_KM]
    reach = max((float(away[at]) for at in nearest), default=1.0)
    return [
        {
            "label": places[at].label,
            "at": point(float(np.degrees(np.arctan2(*flat[at]))), float((away[at] / reach) ** 0.5 * (RADIUS - 60))),
        }
        for at in nearest
    ]
