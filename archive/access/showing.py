"""What pages may hold: plain, frozen data made by the gate. No model reaches a page, so nothing ungated can.

Each function takes a `Gate` and leaves out whatever its viewer does not meet. At `description` an item gives its
catalogue data; words, voice, exact coordinates and star lists need `open`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from django.db.models import Q

from ..models import (
    Cue,
    Figure,
    House,
    Item,
    Kind,
    Layer,
    Level,
    Mirror,
    Name,
    Person,
    Place,
    Recording,
    Segment,
    Tie,
    TieKind,
    Topic,
    TopicTie,
    Transcript,
)
from ..timecode.folding import fold
from . import cautioning
from .cells import cell_of
from .closure import batches
from .gate import Gate
from .masks import Mask, RestRule
from .spans import clip, merge, overlaps

Notice = tuple[str, str]  # the council's words, whom to ask


@dataclass(frozen=True)
class Label:
    """An item as it is named on a page. `kind` is also the name of its address; `number` is never shown."""

    number: int = field(repr=False)
    kind: str
    ref: str
    text: str
    language: str
    also: str = ""
    also_language: str = ""
    level: Level = Level.OPEN


@dataclass(frozen=True)
class ShownTie:
    """A tie whose both ends are met. `outward` is read from this item to the other."""

    kind: str
    outward: bool
    other: Label
    hip: int | None = None


@dataclass(frozen=True)
class Spelling:
    language: str
    text: str
    is_preferred: bool


@dataclass(frozen=True)
class ShownCue:
    start_ms: int
    end_ms: int
    text: str
    speaker: str


@dataclass(frozen=True)
class ShownTranscript:
    number: int = field(repr=False)
    language: str
    kind: str
    cues: tuple[ShownCue, ...]


@dataclass(frozen=True)
class SegmentCard:
    label: Label
    summary: str
    start_ms: int
    end_ms: int
    recording: Label | None
    recorded_on: str
    speakers: tuple[Label, ...]
    topics: tuple[Label, ...]
    places: tuple[Label, ...]
    figures: tuple[Label, ...]
    told_of: tuple[Label, ...]
    had_from: tuple[Label, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def is_open(self) -> bool:
        return self.label.level == Level.OPEN

    @property
    def duration_ms(self) -> int:
        return self.end_ms - self.start_ms


@dataclass(frozen=True)
class RecordingCard:
    label: Label
    recorded_on: str
    language: str
    duration_ms: int | None
    speakers: tuple[Label, ...]
    segments: int


@dataclass(frozen=True)
class PlaceShown:
    """`at` is (latitude, longitude) where the spot is met, else None; `cell` is (south, west, north, east)."""

    label: Label
    nature: str
    about: str
    at: tuple[float, float] | None
    cell: tuple[float, float, float, float] | None
    caution: str = ""


@dataclass(frozen=True)
class FigureShown:
    """`stars` and `lines` (runs of Hipparcos numbers) are empty where only the description is met."""

    label: Label
    shape: str
    about: str
    stars: tuple[int, ...]
    lines: tuple[tuple[int, ...], ...]


@dataclass(frozen=True)
class MirrorPair:
    place: PlaceShown
    hip: int


@dataclass(frozen=True)
class MirrorShown:
    """`unpaired` are places of it whose star is not told; see `starred`."""

    label: Label
    about: str
    figure: Label | None
    pairs: tuple[MirrorPair, ...]
    unpaired: tuple[Label, ...] = ()


@dataclass(frozen=True)
class PersonShown:
    label: Label
    about: str
    family: str
    born: str = ""
    died: str = ""


@dataclass(frozen=True)
class TopicShown:
    label: Label
    about: str
    caution: str = ""


# --- names ---


def house() -> House:
    return House.objects.filter(pk=1).first() or House(pk=1)


def labels(gate: Gate, numbers: Iterable[int], at_least: Level = Level.DESCRIPTION) -> dict[int, Label]:
    """A label for each of the items that is met; the others are missing from the answer."""
    met = sorted({number for number in numbers if gate.meets(number, at_least)})
    if not met:
        return {}
    items = [item for part in batches(met) for item in Item.ungated.filter(pk__in=part)]
    titles = _titles(items)
    names = _names(met)
    spoken = house().language
    return {item.pk: _label(gate, item, titles, names.get(item.pk, []), spoken) for item in items}


def _label(
    gate: Gate, item: Item, titles: dict[int, tuple[str, str]], own: list[Name], spoken: str
) -> Label:
    """The label as it is shown now: where a name rests, the community's words stand for it."""
    made = _full_label(gate, item, titles, own, spoken)
    rule = gate.mask.people.get(item.pk)
    if rule is not None:
        return _resting_label(made, rule, spoken)
    text, also = gate.mask.text(made.text, made.language), gate.mask.text(made.also, made.also_language)
    return made if (text, also) == (made.text, made.also) else replace(made, text=text, also=also)


