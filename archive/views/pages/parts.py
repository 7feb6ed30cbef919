"""From what the gate shows to what the partials draw: plain dictionaries with addresses in them."""

from __future__ import annotations

from collections.abc import Iterable
from types import SimpleNamespace
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from ...access import met
from ...access.gate import Page
from ...access.showing import Label, SegmentCard, ShownTie
from ...models import Item, Kind, Level, TieKind
from ...templatetags.undersky import clock, event_date, language_name
from ..loading import GatedRequest, ask_url, notices_for

Shown = dict[str, Any]

MARKS = {
    Kind.FIGURE: "sky",
    Kind.MIRROR: "sky",
    Kind.PLACE: "place",
    Kind.LAYER: "place",
    Kind.PERSON: "person",
    Kind.TOPIC: "topic",
    Kind.RECORDING: "recording",
    Kind.SEGMENT: "recording",
}
# What a tie is called on the page of its source (outward) and on that of its target.
TIE_WORDS = {
    (TieKind.TOLD_BY, True): gettext_lazy("Told by"),
    (TieKind.TOLD_BY, False): gettext_lazy("Recordings heard in"),
    (TieKind.TELLS_OF, True): gettext_lazy("Tells of"),
    (TieKind.HAD_FROM, True): gettext_lazy("Had from"),
    (TieKind.BELONGS_TO, True): gettext_lazy("Belongs to"),
    (TieKind.RECORDED_AT, True): gettext_lazy("Recorded at"),
    (TieKind.RECORDED_AT, False): gettext_lazy("Recordings made here"),
    (TieKind.NAMES_FIGURE, True): gettext_lazy("Sky figures named"),
    (TieKind.PART_OF, True): gettext_lazy("Part of"),
    (TieKind.PART_OF, False): gettext_lazy("Its parts"),
    (TieKind.NARROWER_THAN, True): gettext_lazy("Broader topics"),
    (TieKind.NARROWER_THAN, False): gettext_lazy("Narrower topics"),
    (TieKind.MIRRORS, True): gettext_lazy("The figure on the ground"),
    (TieKind.MIRRORS, False): gettext_lazy("Mirrors of this figure"),
    (TieKind.STANDS_AT, False): gettext_lazy("Stands in mirrors"),
    ("topic", True): gettext_lazy("Topics"),
}


# --- addresses and labels ---


def address(label: Label) -> str:
    return reverse(label.kind, args=[label.ref])


def optional(name: str, *args: str) -> str:
    """The address of a page that may not be part of this house, else nothing."""
    try:
        return reverse(name, args=args)
    except NoReverseMatch:
        return ""


def value(label: Label) -> Shown:
    """A label as a fact's value."""
    return {"value": label.text, "url": address(label), "lang": label.language}


def chip(label: Label, note: str = "") -> Shown:
    return {
        "kind": MARKS[Kind(label.kind)],
        "label": label.text,
        "url": address(label),
        "lang": label.language,
        "note": note,
    }


def counted(words: object, count: int) -> str:
    return _("%(words)s (%(count)d)") % {"words": words, "count": count}


def level_word(label: Label) -> str:
    """The level to mark: only what is less than the whole is worth a mark."""
    return "" if label.level == Level.OPEN else label.level.name.lower()


def tie_groups(ties: Iterable[ShownTie], notes: dict[str, str] | None = None) -> list[Shown]:
    """Ties other than those to segments, in named groups with their counts.

    Beside each stands its note (by the other's ref), else its name in another language.
    """
    groups: dict[tuple[str, bool], list[Shown]] = {}
    for tie in ties:
        key = (tie.kind, tie.outward)
        if key in TIE_WORDS and tie.other.kind != Kind.SEGMENT:
            note = (notes or {}).get(tie.other.ref) or tie.other.also
            groups.setdefault(key, []).append(chip(tie.other, note))
    return [
        {"label": counted(words, len(groups[key])), "ties": groups[key]}
        for key, words in TIE_WORDS.items()
        if key in groups
    ]


# --- cards ---


def segment_item(card: SegmentCard, with_recording: bool = True, without: str = "") -> Shown:
    """A segment's card, without the chip of the item (its ref) whose page it stands on.

    Its place in the recording is not told: where only clips are offered it is not met.
    """
    recording = card.recording if with_recording else None
    ties = [one for one in (*card.figures, *card.places, *card.told_of, *card.topics) if one.ref != without]
    return {
        "url": address(card.label),
        "title": card.label.text,
        "summary": card.summary,
        "speakers": [value(one) for one in card.speakers],
        "recording": value(recording) if recording else None,
        "recorded_on": event_date(card.recorded_on) if recording else "",
        "length": clock(card.duration_ms),
        "level": level_word(card.label),
        **playing(card.label, card.is_open, card.cautions),
        "ties": [chip(one) for one in ties],
    }


