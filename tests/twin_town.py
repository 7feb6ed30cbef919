"""Where twin archives stand: the people they share, and what one viewer is left with of an archive."""

from __future__ import annotations

import random
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import cached_property
from unittest import mock

from archive.access import decisions, founding, showing, sound
from archive.access.decisions import Terms
from archive.access.gate import AudienceGate, Gate
from archive.access.spans import Span
from archive.models import Account, Audience, Condition, Level, Reach, Recording, Season, Segment

from .twin import LANGUAGE, LONG_AGO, PLAN, Plan, Resting, Ruling, Run, Thing, kind_of, number_of

WINTER_REF = "refwinter"
LOOKING = "looking as "  # a viewer of this name and an audience's is a council member who looks as that audience


@contextmanager
def named_by(key: str) -> Iterator[None]:
    """Refs made inside follow from the key, and the clock shows a minute of its own."""
    rng = random.Random(key)
    moment = LONG_AGO + timedelta(minutes=number_of(key) % 10_000_000)
    with mock.patch("archive.models.items.secrets", rng), clock(moment):
        yield


@contextmanager
def clock(moment: datetime) -> Iterator[None]:
    with mock.patch("django.utils.timezone.now", return_value=moment):
        yield


@dataclass
class Town:
    """What all archives share: people with accounts, audiences, seasons."""

    cast: dict[str, Account]
    audiences: dict[str, Audience]
    seasons: dict[str, Season]

    def terms(self, ruling: Ruling) -> Terms:
        return Terms(
            [self.audiences[name] for name in ruling.audiences], ruling.scope, self.seasons.get(ruling.season),
            ruling.starts_at, ruling.ends_at, others_see=ruling.others_see, whom_to_ask="Ask the council.",
            notice_words=f"Words of the council, {number_of(ruling.key) % 1000}.", notice_pages=ruling.pages,
        )


def settle() -> Town:
    """Accounts, audiences and the season, made once for all archives."""
    roles: dict[str, dict[str, bool]] = {
        # One person with every role that lets do something and meet nothing: no role opens anything.
        "archivist": {"is_archivist": True, "is_educator": True, "is_keeper": True}, "council": {"is_council": True},
        "keeper": {"is_keeper": True, "is_staff": True}, "family": {}, "plain": {},
    }
    with named_by("town"):
        founding.found(name="Twin", language=LANGUAGE, home_name="Home", latitude_deg=46.0, longitude_deg=-38.0)
        cast = {
            name: Account.objects.create_user(username=name, password="a long enough word", **flags)
            for name, flags in roles.items()
        }
        audiences = {
            "family": founding.audience("family"), "everyone": founding.everyone(), "signed in": founding.signed_in()
        }
        season = founding.season("winter", (12, 1), (2, 10))
        season.ref = WINTER_REF
        season.save()
    with clock(LONG_AGO):
        decisions.join(cast["council"], audiences["family"], cast["family"])
    return Town(cast, audiences, {"winter": season})


# --- what one viewer is left with ---


@dataclass(frozen=True)
class Carried:
    """What a condition on a thing that is gone did to things that stay."""

    keys: tuple[str, ...]
    terms: Terms


@dataclass(frozen=True)
class View:
    """What one viewer is left with in the first archive: everything the twin is made from."""

    levels: dict[str, Level]
    closed: dict[str, list[Span]]
    carried: tuple[Carried, ...] = ()
    rests: tuple[Resting, ...] = ()  # the names at rest at the moment
    plan: Plan = PLAN
    is_whole: bool = False
    heard_whole: frozenset[str] = frozenset()  # recordings offered to the viewer from end to end

    @cached_property
    def stays(self) -> set[str]:
        """Keys of what is in the twin: what is met, and the recordings that it lies in."""
        met = {key for key, level in self.levels.items() if level > Level.NOTHING}
        return met | {self.plan.by_key[key].recording for key in met} - {""}

    def is_open(self, thing: Thing) -> bool:
        return self.levels[thing.key] == Level.OPEN


def everything(plan: Plan = PLAN) -> View:
    return View({thing.key: Level.OPEN for thing in plan.things}, {}, plan=plan, is_whole=True)


@dataclass
class Archive:
    town: Town
    plan: Plan = PLAN
    refs: dict[str, str] = field(default_factory=dict)
    numbers: dict[str, int] = field(default_factory=dict)

    def gate(self, viewer: str) -> Gate:
        if viewer.startswith(LOOKING):
            looked_as = self.town.audiences[viewer.removeprefix(LOOKING)]
            return AudienceGate(looked_as, self.town.cast["council"], self.plan.moment)
        return Gate(self.town.cast.get(viewer), self.plan.moment)

    def prepare(self, viewer: str) -> None:
        """Build all that the viewer may hear, so that it does not matter who listened before."""
        gate = self.gate(viewer)
        for key, number in self.numbers.items():
            if kind_of(key) == "recording":
                row = Recording.ungated.get(pk=number)
                hearing = showing.hearing_of_recording(gate, row)
            elif kind_of(key) == "segment":
                part = Segment.ungated.get(pk=number)
                row, hearing = part.recording, showing.hearing_of_segment(gate, part)
            else:
                continue
            if hearing is not None:
                sound.prepare(row, hearing)

    def levels(self, viewer: str) -> dict[str, Level]:
        gate = self.gate(viewer)
        return {key: gate.level(number) for key, number in self.numbers.items()}

    def view(self, viewer: str) -> View:
        gate = self.gate(viewer)
        recordings = {
            key: Recording.ungated.get(pk=number) for key, number in self.numbers.items() if kind_of(key) == "recording"
        }
        view = View(
            self.levels(viewer),
            {key: gate.closed_stretches(row) for key, row in recordings.items()},
            rests=tuple(one for one in self.plan.rests if runs_at(one, self.plan.moment)),
            plan=self.plan,
            heard_whole=frozenset(key for key, row in recordings.items() if gate.hears_whole(row)),
        )
        return replace(view, carried=self._carried(view))

    def _carried(self, view: View) -> tuple[Carried, ...]:
        """Every condition on what is gone, by what it reaches of what stays."""
        stays = {self.numbers[key]: key for key in view.stays}
        found = []
        for row in Condition.ungated.exclude(target__in=stays).filter(lifted_by__isnull=True):
            reached = Reach.ungated.filter(condition=row, item__in=stays).values_list("item_id", flat=True)
            found.append(Carried(tuple(sorted(stays[number] for number in reached)), terms_of(row)))
        return tuple(one for one in found if one.keys)


def terms_of(row: Condition) -> Terms:
    return Terms(
        list(row.audiences.all()), "itself", row.season, row.starts_at, row.ends_at, others_see=row.others_see,
        notice_words=row.notice_words, whom_to_ask=row.whom_to_ask, notice_pages=row.notice_pages,
    )


def runs_at(run: Resting | Run, moment: datetime) -> bool:
    return run.starts_at <= moment and (run.ends_at is None or moment < run.ends_at)
