"""What item pages and lists hold beside `showing`: facts of a recording, neighbours, counts, the tree of topics.

Like `showing`, everything here is plain frozen data that leaves out what the viewer does not meet.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np
from django.db.models import Q, QuerySet

from ..models import (
    Audience,
    ClosedSpan,
    Consent,
    Entrustment,
    Figure,
    Kind,
    Level,
    Membership,
    Mirror,
    Person,
    Place,
    Recording,
    Segment,
    Tie,
    TieKind,
    TopicTie,
)
from ..timecode.folding import fold
from . import layout, met, showing
from .gate import Gate, Page
from .showing import Label, MirrorShown, RecordingCard, SegmentCard


@dataclass(frozen=True)
class ConsentShown:
    """The newest statement of consent. Who said it, and in which words, is for the council alone."""

    state: str
    stated_on: date
    given_by: str
    words: str


@dataclass(frozen=True)
class RecordingShown:
    card: RecordingCard
    circumstances: str
    offering: str
    is_heard_whole: bool
    consent: ConsentShown | None


@dataclass(frozen=True)
class Neighbours:
    """The segments met before and after one in its recording."""

    before: Label | None
    after: Label | None


@dataclass(frozen=True)
class Listed:
    """A line of a list. `nature` is a place's kind, a figure's shape or a person's family, as it was written."""

    label: Label
    nature: str
    about: str
    segments: int


@dataclass(frozen=True)
class TopicNode:
    label: Label
    segments: int
    narrower: tuple[TopicNode, ...]


@dataclass(frozen=True)
class Handing:
    """One of those a person learned from, or who learned from them, and what over."""

    person: Label
    segments: int
    subjects: tuple[Label, ...]


@dataclass(frozen=True)
class OwnAudience:
    """`starts_at` is None for an audience made of others, to which one belongs by belonging to those."""

    name: str
    about: str
    starts_at: datetime | None
    ends_at: datetime | None


@dataclass(frozen=True)
class OwnTrust:
    item: Label
    reason: str
    starts_at: datetime
    ends_at: datetime | None


# --- one item ---


def recording(gate: Gate, row: Recording) -> RecordingShown:
    return RecordingShown(
        card=showing.recording_cards(gate, [row.pk])[0],
        circumstances=gate.mask.text(row.circumstances),
        offering=row.offering,
        is_heard_whole=gate.hears_whole(row),
        consent=_consent(gate, row),
    )


def _consent(gate: Gate, row: Recording) -> ConsentShown | None:
    newest = Consent.ungated.filter(recording=row).first()
    if newest is None:
        return None
    is_council = gate.account is not None and gate.account.is_council
    return ConsentShown(
        state=newest.state,
        stated_on=newest.stated_on,
        given_by=gate.mask.text(newest.given_by) if is_council else "",
        words=gate.mask.text(newest.words) if is_council else "",
    )


def is_heard_in_place(gate: Gate, segment: Segment) -> bool:
    """Whether the recording around a segment may be heard, so that its times in it may be told."""
    return gate.hears_whole(segment.recording)


def neighbours(gate: Gate, segment: Segment) -> Neighbours:
    if not gate.meets(segment.recording_id, Level.DESCRIPTION):
        return Neighbours(None, None)
    along = segments_in(gate, segment.recording_id)
    if segment.pk not in along:
        return Neighbours(None, None)
    at = along.index(segment.pk)
    near = [along[at - 1] if at else None, along[at + 1] if at + 1 < len(along) else None]
    named = showing.labels(gate, [number for number in near if number is not None])
    before, after = (named.get(number) if number is not None else None for number in near)
    return Neighbours(before, after)


def note_within(gate: Gate, recording: Recording, start_ms: int, end_ms: int, surface: str) -> None:
    """Write down the stretches inside [start_ms, end_ms) that this account meets in full and a visitor does not."""
    if gate.hearer is None:
        return
    visitor = Gate(None, gate.moment)
    for model in (Segment, ClosedSpan):
        rows = model.ungated.filter(recording=recording, start_ms__lt=end_ms, end_ms__gt=start_ms)
        for row in rows.order_by("start_ms", "ref"):
            if gate.meets(row.pk) and not visitor.meets(row.pk):
                met.note(gate, row, surface)


# --- segments in order ---


def segments_in(gate: Gate, recording_number: int) -> list[int]:
    """The segments met of a recording, by time."""
    return _along(gate, Segment.ungated.filter(recording=recording_number))


