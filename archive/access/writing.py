"""Bringing in and tying: the only way that items come to be, change and go. Each act is one transaction.

The closure is brought in line and the search index is owed its share inside the same transaction.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from ..models import (
    Account,
    ClosedSpan,
    Figure,
    IndexDebt,
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
)
from ..models.tags import validate_language_tag
from ..timecode.times import format_clock
from . import closure, ledger, masks
from .gate import Gate


class Overtaken(Exception):
    """Somebody else saved the item since this viewer opened it. Nothing was written."""

    def __init__(self, by: Account | None) -> None:
        super().__init__("overtaken")
        self.by = by


@dataclass(frozen=True)
class NameGiven:
    language: str
    text: str
    is_preferred: bool = False


@dataclass(frozen=True)
class SegmentGiven:
    """A segment as typed: the ties are item numbers, already resolved among what the writer meets."""

    start_ms: int
    end_ms: int
    title: str
    summary: str = ""
    speakers: Sequence[int] = ()
    topics: Sequence[int] = ()
    places: Sequence[int] = ()
    figures: Sequence[int] = ()
    told_of: Sequence[int] = ()
    had_from: Sequence[int] = ()


# --- what every act ends with ---

_after: list[Callable[[list[int]], None]] = []


def after_commit(listener: Callable[[list[int]], None]) -> None:
    """Have `listener` called with the changed item numbers once they are committed (the search index asks for it)."""
    if listener not in _after:
        _after.append(listener)


def owe_index(numbers: Iterable[int]) -> None:
    """Note that the words of these items changed; they are indexed after the commit, or at the next start."""
    wanted = sorted(set(numbers))
    IndexDebt.objects.bulk_create([IndexDebt(item_number=number) for number in wanted], ignore_conflicts=True)
    transaction.on_commit(lambda: _tell(wanted))


def _tell(numbers: list[int]) -> None:
    for listener in _after:
        listener(numbers)


# --- names ---


def give_names(item: Item, names: Sequence[NameGiven]) -> None:
    """Replace the item's names; the first of each language marked preferred, or the first of all, leads."""
    for name in names:
        validate_language_tag(name.language)
        if not name.text.strip():
            raise ValidationError(_("A name is empty. Write it, or take its line away."))
    Name.ungated.filter(item=item).delete()
    Name.ungated.bulk_create(
        [
            Name(item=item, language=name.language, text=name.text.strip(), is_preferred=name.is_preferred, position=at)
            for at, name in enumerate(_unlike(names))
        ]
    )
    owe_index([item.pk])


def _unlike(names: Sequence[NameGiven]) -> list[NameGiven]:
    return list({(name.language, name.text.strip()): name for name in reversed(names)}.values())[::-1]


# --- ties ---


@transaction.atomic
def tie(source: Item, kind: str, target: Item, position: int = 0, hip: int | None = None) -> Tie:
    made = Tie(source=source, target=target, kind=kind, position=position, hip=hip)
    made.clean()
    made.save()
    closure.refresh(closure.could_reach(source.pk) | closure.could_reach(target.pk))
    owe_index([source.pk, target.pk])
    return made


def _set_ties(source: Item, kind: str, targets: Sequence[int]) -> None:
    kept = set(targets)
    Tie.ungated.filter(source=source, kind=kind).exclude(target__in=kept).delete()
    have = set(Tie.ungated.filter(source=source, kind=kind).values_list("target_id", flat=True))
    found = Item.ungated.in_bulk(kept - have)
    for position, number in enumerate(targets):
        if number in found:
            made = Tie(source=source, target=found[number], kind=kind, position=position)
            made.clean()
            made.save()
            have.add(number)
            found.pop(number)


def _set_topics(segment: Segment, topics: Sequence[int]) -> None:
    TopicTie.ungated.filter(content_object=segment).exclude(tag__in=topics).delete()
    segment.topics.add(*Topic.ungated.filter(pk__in=topics))


# --- segments and spans ---


