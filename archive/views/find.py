"""The find page: passages by their words and ties, narrowed by what they are tied to, each with its best line."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from ..access import cautioning, found, showing
from ..access.found import FoundCue
from ..access.gate import Gate, Page
from ..access.showing import Label, RecordingCard, SegmentCard
from ..search import finding, query, suggest
from ..search.engine import NotReady
from ..search.finding import Found, Hit
from ..search.words import marked
from ..templatetags.undersky import clock, event_date, language_name
from ..timecode.times import Span, format_fragment
from . import find_form, kept
from .find_form import KIND_WORDS, Marks
from .finding_words import HOW_WORDS, WAY_WORDS, role_words, trouble_words
from .loading import GatedRequest
from .pages import parts
from .pages.parts import Shown

PAGE = 20
CHOICES = 8
MOST_CHOICES = 200
MOST_TAKEN_IN = 24
MOST_WAYS = 4

FACET_WORDS = {
    "figure": gettext_lazy("Sky figure"),
    "place": gettext_lazy("Place"),
    "person": gettext_lazy("Person"),
    "topic": gettext_lazy("Topic"),
}


# --- the page ---


@require_safe
def page(request: GatedRequest) -> HttpResponse:
    if request.GET.get("sky", "").strip():
        return redirect(parts.aimed_url("sky", request.GET["sky"]))
    since = kept.since(request)
    question = find_form.question(request.gate, request.GET, kept.seen_before(since))
    context: Shown = {
        "nav": "find",
        "form": question.form,
        "q": request.GET.get("q", ""),
        "kept": question.marks.kept,
        "asked": question.asked,
        "keeping": kept.offered(request, since),
    }
    try:
        answer = finding.find(request.gate, question.wanted, parts.page_number(request), PAGE)
    except NotReady:
        response = render(request, "find.html", {**context, "is_waiting": True}, status=503)
        response.headers["Retry-After"] = "30"
        return response
    found.note_words(request.gate, [hit.number for hit in answer.hits if hit.cue])
    return render(request, "find.html", context | _answer(request, answer, question.asked, question.marks))


def _answer(request: GatedRequest, answer: Found, asked: query.Query, marks: Marks) -> Shown:
    return {
        "total": answer.total,
        "items": _items(request.gate, answer.hits, _all_marks(asked, answer)),
        "things": _things(request.gate, answer.things, asked),
        "takes_in": _takes_in(request.gate, answer),
        "troubles": [{"typed": typed, "words": trouble_words(code)} for typed, code in answer.troubles],
        "facets": _facets(request, answer, marks),
        "clear_url": _link(request, ("q", "sort")) if marks.kept or _is_dated(request) else "",
        "page": _page(answer),
        "is_first": answer.page == 1,
        "help": _help(request, answer, asked) if not answer.total else None,
    }


def _things(gate: Gate, numbers: list[int], asked: query.Query) -> list[Shown]:
    """Each under its first name, and beside it the name that answers where that is another."""
    named = showing.labels(gate, numbers)
    spelled = suggest.spelled_so(gate, numbers, asked.marks)
    return [
        parts.chip(named[number], spelled[number] if spelled[number] != named[number].text else "")
        for number in numbers
        if number in named
    ]


def _all_marks(asked: query.Query, answer: Found) -> query.Marks:
    """The words to mark: those asked for, and the names that were looked for."""
    return query.Marks(asked.marks.words | answer.words, asked.marks.beginnings)


def _takes_in(gate: Gate, answer: Found) -> list[Shown]:
    """What an aim stands for: the figures, places and people it takes in, and why each."""
    shown = answer.takes_in[:MOST_TAKEN_IN]
    named = showing.labels(gate, [number for number, _role in shown])
    return [parts.chip(named[number], role_words(role)) for number, role in shown if number in named]


def _is_dated(request: HttpRequest) -> bool:
    return bool(request.GET.get("since") or request.GET.get("until"))


def _page(answer: Found) -> Any:
    return parts.page_links(Page([], answer.total, answer.page, PAGE))


# --- results ---


def _items(gate: Gate, hits: list[Hit], marks: query.Marks) -> list[Shown]:
    numbers = [hit.number for hit in hits]
    lines = found.cues(gate, [hit.cue for hit in hits if hit.cue])
    segments = {card.label.number: card for card in showing.segment_cards(gate, numbers)}
    rest = [number for number in numbers if number not in segments]
    recordings = {card.label.number: card for card in showing.recording_cards(gate, rest)}
    things = {number for hit in hits for _kind, number in hit.ways}
    tied = showing.labels(gate, things | {way.thing for hit in hits for way in hit.reached[:MOST_WAYS]})
    items = []
    for hit in hits:
        line, ways, aside = lines.get(hit.cue), _ways(hit, tied), {"aside": _aside(hit)}
        if hit.number in segments:
            items.append(_segment(segments[hit.number], line, ways, marks) | aside)
        elif hit.number in recordings:
            cautions = cautioning.words_for(gate, hit.number)
            items.append(_recording(recordings[hit.number], line, ways, marks, cautions) | aside)
    return items


def _ways(hit: Hit, tied: dict[int, Label]) -> list[Shown]:
    """Chips of the things that led here, each with the tie; by words alone, a note that leads nowhere."""
    shown = [parts.chip(tied[number], str(WAY_WORDS[kind])) for kind, number in hit.ways if number in tied]
    for way in hit.reached[:MOST_WAYS]:
        if way.thing in tied:
            words = role_words(way.role)
            tie = str(WAY_WORDS[way.way])
            shown.append(parts.chip(tied[way.thing], f"{tie} · {words}" if words else tie))
    return shown


def _aside(hit: Hit) -> list[str]:
    """Ways that are no tie, in words."""
    return [str(WAY_WORDS[way.way]).replace("%s", way.heard) for way in hit.reached if not way.thing]


def _segment(card: SegmentCard, line: FoundCue | None, ways: list[Shown], marks: query.Marks) -> Shown:
    """Its own page plays its own clip, so times are counted from where it starts."""
    item = parts.segment_item(card)
    reached = {way["url"] for way in ways}
    item["ties"] = ways + [tie for tie in item["ties"] if tie["url"] not in reached]
    item["title_pieces"] = marked(card.label.text, marks)
    item["summary_pieces"] = marked(card.summary, marks) if card.summary else []
    if line is not None:
        _play(item, line, max(0, line.start_ms - card.start_ms), marks)
    return item


def _recording(
    card: RecordingCard, line: FoundCue | None, ways: list[Shown], marks: query.Marks, cautions: tuple[str, ...]
) -> Shown:
    item = {
        "is_recording": True,
        "url": parts.address(card.label),
        "title": card.label.text,
        "title_pieces": marked(card.label.text, marks),
        "speakers": [parts.value(one) for one in card.speakers],
        "recorded_on": event_date(card.recorded_on),
        "length": clock(card.duration_ms),
        "level": parts.level_word(card.label),
        **parts.playing(card.label, bool(card.duration_ms), cautions),
        "ties": ways,
    }
    if line is not None:
        _play(item, line, line.start_ms, marks)
    return item


def _play(item: Shown, line: FoundCue, at_ms: int, marks: query.Marks) -> None:
    url = item["url"] + format_fragment(Span(at_ms, None))
    item["play_url"], item["play_at"] = url, clock(at_ms)
    item["cue"] = {"time": clock(at_ms), "url": url, "lang": line.language, "pieces": marked(line.text, marks)}


# --- narrowing ---


def _facets(request: GatedRequest, answer: Found, marks: Marks) -> list[Shown]:
    shown = {name: _shown_rows(request, name, answer.facets[name], marks) for name in FACET_WORDS}
    named = showing.labels(request.gate, {number for rows in shown.values() for number, _count in rows})
    facets = [_thing_facet(request, name, rows, named, answer, marks) for name, rows in shown.items()]
    plain = [_how_facet, _kind_facet, _language_facet, _heard_facet]
    return facets + [facet(request, answer) for facet in plain]


def _shown_rows(
    request: HttpRequest, name: str, rows: list[tuple[int, int]], marks: Marks
) -> list[tuple[int, int]]:
    """The most frequent, or all where these were asked for; what is chosen always."""
    chosen = marks.things.get(name, [])
    most = MOST_CHOICES if request.GET.get("more") == name else CHOICES
    first = [row for row in rows if row[0] in chosen]
    first += [(number, 0) for number in chosen if number not in dict(rows)]
    return first + [row for row in rows if row[0] not in chosen][: max(0, most - len(first))]


def _thing_facet(
    request: HttpRequest,
    name: str,
    rows: list[tuple[int, int]],
    named: dict[int, Label],
    answer: Found,
    marks: Marks,
) -> Shown:
    chosen = marks.things.get(name, [])
    choices = [_thing(request, named[number], count, number in chosen) for number, count in rows if number in named]
    left = len(answer.facets[name]) - len(rows)
    return {
        "label": FACET_WORDS[name],
        "choices": choices,
        "more_url": _link(request, more=name) if left > 0 and request.GET.get("more") != name else "",
    }


def _thing(request: HttpRequest, label: Label, count: int, is_chosen: bool) -> Shown:
    refs = request.GET.getlist(label.kind)
    refs = [ref for ref in refs if ref != label.ref] if is_chosen else [*refs, label.ref]
    return {
        "label": label.text,
        "lang": label.language,
        "count": count,
        "url": _link(request, None, **{label.kind: refs}),
        "chosen": is_chosen,
    }


def _how_facet(request: HttpRequest, answer: Found) -> Shown:
    rows = [(how, str(HOW_WORDS[how]), count) for how, count in answer.hows if count]
    return {"label": _("How it is reached"), "choices": _plain_choices(request, "how", rows)}


def _kind_facet(request: HttpRequest, answer: Found) -> Shown:
    rows = [(kind, str(KIND_WORDS[kind]), count) for kind, count in answer.kinds]
    return {"label": _("Kind"), "choices": _plain_choices(request, "kind", rows)}


def _language_facet(request: HttpRequest, answer: Found) -> Shown:
    rows = [(tag, language_name(tag), count) for tag, count in answer.languages]
    return {"label": _("Language spoken"), "choices": _plain_choices(request, "language", rows)}


def _heard_facet(request: HttpRequest, answer: Found) -> Shown:
    rows = [("yes", _("with sound you may hear"), answer.heard)] if answer.heard else []
    return {"label": _("Sound"), "choices": _plain_choices(request, "heard", rows)}


def _plain_choices(request: HttpRequest, name: str, rows: list[tuple[str, str, int]]) -> list[Shown]:
    chosen = request.GET.get(name, "")
    return [
        {
            "label": words,
            "count": count,
            "url": _link(request, None, **{name: [] if value == chosen else [value]}),
            "chosen": value == chosen,
        }
        for value, words, count in rows
    ]


def _link(request: HttpRequest, keep: tuple[str, ...] | None = None, **changed: list[str] | str) -> str:
    """This page with its query string changed, from its first page on; with `keep`, only these of it kept."""
    values: QueryDict = request.GET.copy()
    values.pop("page", None)
    for name in [name for name in values if keep is not None and name not in keep]:
        values.pop(name)
    for name, value in changed.items():
        values.setlist(name, [value] if isinstance(value, str) else value)
    for name in [name for name in values if not any(values.getlist(name))]:
        values.pop(name)
    return reverse("find") + ("?" + values.urlencode() if values else "")


# --- when nothing is found ---


def _help(request: GatedRequest, answer: Found, asked: query.Query) -> Shown:
    """What each part finds by itself, and names much like the words that find nothing."""
    alone = [
        {
            "typed": clause.typed,
            "count": count,
            "url": parts.asked_url(clause.typed) if count else "",
        }
        for clause, count in answer.alone
    ]
    near = [
        {"typed": name, "url": parts.asked_url(name)}
        for clause, count in answer.alone
        if not count
        for word in clause.words
        for name in suggest.names_near(request.gate, word)
    ]
    return {"alone": alone if len(alone) > 1 else [], "near": list({one["url"]: one for one in near}.values())[:6]}


# --- names while typing ---


@require_safe
def names(request: GatedRequest) -> HttpResponse:
    """Options for the list under the box: names met that go on from what is typed."""
    offered = suggest.names_like(request.gate, request.GET.get("q", ""))
    return render(request, "find/names.html", {"names": offered})


urlpatterns: list[URLPattern] = [
    path("find/", page, name="find"),
    path("find/suggest", names, name="suggest"),
]