def _resting_label(made: Label, rule: RestRule, spoken: str) -> Label:
    (language, words), *others = sorted(rule.instead, key=lambda each: each[0] != spoken)
    also_language, also = others[0] if others else ("", "")
    return replace(made, text=words, language=language, also=also, also_language=also_language)


def label(gate: Gate, number: int) -> Label | None:
    return labels(gate, [number]).get(number)


def _titles(items: list[Item]) -> dict[int, tuple[str, str]]:
    """Title and its language, for kinds that carry a title of their own."""
    found: dict[int, tuple[str, str]] = {}
    for kind, model, column in (
        (Kind.RECORDING, Recording, "title"),
        (Kind.SEGMENT, Segment, "title"),
        (Kind.MIRROR, Mirror, "title"),
        (Kind.TOPIC, Topic, "name"),
        (Kind.LAYER, Layer, "title"),
    ):
        numbers = [item.pk for item in items if item.kind == kind]
        for part in batches(numbers):
            found.update({pk: (text, "") for pk, text in model.ungated.filter(pk__in=part).values_list("pk", column)})
    return found


def _names(numbers: list[int]) -> dict[int, list[Name]]:
    found: dict[int, list[Name]] = {}
    for part in batches(numbers):
        for name in Name.ungated.filter(item__in=part).order_by("item_id", "-is_preferred", "position", "pk"):
            found.setdefault(name.item_id, []).append(name)
    return found


def _full_label(
    gate: Gate, item: Item, titles: dict[int, tuple[str, str]], own: list[Name], spoken: str
) -> Label:
    first = next((name for name in own if name.language == spoken), own[0] if own else None)
    other = next((name for name in own if first and name.language != first.language and name.is_preferred), None)
    title, language = titles.get(item.pk, ("", ""))
    return Label(
        number=item.pk,
        kind=item.kind,
        ref=item.ref,
        text=first.text if first else title,
        language=first.language if first else language,
        also=other.text if other else "",
        also_language=other.language if other else "",
        level=gate.level(item.pk),
    )


def spellings(gate: Gate, number: int) -> list[Spelling]:
    if not gate.meets(number, Level.DESCRIPTION):
        return []
    rule = gate.mask.people.get(number)
    if rule is not None:
        return [Spelling(language, words, at == 0) for at, (language, words) in enumerate(rule.instead)]
    rows = _names([number]).get(number, [])
    return [Spelling(row.language, gate.mask.text(row.text, row.language), row.is_preferred) for row in rows]


# --- ties ---


def ties(gate: Gate, number: int) -> list[ShownTie]:
    """Every tie of the item whose other end is met, topics included; by kind, then by name."""
    if not gate.meets(number, Level.DESCRIPTION):
        return []
    rows = [
        (tie.kind, tie.source_id == number, tie.target_id if tie.source_id == number else tie.source_id, tie)
        for tie in Tie.ungated.filter(Q(source=number) | Q(target=number))
    ]
    tagged = [("topic", True, pk, None) for pk in _topic_numbers(content_object=number)]
    tagged += [("topic", False, pk, None) for pk in _tagged_numbers(tag=number)]
    found = labels(gate, [other for _, _, other, _ in [*rows, *tagged]])
    told = starred(gate, {tie.source_id for _, _, _, tie in rows if tie.hip is not None})
    shown = [
        ShownTie(kind, outward, found[other], tie.hip if tie is not None and tie.source_id in told else None)
        for kind, outward, other, tie in [*rows, *tagged]
        if other in found
    ]
    return sorted(shown, key=lambda tie: (tie.kind, not tie.outward, tie.other.text.casefold(), tie.other.ref))


