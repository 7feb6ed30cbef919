"""Twin archives: one with hidden things in it, and one in which what a viewer does not meet has never been.

`build(…)` makes an archive from the plan below. Given the levels that a viewer has in the first archive it makes the
twin: what the viewer meets nothing of is left out; of what is met as a notice or a description, everything that these
levels hold back is other than it was. Refs and dates follow from a thing's key, row numbers do not.

Every text that somebody may not meet holds a word of its own (`canary`), so that it is found wherever it comes out.
"""

from __future__ import annotations

import hashlib
import random
import re
import wave
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from unittest import mock

import numpy as np
from django.conf import settings

from archive.access import bringing, decisions, founding, policy, showing, sound, writing
from archive.access.decisions import Act, Minute, Terms
from archive.access.gate import Gate
from archive.access.spans import complement, merge
from archive.access.writing import NameGiven, SegmentGiven
from archive.media.spans import RATE_HZ, SAMPLES_PER_MS, silence, to_samples
from archive.models import (
    Account,
    Audience,
    Item,
    Level,
    Mirror,
    PolicyVersion,
    Recording,
    Season,
    Segment,
    Transcript,
)
from archive.search import index, sight

NOW = datetime(2024, 6, 21, 12, 0, tzinfo=UTC)
LONG_AGO = datetime(2000, 1, 1, tzinfo=UTC)
LANGUAGE = "qse-x-senneth"
COMMON = "story"  # a word in every text, so that one query meets all that may be met


def canary(key: str, part: str) -> str:
    """A word that stands in one text of one thing, and nowhere else."""
    return "zq" + key.replace("-", "") + part


@dataclass(frozen=True)
class Thing:
    """One item of the plan. `hiding` names the way it is kept from others (see TERMS)."""

    key: str
    kind: str
    hiding: str = "open"
    ties: tuple[str, ...] = ()  # "told_by per-open", …
    recording: str = ""
    start_ms: int = 0
    end_ms: int = 0
    offering: str = "quiet"
    brought_by: str = ""


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

PLAN: tuple[Thing, ...] = (
    *_each("person", "per", *WAYS),
    *_each("place", "pla", *WAYS),
    *_each("figure", "fig", *WAYS),
    Thing("fig-part", "figure", ties=("part_of fig-tied",)),
    Thing("fig-piece", "figure", ties=("part_of fig-open",)),
    *_each("topic", "top", *WAYS),
    Thing("top-narrow", "topic", ties=("narrower_than top-tied",)),
    Thing("top-slim", "topic", ties=("narrower_than top-open",)),
    Thing("top-below", "topic", ties=("narrower_than top-audience",)),
    Thing(
        "mir-open", "mirror",
        ties=("mirrors fig-open", "stands_at pla-open", "stands_at pla-also", "stands_at pla-audience",
              "stands_at pla-described", "stands_at pla-undecided"),
    ),
    *(
        Thing(f"mir-{way}", "mirror", way, ("mirrors fig-also", "stands_at pla-open", "stands_at pla-also"))
        for way in ("undecided", "audience", "season", "notice", "described")
    ),
    Thing("mir-figure", "mirror", ties=("mirrors fig-audience", "stands_at pla-open", "stands_at pla-also")),
    Thing("mir-place", "mirror", ties=("mirrors fig-open", "stands_at pla-tied", "stands_at pla-also")),
    # A recording offered whole: open and hidden stretches, touching, nested and overlapping.
    Thing("rec-quiet", "recording", ties=("told_by per-open", "told_by per-audience", "recorded_at pla-open")),
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
    Thing("rec-clips", "recording", ties=("told_by per-open", "recorded_at pla-audience"), offering="clips"),
    Thing("seg-clip", "segment", "open", _plain("open"), "rec-clips", 300, 900),
    Thing("seg-closed", "segment", "audience", _plain("open"), "rec-clips", 800, 1200),
    Thing("seg-clop", "segment", "open", _plain("also"), "rec-clips", 1400, 2000),
    Thing("spa-clip", "span", "undecided", (), "rec-clips", 1600, 1700),
    # Recordings hidden by each means, tied to things that may be met.
    *(
        Thing(f"rec-{way}", "recording", way, ("told_by per-open", "recorded_at pla-open"), brought_by=by)
        for way in RECORDING_WAYS
        for by in ("archivist" if way == "undecided" else "",)
    ),
    Thing("rec-byperson", "recording", ties=("told_by per-tied", "recorded_at pla-open")),
    Thing("rec-byplace", "recording", ties=("told_by per-open", "recorded_at pla-tied")),
    *(
        Thing(f"seg-in{way}", "segment", "open", _plain("open"), f"rec-{way}", 100, 900)
        for way in (*RECORDING_WAYS, "byperson", "byplace")
    ),
)

