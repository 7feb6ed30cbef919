"""What every page of the desk is drawn with."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from django.http import HttpResponse, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from ...access import desk
from ...access.table_rows import Problem
from ..loading import GatedRequest
from ..pages.parts import Shown


def posted(request: GatedRequest) -> QueryDict | None:
    """What was sent, for a form; None where nothing was, which is not the same as a form sent empty."""
    return request.POST if request.method == "POST" else None


def read_json(body: bytes) -> dict[str, Any]:
    """What a script sent as a JSON object; ValueError else.

    NaN and infinities (no JSON by RFC 8259, section 6), the character NUL and halves of surrogate pairs are refused:
    not every database keeps them.
    """
    try:
        given = json.loads(body, parse_constant=_no_number)
        plain = json.dumps(given, ensure_ascii=False)
    except RecursionError as error:
        raise ValueError("nested too deep") from error
    plain.encode()
    if not isinstance(given, dict) or "\\u0000" in plain:
        raise ValueError("no object")
    return given


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number")


def draw(request: GatedRequest, template: str, context: Shown) -> HttpResponse:
    headings = {
        "problem_headings": [
            {"label": _("Line"), "number": True}, {"label": _("How grave")}, {"label": _("What, and how to mend it")},
        ],
        "conflict_headings": [{"label": _("What")}, {"label": _("As it stands now")}, {"label": _("As you typed it")}],
    }
    return render(request, template, {"nav": "desk"} | headings | context)


def crumbs(title: str, *between: tuple[str, str]) -> list[Shown]:
    made = [{"label": _("Desk"), "url": reverse("desk")}]
    made += [{"label": label, "url": url} for label, url in between]
    return [*made, {"label": title, "url": ""}]


def how_grave(severity: str) -> str:
    words = {"note": _("note"), "warning": _("look at it"), "refused": _("not taken in")}
    return words.get(severity, severity)


def row_problems(problems: Iterable[Problem]) -> Shown:
    """What is odd by row and column, for parts/table.html: row, column, how grave, what and how to mend it."""
    return {
        "problem_rows": [
            [
                {"value": one.row or _("whole file"), "number": bool(one.row)}, {"value": one.column},
                {"value": how_grave(one.severity)}, {"value": one.text},
            ]
            for one in problems
        ],
        "row_problem_headings": [
            {"label": _("Row"), "number": True}, {"label": _("Column")}, {"label": _("How grave")},
            {"label": _("What, and how to mend it")},
        ],
    }


def problem_rows(problems: list[desk.Problem]) -> list[list[Shown]]:
    """Rows for parts/table.html: line, how grave, what and how to mend it."""
    return [
        [
            {"value": one.line or _("whole file"), "number": bool(one.line)},
            {"value": how_grave(one.severity)},
            {"value": one.text},
        ]
        for one in problems
    ]
