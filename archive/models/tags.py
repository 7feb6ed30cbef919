"""Small checks of what is typed: language tags, dates of an event, coordinates, plain text."""

from __future__ import annotations

import re
from datetime import date

from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy


class Caution(models.TextChoices):
    """Where what is told could hurt somebody who acts on it."""

    REMEDY = "remedy", gettext_lazy(
        "Remedies told here are memory, not medical advice. Ask someone licensed before you try one."
    )
    SITE = "site", gettext_lazy(
        "This place is dangerous or not everyone's to visit. Go only with the permission of the people of the place."
    )


# BCP 47 (RFC 5646 section 2.1), the `langtag` and `privateuse` productions; grandfathered tags are left out.
LANGUAGE_TAG = re.compile(
    r"(?:(?:[a-z]{2,3}(?:-[a-z]{3}){0,3}|[a-z]{4}|[a-z]{5,8})"
    r"(?:-[a-z]{4})?(?:-(?:[a-z]{2}|[0-9]{3}))?"
    r"(?:-(?:[a-z0-9]{5,8}|[0-9][a-z0-9]{3}))*"
    r"(?:-[0-9a-wy-z](?:-[a-z0-9]{2,8})+)*"
    r"(?:-x(?:-[a-z0-9]{1,8})+)?|x(?:-[a-z0-9]{1,8})+)",
    re.IGNORECASE | re.ASCII,
)

# EDTF (ISO 8601-2:2019) as far as level 1 dates go: year, month, day, uncertain or approximate, decade, open.
EDTF_DATE = re.compile(r"(-?\d{4}|\d{3}X|\d{2}XX)(?:-(\d{2})(?:-(\d{2}))?)?[?~%]?", re.ASCII)


def validate_language_tag(value: str) -> None:
    if not LANGUAGE_TAG.fullmatch(value):
        raise ValidationError(
            _("“%(value)s” is not a language tag. Write one by BCP 47, such as en, pt-BR or qse-x-senneth."),
            params={"value": value},
        )


def validate_event_date(value: str) -> None:
    """EDTF level 1: `1962`, `1962-07`, `1962-07-14`, `1962~`, `196X`, or two of them with a slash between."""
    parts = value.split("/")
    if len(parts) > 2 or not all(_is_edtf(part) for part in parts):
        raise ValidationError(
            _("“%(value)s” is not a date. Write 1962-07-14, 1962-07, 1962, 1962~ (about) or 196X (the 1960s)."),
            params={"value": value},
        )


def _is_edtf(part: str) -> bool:
    match = EDTF_DATE.fullmatch(part)
    if not match:
        return False
    year, month, day = match.groups()
    if "X" in year:
        return month is None
    try:
        date(max(1, abs(int(year))) if year != "0000" else 4, int(month or 1), int(day or 1))
    except ValueError:
        return False
    return True


def validate_latitude(value: float) -> None:
    if not -90.0 <= value <= 90.0:
        raise ValidationError(
            _("A latitude lies between -90 and 90 degrees; %(value)s does not. Were the two numbers swapped?"),
            params={"value": value},
        )


def validate_longitude(value: float) -> None:
    if not -180.0 <= value <= 180.0:
        raise ValidationError(
            _("A longitude lies between -180 and 180 degrees; %(value)s does not."), params={"value": value}
        )
