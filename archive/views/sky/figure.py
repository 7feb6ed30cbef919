"""What the sky says of one figure: its year, where it rises and sets, and its first and last nights.

Only for figures that are met in full: the caller passes their stars.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from ...access import showing
from ...sky import Place, SkyError, load_catalogue, rise_azimuth_deg, star_phases, star_places, year_bands
from ...sky.vectors import Flags, runs
from . import compass, wobble, words
from .words import MONTHS, Shown

MOST_STARS = 12  # of a figure with more, the brightest are told of
BAND_LEFT, BAND_WIDTH, ROW = 150.0, 730.0, 44.0  # the year band, in the units of its drawing
ROSE_MIDDLE, ROSE_RADIUS = 200.0, 150.0


@dataclass(frozen=True)
class Bar:
    x: float
    width: float


# --- the year ---


def _bars(flags: Flags) -> list[Bar]:
    """Runs of nights as bars along the year."""
    night = BAND_WIDTH / len(flags)
    return [Bar(BAND_LEFT + first * night, (last - first) * night) for first, last in runs(flags)]


def _months(year: int) -> list[Shown]:
    """Where each month begins on the band, and its short name."""
    first, days = date(year, 1, 1), (date(year + 1, 1, 1) - date(year, 1, 1)).days
    return [
        {
            "x": BAND_LEFT + (date(year, month.month, 1) - first).days / days * BAND_WIDTH,
            "middle": BAND_LEFT + (month.month - 0.5) / 12 * BAND_WIDTH,
            "name": date_format(month, "M")[:3],
        }
        for month in MONTHS
    ]


def _spans_words(spans: Sequence[tuple[str, str]], nights: int) -> str:
    if not spans:
        return _("In the evening it is never up at the end of twilight.")
    if len(spans) == 1 and _days(spans[0]) >= nights:
        return _("It is up on every evening of the year.")
    joined = _join_new_year(spans)
    told = "; ".join(
        _("%(first)s to %(last)s") % {"first": _day(first), "last": _day(last)} for first, last in joined)
    return _("Up in the evening: %(spans)s.") % {"spans": told}


def _days(span: tuple[str, str]) -> int:
    return (date.fromisoformat(span[1]) - date.fromisoformat(span[0])).days + 1


def _join_new_year(spans: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    """A run that meets the year's end goes on at its beginning."""
    found = list(spans)
    if len(found) > 1 and found[0][0].endswith("-01-01") and found[-1][1].endswith("-12-31"):
        found[0] = (found.pop()[0], found[0][1])
    return found


def _day(iso: str) -> str:
    return date_format(date.fromisoformat(iso), "j F")


def _year(hips: Sequence[int], place: Place, year: int) -> Shown:
    band = year_bands({"one": hips}, place, year)[0]
    rows = [
        {"name": name, "y": 40 + at * ROW, "text_y": 64 + at * ROW, "bars": _bars(flags)}
        for at, (name, flags) in enumerate(
            ((_("evening"), band.evening), (_("midnight"), band.midnight), (_("before dawn"), band.morning)))
    ]
    return {
        "rows": rows, "months": _months(year), "height": 40 + 3 * ROW, "left": BAND_LEFT, "width": BAND_WIDTH,
        "words": _spans_words(band.evening_spans, len(band.evening)), "year": year,
    }


# --- the rose ---


def _point(azimuth_deg: float, radius: float) -> Shown:
    return compass.point(azimuth_deg, radius, ROSE_MIDDLE)


def _crossings(hips: Sequence[int], place: Place, year: int) -> list[Shown]:
    """For each star: where it rises and sets by a level horizon, or what it never does."""
    found: list[Shown] = []
    for hip, dec_deg in zip(hips, star_places(hips, year + 0.5)[1].tolist(), strict=True):
        told = rise_azimuth_deg(dec_deg, place.lat_deg)
        never = told if isinstance(told, str) else ""
        rise, fall = (None, None) if isinstance(told, str) else told
        found.append({"hip": hip, "name": load_catalogue().label(hip), "never": never, "rise": rise, "set": fall})
    return found


def _rose(crossings: Sequence[Shown]) -> Shown:
    spokes = [
        {"rim": _point(one[way], ROSE_RADIUS), "inner": _point(one[way], 60), "way": way}
        for one in crossings if not one["never"] for way in ("rise", "set")
    ]
    ticks = [{"out": _point(at, ROSE_RADIUS), "in": _point(at, ROSE_RADIUS - (14 if at % 90 == 0 else 7))}
             for at in range(0, 360, 15)]
    letters = [{"at": _point(turn, ROSE_RADIUS + 24), "text": text}
               for turn, text in ((0, _("N")), (90, _("E")), (180, _("S")), (270, _("W")))]
    return {"spokes": spokes, "ticks": ticks, "letters": letters, "middle": ROSE_MIDDLE, "radius": ROSE_RADIUS}


def _never_words(crossings: Sequence[Shown]) -> str:
    said = {one["never"] for one in crossings}
    if said == {"sets"}:
        return _("It never sets at the home place: it turns round the pole all night, all year.")
    if said == {"rises"}:
        return _("It never rises at the home place: it stays below the horizon.")
    return ""


# --- first and last nights ---


def _dates(found: Sequence[str]) -> str:
    return ", ".join(_day(one) for one in found) or "–"


def _star_row(one: Shown, place: Place, year: int) -> list[Shown]:
    if one["never"]:
        never = _("never sets") if one["never"] == "sets" else _("never rises")
        return [{"value": one["name"]}, {"value": never}, *({"value": "–"} for _column in range(3))]
    phases = star_phases(one["hip"], place, year)
    return [
        {"value": one["name"]},
        {"value": _way(one["rise"])},
        {"value": _way(one["set"])},
        {"value": _dates(phases.morning_rising)},
        {"value": _dates(phases.evening_setting)},
    ]


def _way(azimuth_deg: float) -> str:
    return _("%(direction)s, %(degrees)s°") % {
        "direction": words.direction(azimuth_deg), "degrees": words.number(azimuth_deg % 360)}


def _headings() -> list[Shown]:
    names = (_("Star"), _("Rises in"), _("Sets in"), _("First seen again before sunrise"), _("Last seen after sunset"))
    return [{"label": name} for name in names]


def _brightest(hips: Sequence[int]) -> list[int]:
    known = load_catalogue()
    magnitudes = dict(zip(hips, known.v_mag[known.indices(list(hips))].tolist(), strict=True))
    kept = set(sorted(hips, key=lambda hip: (magnitudes[hip], hip))[:MOST_STARS])
    return [hip for hip in hips if hip in kept]


def of(stars: Sequence[int], now: datetime) -> Shown:
    """The context of templates/sky/figure.html; empty for a figure without stars that are known."""
    held, this_year = showing.house(), now.astimezone(words.zone()).year
    place = Place(held.latitude_deg, held.longitude_deg)
    hips = list(dict.fromkeys(stars))
    if not hips:
        return {}
    try:
        told = _brightest(hips)
        crossings = _crossings(told, place, this_year)
        year = _year(hips, place, this_year)
        rows = [_star_row(one, place, this_year) for one in crossings]
        poles = wobble.sentences(hips, this_year)
    except SkyError:
        return {}
    return {
        "year": year,
        "rose": _rose(crossings),
        "never": _never_words(crossings),
        "headings": _headings(),
        "rows": rows,
        "poles": poles,
        "is_part": len(told) < len(hips),
        "crosses": any(not one["never"] for one in crossings),
        "tonight_url": reverse("tonight"),
    }

