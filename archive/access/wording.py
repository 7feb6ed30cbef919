"""Conditions, levels and dates in the words of the people who decide them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from ..models import Builtin, Condition, Level, Scope, Source


def level_words(level: int) -> str:
    """What somebody meets at this level."""
    return {
        Level.NOTHING: _("nothing at all"),
        Level.NOTICE: _("only the council's words"),
        Level.DESCRIPTION: _("its description, not its voice or words"),
        Level.OPEN: _("the whole"),
    }[Level(level)]


def joined(words: Sequence[str]) -> str:
    """“a”, “a or b”, “a, b or c”."""
    if len(words) < 2:
        return "".join(words)
    return _("%(first)s or %(last)s") % {"first": ", ".join(words[:-1]), "last": words[-1]}


def day(moment: datetime, zone: ZoneInfo) -> str:
    return date_format(moment.astimezone(zone), "j F Y")


def last_day(moment: datetime, zone: ZoneInfo) -> str:
    """The last day of a stretch that ends at this moment, with the hour where it ends within a day."""
    local = moment.astimezone(zone)
    if local.hour == local.minute == local.second == 0:
        return date_format(local - timedelta(microseconds=1), "j F Y")
    return date_format(local, "j F Y, H:i")


def condition(row: Condition, zone: ZoneInfo) -> str:
    """Who meets the target, when, and what the others see, in one or two sentences."""
    if row.source == Source.CONSENT:
        return _("Closed to everybody: the people heard took their consent back. Only a new consent opens it.")
    parts = [_who(row)]
    if row.season is not None:
        parts.append(_("in the season “%(season)s”") % {"season": row.season.name})
    if row.starts_at is not None:
        parts.append(_("from %(day)s on") % {"day": day(row.starts_at, zone)})
    if row.ends_at is not None:
        parts.append(_("until %(day)s") % {"day": last_day(row.ends_at, zone)})
    return f"{', '.join(parts)}. {_others(row)}{_reach(row)}"


def _who(row: Condition) -> str:
    audiences = sorted(row.audiences.all(), key=lambda audience: audience.name.casefold())
    if not audiences:
        return _("Closed to all but the entrusted")
    if any(audience.builtin == Builtin.EVERYONE for audience in audiences):
        return _("Open to everyone")
    return _("Only for %(audiences)s") % {"audiences": joined([audience.name for audience in audiences])}


def _others(row: Condition) -> str:
    if row.others_see == Level.NOTICE:
        return _("The others see these words: “%(words)s”.") % {"words": " ".join(row.notice_words.split())}
    if row.others_see == Level.DESCRIPTION:
        return _("The others see its description.")
    return _("The others see nothing.")


def _reach(row: Condition) -> str:
    return " " + _("It holds for all that is tied to it as well.") if row.scope == Scope.TIED else ""
