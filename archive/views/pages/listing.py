"""Lists of people, places and figures: by name, some to a page."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.translation import ngettext

from ...access import details
from ...access.details import Listed
from ...models import Kind
from ..loading import GatedRequest
from . import parts
from .parts import MARKS, Shown

PAGE_SIZE = 60


def render_list(request: GatedRequest, kind: Kind, nav: str, template: str) -> HttpResponse:
    numbers = details.in_order(request.gate, kind)
    page = details.page_of(numbers, parts.page_number(request), PAGE_SIZE)
    items = [item(line) for line in details.listed(request.gate, page.numbers)]
    return render(
        request, template, {"nav": nav, "items": items, "total": page.total, "page": parts.page_links(page)}
    )


def item(line: Listed) -> Shown:
    count = ngettext("%(count)d segment", "%(count)d segments", line.segments) % {"count": line.segments}
    facts = [line.label.also, line.nature, count if line.segments else ""]
    return {
        "kind": MARKS[Kind(line.label.kind)],
        "url": parts.address(line.label),
        "title": line.label.text,
        "lang": line.label.language,
        "facts": [fact for fact in facts if fact],
        "summary": line.about,
        "level": parts.level_word(line.label),
    }
