"""Date and language of passages as a viewer may know them: those of their recording, where it is met."""

from __future__ import annotations

from ..access.layout import Flags, Numbers
from .sight import Sight


def knows_recording(sight: Sight) -> Flags:
    """By document: whether the recording it lies in is met, whose date and language it goes by."""
    return sight.knows_recording


def first_day(sight: Sight) -> Numbers:
    """By document; 0 where there is no date."""
    return sight.first_day


def language(sight: Sight) -> Numbers:
    """By document: the place of its language in `Layout.languages`, counted from 1; 0 for none."""
    return sight.language


def told_between(sight: Sight, first: int | None, last: int | None) -> Flags:
    """By document: whether the days it may have been told on share one with [first, last], both included."""
    begins, numbers = first_day(sight), sight.board.numbers
    kept = begins != 0
    if first is not None:
        kept &= sight.board.layout.last_day[numbers] >= first
    if last is not None:
        kept &= begins <= last
    return kept
