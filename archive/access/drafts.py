"""What an archivist has marked in a recording and not yet saved. It is theirs alone, and outlives the browser.

A draft holds `pieces` (stretches with what was typed for them), the marks of `hints` that were refused, and which line
is worked on. Nothing in it is an item: nobody searches it, and the council never waits for it.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from ..models import Draft, Recording
from .gate import Gate

LARGEST_BYTES = 1 << 20
MOST_PIECES = 500
MOST_REFUSED = 5000


@dataclass(frozen=True)
class Kept:
    """A draft as it is kept; version 0 where there is none yet."""

    version: int
    content: dict[str, Any]


class Overtaken(Exception):
    """Another window or machine of the same person saved meanwhile. Nothing was written."""

    def __init__(self, kept: Kept) -> None:
        super().__init__("overtaken")
        self.kept = kept


def get(gate: Gate, recording: Recording) -> Kept:
    row = Draft.ungated.filter(account=gate.account, recording=recording).first()
    return Kept(row.version, row.content) if row is not None else Kept(0, {})


@transaction.atomic
def save(gate: Gate, recording: Recording, content: Any, version: int) -> Kept:
    """Keep a draft over the version it was begun from."""
    _check(content)
    row = Draft.ungated.select_for_update().filter(account=gate.account, recording=recording).first()
    if row is None:
        row = Draft(account=gate.account, recording=recording, version=0)
    if row.version != version:
        raise Overtaken(Kept(row.version, row.content))
    row.content, row.version = content, version + 1
    row.save()
    return Kept(row.version, row.content)


def _check(content: Any) -> None:
    fits = isinstance(content, dict) and len(json.dumps(content)) <= LARGEST_BYTES
    lists = [content.get(name, []) for name in ("pieces", "refused")] if fits else []
    if not fits or not all(isinstance(one, list) for one in lists):
        raise ValidationError(_("This draft cannot be kept: it is larger than %(size)d kB, or no draft at all.")
                              % {"size": LARGEST_BYTES >> 10})
    if len(lists[0]) > MOST_PIECES or len(lists[1]) > MOST_REFUSED:
        raise ValidationError(_("More than %(most)d stretches are marked. Save some of them first.")
                              % {"most": MOST_PIECES})


@transaction.atomic
def without_piece(gate: Gate, recording: Recording, piece: str) -> None:
    """Take a piece out once it is saved as a segment."""
    row = Draft.ungated.select_for_update().filter(account=gate.account, recording=recording).first()
    if row is None or not piece:
        return
    pieces = row.content.get("pieces", [])
    left = [one for one in pieces if not (isinstance(one, dict) and one.get("id") == piece)]
    if len(left) < len(pieces):
        row.content = row.content | {"pieces": left}
        row.version += 1
        row.save()


def refused(gate: Gate, recording: Recording) -> set[tuple[str, str]]:
    """Misheard names that were looked at and refused: (words as heard, name)."""
    found = get(gate, recording).content.get("refused", [])
    return {(one[0], one[1]) for one in found if isinstance(one, list) and len(one) == 2}


def refuse(gate: Gate, recording: Recording, pairs: set[tuple[str, str]]) -> None:
    """Remember that these are not meant, so that they are not suggested again."""
    if not pairs:
        return
    kept = get(gate, recording)
    known = refused(gate, recording) | pairs
    content = kept.content | {"refused": [list(pair) for pair in sorted(known)][:MOST_REFUSED]}
    save(gate, recording, content, kept.version)
