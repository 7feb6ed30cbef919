"""Bringing many recordings in by page: a table of them, their files, a preview by row, and only then the taking in."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

from django import forms
from django.core.files.uploadedfile import TemporaryUploadedFile
from django.http import HttpResponse
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_http_methods

from ...access import manifests, table_rows, uploads
from ...access.manifests import Checked, Row, Taken
from ...access.uploads import NotTaken
from ...templatetags.undersky import clock
from ...timecode.decoding import decode_lines
from ..loading import GatedRequest, for_role
from ..pages.parts import Shown
from .bring import arriving_row
from .drawing import crumbs, draw, row_problems
from .uploading import PIECE_BYTES

# A press of the button takes rows in for about so long; then the page says how far it is and goes on at the next.
WORK_S = 20.0


class ManyForm(forms.Form):
    """The table comes as a file, or, from the preview, as the text it held (`kept_table`)."""

    table = forms.FileField(
        label=gettext_lazy("Table of the recordings"), help_text=gettext_lazy("A CSV file; see below."),
        allow_empty_file=True, max_length=255,
        error_messages={"required": gettext_lazy("Choose the table that says what each file is.")},
    )
    sure = forms.BooleanField(
        required=False, label=gettext_lazy("New names that are close to known ones are meant as they are written.")
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.kept = str(self.data.get("kept_table", ""))
        self.fields["table"].required = not self.kept.strip()

    def clean_table(self) -> bytes:
        file = self.cleaned_data["table"]
        return bytes(file.read(table_rows.MOST_BYTES + 1)) if file is not None else self.kept.encode("utf-8", "replace")


@for_role("is_archivist")
@require_http_methods(["GET", "HEAD", "POST"])
def bring_many(request: GatedRequest) -> HttpResponse:
    if request.method != "POST":
        return _page(request, ManyForm())
    problems = _keep_files(request)
    form = ManyForm(request.POST, request.FILES)
    if not form.is_valid():
        return _page(request, form, problems=problems)
    data, is_sure = form.cleaned_data["table"], form.cleaned_data["sure"]
    taken: list[Taken] = []
    if request.POST.get("do") == "bring" and not problems:
        checked = manifests.check(request.user, data, manifests.Arrived(request.user), is_sure)
        taken = _take_in(request, checked)
    checked = manifests.check(request.user, data, manifests.Arrived(request.user), is_sure)
    _forget_kept(request, checked)
    return _page(request, form, checked, data, taken, problems)


def _keep_files(request: GatedRequest) -> list[str]:
    """Files that came with the form are kept as uploads; in words, those that could not be."""
    problems = []
    for file in request.FILES.getlist("files"):
        if not isinstance(file, TemporaryUploadedFile):
            continue
        try:
            uploads.keep(request.user, file.name or "", Path(file.temporary_file_path()))
        except NotTaken as error:
            problems.append(f"{file.name}: {error.message}")
    return problems


def _take_in(request: GatedRequest, checked: Checked) -> list[Taken]:
    """Take good rows in, one after another, for a while."""
    taken: list[Taken] = []
    until_s = time.monotonic() + WORK_S
    for one in manifests.take_in(request.user, checked.ready, manifests.Arrived(request.user)):
        taken.append(one)
        if time.monotonic() > until_s:
            break
    return taken


def _forget_kept(request: GatedRequest, checked: Checked) -> None:
    """What a row named and the archive holds already need not lie here twice."""
    source = manifests.Arrived(request.user)
    for row in checked.rows:
        if row.state == "kept":
            source.done_with(request.user, row)


def _page(
    request: GatedRequest,
    form: ManyForm,
    checked: Checked | None = None,
    data: bytes = b"",
    taken: list[Taken] | None = None,
    problems: list[str] | None = None,
) -> HttpResponse:
    context: Shown = {
        "crumbs": crumbs(_("Bring many in"), (_("Bring a recording in"), reverse("bring"))),
        "form": form,
        "columns": [_column(*one) for one in table_rows.COLUMNS],
        "column_headings": [{"label": _("Column")}, {"label": _("Needed")}, {"label": _("What stands in it")}],
        "upload_problems": problems or [],
        "arriving": [arriving_row(one) for one in uploads.mine(request.user)],
        "piece_bytes": PIECE_BYTES,
    }
    if checked is not None:
        context |= _preview(checked, data, form.cleaned_data["sure"], taken or [])
    return draw(request, "desk/many.html", context)


def _column(name: str, needed: bool, words: object) -> list[Shown]:
    return [{"value": name}, {"value": _("yes") if needed else _("no")}, {"value": str(words)}]


def _preview(checked: Checked, data: bytes, is_sure: bool, taken: list[Taken]) -> Shown:
    done = {one.row.number: one for one in taken}
    ready = len(checked.ready)
    words = ngettext("Bring %(count)d row in", "Bring %(count)d rows in", ready) % {"count": ready}
    return {
        "is_preview": True,
        "kept_table": "\n".join(decode_lines(data).lines),
        "is_sure": is_sure,
        "button": words if ready else "",
        "is_under_way": bool(taken) and ready > 0,
        "done_words": _done_words(taken),
        "rows": [_row(row, done.get(row.number)) for row in checked.rows],
        "row_headings": [
            {"label": _("Row"), "number": True}, {"label": _("File")}, {"label": _("Title")}, {"label": _("Length")},
            {"label": _("How it stands")},
        ],
    } | row_problems(checked.problems)


def _done_words(taken: list[Taken]) -> str:
    done = sum(bool(one.ref) for one in taken)
    if not taken:
        return ""
    words = ngettext("%(count)d recording is in. It is closed and waits for the council.",
                     "%(count)d recordings are in. They are closed and wait for the council.", done)
    return words % {"count": done}


def _row(row: Row, taken: Taken | None) -> list[Shown]:
    states = {"ready": _("ready"), "kept": _("kept already"), "refused": _("not taken in: see below")}
    state: Shown = {"value": states[row.state]}
    if taken is not None and taken.ref:
        state = {"value": _("taken in"), "url": reverse("desk_recording", args=[taken.ref])}
    elif taken is not None:
        state = {"value": taken.words}
    length = clock(row.duration_ms) if row.duration_ms else ""
    return [{"value": row.number, "number": True}, {"value": row.file}, {"value": row.title}, {"value": length}, state]


urlpatterns: list[URLPattern] = [path("desk/bring/many/", bring_many, name="bring_many")]
