"""`manage.py explain ITEM --as PERSON --at TIME`: met or not, and why, by which tie and under which decision."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from datetime import datetime
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone
from django.utils.dateparse import parse_date, parse_datetime
from django.utils.translation import gettext as _

from archive.access import explain, policy, wording
from archive.access.explain import Explanation, Verdict
from archive.models import Account


class Command(BaseCommand):
    help = (
        "Explain for one person and one item whether they meet it, every condition that reaches it and by which tie, "
        "whether each is satisfied and why, and the decision and minute behind it. It names what is closed: keep the "
        "answer as safe as the archive itself."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("item", help="the item's ref, or its address such as segments/abc…")
        parser.add_argument("--as", dest="person", default="", help="a username; left away, a visitor")
        parser.add_argument("--at", default="", help="a moment such as 2026-03-08T21:00 (home time) or a day; else now")
        parser.add_argument("--json", action="store_true", help="one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        item = explain.find(options["item"])
        if item is None:
            words = _("There is no item “%(item)s”. Copy the ref from its address.")
            raise CommandError(words % {"item": options["item"]})
        found = explain.of(item, _person(options["person"]), _moment(options["at"]))
        if options["json"]:
            self.stdout.write(json.dumps(explain.as_data(found), ensure_ascii=False))
        else:
            self.stdout.write("\n".join(_lines(found)))


def _person(name: str) -> Account | None:
    if not name or name == "visitor":
        return None
    account = Account.objects.filter(username=name).first()
    if account is None:
        raise CommandError(_("There is no account “%(name)s”. Leave --as away for a visitor.") % {"name": name})
    return account


def _moment(raw: str) -> datetime:
    if not raw:
        return timezone.now()
    try:
        moment = parse_datetime(raw)
        day = parse_date(raw) if moment is None else None
    except ValueError:
        moment = day = None
    if moment is None and day is not None:
        moment = datetime.combine(day, datetime.min.time())
    if moment is None:
        raise CommandError(_("“%(raw)s” is no moment. Write 2026-03-08T21:00 or 2026-03-08.") % {"raw": raw})
    return moment if timezone.is_aware(moment) else moment.replace(tzinfo=policy.home_zone())


def _lines(one: Explanation) -> list[str]:
    lines = [
        f"{one.item.text} ({one.item.kind} {one.item.ref})",
        _("As %(who)s, at %(at)s: %(level)s") % {
            "who": one.who,
            "at": one.moment.astimezone(policy.home_zone()).isoformat(timespec="minutes"),
            "level": wording.level_words(one.level),
        },
        *(f"  {reason}" for reason in one.reasons),
        _("Belongs to: %(audiences)s") % {"audiences": ", ".join(one.audiences) or "–"},
    ]
    for each in one.trusts:
        lines.append(_("Entrusted by %(name)s: %(reason)s") % {"name": each.granted_by or "–", "reason": each.reason})
    for verdict in one.verdicts:
        lines += _verdict_lines(verdict)
    return lines


def _verdict_lines(one: Verdict) -> list[str]:
    mark = _("not in force") if not one.holds else _("satisfied") if one.satisfied else _("NOT satisfied")
    lines = [f"- [{mark}] {one.words}"]
    if one.way:
        lines.append("  " + ", ".join(f"{step.words} “{step.to.text}”" for step in one.way))
    lines.append(f"  {one.why}")
    if one.decision is not None:
        words = _("Decided %(day)s, minute %(minute)s. %(reason)s")
        lines.append("  " + (words % {
            "day": one.decision.decided_on.isoformat(), "minute": one.decision.minute, "reason": one.decision.reason
        }).strip())
    return lines