def starred(gate: Gate, mirrors: set[int]) -> set[int]:
    """The mirrors whose stars are told: those met in full with every place of theirs that is met at all.

    Were one place an area and the other pairs told, the star that is left would lead to its spot.
    """
    ends = Tie.ungated.filter(source__in=mirrors, kind=TieKind.STANDS_AT).values_list("source_id", "target_id")
    unsure = {mirror for mirror, place in ends if gate.level(place) == Level.DESCRIPTION}
    return {mirror for mirror in mirrors if gate.meets(mirror)} - unsure


def _topic_numbers(**where: object) -> list[int]:
    return list(TopicTie.ungated.filter(**where).values_list("tag_id", flat=True))


def _tagged_numbers(**where: object) -> list[int]:
    return list(TopicTie.ungated.filter(**where).values_list("content_object_id", flat=True))


def others(shown: Iterable[ShownTie], kind: str, outward: bool) -> list[Label]:
    return [tie.other for tie in shown if tie.kind == kind and tie.outward is outward]


def notices(gate: Gate, number: int) -> list[Notice]:
    """Notices that the council wants on this page: the item's own, and those of what it is tied to."""
    around = set(Tie.ungated.filter(target=number).values_list("source_id", flat=True))
    around |= set(Tie.ungated.filter(source=number).values_list("target_id", flat=True))
    around |= set(_topic_numbers(content_object=number)) | set(_tagged_numbers(tag=number))
    around |= set(Segment.ungated.filter(recording=number).values_list("pk", flat=True))
    return gate.notices_on_page(number, around)


# --- lists ---


def segment_cards(gate: Gate, numbers: Iterable[int]) -> list[SegmentCard]:
    """Cards in the order given, of the segments that are met."""
    wanted = gate.keep(numbers)
    rows = {row.pk: row for part in batches(wanted) for row in Segment.ungated.filter(pk__in=part)}
    joined = _joined(wanted)
    recordings = {row.recording_id for row in rows.values()}
    named = labels(gate, [*wanted, *recordings, *(other for ends in joined.values() for _, other in ends)])
    dates = dict(Recording.ungated.filter(pk__in=recordings).values_list("pk", "recorded_on"))
    cautions, chosen = _cautions(named), cautioning.chosen(named)
    return [
        _card(gate, rows[number], named, joined.get(number, []), dates, cautions, chosen)
        for number in wanted
        if number in rows and number in named
    ]


def _cautions(named: dict[int, Label]) -> dict[int, str]:
    """The cautions of topics and places among these, in words."""
    found: dict[int, str] = {}
    for model, kind in ((Topic, Kind.TOPIC), (Place, Kind.PLACE)):
        numbers = [number for number, one in named.items() if one.kind == kind]
        for row in model.ungated.filter(pk__in=numbers).exclude(caution=""):
            found[row.pk] = row.get_caution_display()
    return found


def _joined(segments: list[int]) -> dict[int, list[tuple[str, int]]]:
    found: dict[int, list[tuple[str, int]]] = {}
    for part in batches(segments):
        for tie in Tie.ungated.filter(source__in=part):
            found.setdefault(tie.source_id, []).append((tie.kind, tie.target_id))
        for segment, topic in TopicTie.ungated.filter(content_object__in=part).values_list(
            "content_object_id", "tag_id"
        ):
            found.setdefault(segment, []).append(("topic", topic))
    return found


def _card(
    gate: Gate,
    row: Segment,
    named: dict[int, Label],
    joined: list[tuple[str, int]],
    dates: dict[int, str],
    cautions: dict[int, str],
    chosen: dict[int, set[str]],
) -> SegmentCard:
    def of(kind: str) -> tuple[Label, ...]:
        found = [named[other] for each, other in joined if each == kind and other in named]
        return tuple(sorted(found, key=lambda one: (one.text.casefold(), one.ref)))

    recording = named.get(row.recording_id)
    about = [row.pk, row.recording_id, *(other for each, other in joined if each == "topic")]
    content = cautioning.said(kind for number in about for kind in chosen.get(number, ()))
    return SegmentCard(
        label=named[row.pk],
        summary=gate.mask.text(row.summary),
        start_ms=row.start_ms,
        end_ms=row.end_ms,
        recording=recording,
        recorded_on=dates.get(row.recording_id, "") if recording else "",
        speakers=of(TieKind.TOLD_BY),
        topics=of("topic"),
        places=of(TieKind.BELONGS_TO),
        figures=of(TieKind.NAMES_FIGURE),
        told_of=of(TieKind.TELLS_OF),
        had_from=of(TieKind.HAD_FROM),
        cautions=content + tuple(sorted({cautions[other] for _, other in joined if other in cautions})),
    )


