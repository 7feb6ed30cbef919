"""Writing at the desk: things made and changed together with their ties.

Three rules stand beside those of `writing`. Whoever writes something in is entrusted with it, else it would be gone
from their own desk until the council has spoken. A tie whose other end the writer does not meet stays as it is: a form
cannot show it. And nothing saved at the desk opens what the council has closed: a condition that reached an item, or
seconds of a recording, still does afterwards.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from ..models import (
    Account,
    Condition,
    Item,
    Kind,
    Level,
    Mirror,
    Reach,
    Recording,
    Segment,
    Tie,
    TieKind,
    TopicTie,
)
from ..timecode.times import format_clock
from . import closure, decisions, ledger, showing, writing
from .gate import Gate
from .writing import NameGiven, SegmentGiven


@dataclass(frozen=True)
class Chosen:
    """A name as it was typed, and the number of the thing it names; None for something new."""

    text: str
    number: int | None = None


Ties = dict[str, Sequence[Chosen]]


@dataclass(frozen=True)
class SegmentWritten:
    """A segment as typed. New people and topics are written in with it; new places and figures cannot be."""

    start_ms: int
    end_ms: int
    title: str
    summary: str = ""
    speakers: Sequence[Chosen] = ()
    topics: Sequence[Chosen] = ()
    places: Sequence[Chosen] = ()
    figures: Sequence[Chosen] = ()
    told_of: Sequence[Chosen] = ()
    had_from: Sequence[Chosen] = ()


# What stands at the other end of a tie.
TARGET = {
    TieKind.TOLD_BY: Kind.PERSON,
    TieKind.TELLS_OF: Kind.PERSON,
    TieKind.HAD_FROM: Kind.PERSON,
    TieKind.LEARNED_FROM: Kind.PERSON,
    TieKind.BELONGS_TO: Kind.PLACE,
    TieKind.RECORDED_AT: Kind.PLACE,
    TieKind.NAMES_FIGURE: Kind.FIGURE,
    TieKind.PART_OF: Kind.FIGURE,
    TieKind.NARROWER_THAN: Kind.TOPIC,
}
ADD = {
    Kind.PERSON: writing.add_person,
    Kind.PLACE: writing.add_place,
    Kind.FIGURE: writing.add_figure,
    Kind.TOPIC: writing.add_topic,
    Kind.LAYER: writing.add_layer,
}


# --- nothing is opened by the way ---


def _reached(number: int) -> set[int]:
    """Conditions, not lifted, that reach this item."""
    rows = Reach.ungated.filter(item=number, condition__in=Condition.ungated.filter(lifted_by__isnull=True))
    return set(rows.values_list("condition_id", flat=True))


def _of_its_own(segment: Segment) -> set[int]:
    """Conditions on a segment that do not hold for the whole recording anyway."""
    return _reached(segment.pk) - _reached(segment.recording_id)


@contextmanager
def _opening_nothing(item: Item) -> Iterator[None]:
    before = _reached(item.pk)
    yield
    if before - _reached(item.pk):
        raise ValidationError(
            _("Saving this would open what the council has closed, because of a tie that is gone. Put it back, or ask "
              "the council to decide first.")
        )


# --- people, places, figures, topics ---


@transaction.atomic
def add(by: Account | None, kind: str, names: Sequence[NameGiven], ties: Ties | None = None, **given: Any) -> Item:
    """A new person, place, figure or topic with its ties; the writer is entrusted with it."""
    made: Item = ADD[Kind(kind)](by, names, **given)
    language = names[0].language if names else "en"
    for tie_kind, chosen in (ties or {}).items():
        for position, number in enumerate(_numbers(by, TARGET[TieKind(tie_kind)], chosen, language)):
            writing.tie(made, tie_kind, writing.item(number), position)
    _trust_maker(by, made)
    return made


@transaction.atomic
def add_places(by: Account | None, places: Sequence[tuple[NameGiven, dict[str, Any]]]) -> list[Item]:
    """Many places, each by one name and its columns: all of them or, should one not fit, none."""
    return [add(by, Kind.PLACE, [name], **given) for name, given in places]


def _numbers(by: Account | None, kind: Kind, chosen: Sequence[Chosen], language: str) -> list[int]:
    """The numbers of what was chosen, each once; what is new is written in under its name."""
    found = []
    for one in chosen:
        if one.number is not None:
            found.append(one.number)
        elif kind in (Kind.PERSON, Kind.TOPIC):
            found.append(add(by, kind, [NameGiven(language, one.text.strip(), True)]).pk)
        else:
            raise ValidationError(_("Nothing is known by “%(name)s”. Add it from the desk first.") % {"name": one.text})
    return list(dict.fromkeys(found))


@transaction.atomic
def add_mirror(by: Account | None, figure: int, pairs: Sequence[tuple[int, int]], **given: Any) -> Mirror:
    """`pairs` joins the number of each place to a star (Hipparcos number)."""
    joined = [(writing.item(place), hip) for place, hip in pairs]
    made = writing.add_mirror(by, writing.item(figure), joined, **given)
    _trust_maker(by, made)
    return made


def _trust_maker(by: Account | None, made: Item) -> None:
    if by is not None:
        decisions.entrust(None, by, made, _("wrote it in"))


@transaction.atomic
def change(
    gate: Gate, item: Item, names: Sequence[NameGiven], version: int, ties: Ties | None = None, **given: Any
) -> Item:
    """Save a changed item and those of its ties that the writer meets; writing.Overtaken if somebody was faster."""
    with _opening_nothing(item):
        held = writing.change(gate.account, item, names, version, **given)
        _set_ties(gate, held, ties or {}, names[0].language if names else "en")
    return held


def _set_ties(gate: Gate, held: Item, ties: Ties, language: str) -> None:
    for kind, chosen in ties.items():
        _set_met_ties(gate, held, kind, _numbers(gate.account, TARGET[TieKind(kind)], chosen, language))


def _set_met_ties(gate: Gate, source: Item, kind: str, targets: list[int]) -> None:
    if source.pk in targets:
        raise ValidationError(_("Nothing can be tied to itself."))
    before = closure.could_reach(source.pk)
    rows = {tie.target_id: tie for tie in Tie.ungated.filter(source=source, kind=kind)}
    gone = [number for number in rows if number not in targets and gate.meets(number, Level.DESCRIPTION)]
    Tie.ungated.filter(source=source, kind=kind, target__in=gone).delete()
    for position, number in enumerate(targets):
        if number in rows:
            Tie.ungated.filter(pk=rows[number].pk).update(position=position)
        else:
            writing.tie(source, kind, writing.item(number), position)
    closure.refresh(before | closure.could_reach(source.pk) | set(gone))
    writing.owe_index([source.pk, *gone])


@transaction.atomic
def change_mirror(
    gate: Gate, mirror: Mirror, figure: int, pairs: Sequence[tuple[int, int]], version: int, **given: Any
) -> Mirror:
    """Save a mirror's words, its figure and its pairs; pairs that are not shown to the writer stay."""
    with _opening_nothing(mirror):
        held = writing.change(gate.account, mirror, [], version, **given)
        _set_pairs(gate, held, pairs)
        _set_met_ties(gate, held, TieKind.MIRRORS, [figure])
    return held  # type: ignore[return-value]


