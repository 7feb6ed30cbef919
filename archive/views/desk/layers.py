"""Layers of the map at the desk: a GeoJSON file with a name and a place in the order; every fault told by feature."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from ...access import layers, making, met, showing
from ...access.table_rows import Problem
from ...access.writing import Overtaken
from ...exchange import geojson_in, places_look
from ...models import Kind, Layer, Level
from ..loading import GatedRequest, fetch, for_role
from .drawing import crumbs, draw, posted, row_problems
from .places import no_longer_than

MOST_BYTES = 5 << 20
MOST_POSITIONS = 50_000


class LayerForm(forms.Form):
    title = forms.CharField(label=gettext_lazy("Title"), max_length=200)
    file = forms.FileField(
        label=gettext_lazy("The file"), max_length=255, allow_empty_file=True,
        help_text=gettext_lazy("GeoJSON, up to 5 MB, with longitude and latitude in degrees (WGS 84)."),
        error_messages={"required": gettext_lazy("Choose the GeoJSON file of this layer.")},
    )
    rights = forms.CharField(label=gettext_lazy("Whose it is, and its licence"), required=False, max_length=300)
    position = forms.IntegerField(
        label=gettext_lazy("Place in the order"), initial=1, min_value=1, max_value=999,
        help_text=gettext_lazy("1 lies lowest; a layer with a greater number lies over it."),
    )
    about = forms.CharField(
        label=gettext_lazy("About"), required=False, max_length=20_000, widget=forms.Textarea(attrs={"rows": 4})
    )
    is_turned = forms.BooleanField(
        required=False, label=gettext_lazy("North and east are swapped in the file: turn them."),
    )
    is_there = forms.BooleanField(required=False, label=gettext_lazy("It does lie there: keep it as it is."))
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, is_new: bool = True, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.problems: list[Problem] = []
        self.features = ""
        if not is_new:
            self.fields["file"].required = False
            self.fields["file"].help_text = _("Only where the lines and areas are to be others.")
        if not self.is_bound:
            self.fields.pop("is_there")

    def clean(self) -> None:
        """The file is read here, after the boxes that say how. `is_there` is asked only once there is a doubt."""
        file = self.cleaned_data.get("file")
        try:
            far = "" if file is None else self._read(file)
        except ValidationError as error:
            self.add_error("file", error)
            far = ""
        if not far:
            self.fields.pop("is_there")
        elif not self.cleaned_data["is_there"]:
            self.add_error("file", _("%(far)s Tick below what is so, and send the file again.") % {"far": far})

    def _read(self, file: UploadedFile) -> str:
        """Take what the file holds; words on its first position where that lies far away."""
        if (file.size or 0) > MOST_BYTES:
            raise ValidationError(_("The file is larger than 5 MB. Leave out what the map does not need, or split it."))
        found = geojson_in.read(file.read(), self.cleaned_data["is_turned"])
        self.problems = found.problems
        if any(one.severity == "refused" for one in found.problems):
            raise ValidationError(_("Nothing of the file was kept. Mend what is listed below and send it again."))
        spots = [spot for _number, one in found.features for spot in geojson_in.positions(one["geometry"])]
        if len(spots) > MOST_POSITIONS:
            raise ValidationError(_("The file has more than 50,000 positions. Simplify its lines and send it again."))
        self.features = found.text()
        return places_look.far_off(spots[0][1], spots[0][0], showing.house())

    def given(self) -> dict[str, Any]:
        given = {name: self.cleaned_data[name] for name in ("title", "rights", "position", "about")}
        return given | ({"features": self.features} if self.features else {})


@no_longer_than(MOST_BYTES)
@for_role("is_archivist")
@require_http_methods(["GET", "HEAD", "POST"])
def add(request: GatedRequest) -> HttpResponse:
    form = LayerForm(posted(request), _files(request))
    if request.method == "POST" and form.is_valid():
        made = making.add(request.user, Kind.LAYER, [], **form.given())
        words = _("“%(name)s” is written in. It waits for the council; until then only you meet it.")
        messages.success(request, words % {"name": form.cleaned_data["title"]})
        return redirect("layer", ref=made.ref)
    return _page(request, form, _("Add a layer of the map"))


@no_longer_than(MOST_BYTES)
@for_role("is_archivist")
@require_http_methods(["GET", "HEAD", "POST"])
def edit(request: GatedRequest, ref: str) -> HttpResponse:
    row = fetch(request, Layer, ref, Level.OPEN)
    shown = layers.layer(request.gate, row)
    current = {
        "title": shown.label.text, "rights": shown.rights, "about": shown.about, "position": row.position,
        "version": row.version,
    }
    form = LayerForm(posted(request), _files(request), is_new=False, initial=current)
    if request.method == "POST" and form.is_valid():
        try:
            making.change(request.gate, row, [], form.cleaned_data["version"] or 0, **form.given())
            messages.success(request, _("“%(name)s” is saved.") % {"name": form.cleaned_data["title"]})
            return redirect("edit_layer", ref=ref)
        except Overtaken:
            form.add_error(None, _("Somebody saved this layer since you opened it. Open it again to see theirs."))
    met.note(request.gate, row, "desk")
    return _page(request, form, _("Edit a layer of the map"), reverse("layer", args=[ref]))


def _files(request: GatedRequest) -> Any:
    """What was sent, for a form; None where nothing was, like `posted`."""
    return request.FILES if request.method == "POST" else None


def _page(request: GatedRequest, form: LayerForm, title: str, page_url: str = "") -> HttpResponse:
    problems = row_problems(form.problems)
    return draw(
        request,
        "desk/layer.html",
        {"crumbs": crumbs(title), "title": title, "form": form, "page_url": page_url} | problems,
    )


urlpatterns: list[URLPattern] = [
    path("desk/layers/add/", add, name="add_layer"),
    path("desk/layers/<str:ref>/", edit, name="edit_layer"),
]
