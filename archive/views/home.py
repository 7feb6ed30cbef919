"""The first page: whose archive this is, how to find a story, and the ways in."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from ..access import details, showing
from ..access.gate import Gate
from ..models import Kind, Level, Recording
from .loading import GatedRequest
from .pages import parts
from .pages.parts import Shown
from .pages.recordings import card_item

SHOWN = 6
RECORDINGS_SHOWN = 4


@require_safe
def home(request: GatedRequest) -> HttpResponse:
    gate = request.gate
    newest = gate.page(Recording, ("-recorded_on", "ref"), 1, RECORDINGS_SHOWN)
    held = showing.house()
    return render(
        request,
        "home.html",
        {
            "welcome": held.welcome,
            "opened": _opened(gate),
            "find_url": parts.optional("find"),
            "ways": [
                _way(gate, Kind.FIGURE, "figures", _("Sky figures")),
                _way(gate, Kind.PLACE, "places", _("Places")),
                _way(gate, Kind.PERSON, "people", _("People")),
                _way(gate, Kind.TOPIC, "topics", _("Topics")),
            ],
            "recordings": [card_item(card) for card in showing.recording_cards(gate, newest.numbers)],
            "recordings_total": newest.total,
        },
    )


def _opened(gate: Gate) -> str:
    """What this viewer may hear, in one line; nothing of what they may not."""
    heard, described = gate.count(Kind.SEGMENT, Level.OPEN), gate.count(Kind.SEGMENT)
    words = ngettext("%(count)d segment is open to you.", "%(count)d segments are open to you.", heard)
    words %= {"count": heard}
    if described > heard:
        more = ngettext(
            "Of %(count)d more you may read the description.",
            "Of %(count)d more you may read the descriptions.",
            described - heard,
        )
        words += " " + more % {"count": described - heard}
    return words


def _way(gate: Gate, kind: str, name: str, words: str) -> Shown:
    numbers = details.in_order(gate, kind)
    named = showing.labels(gate, numbers[:SHOWN])
    return {
        "title": words,
        "url": reverse(name),
        "total": len(numbers),
        "ties": [parts.chip(named[number], named[number].also) for number in numbers[:SHOWN] if number in named],
    }


urlpatterns: list[URLPattern] = [path("", home, name="home")]
