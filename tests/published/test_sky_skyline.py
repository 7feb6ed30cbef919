"""Risings over a skyline against Skyfield: its own altitudes and azimuths, sampled and searched by its own routine.

Goal: 2 s and 0.01 degree.  The skyline is drawn at random, with hills of up to nine degrees.
"""

from typing import Any

import numpy as np
import pytest
from skyfield.api import Star, load
from skyfield.searchlib import find_discrete

from archive.sky.altaz import Place
from archive.sky.passages import star_passage
from archive.sky.skyline import Skyline
from archive.sky.times import parse_date
from tests.sky_peers import Moving, drawn_stars, erfa_earth, erfa_sun, observer, utc_jd


def _hills(seed: int) -> Skyline:
    random = np.random.default_rng(seed)
    return Skyline(tuple(range(0, 360, 10)), tuple(random.uniform(-0.5, 9, 36).round(2).tolist()))


@pytest.mark.parametrize("lat", [-35.0, 0.0, 46.0, 65.0])
def test_stars_over_hills(lat: float) -> None:
    scale, sun = load.timescale(builtin=True), Moving(10, erfa_sun)
    skyline, day = _hills(round(lat) + 90), parse_date("2025-03-01")
    seen = observer(lat, Moving(399, erfa_earth), sun)
    compared = 0
    for hip, star in drawn_stars(scale, 40, 12).items():

        def above(t: Any, target: Star = star) -> Any:
            altitude, azimuth, _ = seen.at(t).observe(target).apparent().altaz()
            floor = np.interp(azimuth.degrees, skyline.azimuth_deg, skyline.altitude_deg, period=360)
            return (altitude.degrees > floor).astype(int)

        above.step_days = 0.001  # type: ignore[attr-defined]
        times, states = find_discrete(scale.utc(2025, 3, 1), scale.utc(2025, 3, 2), above)
        ours = star_passage(hip, Place(lat, -38.0), skyline, day)
        if len(times) == 0:
            assert ours.never
            continue
        moments = np.array(utc_jd(times))
        for events, way in ((ours.rises, 1), (ours.sets, 0)):
            mine = np.array([e.jd_ut for e in events])
            wanted = moments[states == way]
            # the sidereal day is 4 minutes shorter: an event at both ends of the 24 hours is one of ours
            for jd in wanted[wanted < day + 0.99]:
                assert np.abs(mine - jd).min() * 86400 < 2.0
                compared += 1
            near = events[int(np.argmin(np.abs(mine - wanted[0])))]
            azimuth = seen.at(times[states == way][0]).observe(star).apparent().altaz()[1].degrees
            assert near.azimuth_deg == pytest.approx(azimuth, abs=0.01)
    assert compared > 12