def recording_cards(gate: Gate, numbers: Iterable[int]) -> list[RecordingCard]:
    wanted = gate.keep(numbers)
    rows = {row.pk: row for row in Recording.ungated.filter(pk__in=wanted).select_related("master")}
    joined = _joined(wanted)
    named = labels(gate, [*wanted, *(other for ends in joined.values() for _, other in ends)])
    return [_recording_card(gate, rows[number], named, joined.get(number, [])) for number in wanted if number in named]


def _recording_card(
    gate: Gate, row: Recording, named: dict[int, Label], joined: list[tuple[str, int]]
) -> RecordingCard:
    speakers = [named[other] for kind, other in joined if kind == TieKind.TOLD_BY and other in named]
    inside = Segment.ungated.filter(recording=row).values_list("pk", flat=True)
    return RecordingCard(
        label=named[row.pk],
        recorded_on=row.recorded_on,
        language=row.language,
        duration_ms=row.master.duration_ms if gate.hears_whole(row) else None,
        speakers=tuple(sorted(speakers, key=lambda one: (one.text.casefold(), one.ref))),
        segments=len(gate.keep(inside)),
    )


# --- words ---


def transcripts(
    gate: Gate, recording: Recording, start_ms: int = 0, end_ms: int | None = None
) -> list[ShownTranscript]:
    """The transcripts' cues that this viewer may read, within [start_ms, end_ms) of the recording.

    A cue that shares any instant with closed seconds is left out whole, and with `start_ms` one that begins before it.
    """
    closed = gate.closed_stretches(recording)
    last = recording.master.duration_ms if end_ms is None else end_ms
    unnamed = unnamed_speakers(gate)
    shown = []
    for transcript in Transcript.ungated.filter(recording=recording):
        cues = Cue.ungated.filter(transcript=transcript, start_ms__lt=last, end_ms__gt=start_ms)
        met = [cue for cue in cues if not overlaps(cue.start_ms, cue.end_ms, closed)]
        shown.append(
            ShownTranscript(
                transcript.pk,
                transcript.language,
                transcript.kind,
                tuple(_cue(cue, unnamed, gate.mask, transcript.language) for cue in met),
            )
        )
    return [transcript for transcript in shown if transcript.cues]


def unnamed_speakers(gate: Gate) -> set[str]:
    """Folded names of people who are not met, and that nobody who is met bears: they head no line of a transcript."""
    met: set[str] = set()
    unmet: set[str] = set()
    for number, text in Name.ungated.filter(item__kind=Kind.PERSON).values_list("item_id", "text"):
        (met if gate.meets(number, Level.DESCRIPTION) else unmet).add(fold(text))
    return unmet - met


def _cue(cue: Cue, unnamed: set[str], mask: Mask, language: str) -> ShownCue:
    speaker = "" if fold(cue.speaker) in unnamed else mask.text(cue.speaker, language)
    return ShownCue(cue.start_ms, cue.end_ms, mask.text(cue.text, language), speaker)


@dataclass(frozen=True)
class Hearing:
    """How a stretch [start_ms, end_ms) of a recording may be heard.

    `closed_in_recording` holds closed spans beside the stretch as well: where one ends or starts next to it, the sound
    fades as it does in the whole, and nothing of what a resampler smeared over the edge is left.
    """

    start_ms: int
    end_ms: int
    closed_in_recording: tuple[tuple[int, int], ...]

    @property
    def duration_ms(self) -> int:
        return self.end_ms - self.start_ms

    @property
    def closed(self) -> tuple[tuple[int, int], ...]:
        """What of the stretch is closed, counted from `start_ms`."""
        return tuple(clip(list(self.closed_in_recording), self.start_ms, self.end_ms))


