"""What waits for the council, oldest first, and what else is due."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from ...access import asking, audiences, chamber, details
from ...access.chamber import Waiting
from ...access.showing import Label
from ...models import Kind
from ..loading import GatedRequest
from ..pages.parts import page_links, page_number
from . import parts
from .parts import Shown
from .room import council_page

SIZE = 25
ORDER = (
    Kind.RECORDING, Kind.SEGMENT, Kind.SPAN, Kind.PERSON, Kind.PLACE, Kind.FIGURE, Kind.MIRROR, Kind.TOPIC, Kind.LAYER,
)

ROOMS = (
    ("council_requests", gettext_lazy("Requests")),
    ("audiences", gettext_lazy("Audiences")),
    ("seasons", gettext_lazy("Seasons")),
    ("names_at_rest", gettext_lazy("Names at rest")),
    ("see_as", gettext_lazy("See as")),
    ("words", gettext_lazy("Words")),
    ("ledger", gettext_lazy("Ledger")),
)


@council_page
@require_safe
def queue(request: GatedRequest) -> HttpResponse:
    gate = request.gate
    kind = request.GET.get("kind", "")
    kind = kind if kind in Kind.values else ""
    by = _by(request)
    numbers = chamber.waiting(gate, kind, by.number if by else None)
    page = details.page_of(numbers, page_number(request), SIZE)
    cards = chamber.waiting_cards(gate, page.numbers)
    due = chamber.reviews_due(gate)
    return render(
        request,
        "council/queue.html",
        {
            "nav": "council",
            "kinds": _kinds(chamber.counts(gate), kind),
            "kind": kind,
            "by": parts.named(by) if by else None,
            "cards": [_card(one) for one in cards],
            "all_value": kind or "all",
            "total": page.total,
            "page": page_links(page),
            "due": [parts.condition(one) for one in due],
            "colliding": [
                {"target": parts.named(target), "limits": [parts.condition(one) for one in held]}
                for target, held in chamber.colliding(gate)
            ],
            "withdrawn": [
                {
                    "recording": parts.named(one.recording),
                    "given_by": one.given_by,
                    "stated_on": one.stated_on,
                    "consent_url": reverse("consent", args=[one.recording.ref]),
                }
                for one in chamber.withdrawn(gate)
            ],
            "rooms": rooms(request),
            "wishes": audiences.wishes(gate),
        },
    )


def rooms(request: GatedRequest) -> list[Shown]:
    """The other pages of the council's room, with what waits there."""
    waiting = {"council_requests": len(asking.waiting(request.gate))}
    return [{"label": words, "url": reverse(name), "count": waiting.get(name, 0)} for name, words in ROOMS]


def _by(request: GatedRequest) -> Label | None:
    ref = request.GET.get("by", "")
    numbers = list(chamber.numbers_of(request.gate, [ref] if ref else []).values())
    return chamber.labels(request.gate, numbers).get(numbers[0]) if numbers else None


def _kinds(counts: dict[str, int], chosen: str) -> list[Shown]:
    """What the list can be narrowed to, where there is a choice."""
    if len(counts) < 2 and not chosen:
        return []
    here = reverse("council")
    found = [{"label": _("everything"), "count": sum(counts.values()), "url": here, "chosen": not chosen}]
    found += [
        {"label": parts.kind_word(kind), "count": counts[kind], "url": f"{here}?kind={kind}", "chosen": kind == chosen}
        for kind in ORDER
        if kind in counts
    ]
    return [{"label": _("What kind"), "name": "kind", "choices": found}]


def _card(one: Waiting) -> Shown:
    return {
        "label": parts.named(one.label),
        "since": one.since,
        "brought_by": one.brought_by,
        "within": parts.named(one.within) if one.within else None,
        "ties": [parts.chip(tie, parts.kind_word(tie.kind)) for tie in one.ties],
        "bys": [
            {"text": tie.text, "lang": tie.language, "url": f"{reverse('council')}?by={tie.ref}"}
            for tie in one.ties
            if tie.kind in (Kind.PERSON, Kind.PLACE, Kind.FIGURE, Kind.TOPIC)
        ],
        "limits": [parts.condition(each, one.label) for each in one.conditions],
    }


urlpatterns: list[URLPattern] = [path("council/", queue, name="council")]
