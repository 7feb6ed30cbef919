"""Bringing many places in: a file, a preview that shows every problem by row, then all good rows at once."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_http_methods

from ...access import desk, making, showing
from ...access.writing import NameGiven
from ...exchange import places_in, places_look
from ...exchange.places_in import PlaceRow, ReadPlaces
from ...models import Kind
from ...models.tags import validate_language_tag
from ...templatetags.undersky import spot_words
from ..loading import GatedRequest, for_role
from ..pages.parts import Shown
from .drawing import crumbs, draw, row_problems

View = Callable[..., HttpResponse]
FORM_BYTES = 1 << 20  # what a form holds beside its file


def no_longer_than(most_bytes: int) -> Callable[[View], View]:
    """Refuse what says that it is longer before any of it is read, and so before the form's token is looked for."""

    def wrap(view: View) -> View:
        guarded = csrf_protect(view)

        @csrf_exempt
        @wraps(view)
        def checked(request: GatedRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            told = request.META.get("CONTENT_LENGTH") or "0"
            if not told.isdigit() or int(told) > most_bytes + FORM_BYTES:
                size = {"size": most_bytes >> 20}
                words = _("What was sent is larger than %(size)d MB, so none of it was read. Split it, or leave out "
                          "what is not needed.") % size
                return render(request, "desk/too_long.html", {"nav": "desk", "words": words}, status=413)
            return guarded(request, *args, **kwargs)

        return checked

    return wrap


class PlacesForm(forms.Form):
    """The places come as a file, or, from the preview, as the table that was read from it (`kept_table`)."""

    file = forms.FileField(
        label=gettext_lazy("The file"), max_length=255, allow_empty_file=True,
        help_text=gettext_lazy("GeoJSON, KML, GPX or CSV, up to 10 MB and 1,000 places."),
        error_messages={"required": gettext_lazy("Choose the file with the places.")},
    )
    language = forms.CharField(
        label=gettext_lazy("Language of the names"), max_length=35, validators=[validate_language_tag],
        help_text=gettext_lazy("Where the file does not say it: a BCP 47 tag, such as en."),
    )
    cell_deg = forms.FloatField(
        label=gettext_lazy("Size of the cell shown to others"), initial=0.1, min_value=0.01, max_value=5,
        help_text=gettext_lazy("Degrees. Whoever may not know a spot is shown this cell, always the same one."),
    )
    is_turned = forms.BooleanField(
        required=False, label=gettext_lazy("North and east are swapped in the file: turn them."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.kept = str(self.data.get("kept_table", ""))
        self.fields["file"].required = not self.kept.strip()

    def clean_file(self) -> bytes:
        file = self.cleaned_data["file"]
        if file is None:
            return self.kept.encode("utf-8", "replace")
        if file.size > places_in.MOST_BYTES:
            raise ValidationError(_("The file is larger than 10 MB. Split it."))
        return bytes(file.read())

    def read(self) -> ReadPlaces:
        given = self.cleaned_data
        return places_in.read(given["file"], given["language"], given["is_turned"])


@no_longer_than(places_in.MOST_BYTES)
@for_role("is_archivist")
@require_http_methods(["GET", "HEAD", "POST"])
def bring_places(request: GatedRequest) -> HttpResponse:
    first = {"language": showing.house().language, "cell_deg": 0.1}
    if request.method != "POST":
        return _page(request, PlacesForm(initial=first))
    form = PlacesForm(request.POST, request.FILES)
    if not form.is_valid():
        return _page(request, form)
    found = form.read()
    if request.POST.get("do") == "bring" and found.rows:
        try:
            return _take_in(request, form, found.rows)
        except ValidationError as error:
            form.add_error(None, error.messages)
    return _page(request, form, found)


def _take_in(request: GatedRequest, form: PlacesForm, rows: list[PlaceRow]) -> HttpResponse:
    cell_deg = form.cleaned_data["cell_deg"]
    making.add_places(
        request.user,
        [
            (
                NameGiven(row.language, row.name, True),
                {
                    "nature": row.nature, "about": row.about, "latitude_deg": row.latitude_deg,
                    "longitude_deg": row.longitude_deg, "cell_deg": cell_deg,
                },
            )
            for row in rows
        ],
    )
    words = ngettext("%(count)d place is in. It is closed and waits for the council.",
                     "%(count)d places are in. They are closed and wait for the council.", len(rows))
    messages.success(request, words % {"count": len(rows)})
    return redirect("desk")


def _page(request: GatedRequest, form: PlacesForm, found: ReadPlaces | None = None) -> HttpResponse:
    context: Shown = {"crumbs": crumbs(_("Bring places in")), "form": form}
    if found is not None:
        problems = places_look.look_over(found, showing.house(), desk.known(request.gate, Kind.PLACE))
        context |= row_problems(problems) | {
            "is_preview": True,
            "kept_table": places_in.kept(found.rows),
            "rows": [_row(row) for row in found.rows],
            "row_headings": [
                {"label": _("Row"), "number": True}, {"label": _("Name")}, {"label": _("Kind of place")},
                {"label": _("Where")},
            ],
            "button": ngettext("Bring %(count)d place in", "Bring %(count)d places in", len(found.rows))
            % {"count": len(found.rows)},
        }
    return draw(request, "desk/places.html", context)


def _row(row: PlaceRow) -> list[Shown]:
    spot = spot_words((row.latitude_deg, row.longitude_deg))
    name: Shown = {"value": row.name, "lang": row.language}
    return [{"value": row.number, "number": True}, name, {"value": row.nature}, {"value": spot}]


urlpatterns: list[URLPattern] = [path("desk/places/bring/", bring_places, name="bring_places")]