BY_KEY = {thing.key: thing for thing in PLAN}


def kind_of(key: str) -> str:
    """The kind of a thing; audiences and transcripts have addresses as well."""
    if key.startswith("tra"):
        return "transcript"
    return BY_KEY[key].kind if key in BY_KEY else "audience"


# --- what follows from a key ---


def _number(key: str) -> int:
    return int.from_bytes(hashlib.sha256(key.encode()).digest()[:6], "big")


@contextmanager
def named_by(key: str) -> Iterator[None]:
    """Refs made inside follow from the key, and the clock shows a minute of its own."""
    rng = random.Random(key)
    moment = LONG_AGO + timedelta(minutes=_number(key) % 10_000_000)
    with mock.patch("archive.models.items.secrets", rng), clock(moment):
        yield


@contextmanager
def clock(moment: datetime) -> Iterator[None]:
    with mock.patch("django.utils.timezone.now", return_value=moment):
        yield


# --- making ---


@dataclass
class Town:
    """What both archives share: people with accounts, audiences, a closed season."""

    cast: dict[str, Account]
    audiences: dict[str, Audience]
    season: Season


@dataclass
class Archive:
    town: Town
    refs: dict[str, str] = field(default_factory=dict)
    numbers: dict[str, int] = field(default_factory=dict)

    def prepare(self, viewer: str) -> None:
        """Build all that the viewer may hear, so that it does not matter who listened before."""
        gate = Gate(self.town.cast.get(viewer), NOW)
        for key, number in self.numbers.items():
            if BY_KEY[key].kind == "recording":
                row = Recording.ungated.get(pk=number)
                hearing = showing.hearing_of_recording(gate, row)
            elif BY_KEY[key].kind == "segment":
                part = Segment.ungated.get(pk=number)
                row, hearing = part.recording, showing.hearing_of_segment(gate, part)
            else:
                continue
            if hearing is not None:
                sound.prepare(row, hearing)

    def levels(self, viewer: str) -> dict[str, Level]:
        gate = Gate(self.town.cast.get(viewer), NOW)
        return {key: gate.level(number) for key, number in self.numbers.items()}

    def closed(self, viewer: str) -> dict[str, list[tuple[int, int]]]:
        """Of each recording that the viewer meets in full or as a description: what is closed in it."""
        gate = Gate(self.town.cast.get(viewer), NOW)
        return {
            key: gate.closed_stretches(Recording.ungated.get(pk=number))
            for key, number in self.numbers.items()
            if BY_KEY[key].kind == "recording"
        }


@dataclass(frozen=True)
class View:
    """What one viewer is left with in the first archive: everything the twin is made from."""

    levels: dict[str, Level]
    closed: dict[str, list[tuple[int, int]]]


EVERYTHING = View({thing.key: Level.OPEN for thing in PLAN}, {})


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
    with clock(LONG_AGO):
        decisions.join(cast["council"], audiences["family"], cast["family"])
    return Town(cast, audiences, season)


def terms_of(town: Town, key: str, hiding: str) -> Terms | None:
    """The condition that each way of hiding stands for."""
    family, everyone = [town.audiences["family"]], [town.audiences["everyone"]]
    made: dict[str, Terms] = {
        "audience": Terms(family),
        "season": Terms(everyone, season=town.season),
        "tied": Terms(family, scope="tied"),
        "signed": Terms([town.audiences["signed in"]]),
        "described": Terms(family, others_see=Level.DESCRIPTION),
        "notice": Terms(
            family, others_see=Level.NOTICE, notice_words=f"Words of the council, {_number(key) % 1000}.",
            whom_to_ask="Ask the council.", notice_pages="tied",
        ),
    }
    return made.get(hiding)


_archives = iter(range(1, 1_000_000))


def build(folder: Path, town: Town, view: View = EVERYTHING) -> Archive:
    """An archive in the database and in run-time folders of its own. The caller rolls the database back."""
    number = next(_archives)
    home = folder / f"archive{number}"
    for name in ("MASTERS", "WORKING", "RENDITIONS", "INDEX"):
        setattr(settings, name, home / name.lower())
    # Numbers of policy versions never come twice, whatever was rolled back: what is cached by them stays apart.
    PolicyVersion.objects.update(number=number * 1_000_000)
    forget()
    archive = Archive(town, {f"aud-{name}": audience.ref for name, audience in town.audiences.items()})
    maker = Maker(archive, view, home)
    for thing in PLAN:
        if view.levels[thing.key] > Level.NOTHING:
            maker.make(thing)
    for thing in PLAN:
        if view.levels[thing.key] > Level.NOTHING:
            maker.decide(thing)
    index.rebuild()
    index.current()
    return archive


