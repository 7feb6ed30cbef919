"""Plans of twin archives: what is in them, by keys from which everything else follows (tests/twin_making.py).

`PLAN` hides something of every kind in every way; random plans are drawn in tests/twin_worlds.py. Every text that
somebody may not meet holds a word of its own (`canary`), so that it is found wherever it comes out.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from typing import Any

import numpy as np

from archive.access.spans import merge
from archive.models import Level

NOW = datetime(2024, 6, 21, 12, 0, tzinfo=UTC)
LONG_AGO = datetime(2000, 1, 1, tzinfo=UTC)
LANGUAGE = "qse-x-senneth"
COMMON = "story"  # a word in every text, so that one query meets all that may be met


def canary(key: str, part: str) -> str:
    """A word that stands in one text of one thing, and nowhere else."""
    return "zq" + key.replace("-", "") + part


@dataclass(frozen=True)
class Thing:
    """One item of a plan. `hiding` names the way it is kept from others (see RULES); `says` whose names stand in its
    texts. A recording ends at `end_ms`."""

    key: str
    kind: str
    hiding: str = "open"
    ties: tuple[str, ...] = ()  # "told_by per-open", …
    recording: str = ""
    start_ms: int = 0
    end_ms: int = 0
    offering: str = "quiet"
    brought_by: str = ""
    says: tuple[str, ...] = ()

    def tied(self, kind: str) -> list[str]:
        return [end for each, end in (tie.split() for tie in self.ties) if each == kind]


@dataclass(frozen=True)
class Ruling:
    """A condition on one thing; audiences and the season by the names they have in the town."""

    key: str
    audiences: tuple[str, ...] = ()
    others_see: int = Level.NOTHING
    scope: str = "itself"
    season: str = ""
    starts_at: datetime | None = None
    ends_at: datetime | None = None
    pages: str = "tied"
    from_consent: bool = False


@dataclass(frozen=True)
class Resting:
    """A name at rest, and the words said instead, by language."""

    key: str
    instead: tuple[tuple[str, str], ...]
    starts_at: datetime
    ends_at: datetime | None = None
    hides_voice: bool = False


@dataclass(frozen=True)
class Run:
    """Somebody (by the name of the account) belongs to an audience, or is entrusted with a thing, for a while."""

    account: str
    what: str
    starts_at: datetime
    ends_at: datetime | None = None


@dataclass(frozen=True)
class Plan:
    """Everything that is put into an archive; things come after those they are tied to."""

    things: tuple[Thing, ...]
    rulings: tuple[Ruling, ...] = ()
    rests: tuple[Resting, ...] = ()
    members: tuple[Run, ...] = ()
    trusts: tuple[Run, ...] = ()
    moment: datetime = NOW

    @cached_property
    def by_key(self) -> dict[str, Thing]:
        return {thing.key: thing for thing in self.things}

    def inside(self, recording: str) -> list[Thing]:
        return [thing for thing in self.things if thing.recording == recording]

    def stretches(self, recording: str, holds: Callable[[Thing], bool]) -> list[tuple[int, int]]:
        return merge((thing.start_ms, thing.end_ms) for thing in self.inside(recording) if holds(thing))


WAYS = ("open", "also", "undecided", "audience", "season", "notice", "described", "tied", "signed")


def _each(kind: str, short: str, *ways: str) -> list[Thing]:
    """One thing of a kind for each way of hiding; `also` is a second open one."""
    return [Thing(f"{short}-{way}", kind, "open" if way == "also" else way) for way in ways]


def _segments(recording: str, first_ms: int, step_ms: int, *rows: tuple[str, str, tuple[str, ...]]) -> list[Thing]:
    return [
        Thing(f"seg-{key}", "segment", hiding, ties, recording, first_ms + at * step_ms, first_ms + (at + 1) * step_ms)
        for at, (key, hiding, ties) in enumerate(rows)
    ]


def _plain(short: str) -> tuple[str, ...]:
    """Ties to one thing of each kind by its way of hiding: what hidden segments hang on."""
    return (f"told_by per-{short}", f"belongs_to pla-{short}", f"names_figure fig-{short}", f"topic top-{short}")


MIXED = tuple(
    f"{tie} {kind}-{way}"
    for tie, kind in (("told_by", "per"), ("belongs_to", "pla"), ("names_figure", "fig"), ("topic", "top"))
    for way in ("open", "undecided", "season", "notice", "described", "audience")
)

RECORDING_WAYS = ("undecided", "audience", "season", "notice", "described", "consent", "signed")

THINGS: tuple[Thing, ...] = (
    *_each("person", "per", *WAYS),
    *_each("place", "pla", *WAYS),
    *_each("figure", "fig", *WAYS),
    Thing("fig-part", "figure", ties=("part_of fig-tied",)),
    Thing("fig-piece", "figure", ties=("part_of fig-open",)),
    *_each("topic", "top", *WAYS),
    *_each("layer", "lay", *WAYS),
    Thing("top-narrow", "topic", ties=("narrower_than top-tied",)),
    Thing("top-slim", "topic", ties=("narrower_than top-open",)),
    Thing("top-below", "topic", ties=("narrower_than top-audience",)),
    Thing(
        "mir-open", "mirror",
        ties=("mirrors fig-open", "stands_at pla-open", "stands_at pla-also", "stands_at pla-audience",
              "stands_at pla-described", "stands_at pla-undecided"),
    ),
    Thing(
        "mir-also", "mirror",
        ties=("mirrors fig-open", "stands_at pla-undecided", "stands_at pla-also", "stands_at pla-audience",
              "stands_at pla-open"),
    ),
    *(
        Thing(f"mir-{way}", "mirror", way, ("mirrors fig-also", "stands_at pla-open", "stands_at pla-also"))
        for way in ("undecided", "audience", "season", "notice", "described")
    ),
    Thing("mir-figure", "mirror", ties=("mirrors fig-audience", "stands_at pla-open", "stands_at pla-also")),
    Thing("mir-place", "mirror", ties=("mirrors fig-open", "stands_at pla-tied", "stands_at pla-also")),
    # A recording offered whole: open and hidden stretches, touching, nested and overlapping.
    Thing("rec-quiet", "recording", ties=("told_by per-open", "told_by per-audience", "recorded_at pla-open"),
          end_ms=6400),
    *_segments(
        "rec-quiet", 0, 400,
        ("mixed", "open", (*MIXED, "tells_of per-also", "tells_of per-undecided", "had_from per-audience")),
        ("also", "open", (*_plain("open"), "had_from per-also")),
        ("audience", "audience", _plain("open")),
        ("season", "season", _plain("open")),
        ("notice", "notice", _plain("open")),
        ("described", "described", _plain("open")),
        ("byperson", "open", ("told_by per-tied", "topic top-open")),
        ("byplace", "open", ("belongs_to pla-tied", "told_by per-open")),
        ("byfigure", "open", ("names_figure fig-tied", "told_by per-open")),
        ("bypart", "open", ("names_figure fig-part", "told_by per-open")),
        ("bytopic", "open", ("topic top-tied", "told_by per-open")),
        ("bynarrow", "open", ("topic top-narrow", "told_by per-open")),
        ("signed", "signed", _plain("signed")),
        ("last", "open", _plain("also")),
    ),
    Thing("seg-voiced", "segment", "open", ("told_by per-open", "told_by per-audience"), "rec-quiet", 6100, 6340),
    Thing("seg-over", "segment", "audience", _plain("open"), "rec-quiet", 5500, 5900),
    Thing("spa-undecided", "span", "undecided", (), "rec-quiet", 5250, 5350),
    Thing("spa-audience", "span", "audience", (), "rec-quiet", 100, 180),
    Thing("spa-season", "span", "season", (), "rec-quiet", 500, 560),
    Thing("spa-described", "span", "described", (), "rec-quiet", 6000, 6100),
    # The same offered as clips only.
    Thing("rec-clips", "recording", ties=("told_by per-open", "recorded_at pla-audience"), offering="clips",
          end_ms=2400),
    Thing("seg-clip", "segment", "open", _plain("open"), "rec-clips", 300, 900),
    Thing("seg-closed", "segment", "audience", _plain("open"), "rec-clips", 800, 1200),
    Thing("seg-clop", "segment", "open", _plain("also"), "rec-clips", 1400, 2000),
    Thing("spa-clip", "span", "undecided", (), "rec-clips", 1600, 1700),
    # Recordings hidden by each means, tied to things that may be met.
    *(
        Thing(f"rec-{way}", "recording", way, ("told_by per-open", "recorded_at pla-open"), end_ms=1200, brought_by=by)
        for way in RECORDING_WAYS
        for by in ("archivist" if way == "undecided" else "",)
    ),
    Thing("rec-byperson", "recording", ties=("told_by per-tied", "recorded_at pla-open"), end_ms=1200),
    Thing("rec-byplace", "recording", ties=("told_by per-open", "recorded_at pla-tied"), end_ms=1200),
    *(
        Thing(f"seg-in{way}", "segment", "open", _plain("open"), f"rec-{way}", 100, 900)
        for way in (*RECORDING_WAYS, "byperson", "byplace")
    ),
)

# The condition that each way of hiding stands for; what is undecided is hidden as it is.
RULES: dict[str, dict[str, Any]] = {
    "audience": {"audiences": ("family",)},
    "season": {"audiences": ("everyone",), "season": "winter"},
    "tied": {"audiences": ("family",), "scope": "tied"},
    "signed": {"audiences": ("signed in",)},
    "described": {"audiences": ("family",), "others_see": Level.DESCRIPTION},
    "notice": {"audiences": ("family",), "others_see": Level.NOTICE},
    "consent": {"from_consent": True},
}

PLAN = Plan(THINGS, tuple(Ruling(thing.key, **RULES[thing.hiding]) for thing in THINGS if thing.hiding in RULES))

KINDS = {
    "per": "person", "pla": "place", "fig": "figure", "top": "topic", "mir": "mirror", "rec": "recording",
    "seg": "segment", "spa": "span", "tra": "transcript", "aud": "audience", "lay": "layer",
}


def kind_of(key: str) -> str:
    """The kind of a thing; audiences and transcripts have addresses as well."""
    return KINDS[key[:3]]


# --- what follows from a key ---


def number_of(key: str) -> int:
    return int.from_bytes(hashlib.sha256(key.encode()).digest()[:6], "big")


# Hipparcos numbers of a few bright stars (ESA SP-1200, 1997).
STARS = [677, 1067, 3092, 3179, 4427, 5447, 6686, 7588, 8886]
OTHER_STARS = [9640, 9884, 11767, 14135]


def spot(key: str) -> tuple[float, float]:
    """A point of the thing's own, to seven places; its digits after the second are its canary."""
    number = number_of(key)
    return round(46.0 + number % 99_9983 / 1e6, 7), round(-38.9 + number // 7 % 79_9979 / 1e6, 7)


def shifted(degrees: float) -> float:
    """Another point in the same cell of a tenth of a degree."""
    start = np.floor(degrees / 0.1) * 0.1
    return round(float(start + 0.1 * (((degrees - start) / 0.1 + 0.37) % 0.96 + 0.02)), 7)


# --- canaries ---

PARTS = ("name", "own", "variant", "about", "family", "nature", "title", "summary", "circumstances", "reason",
         "cueqs", "cueen", "file", "vtt", "minute", "why", "giver")


def canaries(levels: dict[str, Level]) -> dict[str, str]:
    """Words that a viewer with these levels must never be given, and whose they are."""
    found: dict[str, str] = {}
    for key, level in levels.items():
        held_back = PARTS if level < Level.DESCRIPTION else ("reason", "cueqs", "cueen") if level < Level.OPEN else ()
        found |= {canary(key, part): key for part in held_back}
        if kind_of(key) in ("place", "layer") and level < Level.OPEN:
            found |= {_digits(str(degrees)): key for degrees in spot(key)}
    return found


def canaries_in(raw: bytes) -> set[str]:
    """Words and points that look like canaries, whosoever they are."""
    words = {word.decode() for word in re.findall(rb"zq[a-z]+", raw.lower())}
    return words | {_digits(point.decode()) for point in re.findall(rb"\d\d\.\d{4,}", raw)}


def _digits(degrees: str) -> str:
    """A coordinate to four places (some ten metres), cut off and not rounded; its sign aside."""
    whole, _point, decimals = degrees.lstrip("-").partition(".")
    return f"{whole}.{decimals[:4]}"
