"""Searches that somebody keeps, and what of their answer is new since they last looked.

New is what answers now and did not then, whatever the reason: it was made since, or opened since, or only now says
what is asked. When a thing was made is not looked at, so that something which was long there and hidden is new on the
day it is opened, as in an archive that it came to that day. What answered then and does not now leaves no trace.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from ..models import Account, KeptSearch
from .gate import Gate, NotMet
from .layout import Numbers

MOST_KEPT = 50
LONGEST_ASKED = 4_000


@dataclass(frozen=True)
class Kept:
    """One kept search; `seen` are item numbers, ascending."""

    ref: str
    asked: str
    kept_at: datetime
    looked_at: datetime
    seen: Numbers


def every(gate: Gate) -> list[Kept]:
    """The viewer's own, the newest first. Nobody sees another's, whoever they look as."""
    if gate.account is None:
        return []
    return [_kept(row) for row in KeptSearch.ungated.filter(account=gate.account)]


def one(gate: Gate, ref: str) -> Kept:
    """Raises NotMet for what is not the viewer's own."""
    return _kept(_own(gate, ref))


@transaction.atomic
def keep(gate: Gate, asked: str, answers: Iterable[int]) -> Kept:
    """Keep a question with what it answers now; the same question kept again counts as looked at."""
    account = _account(gate)
    if len(asked) > LONGEST_ASKED:
        raise ValidationError(_("This question is too long to keep. Ask for less at once."))
    row = KeptSearch.ungated.select_for_update().filter(account=account, asked=asked).first()
    if row is None:
        if KeptSearch.ungated.filter(account=account).count() >= MOST_KEPT:
            raise ValidationError(
                _("You keep %(most)d searches already, which is the most. Let go of one on your account's page first."),
                params={"most": MOST_KEPT},
            )
        row = KeptSearch(account=account, asked=asked)
    return _look(gate, row, answers)


@transaction.atomic
def look(gate: Gate, ref: str, answers: Iterable[int]) -> Kept:
    """From now on only what comes after this is new."""
    return _look(gate, _own(gate, ref), answers)


def let_go(gate: Gate, ref: str) -> None:
    _own(gate, ref).delete()


def _look(gate: Gate, row: KeptSearch, answers: Iterable[int]) -> Kept:
    row.seen, row.looked_at = _packed(answers), gate.moment
    row.save()
    return _kept(row)


def _account(gate: Gate) -> Account:
    if gate.account is None:
        raise NotMet("kept searches are for those who are signed in")
    return gate.account


def _own(gate: Gate, ref: str) -> KeptSearch:
    row = KeptSearch.ungated.filter(account=_account(gate), ref=ref).first()
    if row is None:
        raise NotMet(ref)
    return row


def _kept(row: KeptSearch) -> Kept:
    return Kept(row.ref, row.asked, row.kept_at, row.looked_at, _unpacked(bytes(row.seen)))


def _packed(numbers: Iterable[int]) -> bytes:
    """Ascending, as steps from one to the next, compressed: about a byte a number where they lie close."""
    ordered = np.unique(np.fromiter(numbers, dtype=np.int64))
    return zlib.compress(np.diff(ordered, prepend=0).astype("<i8").tobytes())


def _unpacked(packed: bytes) -> Numbers:
    steps = np.frombuffer(zlib.decompress(packed), dtype="<i8") if packed else np.zeros(0, dtype="<i8")
    return np.cumsum(steps).astype(np.int64)
