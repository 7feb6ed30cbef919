"""Where a day's path of a star, a figure, the sun, the moon or a planet meets the skyline of a place.

A path may come out and go in again behind a hill, so risings and settings are lists.  Paths are sampled every two
minutes, and where they stand above each point of the profile; a stay that lasts less may be missed.  A star keeps
its place for the day (error below 0.1 arcsec); sun, moon and planets move.  The sun's and the moon's upper limb is
followed: their middle stands 16' lower.  Never look at the sun without a proper filter.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .altaz import Place, altitude_azimuth, body_hour_angle, greenwich_sidereal
from .bearings import MOON_PARALLAX_DEG
from .bodies import check_body
from .catalogue import load_catalogue
from .frames import precession, star_vectors
from .horizon import SIDEREAL_RATE, body_culmination
from .places import apparent_of_date
from .skyline import Skyline, seen_above_deg
from .times import check_year, tt_of_ut
from .vectors import DEGREE, TAU, Floats, Ints, as_floats, ra_dec, rotate, unit, wrap

HALF_DISC_DEG = 16 / 60
"""Half the width of the sun and, within 1', of the moon."""
USUAL_MAG = {"sun": -26.7, "moon": -10.0, "mercury": 0.0, "venus": -4.0, "mars": 0.5, "jupiter": -2.3, "saturn": 0.5}
"""Usual brightness for the loss of light low down; a magnitude of error moves that by half a degree (common
practice, no source)."""
_STEPS = 720
_CLOSE_ENOUGH = 1e-8
"""Radians, 0.002 arcsec; a Julian date as a float is no finer than a third of that."""

Height = Callable[[Ints, Floats], Floats]


@dataclass(frozen=True)
class Event:
    """A meeting with the skyline, or a culmination: instant (UT; None for a year), azimuth, TRUE altitude."""

    jd_ut: float | None
    azimuth_deg: float
    altitude_deg: float


@dataclass(frozen=True)
class Passage:
    """One body's day.  ``never`` is "rises" (nothing of its path is above the skyline), "sets" or empty."""

    rises: tuple[Event, ...]
    sets: tuple[Event, ...]
    culmination: Event | None
    never: str = ""


@dataclass(frozen=True)
class FigurePassage:
    """A figure's day: its first and last star to rise and to set, and its middle's culmination.

    ``never`` as above, for all of its stars; ``hidden`` and ``circling`` count the stars that never rise and never
    set.  Events are None where no star of it rises and sets.
    """

    key: str
    first_rise: Event | None
    last_rise: Event | None
    first_set: Event | None
    last_set: Event | None
    culmination: Event
    never: str
    hidden: int
    circling: int
    stars: int


# --- crossings in general ---


def _changes(value: Floats) -> tuple[Ints, Ints]:
    """Rows and columns after which the sign changes; ``value`` (bodies, samples)."""
    rows, columns = np.nonzero((value[:, :-1] < 0) != (value[:, 1:] < 0))
    return rows.astype(np.int64), columns.astype(np.int64)


def _refine(height: Height, rows: Ints, a: Floats, b: Floats, fa: Floats, fb: Floats) -> Floats:
    """Zeros of ``height(rows, x)`` between a and b, all at once (regula falsi, Illinois form)."""
    a, b, fa, fb = a.copy(), b.copy(), fa.copy(), fb.copy()
    for _ in range(40):
        gap = fb - fa
        c = np.where(gap == 0, b, (a * fb - b * fa) / np.where(gap == 0, 1, gap))
        fc = height(rows, c)
        if np.all(np.abs(fc) < _CLOSE_ENOUGH):
            return c
        turned = fc * fb < 0
        a, fa = np.where(turned, b, a), np.where(turned, fb, fa / 2)
        b, fb = c, fc
    return b


def _vertex_angles(skyline: Skyline, dec: Floats, lat: float) -> Floats:
    """Hour angles at which paths of these declinations stand over the skyline's points (or opposite): (k, 2 v).

    sin H cos A - cos H sin phi sin A = - tan dec cos phi sin A; 0 where a path never does.
    """
    azimuth = np.array(skyline.azimuth_deg) * DEGREE
    sin_a, cos_a = np.sin(azimuth), np.cos(azimuth)
    reach = np.maximum(np.hypot(cos_a, np.sin(lat) * sin_a), 1e-12)
    shift = np.arctan2(np.sin(lat) * sin_a, cos_a)
    ratio = -np.tan(dec)[:, None] * np.cos(lat) * sin_a / reach
    arc = np.arcsin(np.clip(ratio, -1, 1))
    both = np.concatenate([shift + arc, shift + np.pi - arc], axis=1)
    return np.where(np.abs(np.concatenate([ratio, ratio], axis=1)) <= 1, wrap(both), 0.0)


def _never(value: Floats) -> str:
    if (value > 0).all():
        return "sets"
    return "rises" if (value <= 0).all() else ""


# --- stars ---