def forget() -> None:
    """Drop what this process keeps of an earlier archive."""
    policy.forget()
    index.forget()
    sight.forget()


def transcript_refs(key: str, number: int) -> dict[str, str]:
    """The addresses of a recording's transcripts, by keys such as `traen-open`."""
    rows = Transcript.ungated.filter(recording=number).values_list("language", "ref")
    return {f"tra{language[:2]}-{key.partition('-')[2]}": ref for language, ref in rows}


class Maker:
    """Makes the things of the plan, as far as a view has them."""

    def __init__(self, archive: Archive, view: View, home: Path) -> None:
        self.archive, self.view, self.home = archive, view, home
        home.mkdir(parents=True)

    def make(self, thing: Thing) -> None:
        kinds: dict[str, Callable[[Thing], Item]] = {
            "person": self.person, "place": self.place, "figure": self.figure, "topic": self.topic,
            "mirror": self.mirror, "recording": self.recording, "segment": self.segment, "span": self.span,
        }
        with named_by(thing.key):
            made = kinds[thing.kind](thing)
            self.archive.refs[thing.key], self.archive.numbers[thing.key] = made.ref, made.pk
            self.archive.refs |= transcript_refs(thing.key, made.pk)
            for kind in ("part_of", "narrower_than"):
                for target in self.tied(thing, kind):
                    writing.tie(made, kind, writing.item(target))

    # -- what the view leaves of a text --

    def text(self, thing: Thing, part: str, need: Level = Level.DESCRIPTION) -> str:
        """Words with the canary in them; other words where the view does not hold them."""
        if self.view.levels[thing.key] >= need:
            return f"{COMMON} {canary(thing.key, part)}"
        return f"other words {part}"

    def tied(self, thing: Thing, kind: str) -> list[int]:
        keys = [end for each, end in (tie.split() for tie in thing.ties) if each == kind]
        return [self.archive.numbers[key] for key in keys if key in self.archive.numbers]

    def names(self, thing: Thing) -> list[NameGiven]:
        return [
            NameGiven("en", self.text(thing, "name"), True),
            NameGiven(LANGUAGE, self.text(thing, "own"), True),
            NameGiven("en", self.text(thing, "variant")),
        ]

    # -- kinds --

    def person(self, thing: Thing) -> Item:
        return writing.add_person(None, self.names(thing), about=self.text(thing, "about"),
                                  family=self.text(thing, "family"))

    def topic(self, thing: Thing) -> Item:
        return writing.add_topic(None, self.names(thing), about=self.text(thing, "about"))

    def place(self, thing: Thing) -> Item:
        latitude_deg, longitude_deg = spot(thing.key)
        if self.view.levels[thing.key] < Level.OPEN:  # elsewhere in the cell of a tenth of a degree
            latitude_deg, longitude_deg = (shifted(degrees) for degrees in (latitude_deg, longitude_deg))
        if self.view.levels[thing.key] < Level.DESCRIPTION:
            latitude_deg, longitude_deg = 10.0, 10.0
        return writing.add_place(None, self.names(thing), about=self.text(thing, "about"),
                                 nature=self.text(thing, "nature"), latitude_deg=latitude_deg,
                                 longitude_deg=longitude_deg, cell_deg=0.1)

    def figure(self, thing: Thing) -> Item:
        stars = STARS[_number(thing.key) % 5 :][:4]
        if self.view.levels[thing.key] < Level.OPEN:
            stars = OTHER_STARS
        shape = "lines" if self.view.levels[thing.key] >= Level.DESCRIPTION else "group"
        return writing.add_figure(None, self.names(thing), about=self.text(thing, "about"), shape=shape,
                                  stars=stars, lines=[stars])

    def mirror(self, thing: Thing) -> Item:
        """Made tie by tie: a twin may have fewer pairs than a new mirror needs."""
        made = writing._add(None, Mirror(title=self.text(thing, "title"), about=self.text(thing, "about")), [])
        for target in self.tied(thing, "mirrors"):
            writing.tie(made, "mirrors", writing.item(target))
        keys = [end for kind, end in (tie.split() for tie in thing.ties) if kind == "stands_at"]
        for at, key in enumerate(keys):
            if key in self.archive.numbers:
                hip = (STARS if self.view.levels[thing.key] == Level.OPEN else OTHER_STARS[::-1])[at % 4]
                writing.tie(made, "stands_at", writing.item(self.archive.numbers[key]), at, hip)
        return made

    def recording(self, thing: Thing) -> Item:
        given = bringing.RecordingGiven(
            title=self.text(thing, "title"),
            recorded_on=f"19{60 + _number(thing.key) % 30}",
            circumstances=self.text(thing, "circumstances"),
            language=LANGUAGE,
            people=self.tied(thing, "told_by"),
            places=self.tied(thing, "recorded_at"),
            transcripts=[
                bringing.TranscriptGiven(self.transcript(thing, language), f"{canary(thing.key, 'vtt')}.vtt", language)
                for language in (LANGUAGE, "en")
            ],
        )
        by = self.archive.town.cast.get(thing.brought_by)
        path = self.home / f"{canary(thing.key, 'file')}.wav"
        write_wave(path, self.sound(thing))
        return bringing.add_recording(by, bringing.file_blocks(path), path.name, given).recording

    def segment(self, thing: Thing) -> Item:
        given = SegmentGiven(
            thing.start_ms, thing.end_ms, self.text(thing, "title"), self.text(thing, "summary"),
            speakers=self.tied(thing, "told_by"), topics=self.tied(thing, "topic"),
            places=self.tied(thing, "belongs_to"), figures=self.tied(thing, "names_figure"),
            told_of=self.tied(thing, "tells_of"), had_from=self.tied(thing, "had_from"),
        )
        return writing.add_segment(None, self.holder(thing), given)

    def span(self, thing: Thing) -> Item:
        reason = self.text(thing, "reason", Level.OPEN)
        return writing.close_span(None, self.holder(thing), thing.start_ms, thing.end_ms, reason)

    def holder(self, thing: Thing) -> Recording:
        return Recording.ungated.get(pk=self.archive.numbers[thing.recording])

    # -- what is heard and said --

    def stretches(self, recording: str, holds: Callable[[Level], bool]) -> list[tuple[int, int]]:
        return merge(
            (thing.start_ms, thing.end_ms)
            for thing in PLAN
            if thing.recording == recording and holds(self.view.levels[thing.key])
        )

    def sound(self, thing: Thing) -> np.ndarray:
        """The master: a tone of its own in every stretch. In a twin, silent where things are missing.

        Where the gate will close anyway, because what is closed stands in the twin as well, the twin's master holds
        another sound; where the whole is not offered, all but the clips does, and it has another length.
        """
        pcm = tones(thing.key, length_of(thing.key))
        if self.view is EVERYTHING:
            return pcm
        pcm = silence(pcm, 0, to_samples(self.stretches(thing.key, lambda level: level == Level.NOTHING)))
        other = self.stretches(thing.key, lambda level: Level.NOTHING < level < Level.OPEN)
        if self.view.levels[thing.key] < Level.OPEN or thing.offering == "clips":
            other = merge([*other, *self.outside(thing)])
            pcm = np.concatenate([pcm, noise("longer", 3000)], axis=1)
        for start, end in other:
            pcm[:, start * SAMPLES_PER_MS : end * SAMPLES_PER_MS] = noise(thing.key, end - start)
        return pcm

    def outside(self, thing: Thing) -> list[tuple[int, int]]:
        """What lies in no open segment."""
        opened = merge(
            (each.start_ms, each.end_ms)
            for each in PLAN
            if each.recording == thing.key and each.kind == "segment" and self.view.levels[each.key] == Level.OPEN
        )
        return complement(opened, length_of(thing.key))

    def transcript(self, thing: Thing, language: str) -> bytes:
        """A cue for every stretch, its speaker by name, and one at the end; none that this viewer may not read."""
        lines = ["WEBVTT", ""]
        for each in sorted(PLAN, key=lambda one: (one.start_ms, one.key)):
            if each.recording == thing.key and self.is_read(thing, each.start_ms, each.end_ms):
                words = f"{self.voice(each)}the {COMMON} {canary(each.key, 'cue' + language[:2])} goes on"
                lines += [f"{_clock(each.start_ms)} --> {_clock(each.end_ms)}", words, ""]
        length_ms = length_of(thing.key)
        last = "the end" if self.is_read(thing, length_ms - 40, length_ms) else "another end"
        return "\n".join([*lines, f"{_clock(length_ms - 40)} --> {_clock(length_ms)}", last, ""]).encode()

    def voice(self, stretch: Thing) -> str:
        """A voice by the name of the last teller, unless that name is kept from this viewer."""
        tellers = [end for kind, end in (tie.split() for tie in stretch.ties) if kind == "told_by"]
        if tellers and self.view.levels[tellers[-1]] >= Level.DESCRIPTION:
            return f"<v {COMMON} {canary(tellers[-1], 'name')}>"
        return ""

    def is_read(self, thing: Thing, start_ms: int, end_ms: int) -> bool:
        """Whether a cue over this stretch is read by the viewer: nothing of it is closed."""
        return not any(start_ms < end and start < end_ms for start, end in self.view.closed.get(thing.key, []))

    # -- the council --

    def decide(self, thing: Thing) -> None:
        town, number = self.archive.town, self.archive.numbers[thing.key]
        if thing.hiding == "undecided" or (thing.kind == "segment" and thing.hiding == "open"):
            return
        minute = Minute(date(1999, 12, 31), canary(thing.key, "minute"), "", canary(thing.key, "why"))
        offering = thing.offering if thing.kind == "recording" else ""
        with named_by(f"{thing.key} decision"):
            decisions.decide(
                town.cast["council"], minute, Act([number], terms_of(town, thing.key, thing.hiding), offering=offering)
            )
            if thing.hiding == "consent":
                decisions.state_consent(None, Recording.ungated.get(pk=number), "withdrawn",
                                        canary(thing.key, "giver"), date(1999, 12, 31))


