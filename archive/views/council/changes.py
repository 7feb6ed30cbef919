"""What a decision would change, from now on and on the days to come, as pages show it before it is confirmed."""

from __future__ import annotations

from collections.abc import Iterable

from django.utils.translation import gettext as _

from ...access import wording
from ...access.gate import Gate
from ...access.impact import Group, Impact
from ...access.showing import Label
from . import parts
from .parts import Shown


def shown(gate: Gate, found: Iterable[Impact]) -> list[Shown]:
    return [_impact(one, one.moment == gate.moment) for one in found]


def _impact(one: Impact, is_now: bool) -> Shown:
    return {
        "when": _("From now on") if is_now else _("From %(day)s on") % {"day": parts.moment_words(one.moment)},
        "is_now": is_now,
        "count": one.count,
        "groups": [_group(group) for group in one.groups],
    }


def _group(group: Group) -> Shown:
    return {
        "shifts": [
            {
                "audience": shift.audience,
                "before": wording.level_words(shift.before),
                "after": wording.level_words(shift.after),
                "opens": shift.opens,
                "is_averted": shift.is_averted,
            }
            for shift in group.shifts
        ],
        "count": len(group.items),
        "kinds": _counted(group.items),
        "items": [parts.named(one) for one in group.items],
    }


def _counted(items: Iterable[Label]) -> str:
    """“2 × recording, 5 × segment”."""
    kinds = [one.kind for one in items]
    return ", ".join(f"{kinds.count(kind)} × {parts.kind_word(kind)}" for kind in dict.fromkeys(kinds))