@dataclass(frozen=True)
class _Paths:
    """Day paths of stars: for each, the hour angles of risings and settings, in order from -pi to pi."""

    dec: Floats
    rises: tuple[Floats, ...]
    sets: tuple[Floats, ...]
    never: tuple[str, ...]


def _star_paths(dec: Floats, v_mag: Floats, lat: float, skyline: Skyline, loss_mag: float,
                raised_deg: float = 0.0) -> _Paths:
    """``loss_mag`` 0 leaves the air out; else a star counts from where it is seen.  ``raised_deg`` is how much
    higher than what it has to clear its middle must stand."""
    dimmed = seen_above_deg(v_mag, loss_mag) if loss_mag > 0 else np.full_like(v_mag, -90.0)

    def height(rows: Ints, hour: Floats) -> Floats:
        altitude, azimuth = altitude_azimuth(hour, dec[rows], lat)
        return altitude - (np.maximum(skyline.floor(azimuth / DEGREE), dimmed[rows]) + raised_deg) * DEGREE

    grid = np.broadcast_to(np.linspace(-np.pi, np.pi, _STEPS + 1), (len(dec), _STEPS + 1))
    hours = np.sort(np.concatenate([grid, _vertex_angles(skyline, dec, lat)], axis=1), axis=1)
    every = np.broadcast_to(np.arange(len(dec))[:, None], hours.shape)
    value = height(every, hours)
    rows, at = _changes(value)
    found = _refine(height, rows, hours[rows, at], hours[rows, at + 1], value[rows, at], value[rows, at + 1])
    upward = value[rows, at] < 0
    rises, sets = (tuple(found[(rows == i) & way] for i in range(len(dec))) for way in (upward, ~upward))
    return _Paths(dec, rises, sets, tuple(_never(one) for one in value))


def _event(hour: float, dec: float, lat: float, jd_ut: float | None) -> Event:
    altitude, azimuth = altitude_azimuth(hour, dec, lat)
    return Event(jd_ut, float(azimuth / DEGREE), float(altitude / DEGREE))


@dataclass(frozen=True)
class _Clock:
    """Turns hour angles into instants of the 24 hours after a start; without a start there are none."""

    start_jd: float | None
    sidereal: float

    def instant(self, ra: float, hour: float) -> float | None:
        if self.start_jd is None:
            return None
        return float(self.start_jd + (ra + hour - self.sidereal) % TAU / SIDEREAL_RATE)


def _stars_of(hips: Sequence[int], place: Place, start_jd: float | None,
              year: float) -> tuple[Floats, Floats, Floats, _Clock]:
    """Right ascension, declination (radians), magnitude and clock: of the day, or mean of the year."""
    stars = load_catalogue()
    rows = stars.indices(list(hips))
    if start_jd is None:
        check_year(year)
        ra, dec = ra_dec(rotate(precession(year), star_vectors(stars, rows, year)))
        return ra, dec, stars.v_mag[rows], _Clock(None, 0.0)
    ra, dec = apparent_of_date(rows, float(tt_of_ut(start_jd + 0.5)))
    sidereal = float(greenwich_sidereal(start_jd)) + place.lon_deg * DEGREE
    return ra, dec, stars.v_mag[rows], _Clock(start_jd, sidereal)


def _ordered(events: list[Event]) -> tuple[Event, ...]:
    return tuple(sorted(events, key=lambda one: one.jd_ut if one.jd_ut is not None else 0.0))


def star_passage(hip: int, place: Place, skyline: Skyline, start_jd: float | None = None, year: float = 2000.0,
                 loss_mag: float = 0.0) -> Passage:
    """One star over a skyline: in the 24 hours after ``start_jd``, or (without it) in a year, with no instants.

    ``loss_mag`` above 0 counts the star only from where air that takes so much overhead lets it be seen.
    """
    ra, dec, v_mag, clock = _stars_of([hip], place, start_jd, year)
    lat = place.lat_deg * DEGREE
    paths = _star_paths(dec, v_mag, lat, skyline, loss_mag)

    def events(hours: Floats) -> tuple[Event, ...]:
        return _ordered([_event(h, dec[0], lat, clock.instant(ra[0], h)) for h in hours.tolist()])

    highest = _event(0.0, dec[0], lat, clock.instant(ra[0], 0.0))
    return Passage(events(paths.rises[0]), events(paths.sets[0]), highest, paths.never[0])


def turn_passage(body: str, declination_deg: float, lat_deg: float, skyline: Skyline,
                 loss_mag: float = 0.0) -> Passage:
    """The sun, the moon or a planet over a skyline while it keeps a geocentric declination; events have no instants.

    The moon is taken at its mean distance (error 0.1 degree of altitude).
    """
    lat, dec = lat_deg * DEGREE, np.array([declination_deg * DEGREE])
    raised = MOON_PARALLAX_DEG * (body == "moon") - HALF_DISC_DEG * (body in ("sun", "moon"))
    paths = _star_paths(dec, np.array([USUAL_MAG[body]]), lat, skyline, loss_mag, raised)
    rises, sets = (tuple(_event(hour, dec[0], lat, None) for hour in hours.tolist())
                   for hours in (paths.rises[0], paths.sets[0]))
    return Passage(rises, sets, _event(0.0, dec[0], lat, None), paths.never[0])


