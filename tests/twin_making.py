"""Making the archives of a plan: the one with everything in it, and the twin of what one viewer is left with.

`build(…)` makes an archive from a plan. Given the view that a viewer has of the first archive it makes the twin: what
the viewer meets nothing of is left out, with the conditions on it (what these did to things that stay, conditions on
those do); of what is met as a notice or a description, everything that these levels hold back is other than it was;
and names at rest are other names, or were never said. Refs and dates follow from a thing's key, row numbers do not.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np
from django.conf import settings

from archive.access import bringing, decisions, policy, resting, writing
from archive.access.decisions import Act, Minute
from archive.access.spans import Span, complement, merge
from archive.access.writing import NameGiven, SegmentGiven
from archive.media.spans import SAMPLES_PER_MS
from archive.models import Item, Level, Membership, Mirror, PolicyVersion, Recording, Source, Transcript
from archive.search import index, sight

from .twin import COMMON, LANGUAGE, OTHER_STARS, STARS, Thing, canary, number_of, shifted, spot
from .twin_sound import noise, tones, without, write_wave
from .twin_town import Archive, Town, View, clock, everything, named_by

# --- making ---

_archives = iter(range(1, 1_000_000))


def build(folder: Path, town: Town, view: View | None = None) -> Archive:
    """An archive in the database and in run-time folders of its own. The caller rolls the database back."""
    view = view or everything()
    number = next(_archives)
    home = folder / f"archive{number}"
    for name in ("MASTERS", "WORKING", "RENDITIONS", "INDEX"):
        setattr(settings, name, home / name.lower())
    # Numbers of policy versions never come twice, whatever was rolled back: what is cached by them stays apart.
    PolicyVersion.objects.update(number=number * 1_000_000)
    forget()
    archive = Archive(town, view.plan, {f"aud-{name}": audience.ref for name, audience in town.audiences.items()})
    maker = Maker(archive, view, home)
    things = [thing for thing in view.plan.things if thing.key in view.stays]
    for thing in things:
        maker.make(thing)
    for thing in things:
        maker.decide(thing)
    maker.carry()
    maker.let_rest()
    maker.admit()
    maker.take_back()
    with clock(view.plan.moment):  # what has run out by then is settled here
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
        self.plan = view.plan
        home.mkdir(parents=True)

    def make(self, thing: Thing) -> None:
        kinds: dict[str, Callable[[Thing], Item]] = {
            "person": self.person, "place": self.place, "figure": self.figure, "topic": self.topic,
            "mirror": self.mirror, "recording": self.recording, "segment": self.segment, "span": self.span,
            "layer": self.layer,
        }
        with named_by(thing.key):
            made = kinds[thing.kind](thing)
            self.archive.refs[thing.key], self.archive.numbers[thing.key] = made.ref, made.pk
            self.archive.refs |= transcript_refs(thing.key, made.pk)
            for kind in ("part_of", "narrower_than", "learned_from"):
                for target in self.tied(thing, kind):
                    writing.tie(made, kind, writing.item(target))

    # -- what the view leaves of a text --

    def text(self, thing: Thing, part: str, need: Level = Level.DESCRIPTION) -> str:
        """Words with the canary in them; other words where the view does not hold them."""
        if self.view.levels[thing.key] >= need:
            return f"{COMMON} {canary(thing.key, part)}" + "".join(f" of {self.said(key)}" for key in thing.says)
        return f"other words {part}"

    def name(self, key: str, part: str = "name") -> str:
        """What somebody or something is called. Who is at rest has another name in a twin."""
        is_other = not self.view.is_whole and any(rest.key == key for rest in self.view.rests)
        return f"{COMMON} {canary(key, ('late' if is_other else '') + part)}"

    def said(self, key: str, language: str = "en") -> str:
        """Somebody's name as others say it; in a twin without them what is said instead, if it is at rest."""
        rests = [rest for rest in self.view.rests if rest.key == key]
        if rests and key not in self.view.stays:
            return dict(rests[0].instead)[language]
        return self.name(key)

    def tied(self, thing: Thing, kind: str) -> list[int]:
        return [self.archive.numbers[key] for key in thing.tied(kind) if key in self.archive.numbers]

    def names(self, thing: Thing) -> list[NameGiven]:
        def named(part: str) -> str:
            is_met = self.view.levels[thing.key] >= Level.DESCRIPTION
            return self.name(thing.key, part) if is_met else f"other words {part}"

        return [
            NameGiven("en", named("name"), True), NameGiven(LANGUAGE, named("own"), True),
            NameGiven("en", named("variant")),
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
        stars = STARS[number_of(thing.key) % 5 :][:4]
        if self.view.levels[thing.key] < Level.OPEN:
            stars = OTHER_STARS
        shape = "lines" if self.view.levels[thing.key] >= Level.DESCRIPTION else "group"
        return writing.add_figure(None, self.names(thing), about=self.text(thing, "about"), shape=shape,
                                  stars=stars, lines=[stars])

    def layer(self, thing: Thing) -> Item:
        """Its lines and the names on them need the whole: other ones where it is not met."""
        latitude_deg, longitude_deg = spot(thing.key) if self.view.is_open(thing) else (10.0, 10.0)
        line = [[longitude_deg, latitude_deg], [longitude_deg, 40.0]]
        feature = {
            "type": "Feature", "properties": {"name": self.text(thing, "reason", Level.OPEN)},
            "geometry": {"type": "LineString", "coordinates": line},
        }
        return writing.add_layer(
            None, [], title=self.text(thing, "title"), about=self.text(thing, "about"),
            rights=self.text(thing, "family"), position=number_of(thing.key) % 9 + 1,
            features=json.dumps({"type": "FeatureCollection", "features": [feature]}),
        )

    def mirror(self, thing: Thing) -> Item:
        """Made tie by tie: a twin may have fewer pairs than a new mirror needs."""
        made = writing._add(None, Mirror(title=self.text(thing, "title"), about=self.text(thing, "about")), [])
        for target in self.tied(thing, "mirrors"):
            writing.tie(made, "mirrors", writing.item(target))
        for at, key in enumerate(thing.tied("stands_at")):
            if key in self.archive.numbers:
                hip = (STARS if self.view.is_open(thing) else OTHER_STARS[::-1])[at % 4]
                writing.tie(made, "stands_at", writing.item(self.archive.numbers[key]), at, hip)
        return made

    def recording(self, thing: Thing) -> Item:
        given = bringing.RecordingGiven(
            title=self.text(thing, "title"),
            recorded_on=f"19{60 + number_of(thing.key) % 30}",
            circumstances=self.text(thing, "circumstances"),
            language=LANGUAGE,
            people=self.tied(thing, "told_by"),
            places=self.tied(thing, "recorded_at"),
            transcripts=[
                bringing.TranscriptGiven(self.transcript(thing, language), f"{canary(thing.key, 'vtt')}.vtt", language)
                for language in (LANGUAGE, "en")
                if self.lines(thing, language)
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

    def sound(self, thing: Thing) -> np.ndarray:
        """The master: a tone of its own in every stretch. In a twin, silent where things are missing.

        Where the gate will close anyway, because what is closed stands in the twin as well, the twin's master holds
        another sound; where the whole is not offered to the viewer, all but the clips does, and it has another length.
        """
        pcm = tones(self.plan, thing.key)
        if self.view.is_whole:
            return pcm
        other = self.plan.stretches(
            thing.key, lambda part: part.key in self.view.stays and not self.view.is_open(part)
        )
        is_longer = thing.key not in self.view.heard_whole
        if is_longer:
            opened = self.plan.stretches(thing.key, lambda part: part.kind == "segment" and self.view.is_open(part))
            other = merge([*other, *complement(opened, thing.end_ms)])
        pcm = without(pcm, self.gone(thing), other)
        if is_longer:
            pcm = np.concatenate([pcm, noise("longer", 3000)], axis=1)
        for start, end in other:
            pcm[:, start * SAMPLES_PER_MS : end * SAMPLES_PER_MS] = noise(thing.key, end - start)
        return pcm

    def transcript(self, thing: Thing, language: str) -> bytes:
        return "\n".join(["WEBVTT", "", *self.lines(thing, language)]).encode()

    def lines(self, thing: Thing, language: str) -> list[str]:
        """A cue for every stretch, its speaker by name, and one at the end; none that this viewer may not read.

        Where the end is closed by what stays, other words stand there; where by what is gone, none ever did.
        """
        lines: list[str] = []
        for each in sorted(self.plan.inside(thing.key), key=lambda one: (one.start_ms, one.key)):
            if self.is_read(thing, each.start_ms, each.end_ms):
                words = f"{self.voice(each)}the {COMMON} {canary(each.key, 'cue' + language[:2])} goes on"
                words += "".join(f" with {self.said(key, language)}" for key in each.says)
                lines += [f"{_clock(each.start_ms)} --> {_clock(each.end_ms)}", words, ""]
        end = (thing.end_ms - 40, thing.end_ms)
        if self.is_read(thing, *end) or not self.is_gone(thing, *end):
            last = "the end" if self.is_read(thing, *end) else "another end"
            lines += [f"{_clock(end[0])} --> {_clock(end[1])}", last, ""]
        return lines

    def voice(self, stretch: Thing) -> str:
        """A voice by the name of the last teller, unless that name is kept from this viewer."""
        tellers = stretch.tied("told_by")
        if tellers and self.view.levels[tellers[-1]] >= Level.DESCRIPTION:
            return f"<v {self.name(tellers[-1])}>"
        return ""

    def is_read(self, thing: Thing, start_ms: int, end_ms: int) -> bool:
        """Whether a cue over this stretch is read by the viewer: nothing of it is closed."""
        return not any(start_ms < end and start < end_ms for start, end in self.view.closed.get(thing.key, []))

    def is_gone(self, thing: Thing, start_ms: int, end_ms: int) -> bool:
        """Whether something lay over this stretch that is not in this archive."""
        return any(start_ms < end and start < end_ms for start, end in self.gone(thing))

    def gone(self, thing: Thing) -> list[Span]:
        """Stretches of what is not in this archive."""
        return self.plan.stretches(thing.key, lambda part: part.key not in self.view.stays)

    # -- the council --

    def decide(self, thing: Thing) -> None:
        """What the council says of a thing: it is open, but for the conditions on it."""
        rulings = [one for one in self.plan.rulings if one.key == thing.key]
        if thing.hiding == "undecided" or (thing.kind == "segment" and not rulings):
            return
        number, council = self.archive.numbers[thing.key], self.archive.town.cast["council"]
        offering = thing.offering if thing.kind == "recording" else ""
        terms = [self.archive.town.terms(one) for one in rulings if not one.from_consent]
        with named_by(f"{thing.key} decision"):
            acts = [Act([number], one, offering=offering) for one in terms or [None]]
            decisions.decide(council, self.minute(thing.key), *acts)

    def take_back(self) -> None:
        """Consents that are withdrawn; after all decisions and trusts, which could not be made then."""
        for ruling in self.plan.rulings:
            if ruling.from_consent and ruling.key in self.archive.numbers:
                recording = Recording.ungated.get(pk=self.archive.numbers[ruling.key])
                with named_by(f"{ruling.key} consent"):
                    giver = canary(ruling.key, "giver")
                    decisions.state_consent(None, recording, "withdrawn", giver, date(1999, 12, 31))

    def minute(self, key: str) -> Minute:
        return Minute(date(1999, 12, 31), canary(key, "minute"), "", canary(key, "why"))

    def carry(self) -> None:
        for at, carried in enumerate(self.view.carried):
            numbers = [self.archive.numbers[key] for key in carried.keys]
            with named_by(f"{at} carried"):
                for number in numbers:
                    decisions.make(writing.item(number), carried.terms, None, Source.COUNCIL)

    def let_rest(self) -> None:
        for one in self.plan.rests:
            if one.key in self.archive.numbers:
                wish = resting.Wish(
                    self.archive.numbers[one.key], one.starts_at, one.ends_at, one.instead, (), one.hides_voice
                )
                with named_by(f"{one.key} rest"):
                    resting.rest(self.archive.town.cast["council"], self.minute(one.key), wish)

    def admit(self) -> None:
        """Who belongs to what, and is entrusted with what."""
        town = self.archive.town
        for run in self.plan.members:
            Membership.objects.create(account=town.cast[run.account], audience=town.audiences[run.what],
                                      starts_at=run.starts_at, ends_at=run.ends_at)
        for run in self.plan.trusts:
            if run.what in self.archive.numbers:
                with named_by(f"{run.what} trust"):
                    decisions.entrust(town.cast["council"], town.cast[run.account],
                                      writing.item(self.archive.numbers[run.what]), "", run.starts_at, run.ends_at)


def _clock(ms: int) -> str:
    return f"{ms // 60_000:02d}:{ms // 1000 % 60:02d}.{ms % 1000:03d}"