def segments_tied(gate: Gate, number: int, kind: str = "") -> list[int]:
    """The segments met that are tied to this item (by one kind of tie, where given), by recording and time."""
    ties = Tie.ungated.filter(target=number, source__kind=Kind.SEGMENT)
    if kind:
        return _along(gate, Segment.ungated.filter(pk__in=ties.filter(kind=kind).values("source_id")))
    tagged = TopicTie.ungated.filter(tag=number).values("content_object_id")
    return _along(gate, Segment.ungated.filter(Q(pk__in=ties.values("source_id")) | Q(pk__in=tagged)))


def _along(gate: Gate, rows: QuerySet[Segment]) -> list[int]:
    ordered = rows.order_by("recording__recorded_on", "recording__ref", "start_ms", "end_ms", "ref")
    return gate.keep(ordered.values_list("pk", flat=True))


def page_of(numbers: list[int], number: int, size: int) -> Page:
    """A page of numbers that are met and in order already; `number` is brought into range."""
    last = max(1, -(-len(numbers) // size))
    number = min(max(1, number), last)
    return Page(numbers[(number - 1) * size : number * size], len(numbers), number, size)


def segments_page(gate: Gate, numbers: list[int], number: int = 1, size: int = 40) -> tuple[list[SegmentCard], Page]:
    page = page_of(numbers, number, size)
    return showing.segment_cards(gate, page.numbers), page


def segment_counts(gate: Gate, numbers: Iterable[int]) -> dict[int, int]:
    """How many segments are met that are tied to each of these items."""
    wanted = gate.keep(numbers)
    lies = layout.current(gate.policy)
    sources, targets = layout.met_ties(lies, gate.levels, *layout.TIES)
    size = max(lies.size, len(gate.levels))  # either may be a moment newer than the other
    counted = layout.flagged(size, wanted)[targets] & (lies.kind[sources] == layout.code(Kind.SEGMENT))
    pairs = np.unique(targets[counted] << layout.ITEM_BITS | sources[counted])  # tied in two ways, it is still one
    counts = np.bincount(pairs >> layout.ITEM_BITS, minlength=size)
    return {number: int(counts[number]) for number in wanted}


# --- lists ---


def in_order(gate: Gate, kind: str) -> list[int]:
    """Everything met of a kind, by name."""
    named = showing.labels(gate, gate.numbers(kind).tolist())
    return [one.number for one in sorted(named.values(), key=by_name)]


def by_name(label: Label) -> tuple[str, str, str]:
    """Letters with marks stand with those without, as in most registers of names."""
    return fold(label.text), label.text.casefold(), label.ref


def listed(gate: Gate, numbers: Iterable[int]) -> list[Listed]:
    """Lines of a list of people, places or figures, in the order given."""
    wanted = gate.keep(numbers)
    named = showing.labels(gate, wanted)
    facts = _facts(gate, wanted)
    counts = segment_counts(gate, wanted)
    return [
        Listed(named[number], *facts.get(number, ("", "")), counts[number]) for number in wanted if number in named
    ]


def _facts(gate: Gate, numbers: list[int]) -> dict[int, tuple[str, str]]:
    said = gate.mask.text
    found: dict[int, tuple[str, str]] = {}
    for person in Person.ungated.filter(pk__in=numbers):
        found[person.pk] = (gate.mask.family(person.pk, person.family), said(person.about))
    for place in Place.ungated.filter(pk__in=numbers):
        found[place.pk] = (said(place.nature), said(place.about))
    for figure in Figure.ungated.filter(pk__in=numbers):
        found[figure.pk] = (figure.get_shape_display(), said(figure.about))
    return found


def mirrors(gate: Gate, numbers: Iterable[int]) -> list[MirrorShown]:
    """Mirrors in the order given."""
    rows = {row.pk: row for row in Mirror.ungated.filter(pk__in=gate.keep(numbers))}
    return [showing.mirror(gate, rows[number]) for number in gate.keep(numbers) if number in rows]


def topic_tree(gate: Gate) -> tuple[TopicNode, ...]:
    """The topics met, narrower ones inside broader ones. A topic whose broader ones are not met stands on top."""
    named = showing.labels(gate, gate.numbers(Kind.TOPIC).tolist())
    below: dict[int, list[int]] = {}
    above: set[int] = set()
    rows = Tie.ungated.filter(kind=TieKind.NARROWER_THAN).values_list("source_id", "target_id")
    for narrower, broader in rows:
        if narrower in named and broader in named:
            below.setdefault(broader, []).append(narrower)
            above.add(narrower)
    tree = _Tree(named, below, segment_counts(gate, named))
    tops = [number for number in named if number not in above]
    grown = tree.nodes(tops, frozenset())
    rest = [number for number in named if number not in tree.placed]  # topics that only lead round in a ring
    return grown + tree.nodes(rest, frozenset())


@dataclass
class _Tree:
    named: dict[int, Label]
    below: dict[int, list[int]]
    counts: dict[int, int]

    def __post_init__(self) -> None:
        self.placed: set[int] = set()

    def nodes(self, numbers: Iterable[int], over: frozenset[int]) -> tuple[TopicNode, ...]:
        wanted = sorted((self.named[number] for number in set(numbers) - over), key=by_name)
        return tuple(self._node(label, over) for label in wanted)

    def _node(self, label: Label, over: frozenset[int]) -> TopicNode:
        self.placed.add(label.number)
        narrower = self.nodes(self.below.get(label.number, ()), over | {label.number})
        return TopicNode(label, self.counts.get(label.number, 0), narrower)


# --- who had it from whom ---


def learned_from(gate: Gate, number: int) -> list[Handing]:
    """Those this person learned from, and over which segments told by this person; by name."""
    plain = Tie.ungated.filter(kind=TieKind.LEARNED_FROM, source=number).values_list("target_id", flat=True)
    return _handings(gate, number, TieKind.TOLD_BY, TieKind.HAD_FROM, plain)


def taught(gate: Gate, number: int) -> list[Handing]:
    """Those who learned from this person, and over which segments that they tell; by name."""
    plain = Tie.ungated.filter(kind=TieKind.LEARNED_FROM, target=number).values_list("source_id", flat=True)
    return _handings(gate, number, TieKind.HAD_FROM, TieKind.TOLD_BY, plain)


def _handings(gate: Gate, number: int, own: str, other: str, plain: Iterable[int]) -> list[Handing]:
    mine = segments_tied(gate, number, own)
    over: dict[int, set[int]] = {person: set() for person in plain}
    for segment, person in Tie.ungated.filter(source__in=mine, kind=other).values_list("source_id", "target_id"):
        if person != number:
            over.setdefault(person, set()).add(segment)
    subjects = _subjects(gate, mine)
    named = showing.labels(gate, over)
    handed = [Handing(named[one], len(over[one]), _of_all(subjects, over[one])) for one in over if one in named]
    return sorted(handed, key=lambda one: by_name(one.person))


def _subjects(gate: Gate, segments: list[int]) -> dict[int, list[Label]]:
    """The topics and figures of each segment, as far as they are met."""
    figures = Tie.ungated.filter(source__in=segments, kind=TieKind.NAMES_FIGURE).values_list("source_id", "target_id")
    topics = TopicTie.ungated.filter(content_object__in=segments).values_list("content_object_id", "tag_id")
    pairs = [*figures, *topics]
    named = showing.labels(gate, {subject for _, subject in pairs})
    found: dict[int, list[Label]] = {}
    for segment, subject in pairs:
        if subject in named:
            found.setdefault(segment, []).append(named[subject])
    return found


def subjects_of(gate: Gate, segments: list[int]) -> tuple[Label, ...]:
    """The topics and figures of all these segments, by name."""
    return _of_all(_subjects(gate, segments), segments)


def _of_all(subjects: dict[int, list[Label]], segments: Iterable[int]) -> tuple[Label, ...]:
    found = {label for segment in segments for label in subjects.get(segment, ())}
    return tuple(sorted(found, key=by_name))


# --- a person's own access ---


def own_audiences(gate: Gate) -> list[OwnAudience]:
    """The audiences that this account belongs to or is to belong to, and those it has left; by name and date."""
    if gate.account is None:
        return []
    rows = Membership.objects.filter(account=gate.account, audience__combining="").select_related("audience")
    shown = [OwnAudience(row.audience.name, row.audience.about, row.starts_at, row.ends_at) for row in rows]
    made = Audience.objects.filter(pk__in=gate.audiences).exclude(combining="")
    shown += [OwnAudience(audience.name, audience.about, None, None) for audience in made]
    return sorted(shown, key=lambda one: (one.name.casefold(), one.starts_at or gate.moment))


def own_trusts(gate: Gate) -> list[OwnTrust]:
    """What this account is entrusted with now or from a day to come, as far as it is met; by name."""
    if gate.account is None:
        return []
    rows = [
        row
        for row in Entrustment.ungated.filter(account=gate.account)
        if row.ends_at is None or row.ends_at > gate.moment
    ]
    named = showing.labels(gate, {row.item_id for row in rows})
    shown = [
        OwnTrust(named[row.item_id], gate.mask.text(row.reason), row.starts_at, row.ends_at)
        for row in rows
        if row.item_id in named
    ]
    return sorted(shown, key=lambda one: (by_name(one.item), one.starts_at))