def check_stretch(recording: Recording, start_ms: int, end_ms: int) -> None:
    length = recording.master.duration_ms
    if end_ms <= start_ms:
        raise ValidationError(
            {
                "end": _("It ends at %(end)s, which is not after its start, %(start)s. Give a later end.")
                % {"end": format_clock(end_ms), "start": format_clock(start_ms)}
            }
        )
    if start_ms < 0 or end_ms > length:
        raise ValidationError(
            {
                "end": _("It runs to %(end)s, but the recording ends at %(length)s. Give times inside it.")
                % {"end": format_clock(end_ms), "length": format_clock(length)}
            }
        )


@transaction.atomic
def add_segment(by: Account | None, recording: Recording, given: SegmentGiven) -> Segment:
    check_stretch(recording, given.start_ms, given.end_ms)
    segment = Segment.ungated.create(
        recording=recording,
        start_ms=given.start_ms,
        end_ms=given.end_ms,
        title=given.title,
        summary=given.summary,
        created_by=by,
        edited_by=by,
    )
    _tie_segment(segment, given)
    ledger.write("segment made", by, segment.ref, recording=recording.ref)
    return segment


@transaction.atomic
def change_segment(by: Account | None, segment: Segment, given: SegmentGiven, version: int) -> Segment:
    """Save a changed segment if nobody saved it since `version`; otherwise Overtaken, and nothing is written."""
    check_stretch(segment.recording, given.start_ms, given.end_ms)
    held = Segment.ungated.select_for_update(of=("self",)).select_related("edited_by").get(pk=segment.pk)
    if held.version != version:
        raise Overtaken(held.edited_by)
    before = closure.could_reach(held.pk)
    mask = masks.at(masks.read(), timezone.now())
    for name in ("start_ms", "end_ms", "title", "summary"):
        setattr(held, name, kept(mask, getattr(held, name), getattr(given, name)))
    held.edited_by, held.version = by, version + 1
    held.save()
    _tie_segment(held, given, before)
    ledger.write("segment changed", by, held.ref, version=held.version)
    return held


def _tie_segment(segment: Segment, given: SegmentGiven, before: set[int] | None = None) -> None:
    _set_ties(segment, TieKind.TOLD_BY, given.speakers)
    _set_ties(segment, TieKind.BELONGS_TO, given.places)
    _set_ties(segment, TieKind.NAMES_FIGURE, given.figures)
    _set_ties(segment, TieKind.TELLS_OF, given.told_of)
    _set_ties(segment, TieKind.HAD_FROM, given.had_from)
    _set_topics(segment, given.topics)
    closure.refresh((before or set()) | closure.could_reach(segment.pk))
    owe_index([segment.pk, segment.recording_id])


@transaction.atomic
def remove_segment(by: Account | None, segment: Segment) -> None:
    ref, recording, number = segment.ref, segment.recording, segment.pk
    Item.ungated.filter(pk=number).delete()
    ledger.write("segment removed", by, ref, recording=recording.ref)
    owe_index([number, recording.pk])


@transaction.atomic
def close_span(by: Account | None, recording: Recording, start_ms: int, end_ms: int, reason: str) -> ClosedSpan:
    """Close a stretch from this moment; it waits for the council like everything new."""
    check_stretch(recording, start_ms, end_ms)
    span = ClosedSpan.ungated.create(
        recording=recording, start_ms=start_ms, end_ms=end_ms, reason=reason, created_by=by
    )
    closure.refresh(closure.could_reach(span.pk))
    ledger.write("span closed", by, span.ref, recording=recording.ref, start_ms=start_ms, end_ms=end_ms)
    owe_index([span.pk, recording.pk])
    return span


# --- people, places, figures, topics, mirrors ---


@transaction.atomic
def add_person(by: Account | None, names: Sequence[NameGiven], **given: Any) -> Person:
    return _add(by, Person(created_by=by, **given), names)  # type: ignore[return-value]


@transaction.atomic
def add_place(by: Account | None, names: Sequence[NameGiven], **given: Any) -> Place:
    return _add(by, Place(created_by=by, **given), names)  # type: ignore[return-value]


@transaction.atomic
def add_figure(by: Account | None, names: Sequence[NameGiven], **given: Any) -> Figure:
    """`stars` and `lines` must have been checked against the star list (archive.sky)."""
    return _add(by, Figure(created_by=by, **given), names)  # type: ignore[return-value]


