"""The sky's speed beside Skyfield, Astropy and bare ERFA calls, all in one run on one machine.

A case is one star at one place on one day: its rising, its setting and the azimuth of rising.  Ours is timed
over 200 stars x 100 places x 365 days; the peers over as many as take a second or so, each in its own vectorised way.
"""

from __future__ import annotations

import statistics
import time
import tracemalloc
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
from erfa import ufunc

from archive.sky import (
    ChartRequest,
    FigureDrawing,
    Place,
    draw_chart,
    figure_years,
    load_catalogue,
    parse_date,
    parse_time,
    star_almanac,
)
from archive.sky.horizon import POINT_HORIZON_DEG
from archive.sky.vectors import DEGREE

STARS, PLACES, NIGHTS = 200, 100, 365
SHARED_ALTITUDES, OWN_ALTITUDES = 4, 4
"""Astropy has no rising.  A low estimate for a case: four altitudes at moments all stars share (to enclose the two
events; cheap, since Astropy works out the Earth once a moment), and two more for each event at its own moment."""

Row = dict[str, Any]


def _row(name: str, ours: float, peer: float | None, ratio: float | None, unit: str, goal: str,
         holds: bool | None) -> Row:
    return {"name": name, "ours": ours, "peer": peer, "ratio": ratio, "unit": unit, "goal": goal, "holds": holds}


def _median_s(work: Callable[[], object], rounds: int) -> float:
    times = []
    for _ in range(rounds):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return statistics.median(times)


def _hips() -> list[int]:
    stars = load_catalogue()
    return [int(hip) for hip in stars.hip[stars.brighter(4.0)][:STARS]]


def _places() -> list[Place]:
    return [Place(float(lat), -38.0) for lat in np.linspace(-60, 60, PLACES)]


def _ours_us(hips: list[int], places: list[Place]) -> float:
    day = parse_date("2025-01-01")
    star_almanac(hips[:2], places[:2], day, 2)
    return _median_s(lambda: star_almanac(hips, places, day, NIGHTS), 3) / (STARS * PLACES * NIGHTS) * 1e6


def _skyfield_us(hips: list[int]) -> float:
    """Microseconds a case for ``find_risings`` and ``find_settings`` over a year.

    The Earth is read from a table by straight lines, cheaper than any ephemeris, in Skyfield's favour.
    """
    from skyfield import almanac
    from skyfield.api import Star, load, wgs84
    from skyfield.vectorlib import VectorFunction

    days = parse_date("2024-12-20") + np.arange(400.0)
    bary = ufunc.epv00(days, 0.0)[1]

    class Earth(VectorFunction):
        center, target = 0, 399

        def _at(self, t: Any) -> tuple[Any, Any, None, None]:
            position, velocity = (np.array([np.interp(t.tdb, days, bary[key][:, i]) for i in range(3)])
                                  for key in ("p", "v"))
            return position, velocity, None, None

    scale = load.timescale(builtin=True)
    stars, seen = load_catalogue(), Earth() + wgs84.latlon(46.0, -38.0)
    span = (scale.utc(2025, 1, 1), scale.utc(2026, 1, 1))
    position = stars.position[stars.indices(hips[:3])]
    targets = [Star(ra_hours=float(np.arctan2(y, x) / DEGREE / 15 % 24), dec_degrees=float(np.arcsin(z) / DEGREE))
               for x, y, z in position]

    def year() -> None:
        for target in targets:
            for find in (almanac.find_risings, almanac.find_settings):
                find(seen, target, *span, horizon_degrees=POINT_HORIZON_DEG)

    return _median_s(year, 3) / (len(targets) * NIGHTS) * 1e6


def _astropy_us(hips: list[int]) -> float:
    """Microseconds a case: altitudes of many stars at shared moments and of one star at its own."""
    import warnings

    from astropy import units as u
    from astropy.coordinates import AltAz, EarthLocation, SkyCoord
    from astropy.time import Time
    from astropy.utils import iers

    stars = load_catalogue()
    x, y, z = stars.position[stars.indices(hips)].T
    many = SkyCoord(ra=np.arctan2(y, x) * u.rad, dec=np.arcsin(z) * u.rad)
    where = EarthLocation.from_geodetic(-38 * u.deg, 46 * u.deg)
    with warnings.catch_warnings(), iers.conf.set_temp("auto_download", False), iers.conf.set_temp(
            "auto_max_age", None):
        warnings.simplefilter("ignore")
        own = Time(2460676.5 + np.arange(3000) / 9.0, format="jd", scale="utc")
        alone = _median_s(lambda: many[0].transform_to(AltAz(obstime=own, location=where)), 3) / len(own)
        shared = own[:300, None]
        together = _median_s(lambda: many[None, :].transform_to(AltAz(obstime=shared, location=where)), 3)
    return (SHARED_ALTITUDES * together / (300 * len(hips)) + OWN_ALTITUDES * alone) * 1e6