def hearing_of_recording(gate: Gate, recording: Recording) -> Hearing | None:
    """None where the whole is not offered to this viewer."""
    if not gate.hears_whole(recording):
        return None
    length = recording.master.duration_ms
    return Hearing(0, length, tuple(gate.closed_stretches(recording)))


def hearing_of_segment(gate: Gate, segment: Segment) -> Hearing | None:
    """None where the segment is not met in full.

    Where the whole is not offered, what would lie past the recording's end is closed too: the sound of a last segment
    fades like that of any other, and does not tell that the recording ends there.
    """
    if not gate.meets(segment.pk):
        return None
    recording = segment.recording
    closed = gate.closed_stretches(recording)
    if not gate.hears_whole(recording):
        length = recording.master.duration_ms
        closed = merge([*closed, (length, length + 1)])
    return Hearing(segment.start_ms, segment.end_ms, tuple(closed))


# --- one of a kind ---


def person(gate: Gate, row: Person) -> PersonShown:
    said = gate.mask.text
    return PersonShown(_named(gate, row), said(row.about), gate.mask.family(row.pk, row.family), row.born, row.died)


def topic(gate: Gate, row: Topic) -> TopicShown:
    return TopicShown(_named(gate, row), gate.mask.text(row.about), row.get_caution_display())


def _named(gate: Gate, item: Item) -> Label:
    found = label(gate, item.pk)
    if found is None:
        raise LookupError("an item is shown that is not met")
    return found


def place(gate: Gate, row: Place) -> PlaceShown:
    return places(gate, [row.pk])[0]


def places(gate: Gate, numbers: Iterable[int]) -> list[PlaceShown]:
    wanted = gate.keep(numbers)
    named = labels(gate, wanted)
    rows = {row.pk: row for part in batches(wanted) for row in Place.ungated.filter(pk__in=part)}
    shown = [_place(gate, rows[number], named[number]) for number in wanted if number in rows]
    return sorted(shown, key=lambda one: (one.label.text.casefold(), one.label.ref))


def _place(gate: Gate, row: Place, named: Label) -> PlaceShown:
    exact = gate.meets(row.pk)
    return PlaceShown(
        label=named,
        nature=gate.mask.text(row.nature),
        about=gate.mask.text(row.about),
        at=(row.latitude_deg, row.longitude_deg) if exact else None,
        cell=None if exact else cell_of(row.latitude_deg, row.longitude_deg, row.cell_deg),
        caution=row.get_caution_display(),
    )


def figure(gate: Gate, row: Figure) -> FigureShown:
    return figures(gate, [row.pk])[0]


def figures(gate: Gate, numbers: Iterable[int]) -> list[FigureShown]:
    wanted = gate.keep(numbers)
    named = labels(gate, wanted)
    rows = {row.pk: row for row in Figure.ungated.filter(pk__in=wanted)}
    shown = [_figure(gate, rows[number], named[number]) for number in wanted if number in rows]
    return sorted(shown, key=lambda one: (one.label.text.casefold(), one.label.ref))


def _figure(gate: Gate, row: Figure, named: Label) -> FigureShown:
    exact = gate.meets(row.pk)
    return FigureShown(
        label=named,
        shape=row.shape,
        about=gate.mask.text(row.about),
        stars=tuple(row.stars) if exact else (),
        lines=tuple(tuple(line) for line in row.lines) if exact else (),
    )


def mirror(gate: Gate, row: Mirror) -> MirrorShown:
    shown = ties(gate, row.pk)
    figures_named = others(shown, TieKind.MIRRORS, True)
    stands = [tie for tie in shown if tie.kind == TieKind.STANDS_AT]
    pairs = [tie for tie in stands if tie.hip is not None]
    spots = {one.label.number: one for one in places(gate, [tie.other.number for tie in pairs])}
    return MirrorShown(
        label=_named(gate, row),
        about=gate.mask.text(row.about),
        figure=figures_named[0] if figures_named else None,
        pairs=tuple(
            MirrorPair(spots[tie.other.number], tie.hip)
            for tie in pairs
            if tie.hip is not None and spots[tie.other.number].at is not None
        ),
        unpaired=tuple(tie.other for tie in stands if tie.hip is None),
    )
