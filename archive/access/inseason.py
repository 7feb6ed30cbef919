"""What may be told only in a season, and now is that season."""

from __future__ import annotations

from dataclasses import dataclass

from ..models import Condition, Level, Scope
from .gate import Gate


@dataclass(frozen=True)
class InSeason:
    """The target of a condition, by its number, and whether it reaches what is tied to it as well."""

    target: int
    with_tied: bool


def standing_now(gate: Gate) -> list[InSeason]:
    """Conditions with a season that are in force and satisfied at the gate's moment, on what its viewer meets.

    A condition on something that is not met is left out: in an archive without that thing it would not be.
    """
    audiences, zone = gate.audiences, gate.policy.zone
    satisfied = {
        rule.number
        for rule in gate.policy.rules
        if rule.season and rule.in_force(gate.moment) and rule.satisfied(audiences, gate.moment, zone)
    }
    rows = Condition.ungated.filter(pk__in=satisfied).order_by("pk").values_list("target_id", "scope")
    return [InSeason(target, scope == Scope.TIED) for target, scope in rows if gate.meets(target, Level.DESCRIPTION)]