def _set_pairs(gate: Gate, held: Item, pairs: Sequence[tuple[int, int]]) -> None:
    before = closure.could_reach(held.pk)
    shown = {pair.place.label.number for pair in showing.mirror(gate, held).pairs}  # type: ignore[arg-type]
    kept = [
        (tie.target_id, tie.hip)
        for tie in Tie.ungated.filter(source=held, kind=TieKind.STANDS_AT)
        if tie.target_id not in shown
    ]
    _check_pairs([*pairs, *kept])
    places = [place for place, _hip in kept]
    Tie.ungated.filter(source=held, kind=TieKind.STANDS_AT).exclude(target__in=places).delete()
    for position, (place, hip) in enumerate(pairs):
        writing.tie(held, TieKind.STANDS_AT, writing.item(place), position, hip)
    closure.refresh(before | closure.could_reach(held.pk))


def _check_pairs(pairs: Sequence[tuple[int, int | None]]) -> None:
    if len(pairs) < 2:
        raise ValidationError(_("A mirror needs at least two places with their stars."))
    if len({place for place, _hip in pairs}) < len(pairs) or len({hip for _place, hip in pairs}) < len(pairs):
        raise ValidationError(_("Each place and each star can stand in a mirror once."))


# --- segments ---


@transaction.atomic
def add_segment(gate: Gate, recording: Recording, written: SegmentWritten) -> Segment:
    return writing.add_segment(gate.account, recording, _settled(gate, recording, written))


