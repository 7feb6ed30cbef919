"""Recordings: the list, and the page of one with its sound, its words and its segments."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from ...access import cautioning, details, showing
from ...access.details import ConsentShown, RecordingShown
from ...access.showing import RecordingCard
from ...models import ConsentState, Level, Offering, Recording, TieKind
from ...templatetags.undersky import clock, event_date, language_name
from ..loading import GatedRequest, fetch, item_page
from . import parts, players
from .parts import Shown


@require_safe
def index(request: GatedRequest) -> HttpResponse:
    page = request.gate.page(Recording, ("-recorded_on", "ref"), parts.page_number(request), 20)
    items = [card_item(card) for card in showing.recording_cards(request.gate, page.numbers)]
    return render(
        request,
        "pages/recordings.html",
        {"nav": "recordings", "items": items, "total": page.total, "page": parts.page_links(page)},
    )


def card_item(card: RecordingCard) -> Shown:
    speakers = ", ".join(one.text for one in card.speakers)
    segments = ngettext("%(count)d segment", "%(count)d segments", card.segments) % {"count": card.segments}
    facts = [speakers, event_date(card.recorded_on), clock(card.duration_ms), segments]
    return {
        "kind": "recording",
        "url": parts.address(card.label),
        "title": card.label.text,
        "facts": [fact for fact in facts if fact],
        "level": parts.level_word(card.label),
    }


@item_page
@require_safe
def page(request: GatedRequest, ref: str) -> HttpResponse:
    row = fetch(request, Recording, ref)
    shown = details.recording(request.gate, row)
    ties = showing.ties(request.gate, row.pk)
    numbers = details.segments_in(request.gate, row.pk)
    cards, here = details.segments_page(request.gate, numbers, parts.page_number(request))
    context = parts.item_context(request, row, shown.card.label, "recordings", _("Recordings"))
    if shown.is_heard_whole and shown.card.duration_ms:  # then its words are on the page
        details.note_within(request.gate, row, 0, shown.card.duration_ms, "page")
    return render(
        request,
        "pages/recording.html",
        context
        | {
            "rows": _facts(shown, ties),
            "circumstances": shown.circumstances,
            "cautions": cautioning.words_for(request.gate, row.pk),
            "sound": players.of_recording(request.gate, row) if shown.is_heard_whole else None,
            "offered": _offered(shown),
            "segments": parts.segment_items(cards, with_recording=False),
            "segments_total": here.total,
            "page": parts.page_links(here),
            "groups": parts.tie_groups(tie for tie in ties if tie.kind not in SHOWN_AS_FACTS),
        },
    )


SHOWN_AS_FACTS = {TieKind.TOLD_BY, TieKind.RECORDED_AT}


def _facts(shown: RecordingShown, ties: list[showing.ShownTie]) -> list[Shown]:
    speakers = showing.others(ties, TieKind.TOLD_BY, True)
    places = showing.others(ties, TieKind.RECORDED_AT, True)
    rows: list[Any] = [
        {"term": _("Speaker"), "many": [parts.value(one) for one in speakers]} if len(speakers) == 1 else None,
        {"term": parts.counted(_("Speakers"), len(speakers)), "many": [parts.value(one) for one in speakers]}
        if len(speakers) > 1
        else None,
        {"term": _("Recorded"), "value": event_date(shown.card.recorded_on)},
        {"term": _("Recorded at"), "many": [parts.value(one) for one in places]} if places else None,
        {"term": _("Length"), "value": clock(shown.card.duration_ms)} if shown.card.duration_ms else None,
        {"term": _("Language spoken"), "value": language_name(shown.card.language)},
        {"term": _("Consent"), "value": consent_words(shown.consent)},
        {"term": _("How it is offered"), "value": _offered(shown)},
    ]
    return [row for row in rows if row]


def consent_words(consent: ConsentShown | None) -> str:
    """The newest word on consent, plainly."""
    if consent is None:
        return _("Nothing is written down yet.")
    said = {
        ConsentState.GIVEN: _("The people heard agreed to this being kept and heard (%(date)s)."),
        ConsentState.LIMITED: _("The people heard agreed within limits, which the council keeps (%(date)s)."),
        ConsentState.WITHDRAWN: _("Consent was taken back on %(date)s. Nobody hears it."),
    }
    words = said[ConsentState(consent.state)] % {"date": date_format(consent.stated_on, "j F Y")}
    if consent.given_by:
        words += " " + _("Said by %(who)s.") % {"who": consent.given_by}
    return f"{words} “{consent.words}”" if consent.words else words


def _offered(shown: RecordingShown) -> str:
    if shown.is_heard_whole:
        return _("You may hear it whole.")
    if shown.card.label.level < Level.OPEN:
        return _("Only its description is open to you, not its sound or its words.")
    if shown.offering == Offering.CLIPS:
        return _("It is not offered whole. The segments below that are open can be heard one by one.")
    return _("It is not offered to be heard.")


urlpatterns: list[URLPattern] = [
    path("recordings/", index, name="recordings"),
    path("recordings/<str:ref>/", page, name="recording"),
]
