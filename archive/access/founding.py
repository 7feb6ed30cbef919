"""Founding an archive: its house, the two audiences that fill themselves, audiences and seasons."""

from __future__ import annotations

from typing import Any

from ..models import Audience, Builtin, House, Season


def house() -> House | None:
    return House.objects.filter(pk=1).first()


def found(**given: Any) -> House:
    """Make (or change) the house, and the built-in audiences beside it."""
    held = House(pk=1, **given)
    held.full_clean()
    held.save()
    everyone()
    signed_in()
    return held


def everyone() -> Audience:
    return _builtin(Builtin.EVERYONE)


def signed_in() -> Audience:
    return _builtin(Builtin.SIGNED_IN)


def _builtin(which: Builtin) -> Audience:
    return Audience.objects.get_or_create(builtin=which, defaults={"name": str(which.label)})[0]


def audience(name: str, about: str = "") -> Audience:
    return Audience.objects.create(name=name, about=about)


def season(name: str, first: tuple[int, ...], last: tuple[int, ...]) -> Season:
    """A season by dates; each end is (month, day)."""
    made = Season(name=name, from_month=first[0], from_day=first[1], to_month=last[0], to_day=last[1])
    made.full_clean()
    made.save()
    return made