def _erfa_us(hips: list[int]) -> float:
    """Microseconds a case for the ERFA calls one cannot do without.

    A night: ``apci13`` and ``gst06a``; a star and night: ``atciq``; a case: ``ae2hd`` for where on the horizon
    (the crossing itself ERFA leaves to the caller).
    """
    days = parse_date("2025-01-01") + np.arange(NIGHTS) + 0.5
    stars = load_catalogue()
    position = stars.position[stars.indices(hips)]
    ra, dec = np.arctan2(position[:, 1], position[:, 0]), np.arcsin(position[:, 2])
    case_azimuth = np.linspace(0.1, 3.0, STARS * NIGHTS)

    def run() -> None:
        context, _ = ufunc.apci13(days, 0.0)
        ufunc.gst06a(days, 0.0, days, 69.2 / 86400)
        ufunc.atciq(ra, dec, 0.0, 0.0, 0.0, 0.0, context[:, None])
        for _ in range(5):
            ufunc.ae2hd(case_azimuth, -0.01, 0.8)

    once = _median_s(run, 3)
    cases = _median_s(lambda: [ufunc.ae2hd(case_azimuth, -0.01, 0.8) for _ in range(5)], 3)
    return (once - cases + cases / 5 * PLACES) / (STARS * PLACES * NIGHTS) * 1e6


def _peak_mib(hips: list[int], places: list[Place]) -> float:
    tracemalloc.start()
    star_almanac(hips, places, parse_date("2025-01-01"), NIGHTS)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 2**20


def _figures(count: int) -> dict[str, list[int]]:
    """Made-up figures of seven stars each."""
    stars, random = load_catalogue(), np.random.default_rng(3)
    bright = stars.hip[stars.brighter(4.5)]
    return {f"figure {i}": bright[random.choice(len(bright), 7, replace=False)].tolist() for i in range(count)}


def _chart_ms() -> float:
    """The slower of the two charts with ten figures."""
    drawn = tuple(FigureDrawing(key, "", list(pairwise(hips)), hips[:1])
                  for key, hips in _figures(10).items())
    moment, place = parse_time("2025-01-15T22:30:00Z"), Place(46, -38)
    requests = [ChartRequest(place, moment, kind=kind, figures=drawn) for kind in ("zenith", "pole")]
    for request in requests:
        draw_chart(request)
    return max(_median_s(lambda r=request: draw_chart(r), 9) for request in requests) * 1000  # type: ignore[misc]


def _peer_row(name: str, ours: float, peer: Callable[[list[int]], float], hips: list[int]) -> Row:
    unit, goal = "us a star, place and day; ratio peer/ours", ">= 300"
    try:
        theirs = peer(hips)
    except ImportError:
        return _row(name, ours, None, None, unit + " (peer not installed)", goal, None)
    return _row(name, ours, theirs, theirs / ours, unit, goal, theirs / ours >= 300)


def rows() -> list[Row]:
    """Six figures; about half a minute."""
    hips, places = _hips(), _places()
    ours, erfa = _ours_us(hips, places), _erfa_us(hips)
    peak, chart = _peak_mib(hips, places), _chart_ms()
    figures = _figures(50)
    band = _median_s(lambda: figure_years(figures, Place(46, -38), 2025), 5) * 1000
    return [
        _peer_row("almanac_vs_skyfield", ours, _skyfield_us, hips),
        _peer_row("almanac_vs_astropy", ours, _astropy_us, hips),
        _row("almanac_vs_erfa", ours, erfa, ours / erfa, "us a case; ratio ours/peer", "<= 5", ours / erfa <= 5),
        _row("memory_mib", peak, None, None, "MiB at the peak, answer included", "<= 300", peak <= 300),
        _row("chart_svg_ms", chart, None, None, "ms a chart, ten figures", "<= 40", chart <= 40),
        _row("year_band_50_ms", band, None, None, "ms, fifty figures, all of one year", "<= 300", band <= 300),
    ]
