"""What the search index is made of, and the arrays a search is judged by. The one ungated reader for the index.

The index holds *atoms*: small texts with an owner. What is read here reaches nobody as it is: `archive.search` asks
the gate's levels about every atom before it counts, ranks or names anything.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from enum import IntEnum

from django.db import connection, transaction
from django.utils import timezone

from ..models import (
    Cue,
    Figure,
    IndexDebt,
    Item,
    Kind,
    Mirror,
    Name,
    Person,
    Place,
    Recording,
    Rest,
    Segment,
    Topic,
)
from . import masks

BATCH = 500
RECORDINGS_AT_ONCE = 20


class Field(IntEnum):
    """What part of its owner an atom is."""

    TITLE = 1
    SUMMARY = 2
    CUE = 3
    NAME = 4
    ABOUT = 5


@dataclass(frozen=True)
class Atom:
    """One text. Cues have their row number, their transcript and their times (ms in the recording); the others none."""

    owner: int
    field: Field
    text: str
    cue: int = 0
    transcript: int = 0
    start_ms: int = 0
    end_ms: int = 0


# --- everything, in batches ---


def size() -> int:
    """How many atoms the archive makes, about: enough to say how far an indexing has come."""
    return Item.ungated.count() + Cue.ungated.count()


def batches() -> Iterator[list[int]]:
    """The numbers of all items that can have atoms, few at a time (a recording brings all its cues)."""
    for kind in Kind.values:
        step = RECORDINGS_AT_ONCE if kind == Kind.RECORDING else BATCH
        numbers = list(Item.ungated.filter(kind=kind).order_by("pk").values_list("pk", flat=True))
        yield from (numbers[at : at + step] for at in range(0, len(numbers), step))


def atoms_of(numbers: Iterable[int]) -> dict[int, list[Atom]]:
    """The atoms of each of these items, in a fixed order; an item that is gone has none."""
    wanted = sorted(set(numbers))
    found: dict[int, list[Atom]] = {number: [] for number in wanted}
    for at in range(0, len(wanted), BATCH):
        part = wanted[at : at + BATCH]
        for atom in _atoms(part):
            found[atom.owner].append(atom)
    return found


def _atoms(numbers: list[int]) -> Iterator[Atom]:
    """What is said, with the names at rest replaced: they are not findable from the decision on."""
    mask = masks.standing()
    if not mask.rules:
        yield from _raw_atoms(numbers)
        return
    for atom in _raw_atoms(numbers, mask.people):
        if atom.field != Field.NAME or atom.owner not in mask.people:
            yield replace(atom, text=mask.text(atom.text))
    for number in sorted(set(numbers) & set(mask.people)):
        yield from (Atom(number, Field.NAME, words) for _tag, words in mask.people[number].instead)


def _raw_atoms(numbers: list[int], resting: Container[int] = ()) -> Iterator[Atom]:
    """Everything that is said of these; of the `resting` people no family."""
    yield from _texts(Segment, numbers, {"title": Field.TITLE, "summary": Field.SUMMARY})
    yield from _texts(Recording, numbers, {"title": Field.TITLE, "circumstances": Field.SUMMARY})
    yield from _texts(Mirror, numbers, {"title": Field.NAME, "about": Field.ABOUT})
    yield from _texts(Person, numbers, {"about": Field.ABOUT})
    yield from _texts(Person, [number for number in numbers if number not in resting], {"family": Field.ABOUT})
    yield from _texts(Place, numbers, {"about": Field.ABOUT, "nature": Field.ABOUT})
    yield from _texts(Figure, numbers, {"about": Field.ABOUT})
    yield from _texts(Topic, numbers, {"about": Field.ABOUT})
    yield from _name_atoms(numbers)
    yield from _cue_atoms(numbers)


def _texts(model: type[Item], numbers: list[int], columns: dict[str, Field]) -> Iterator[Atom]:
    rows = model.ungated.filter(pk__in=numbers).order_by("pk")
    for number, *texts in rows.values_list("pk", *columns):
        for text, field in zip(texts, columns.values(), strict=True):
            if text.strip():
                yield Atom(number, field, text)


def _name_atoms(numbers: list[int]) -> Iterator[Atom]:
    """Every spelling of every name; a topic without any goes by its own name, a passage's name is its title."""
    named = set()
    rows = Name.ungated.filter(item__in=numbers).order_by("item_id", "position", "pk")
    for number, kind, text in rows.values_list("item_id", "item__kind", "text"):
        named.add(number)
        yield Atom(number, Field.TITLE if kind in (Kind.SEGMENT, Kind.RECORDING) else Field.NAME, text)
    topics = Topic.ungated.filter(pk__in=set(numbers) - named).order_by("pk")
    for number, text in topics.values_list("pk", "name"):
        yield Atom(number, Field.NAME, text)


def _cue_atoms(numbers: list[int]) -> Iterator[Atom]:
    rows = Cue.ungated.filter(transcript__recording__in=numbers).order_by("transcript_id", "start_ms", "pk")
    columns = ("transcript__recording_id", "text", "pk", "transcript_id", "start_ms", "end_ms")
    for owner, text, cue, transcript, start_ms, end_ms in rows.values_list(*columns).iterator(chunk_size=2000):
        yield Atom(owner, Field.CUE, text, cue, transcript, start_ms, end_ms)


# --- what is owed ---


def is_owed() -> bool:
    if Rest.ungated.filter(is_settled=False, ends_at__lte=timezone.now()).exists():
        _settle_names()
    return IndexDebt.objects.exists()


@transaction.atomic
def _settle_names() -> None:
    """Names whose rest has run out can be found again: owe the index whatever holds them."""
    over = list(Rest.ungated.select_for_update().filter(is_settled=False, ends_at__lte=timezone.now()))
    owe(owners_naming(masks.Mask(tuple(masks.rule_of(row) for row in over))))
    Rest.ungated.filter(pk__in=[row.pk for row in over]).update(is_settled=True)


def owners_naming(mask: masks.Mask) -> set[int]:
    """Every item some text of which holds one of these names, the people themselves included."""
    found = set(mask.people)
    for numbers in batches():
        found |= {atom.owner for atom in _raw_atoms(numbers) if atom.owner not in found and mask.touches(atom.text)}
    return found


def owe(numbers: Iterable[int]) -> None:
    rows = [IndexDebt(item_number=number) for number in sorted(set(numbers))]
    IndexDebt.objects.bulk_create(rows, batch_size=BATCH, ignore_conflicts=True)


@contextmanager
def debts() -> Iterator[list[int]]:
    """The items owed to the index. They are struck off when the block ends well, and stay owed when it does not.

    They are struck off first and read after, while no other change can be committed, so that none is missed: SQLite
    lets one writer in at a time; PostgreSQL is asked to hold back whoever owes the index.
    """
    with transaction.atomic():
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("LOCK TABLE archive_indexdebt IN EXCLUSIVE MODE")
        rows = dict(IndexDebt.objects.order_by("pk").values_list("pk", "item_number"))
        for at in range(0, len(rows), BATCH):
            IndexDebt.objects.filter(pk__in=list(rows)[at : at + BATCH]).delete()
        yield sorted(rows.values())