def playing(label: Label, is_heard: bool, cautions: Iterable[str]) -> Shown:
    """Where a card's item is played, its sound to be played on the card, and what is said before; or nothing."""
    if not is_heard:
        return {"play_url": ""}
    sound_url = reverse(f"{label.kind}_sound", args=[label.ref])
    return {"play_url": address(label), "sound_url": sound_url, "cautions": tuple(cautions)}


def segment_items(cards: Iterable[SegmentCard], with_recording: bool = True, without: str = "") -> list[Shown]:
    return [segment_item(card, with_recording, without) for card in cards]


# --- pages of a list ---


def page_number(request: HttpRequest) -> int:
    raw = request.GET.get("page", "")
    return int(raw) if raw.isascii() and raw.isdigit() and len(raw) < 9 else 1


def page_links(page: Page) -> SimpleNamespace:
    """A page as parts/pages.html reads it."""
    return SimpleNamespace(
        number=page.number,
        has_other_pages=page.pages > 1,
        has_previous=page.has_previous,
        has_next=page.has_next,
        previous_page_number=page.number - 1,
        next_page_number=page.number + 1,
        paginator=SimpleNamespace(num_pages=page.pages),
    )


# --- item pages ---


def item_context(request: GatedRequest, item: Item, label: Label, nav: str, list_words: str) -> Shown:
    """What every item page shows; that it was met is written down."""
    met.note(request.gate, item, "page")
    words = _("First page")
    return {
        "nav": nav,
        "label": label,
        "crumbs": [
            {"label": words, "url": reverse("home")},
            {"label": list_words, "url": reverse(nav)},
            {"label": label.text},
        ],
        "actions": actions(request, item) + _find_actions(label),
        "notices": [{"words": said, "ask": ask} for said, ask in notices_for(request, item)],
        "is_described": label.level == Level.DESCRIPTION,
        "ask_url": ask_url(request, item),
        "is_waiting": item.is_undecided,
    }


# What the find page is asked for from the page of a thing.
AIMS = {Kind.FIGURE: "sky", Kind.PLACE: "near", Kind.PERSON: "who", Kind.TOPIC: "on"}


def _find_actions(label: Label) -> list[Shown]:
    """To the find page, asked for all that leads to this thing by its name; none for what is not asked for so."""
    aim = AIMS.get(Kind(label.kind))
    return [{"label": _("Find all that leads here"), "url": aimed_url(aim, label.text), "quiet": True}] if aim else []


def aimed_url(aim: str, name: str) -> str:
    """The find page asked for a thing by its name, which may have more words than one."""
    return asked_url(f'{aim}:"{name.replace(chr(34), "")}"')


def asked_url(text: str) -> str:
    """The find page with this typed in its box."""
    return f"{reverse('find')}?{urlencode({'q': text})}"


def actions(request: GatedRequest, item: Item) -> list[Shown]:
    """The item's threads, and the links that a role adds; the pages behind these ask for the role themselves."""
    found = []
    if item.kind != Kind.LAYER:  # nothing is tied to a layer
        found.append((_("Threads"), reverse("threads", args=[item.kind, item.ref])))
    if item.kind in (Kind.FIGURE, Kind.TOPIC, Kind.PLACE):
        found.append((_("Tellings"), reverse("tellings", args=[item.kind, item.ref])))
    if getattr(request.user, "is_archivist", False):
        found.append((_("Edit"), optional("edit", item.kind, item.ref)))
        if item.kind == Kind.RECORDING:
            found.append((_("Cut"), optional("cut", item.ref)))
    if getattr(request.user, "is_council", False):
        found.append((_("Decide"), optional("decide", item.kind, item.ref)))
        found.append((_("Close now"), optional("close_now", item.kind, item.ref)))
    return [{"label": words, "url": url, "quiet": True} for words, url in found if url]


def names_rows(spellings: Iterable[Any], spoken: str) -> list[Shown]:
    """Every spelling by language, the community's own language first, the leading one first in each."""
    by_language: dict[str, list[str]] = {}
    for one in spellings:
        by_language.setdefault(one.language, []).append(one.text)
    ordered = sorted(by_language, key=lambda tag: (tag != spoken, tag))
    return [
        {"term": language_name(tag), "many": [{"value": text, "lang": tag} for text in by_language[tag]]}
        for tag in ordered
    ]
