"""Two people editing one thing: the second is told who was faster, sees both versions, and keeps what they typed."""

from __future__ import annotations

from typing import Any, TypeVar

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext as _

from ..pages.parts import Shown
from .fields import NamesField

AnyForm = TypeVar("AnyForm", bound=forms.Form)


def meet(form: AnyForm, current: Shown, saved_by: str) -> tuple[AnyForm, Shown]:
    """The form again with what was typed, now resting on the version that stands, and what differs between the two.

    Nothing is saved; sending it once more saves what was typed over what stands.
    """
    data = QueryDict(mutable=True)
    data.update(form.data)  # type: ignore[arg-type]
    data[form.add_prefix("version")] = str(current["version"])
    again = _same_form(form, data)
    again.is_valid()
    who = saved_by or _("Somebody else")
    return again, {
        "words": _("%(who)s saved this while you were writing. Nothing of yours is lost, and nothing of theirs.")
        % {"who": who},
        "rows": _differences(form, current),
    }


def _same_form(form: AnyForm, data: QueryDict) -> AnyForm:
    make: Any = type(form)
    again: AnyForm = make(form.gate, data, initial=form.initial, **getattr(form, "again", {}))  # type: ignore
    return again


def _differences(form: forms.Form, current: Shown) -> list[list[Shown]]:
    rows = []
    for name, field in form.fields.items():
        if name in ("version", "sure") or name not in current:
            continue
        typed, saved = _words(form[name].value(), field), _words(current[name], field)
        if typed != saved:
            rows.append([{"value": str(field.label or name)}, {"value": saved or "–"}, {"value": typed or "–"}])
    return rows


def _words(value: Any, field: forms.Field) -> str:
    if isinstance(field, NamesField):
        return "; ".join(value or [])
    if isinstance(field, forms.ChoiceField):
        return str(dict(field.choices).get(value, value or ""))  # type: ignore[arg-type]
    return "\n".join(str("" if value is None else value).splitlines()).strip()
