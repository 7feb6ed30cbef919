"""The web of one item, as a picture and as a list; for a person the generations of those who handed it on."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_safe

from ...access import met, threads
from ...access.showing import Label
from ...access.threads import LIES_IN, TOPIC, Kin, Lineage, Web
from ...models import Figure, Item, Kind, Mirror, Person, Place, Recording, Segment, TieKind, Topic
from ..loading import GatedRequest, fetch
from ..pages import parts
from ..pages.parts import Shown
from . import columns

MODELS: dict[str, type[Item]] = {
    model.KIND: model for model in (Recording, Segment, Person, Place, Figure, Mirror, Topic)
}
WORDS = {
    (TieKind.TOLD_BY, True): gettext_lazy("told by"),
    (TieKind.TOLD_BY, False): gettext_lazy("tells"),
    (TieKind.TELLS_OF, True): gettext_lazy("tells of"),
    (TieKind.TELLS_OF, False): gettext_lazy("told of in"),
    (TieKind.HAD_FROM, True): gettext_lazy("had from"),
    (TieKind.HAD_FROM, False): gettext_lazy("handed on"),
    (TieKind.BELONGS_TO, True): gettext_lazy("belongs to"),
    (TieKind.BELONGS_TO, False): gettext_lazy("told of this place"),
    (TieKind.RECORDED_AT, True): gettext_lazy("recorded at"),
    (TieKind.RECORDED_AT, False): gettext_lazy("recorded here"),
    (TieKind.NAMES_FIGURE, True): gettext_lazy("names the figure"),
    (TieKind.NAMES_FIGURE, False): gettext_lazy("named in"),
    (TieKind.LEARNED_FROM, True): gettext_lazy("learned from"),
    (TieKind.LEARNED_FROM, False): gettext_lazy("taught"),
    (TieKind.PART_OF, True): gettext_lazy("part of"),
    (TieKind.PART_OF, False): gettext_lazy("has the part"),
    (TieKind.NARROWER_THAN, True): gettext_lazy("narrower than"),
    (TieKind.NARROWER_THAN, False): gettext_lazy("broader than"),
    (TieKind.MIRRORS, True): gettext_lazy("mirrors"),
    (TieKind.MIRRORS, False): gettext_lazy("mirrored by"),
    (TieKind.STANDS_AT, True): gettext_lazy("stands at"),
    (TieKind.STANDS_AT, False): gettext_lazy("stands in"),
    (TOPIC, True): gettext_lazy("topic"),
    (TOPIC, False): gettext_lazy("tells of this"),
    (LIES_IN, True): gettext_lazy("lies in"),
    (LIES_IN, False): gettext_lazy("holds"),
}


@require_safe
def page(request: GatedRequest, kind: str, ref: str) -> HttpResponse:
    if kind not in MODELS:
        raise Http404
    row = fetch(request, MODELS[kind], ref)
    gate = request.gate
    found = threads.web(gate, row.pk)
    if found is None:
        raise Http404
    met.note(gate, row, "threads")
    kin = threads.lineage(gate, row.pk) if kind == Kind.PERSON else None
    return render(
        request,
        "threads/web.html",
        {
            "nav": "people" if kind == Kind.PERSON else "",
            "label": found.middle,
            "crumbs": [
                {"label": _("First page"), "url": "/"},
                {"label": found.middle.text, "url": parts.address(found.middle)},
                {"label": _("Threads")},
            ],
            "picture": _picture(found) if found.first else None,
            "rows": [_row(found, one) for one in found.first],
            "left_out": found.left_out,
        }
        | _generations(kin, row.pk),
    )


def _picture(found: Web) -> columns.Picture:
    held = [("", (found.middle,)), (_("One step"), found.first), (_("Two steps"), found.second)]
    pairs = [(one.of, one.to) for one in found.threads]
    return columns.draw([column for column in held if column[1]], found.middle.number, pairs)


def _row(found: Web, one: Label) -> Shown:
    """One at one step: by what it is tied, and what it is tied to further on."""
    how = [str(WORDS[thread.kind, thread.outward]) for thread, _one in found.between(found.middle.number, [one])]
    return {
        "how": ", ".join(dict.fromkeys(how)),
        "tie": parts.chip(one, one.also),
        "further": [
            {"how": str(WORDS[thread.kind, thread.outward]), **parts.value(other)}
            for thread, other in found.between(one.number, found.second)
        ],
    }


# --- generations ---


def _generations(kin: Lineage | None, middle: int) -> Shown:
    if kin is None or len(kin.people) < 2:
        return {}
    steps = sorted({one.generation for one in kin.people})
    held = [(step, [one for one in kin.people if one.generation == step]) for step in steps]
    picture = columns.draw(
        [(_heading(step), [one.label for one in people]) for step, people in held], middle, kin.handed)
    return {
        "line": picture,
        "generations": [{"heading": _heading(step), "people": [_person(one) for one in people]}
                        for step, people in held],
    }


def _heading(step: int) -> str:
    if step == 0:
        return _("Here")
    if step < 0:
        return ngettext("Learned from, %(steps)d step back", "Learned from, %(steps)d steps back", -step) % {
            "steps": -step}
    return ngettext("Handed on, %(steps)d step", "Handed on, %(steps)d steps", step) % {"steps": step}


def _person(one: Kin) -> Shown:
    count = ngettext("tells %(count)d segment", "tells %(count)d segments", one.segments) % {"count": one.segments}
    return {
        "tie": parts.chip(one.label, one.label.also),
        "count": count if one.segments else "",
        "subjects": [parts.value(each) for each in one.subjects],
    }


urlpatterns: list[URLPattern] = [path("threads/<str:kind>/<str:ref>/", page, name="threads")]
