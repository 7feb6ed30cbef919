"""The community's own words: what pages say about access, each with our default, editable in one place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from ..models import Account, ContentCaution, Words
from . import decisions, ledger, policy

LONGEST = 500


@dataclass(frozen=True)
class Entry:
    """One thing that pages say: where it stands, what we would say, and what is said."""

    key: str
    about: str
    default: str
    text: str


# By key: where it stands, and our words.
DEFAULTS: dict[str, tuple[Any, Any]] = {
    "level_open": (gettext_lazy("Mark of what is met whole"), gettext_lazy("open")),
    "level_description": (gettext_lazy("Mark of what is only described"), gettext_lazy("description only")),
    "level_notice": (gettext_lazy("Mark of what has a notice"), gettext_lazy("notice only")),
    "level_nothing": (gettext_lazy("Mark of what is closed"), gettext_lazy("closed")),
    "notice_title": (gettext_lazy("Title over a notice"), gettext_lazy("A word from the council")),
    "described_title": (
        gettext_lazy("Title where only a description is open"),
        gettext_lazy("Only a description is open to you"),
    ),
    "ask": (gettext_lazy("Button by which a person asks"), gettext_lazy("Ask the council")),
    "ask_lead": (
        gettext_lazy("Over the form in which a person asks"),
        gettext_lazy("Say who you are and why you would like to meet it. The council reads it and answers you here."),
    ),
    "licence": (
        gettext_lazy("Licence said in files of places"),
        gettext_lazy("No licence is given. Ask the council before you use this or pass it on."),
    ),
    ContentCaution.MOURNING: (
        gettext_lazy("Caution: mourning"),
        gettext_lazy("Here the voice or the name of somebody who has died is heard, or a death is told of."),
    ),
    ContentCaution.VIOLENCE: (
        gettext_lazy("Caution: violence"),
        gettext_lazy("Violence is told of here. Choose when, and with whom, you listen."),
    ),
    ContentCaution.SACRED: (
        gettext_lazy("Caution: sacred matter"),
        gettext_lazy("This is sacred to those who tell it. Listen as you would in their house, and do not pass it on."),
    ),
}

_held: tuple[int, dict[str, str]] | None = None


def say(key: str) -> str:
    """The community's words for this, or ours."""
    own = _own().get(str(key))
    return own if own is not None else str(DEFAULTS[key][1])


def _own() -> dict[str, str]:
    """Kept as long as the policy version, which moves with every change of a word."""
    global _held
    version = policy.known_version()
    if _held is None or _held[0] != version:
        _held = (version, dict(Words.ungated.values_list("key", "text")))
    return _held[1]


def every() -> list[Entry]:
    own = dict(Words.ungated.values_list("key", "text"))
    return [
        Entry(str(key), str(about), str(default), own.get(str(key), str(default)))
        for key, (about, default) in DEFAULTS.items()
    ]


@transaction.atomic
def change(by: Account, given: dict[str, str]) -> int:
    """Keep what differs from our words; an empty text goes back to ours. Returns how many changed."""
    decisions.require(by, "is_council")
    changed = 0
    for entry in every():
        text = " ".join(given.get(entry.key, entry.text).split()) or entry.default
        if len(text) > LONGEST:
            raise ValidationError({entry.key: _("Write at most %(count)d letters.") % {"count": LONGEST}})
        if text == entry.text:
            continue
        changed += 1
        Words.ungated.filter(key=entry.key).delete()
        if text != entry.default:
            Words.ungated.create(key=entry.key, text=text)
        ledger.write("words changed", by, key=entry.key, words=text)
    return changed
