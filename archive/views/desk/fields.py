"""Form fields of the desk: names of known things, times in any accepted form, numbers of stars."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from ...access import desk
from ...access.desk import Known
from ...access.gate import Gate
from ...access.making import Chosen
from ...models import Kind
from ...sky import load_catalogue
from ...timecode.errors import TimecodeError
from ...timecode.frames import Rate, parse_rate
from ...timecode.times import Span, parse_time, parse_time_or_span

MOST_NAMES = 60
LONGEST_NAME = 200


# --- names ---


class NamesInput(forms.Widget):
    """A box for each name, and an empty one, which takes several with semicolons between them.

    Suggestions come from a list that the page holds once a kind.
    """

    template_name = "desk/names_input.html"
    use_fieldset = True

    def __init__(self, kind: str, most: int = MOST_NAMES) -> None:
        super().__init__()
        self.kind, self.most = kind, most

    def value_from_datadict(self, data: Any, files: Any, name: str) -> list[str]:
        typed = data.getlist(name) if hasattr(data, "getlist") else data.get(name, [])
        parts = [part.strip() for text in typed for part in str(text).split(";")]
        return [part for part in parts if part]

    def id_for_label(self, id_: str, index: str | None = None) -> str:
        return ""  # a group of boxes has a legend, no label

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        context = super().get_context(name, value, attrs)
        filled = list(value or [])
        boxes = [*filled, ""] if len(filled) < self.most else filled
        described = context["widget"]["attrs"].get("aria-describedby", "")
        context["widget"] |= {"boxes": boxes, "list_id": f"known-{self.kind}", "described": described,
                              "is_single": self.most == 1, "invalid": context["widget"]["attrs"].get("aria-invalid")}
        return context


class NamesField(forms.Field):
    """Names of people, places, figures or topics in any of their spellings.

    `makes_new`: a name that nobody goes by stands for something new; else it is refused, with those that are close.
    """

    def __init__(self, kind: Kind, *, makes_new: bool = False, most: int = MOST_NAMES, **kwargs: Any) -> None:
        super().__init__(widget=NamesInput(kind, most=most), **kwargs)
        self.kind, self.makes_new, self.most = kind, makes_new, most
        self.known: Known | None = None

    def to_python(self, value: Any) -> list[Chosen]:
        texts = list(dict.fromkeys(value or []))
        if len(texts) > self.most:
            raise ValidationError(
                ngettext("Only %(most)d name can stand here.", "At most %(most)d names can stand here.", self.most)
                % {"most": self.most}
            )
        found, problems = [], []
        for text in texts:
            try:
                found.append(self._chosen(text))
            except ValidationError as error:
                problems += error.messages
        if problems:
            raise ValidationError(problems)
        return list({one.number if one.number is not None else one.text.casefold(): one for one in found}.values())

    def _chosen(self, text: str) -> Chosen:
        known = self.known
        if known is None:
            raise LookupError("the form did not say what is known")
        if len(text) > LONGEST_NAME:
            raise ValidationError(_("A name is longer than %(most)d letters. Give several names a box each.")
                                  % {"most": LONGEST_NAME})
        labels = known.find(text)
        if len(labels) > 1:
            written = "; ".join(f"{label.text} [{label.ref}]" for label in labels)
            raise ValidationError(_("Several go by “%(name)s”. Write one of: %(choices)s") % {
                "name": text, "choices": written})
        if labels:
            return Chosen(text, labels[0].number)
        if not self.makes_new or re.search(r"\[[^\]]*\]$", text):
            raise ValidationError(self._unknown(text))
        return Chosen(text, None)

    def _unknown(self, text: str) -> str:
        near = ", ".join(f"“{label.text}”" for label in self.known.like(text)) if self.known else ""
        if near:
            return _("Nothing is known by “%(name)s”. Did you mean %(near)s?") % {"name": text, "near": near}
        return _("Nothing is known by “%(name)s”. Mend the spelling, or add it from the desk first.") % {"name": text}

    def has_changed(self, initial: Any, data: Any) -> bool:
        return list(initial or []) != list(data or [])


def doubtful(fields: Iterable[tuple[NamesField, Sequence[Chosen]]]) -> list[tuple[str, list[str]]]:
    """New names that look like slips of known ones: (as typed, the known ones)."""
    found = {}
    for field, chosen in fields:
        for one in chosen:
            if one.number is None and field.known is not None:
                near = [label.text for label in field.known.like(one.text)]
                if near:
                    found[one.text] = near
    return list(found.items())


class AsksForNames(forms.Form):
    """A form with names of known things. `sure` says that new names which look like slips are meant so."""

    def know(self, gate: Gate) -> None:
        """Let the name fields know what the writer meets; `sure` is asked only once there is a doubt."""
        for field in self.name_fields():
            field.known = desk.known(gate, field.kind)
        if not self.is_bound:
            self.fields.pop("sure", None)

    def name_fields(self) -> list[NamesField]:
        return [field for field in self.fields.values() if isinstance(field, NamesField)]

    @property
    def known(self) -> list[Known]:
        return list({field.kind: field.known for field in self.name_fields() if field.known}.values())

    def ask_about_new_names(self, given: dict[str, Any]) -> None:
        pairs: list[tuple[NamesField, Sequence[Chosen]]] = [
            (field, given.get(name, [])) for name, field in self.fields.items() if isinstance(field, NamesField)
        ]
        doubts = doubtful(pairs)
        if not doubts:
            self.fields.pop("sure", None)
        elif not given.get("sure"):
            for name, near in doubts:
                self.add_error(
                    "sure",
                    _("“%(name)s” is new, but close to %(near)s. Mend the spelling, or say here that it is meant so.")
                    % {"name": name, "near": ", ".join(f"“{text}”" for text in near)},
                )


# --- files ---


class SoundField(forms.FileField):
    """A file that is needed, but may have arrived before the form; the form says so when neither is there."""

    comes_otherwise = True

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=255, required=False, allow_empty_file=True, **kwargs)


# --- times ---


class TimeField(forms.CharField):
    """A time or a Media Fragment, kept as text until the form knows the frame rate.

    It may be empty only where it comes another way: with the other end of a link, or from ticked lines.
    """

    comes_otherwise = True

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=200, required=False, **kwargs)
        self.widget.attrs |= {"class": "time-value", "autocomplete": "off", "spellcheck": "false"}


def read_time(text: str, rate: Rate | None) -> int | Span | None:
    """Milliseconds, a span, or None where nothing is written. ValidationError in words."""
    if not text.strip():
        return None
    try:
        return parse_time_or_span(text, rate)
    except TimecodeError as error:
        raise ValidationError(str(error)) from error


def read_rate(text: str) -> Rate | None:
    """Frames a second, or None where nothing is written. ValidationError in words."""
    try:
        return parse_rate(text.strip()) if text.strip() else None
    except TimecodeError as error:
        raise ValidationError(str(error)) from error


def read_ms(text: str, rate: Rate | None) -> int | None:
    if not text.strip():
        return None
    try:
        return parse_time(text, rate)
    except TimecodeError as error:
        raise ValidationError(str(error)) from error


def joined(
    start: int | Span | None, end: int | Span | None, lines: tuple[int, int] | None = None
) -> tuple[int | None, int | None]:
    """One stretch from what was typed, where a link to a stretch gives both ends, and from the ticked lines."""
    if isinstance(start, Span):
        return joined(start.start_ms, start.end_ms if end is None else end, lines)
    stop = end.end_ms if isinstance(end, Span) else end
    first, last = lines or (None, None)
    return (first if start is None else start), (last if stop is None else stop)


# --- stars ---


def read_stars(text: str) -> list[int]:
    """Hipparcos numbers, with anything but digits between them, each in the star list. ValidationError else."""
    words = re.findall(r"[0-9]+|[^\s0-9,;–—-]+", re.sub(r"\bHIP\b", " ", text, flags=re.IGNORECASE))
    strange = [word for word in words if not word.isdigit()]
    if strange:
        raise ValidationError(
            _("“%(word)s” is no number of a star. Write Hipparcos numbers, such as 11767, with spaces between them.")
            % {"word": strange[0][:40]}
        )
    numbers = [int(word[:9]) for word in words]
    missing = missing_stars(numbers)
    if missing:
        raise ValidationError(
            ngettext(
                "HIP %(numbers)s is not in the star list, which holds the stars that can be seen with the naked eye.",
                "HIP %(numbers)s are not in the star list, which holds the stars that can be seen with the naked eye.",
                len(missing),
            )
            % {"numbers": ", ".join(map(str, missing))}
        )
    return numbers


def missing_stars(numbers: Iterable[int]) -> list[int]:
    listed = load_catalogue().listed
    return [number for number in dict.fromkeys(numbers) if number not in listed]


def read_lines(text: str) -> list[list[int]]:
    """Runs of stars, one a line."""
    runs = [read_stars(line) for line in text.splitlines() if line.strip()]
    if any(len(run) < 2 for run in runs):
        raise ValidationError(_("A line needs at least two stars. Write each run on a line of its own."))
    return runs
