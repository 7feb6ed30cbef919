"""Consent: what the people heard said, by whom, with the paper; and what follows when they take it back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from ..models import Account, Consent, ConsentState, Recording
from . import chamber, decisions
from .gate import Gate


@dataclass(frozen=True)
class Statement:
    number: int
    state: str
    state_words: str
    given_by: str
    stated_on: date
    words: str
    paper_name: str
    paper_sha256: str
    recorded_by: str
    recorded_at: datetime


def statements(gate: Gate, recording: int) -> list[Statement]:
    """Every statement about a recording, the newest first."""
    decisions.require(gate.account, "is_council")
    rows = Consent.ungated.filter(recording=recording).select_related("recorded_by")
    said = gate.mask.text
    return [
        Statement(
            row.pk, row.state, row.get_state_display(), said(row.given_by), row.stated_on, said(row.words),
            row.paper_name, row.paper_sha256, str(row.recorded_by or ""), row.recorded_at,
        )
        for row in rows
    ]


def recording(number: int) -> Recording:
    found: Recording = Recording.ungated.get(pk=number)
    return found


def why_not_opened(gate: Gate, refused: decisions.TakenBack) -> list[str]:
    """For each recording whose consent was taken back: who did so, when, and what would open it."""
    return [
        _("Consent to “%(title)s” was taken back by %(who)s on %(day)s, and no decision opens it. Only they can, by "
          "giving it anew: write that down under “Consent” on the recording's page. Until then, leave it out.")
        % {"title": one.recording.text, "who": one.given_by, "day": date_format(one.stated_on, "j F Y")}
        for one in chamber.withdrawn(gate)
        if one.recording.number in refused.recordings
    ]


@transaction.atomic
def state(
    by: Account,
    recording: Recording,
    said: str,
    given_by: str,
    stated_on: date,
    words: str = "",
    paper: tuple[str, str] = ("", ""),
    withdrawer_agrees: bool = False,
) -> Consent:
    """As `decisions.state_consent`, but a withdrawal is undone only in the name of those who withdrew."""
    decisions.require(by, "is_council")
    newest = Consent.ungated.filter(recording=recording).first()
    held = newest is not None and newest.state == ConsentState.WITHDRAWN
    if held and said != ConsentState.WITHDRAWN and not withdrawer_agrees:
        assert newest is not None
        if given_by.strip().casefold() != newest.given_by.strip().casefold():
            raise ValidationError(
                {
                    "withdrawer_agrees": _(
                        "Consent was taken back by %(who)s. Only they can give it anew. If they do, mark this line."
                    )
                    % {"who": newest.given_by}
                }
            )
    return decisions.state_consent(by, recording, said, given_by.strip(), stated_on, words.strip(), paper)
