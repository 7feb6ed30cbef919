"""Tonight: what of the community's sky is up, when and where to look, with moon and twilight in plain words."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from ...access import details, ground, showing
from ...access.gate import Gate
from ...access.showing import FigureShown
from ...sky import FigureTonight, Night, SkyError, parse_date, tonight
from ..loading import GatedRequest
from . import words
from .chart import PlaceAndDay, place_asked
from .words import Shown

MOST_STORIES = 3


def evening_of(now: datetime) -> date:
    """The day on whose evening this night began or will begin; until six in the morning, yesterday's."""
    return (now.astimezone(words.zone()) - timedelta(hours=6)).date()


# --- twilight and moon ---


def twilight_words(night: Night) -> list[str]:
    return [_sun_words(night), _dark_words(night)]


def _sun_words(night: Night) -> str:
    sunset = night.twilights["sunset"]
    if sunset.dusk_jd is not None and sunset.dawn_jd is not None:
        return _("The sun sets at %(dusk)s and rises at %(dawn)s.") % {
            "dusk": words.clock(sunset.dusk_jd), "dawn": words.clock(sunset.dawn_jd)}
    if sunset.state == "stays above":
        return _("The sun does not set this night.")
    return _("The sun does not rise: it is polar night.")


def _dark_words(night: Night) -> str:
    if night.dark is None:
        return _("It does not get dark enough for the figures.")
    from_to = {"dusk": words.clock(night.dark[0]), "dawn": words.clock(night.dark[1])}
    if night.twilights[night.dark_by].state == "stays below":
        return _("It stays dark the whole day round.")
    if night.dark_by == "civil":
        return _("It gets dim but not dark, from %(dusk)s to %(dawn)s; only bright stars come through.") % from_to
    return _("It is dark enough for the figures from %(dusk)s to %(dawn)s.") % from_to


def moon_words(night: Night) -> str:
    moon = night.moon
    if moon is None:
        return ""
    parts = [_("The moon: %(phase)s, %(lit)d%% lit.") % {
        "phase": words.PHASES[moon.phase], "lit": round(moon.lit * 100)}]
    if moon.rise_jd is not None:
        parts.append(_("It rises at %(time)s.") % {"time": words.clock(moon.rise_jd)})
    if moon.set_jd is not None:
        parts.append(_("It sets at %(time)s.") % {"time": words.clock(moon.set_jd)})
    if moon.rise_jd is None and moon.set_jd is None:
        parts.append(_("It stays up all night.") if moon.up_at_dusk else _("It does not come up."))
    if night.dark is not None and moon.lit > 0.5 and moon.up_at_dusk:
        parts.append(_("Its light drowns faint stars early in the night."))
    return " ".join(parts)


# --- figures ---


def height_words(altitude_deg: float) -> str:
    """Fists and hands differ; four steps do not."""
    if altitude_deg < 25:
        return _("low")
    if altitude_deg < 50:
        return _("halfway up")
    return _("high") if altitude_deg < 75 else _("nearly overhead")


def where_words(altitude_deg: float, direction: str) -> str:
    height = height_words(altitude_deg)
    if altitude_deg >= 75:
        return height
    return _("%(height)s in the %(direction)s") % {"height": height, "direction": words.DIRECTIONS[direction]}


def _figure_words(seen: FigureTonight) -> str:
    if seen.best_jd is None or seen.best_altitude_deg is None:
        return ""
    given = {
        "time": words.clock(seen.best_jd),
        "where": where_words(seen.best_altitude_deg, seen.direction),
        "degrees": words.number(seen.best_altitude_deg),
    }
    if seen.state == "up at dusk":
        return _("Up as night falls; highest at about %(time)s, %(where)s (%(degrees)s°).") % given
    return _("Comes up later; highest at about %(time)s, %(where)s (%(degrees)s°).") % given


def _stories(gate: Gate, number: int) -> list[Shown]:
    """A few of the segments that tell of a figure and are open to the viewer."""
    cards = showing.segment_cards(gate, details.segments_tied(gate, number))
    told = sorted((card.label for card in cards if card.is_open), key=lambda one: (one.text.casefold(), one.ref))
    return [
        {"label": one.text, "lang": one.language, "url": reverse("segment", args=[one.ref])}
        for one in told[:MOST_STORIES]
    ]


def _shown(gate: Gate, figure: FigureShown, seen: FigureTonight) -> Shown:
    return {
        "name": figure.label.text,
        "lang": figure.label.language,
        "url": reverse("figure", args=[figure.label.ref]),
        "words": _figure_words(seen),
        "stories": _stories(gate, figure.label.number),
    }


def _lights(night: Night) -> list[Shown]:
    """Planets and the brightest stars above the horizon as night falls."""
    up = [one for one in (*night.planets, *night.stars) if one.altitude_deg > 5]
    return [
        {
            "name": words.BODIES.get(one.name, one.name),
            "where": where_words(one.altitude_deg, one.direction),
            "sets": words.clock(one.set_jd) if one.set_jd is not None else "",
        }
        for one in up
    ]


def _night(gate: Gate, form: PlaceAndDay, day: date) -> Shown:
    given = form.cleaned_data if form.is_valid() else {}
    place = place_asked(given)
    figures = {one.label.ref: one for one in ground.figures_to_draw(gate)}
    night = tonight(place, parse_date(day.isoformat()), {ref: one.stars for ref, one in figures.items()})
    seen = {one.key: one for one in night.figures}
    up = [one for one in night.figures if one.best_jd is not None]
    return {
        "day": words.day(day),
        "where": words.place(place),
        "twilight": twilight_words(night),
        "moon": moon_words(night),
        "is_dark": night.dark is not None,
        "now": [_shown(gate, figures[one.key], one) for one in up if one.state == "up at dusk"],
        "later": [_shown(gate, figures[one.key], one) for one in up if one.state == "up later"],
        "down": [_shown(gate, figures[ref], seen[ref]) for ref in figures if ref in seen and seen[ref].best_jd is None],
        "lights": _lights(night),
    }


@require_safe
def tonight_page(request: GatedRequest) -> HttpResponse:
    form = PlaceAndDay(request.GET or None)
    night, trouble = {}, ""
    usual = evening_of(request.gate.moment)
    day = (form.cleaned_data.get("day") if form.is_valid() else None) or usual
    if not form.is_bound or form.is_valid():
        try:
            night = _night(request.gate, form, day)
        except SkyError as error:
            trouble = str(error)
    held = showing.house()
    shown = form if form.is_bound else PlaceAndDay(
        initial={"day": day, "latitude": held.latitude_deg, "longitude": held.longitude_deg})
    return render(request, "sky/tonight.html", {"nav": "sky", "form": shown, "night": night, "trouble": trouble})


urlpatterns: list[URLPattern] = [path("tonight/", tonight_page, name="tonight")]