def _settled(gate: Gate, recording: Recording, written: SegmentWritten) -> SegmentGiven:
    by, language = gate.account, recording.language
    return SegmentGiven(
        written.start_ms,
        written.end_ms,
        written.title.strip(),
        written.summary.strip(),
        topics=_numbers(by, Kind.TOPIC, written.topics, language),
        **{name: _numbers(by, TARGET[kind], getattr(written, name), language) for name, kind in _TIED},
    )


@transaction.atomic
def change_segment(gate: Gate, segment: Segment, written: SegmentWritten, version: int) -> Segment:
    """Save a segment's changes; ties to what the writer does not meet stay. writing.Overtaken if it was saved since."""
    is_wider = written.start_ms <= segment.start_ms and written.end_ms >= segment.end_ms
    if not is_wider and _of_its_own(segment):
        raise ValidationError(
            {"end": _("The council has decided who may meet these seconds, from %(start)s to %(end)s. The segment may "
                      "grow, but none of them may be left out of it; ask the council first.")
             % {"start": format_clock(segment.start_ms), "end": format_clock(segment.end_ms)}}
        )
    given = _with_unmet(gate, segment, _settled(gate, segment.recording, written))
    with _opening_nothing(segment):
        return writing.change_segment(gate.account, segment, given, version)


_TIED = (
    ("speakers", TieKind.TOLD_BY),
    ("places", TieKind.BELONGS_TO),
    ("figures", TieKind.NAMES_FIGURE),
    ("told_of", TieKind.TELLS_OF),
    ("had_from", TieKind.HAD_FROM),
)


def _with_unmet(gate: Gate, segment: Segment, given: SegmentGiven) -> SegmentGiven:
    fields = vars(given).copy()
    for name, kind in _TIED:
        held = Tie.ungated.filter(source=segment, kind=kind).values_list("target_id", flat=True)
        fields[name] = [*fields[name], *_unmet(gate, held)]
    topics = TopicTie.ungated.filter(content_object=segment).values_list("tag_id", flat=True)
    fields["topics"] = [*fields["topics"], *_unmet(gate, topics)]
    return SegmentGiven(**fields)


def _unmet(gate: Gate, numbers: Any) -> list[int]:
    return [number for number in numbers if not gate.meets(number, Level.DESCRIPTION)]


@transaction.atomic
def remove_segment(gate: Gate, segment: Segment) -> None:
    """Take a segment away; its sound and its words stay in the recording."""
    if _of_its_own(segment):
        raise ValidationError(
            _("The council has decided who may meet these seconds; with the segment gone they would be open to others. "
              "Ask the council to lift its condition first.")
        )
    writing.remove_segment(gate.account, segment)


# --- recordings ---


@transaction.atomic
def change_recording(gate: Gate, recording: Recording, version: int, ties: Ties, **given: Any) -> Recording:
    """Save what is said about a recording; its master and its times never change."""
    held = Recording.ungated.select_for_update(of=("self",)).get(pk=recording.pk)
    if held.version != version:
        raise writing.Overtaken(None)
    for name, value in given.items():
        setattr(held, name, writing.kept(gate.mask, getattr(held, name), value))
    held.version = version + 1
    held.full_clean(exclude=["item_ptr", "kind", "decision", "created_by"])
    with _opening_nothing(held):
        held.save()
        _set_ties(gate, held, ties, held.language)
    ledger.write("recording changed", gate.account, held.ref, version=held.version)
    writing.owe_index([held.pk])
    return held