def figure_passages(figures: Mapping[str, Sequence[int]], place: Place, skyline: Skyline,
                    start_jd: float | None = None, year: float = 2000.0,
                    loss_mag: float = 0.0) -> list[FigurePassage]:
    """Whole figures (key -> Hipparcos numbers) over a skyline, as ``star_passage`` does one star."""
    wanted = {key: sorted(set(hips)) for key, hips in figures.items() if len(hips)}
    hips = sorted({hip for members in wanted.values() for hip in members})
    if not hips:
        return []
    ra, dec, v_mag, clock = _stars_of(hips, place, start_jd, year)
    paths = _star_paths(dec, v_mag, place.lat_deg * DEGREE, skyline, loss_mag)
    index = {hip: i for i, hip in enumerate(hips)}
    return [_figure(key, [index[hip] for hip in members], ra, paths, place.lat_deg * DEGREE, clock)
            for key, members in wanted.items()]


def _figure(key: str, members: list[int], ra: Floats, paths: _Paths, lat: float, clock: _Clock) -> FigurePassage:
    """Each star's first rising and last setting, told by the hour angle of the figure's middle."""
    middle = unit(ra[members], paths.dec[members]).sum(axis=0)
    mid_ra, mid_dec = (float(x) for x in ra_dec(middle))
    ahead = wrap(ra[members] - mid_ra)

    def edge(hours: tuple[Floats, ...], inner: int, outer: int) -> Event | None:
        crossed = [(float(turn + hours[i][inner]), i, float(hours[i][inner]))
                   for i, turn in zip(members, ahead.tolist(), strict=True) if hours[i].size]
        if not crossed:
            return None
        _when, i, hour = sorted(crossed)[outer]
        return _event(hour, float(paths.dec[i]), lat, clock.instant(float(ra[i]), hour))

    said = [paths.never[i] for i in members]
    never = said[0] if said[0] and len(set(said)) == 1 else ""
    highest = _event(0.0, mid_dec, lat, clock.instant(mid_ra, 0.0))
    return FigurePassage(key, edge(paths.rises, 0, 0), edge(paths.rises, 0, -1), edge(paths.sets, -1, 0),
                         edge(paths.sets, -1, -1), highest, never, said.count("rises"), said.count("sets"), len(said))


# --- sun, moon and planets ---


def body_passage(body: str, place: Place, skyline: Skyline, start_jd: float, loss_mag: float = 0.0) -> Passage:
    """The sun, the moon or a planet over a skyline in the 24 hours after an instant; ``loss_mag`` as for a star."""
    check_body(body)
    lat, lon = place.lat_deg * DEGREE, place.lon_deg * DEGREE
    limb = HALF_DISC_DEG if body in ("sun", "moon") else 0.0
    dimmed = float(seen_above_deg(USUAL_MAG[body], loss_mag)) if loss_mag > 0 else -90.0

    def path(jd: Floats) -> tuple[Floats, Floats]:
        hour, dec = body_hour_angle(body, jd, lat, lon)
        return altitude_azimuth(hour, dec, lat)

    def height(_rows: Ints, jd: Floats) -> Floats:
        altitude, azimuth = path(jd)
        return altitude - (np.maximum(skyline.floor(azimuth / DEGREE), dimmed) - limb) * DEGREE

    hour, dec = body_hour_angle(body, as_floats(start_jd), lat, lon)
    over = _vertex_angles(skyline, np.array([float(dec)]), lat)[0]
    jd = np.sort(np.concatenate([np.linspace(0, 1, _STEPS + 1), (over - float(hour)) % TAU / TAU])) + start_jd
    value = height(np.zeros(len(jd), dtype=np.int64), jd)[None, :]
    rows, at = _changes(value)
    found = _refine(height, rows, jd[at], jd[at + 1], value[0, at], value[0, at + 1])
    altitude, azimuth = path(found)
    events = [Event(float(t), float(a / DEGREE), float(h / DEGREE))
              for t, a, h in zip(found, azimuth, altitude, strict=True)]
    upward = (value[0, at] < 0).tolist()
    return Passage(tuple(e for e, up in zip(events, upward, strict=True) if up),
                   tuple(e for e, up in zip(events, upward, strict=True) if not up),
                   _culmination(body, start_jd, lat, lon), _never(value[0]))


def _culmination(body: str, start_jd: float, lat: float, lon: float) -> Event | None:
    found = body_culmination(body, start_jd, lat, lon)
    if found is None:
        return None
    hour, dec = body_hour_angle(body, found, lat, lon)
    return _event(float(hour), float(dec), lat, found)
