"""Closing at once, by one council member, until the council meets."""

from __future__ import annotations

from django.utils import timezone
from django.utils.translation import gettext as _

from ..models import Account, Decision, Level, Scope
from . import decisions, policy


def close_now(by: Account, number: int, scope: str = Scope.ITSELF, reason: str = "") -> Decision:
    """Close an item to all but the entrusted. The minute writes itself; the council is asked to look at it today."""
    today = timezone.localdate(timezone=policy.home_zone())
    minute = decisions.Minute(
        decided_on=today,
        minute=_("closed by %(name)s until the council meets") % {"name": str(by)[:60]},
        present=str(by),
        reason=reason.strip(),
    )
    terms = decisions.Terms(scope=scope, others_see=Level.NOTHING, review_on=today)
    return decisions.decide(by, minute, decisions.Act([number], terms))