@transaction.atomic
def add_topic(by: Account | None, names: Sequence[NameGiven], **given: Any) -> Topic:
    return _add(by, Topic(created_by=by, name=names[0].text, **given), names)  # type: ignore[return-value]


@transaction.atomic
def add_layer(by: Account | None, names: Sequence[NameGiven], **given: Any) -> Layer:
    """`features` must have been read by archive.exchange.geojson_in; a layer goes by its title and has no names."""
    return _add(by, Layer(created_by=by, **given), names)  # type: ignore[return-value]


@transaction.atomic
def add_mirror(by: Account | None, figure: Item, pairs: Sequence[tuple[Item, int]], **given: Any) -> Mirror:
    """`pairs` joins each place to a star (Hipparcos number)."""
    if len(pairs) < 2:
        raise ValidationError(_("A mirror needs at least two places with their stars."))
    if len({place.pk for place, _hip in pairs}) < len(pairs) or len({hip for _place, hip in pairs}) < len(pairs):
        raise ValidationError(_("Each place and each star can stand in a mirror once."))
    mirror = Mirror(created_by=by, **given)
    _add(by, mirror, [])
    tie(mirror, TieKind.MIRRORS, figure)
    for position, (place, hip) in enumerate(pairs):
        tie(mirror, TieKind.STANDS_AT, place, position, hip)
    return mirror


def _add(by: Account | None, item: Item, names: Sequence[NameGiven]) -> Item:
    item.full_clean(exclude=["item_ptr", "slug", "kind", "decision", "created_by"])
    item.save()
    give_names(item, names)
    ledger.write(f"{item.kind} made", by, item.ref)
    owe_index([item.pk])
    return item


@transaction.atomic
def change(by: Account | None, item: Item, names: Sequence[NameGiven], version: int, **given: Any) -> Item:
    """Save a changed person, place, figure or topic if nobody saved it since `version`."""
    held = type(item).ungated.select_for_update(of=("self",)).get(pk=item.pk)  # type: ignore[attr-defined]
    if held.version != version:
        raise Overtaken(None)
    mask = masks.at(masks.read(), timezone.now())
    names = _names_kept(mask, held, names)
    for name, value in given.items():
        if name != "family" or value or held.pk not in mask.people:  # a form shows no family while the name rests
            setattr(held, name, kept(mask, getattr(held, name), value))
    if isinstance(held, Topic) and names:
        held.name = names[0].text
    held.version = version + 1
    held.full_clean(exclude=["item_ptr", "slug", "kind", "decision", "created_by"])
    held.save()
    if held.pk not in mask.people:  # a form shows what is said instead, which is no name
        give_names(held, names)
    ledger.write(f"{held.kind} changed", by, held.ref, version=held.version)
    owe_index([held.pk])
    found: Item = held
    return found


def kept(mask: masks.Mask, original: Any, given: Any) -> Any:
    """What was typed, with the names at rest back in the places that the form showed other words for."""
    return mask.kept(original, given) if isinstance(original, str) and isinstance(given, str) else given


def _names_kept(mask: masks.Mask, held: Item, names: Sequence[NameGiven]) -> Sequence[NameGiven]:
    if not mask.rules:
        return names
    hidden = {
        (language, mask.text(text, language)): text
        for language, text in Name.ungated.filter(item=held).values_list("language", "text")
    }
    return [replace(name, text=hidden.get((name.language, name.text.strip()), name.text)) for name in names]


# --- choosing ---


def item(number: int) -> Item:
    return Item.ungated.get(pk=number)



def named(gate: Gate, kind: str, text: str) -> Item | None:
    """The item of this kind that the writer meets under exactly this name (case apart), or none."""
    wanted = text.strip().casefold()
    rows = list(Name.ungated.filter(item__kind=kind).exclude(item__in=gate.mask.people).values_list("item_id", "text"))
    if kind == Kind.PERSON:
        rows += [(number, words) for number, rule in gate.mask.people.items() for _tag, words in rule.instead]
    found = [number for number, name in rows if name.casefold() == wanted and gate.meets(number, Level.DESCRIPTION)]
    return Item.ungated.filter(pk=min(found)).first() if found else None