# --- ground, sky, sound ---

# Hipparcos numbers of a few bright stars (ESA SP-1200, 1997).
STARS = [677, 1067, 3092, 3179, 4427, 5447, 6686, 7588, 8886]
OTHER_STARS = [9640, 9884, 11767, 14135]


def spot(key: str) -> tuple[float, float]:
    """A point of the thing's own, to seven places; its digits after the second are its canary."""
    number = _number(key)
    return round(46.0 + number % 99_9983 / 1e6, 7), round(-38.9 + number // 7 % 79_9979 / 1e6, 7)


def shifted(degrees: float) -> float:
    """Another point in the same cell of a tenth of a degree."""
    start = np.floor(degrees / 0.1) * 0.1
    return round(float(start + 0.1 * (((degrees - start) / 0.1 + 0.37) % 0.96 + 0.02)), 7)


def length_of(key: str) -> int:
    return {"rec-quiet": 6400, "rec-clips": 2400}.get(key, 1200)


def tones(key: str, length_ms: int) -> np.ndarray:
    """Shape (1, samples), int16: a tone for the whole and another for each stretch."""
    times_s = np.arange(length_ms * SAMPLES_PER_MS) / RATE_HZ
    pcm = 5000 * np.sin(2 * np.pi * hertz(key) * times_s)
    for thing in PLAN:
        if thing.recording == key:
            inside = slice(thing.start_ms * SAMPLES_PER_MS, thing.end_ms * SAMPLES_PER_MS)
            pcm[inside] += 5000 * np.sin(2 * np.pi * hertz(thing.key) * times_s[inside])
    return pcm.astype(np.int16)[np.newaxis, :]


def hertz(key: str) -> float:
    return 300.0 + _number(key) % 4000


def noise(key: str, length_ms: int) -> np.ndarray:
    rng = np.random.default_rng(_number(key))
    return rng.integers(-9000, 9000, (1, length_ms * SAMPLES_PER_MS), dtype=np.int16)


def write_wave(path: Path, pcm: np.ndarray) -> None:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes(pcm.astype("<i2").tobytes())


def _clock(ms: int) -> str:
    return f"{ms // 60_000:02d}:{ms // 1000 % 60:02d}.{ms % 1000:03d}"


# --- canaries ---

PARTS = ("name", "own", "variant", "about", "family", "nature", "title", "summary", "circumstances", "reason",
         "cueqs", "cueen", "file", "vtt", "minute", "why", "giver")


def canaries(levels: dict[str, Level]) -> dict[str, str]:
    """Words that a viewer with these levels must never be given, and whose they are."""
    found: dict[str, str] = {}
    for key, level in levels.items():
        held_back = PARTS if level < Level.DESCRIPTION else ("reason", "cueqs", "cueen") if level < Level.OPEN else ()
        found |= {canary(key, part): key for part in held_back}
        if BY_KEY[key].kind == "place" and level < Level.OPEN:
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
