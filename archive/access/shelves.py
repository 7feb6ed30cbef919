"""Reading and writing the search index that lies in tables (PostgreSQL only). Nothing here reaches a person."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from django.db import connection, transaction

from ..models import Posting, Sheet, Shelf

BUILDING = 7_319_001  # the number of our advisory lock: any that nothing else in the database takes


@dataclass(frozen=True)
class Written:
    """One item's sheet: its table of atoms, and the places of each word, as archive.search.sheets writes them."""

    owner: int
    mark: int
    atoms: bytes
    words: dict[bytes, bytes]


def edition() -> int:
    """The edition in use; 0 where there is none."""
    return Shelf.ungated.filter(pk=1).values_list("edition", flat=True).first() or 0


def new_edition() -> int:
    """A number for an edition that is to be written. What an earlier one left behind, broken off, is taken away."""
    used = edition()
    Sheet.ungated.exclude(edition=used).delete()
    Posting.ungated.exclude(edition=used).delete()
    return used + 1


def put_in_use(number: int) -> None:
    """From now on searches read this edition; the one before goes."""
    before = edition()
    Shelf.ungated.update_or_create(pk=1, defaults={"edition": number})
    Sheet.ungated.filter(edition=before).delete()
    Posting.ungated.filter(edition=before).delete()


def put_out_of_use() -> None:
    Shelf.ungated.filter(pk=1).update(edition=0)


def last(of_edition: int) -> int:
    """The number of its last sheet."""
    return Sheet.ungated.filter(edition=of_edition).order_by("-pk").values_list("pk", flat=True).first() or 0


def sheets_after(of_edition: int, number: int) -> list[tuple[int, int, int, bytes]]:
    """Number, owner, mark and table of its sheets after this one, ascending."""
    rows = Sheet.ungated.filter(edition=of_edition, pk__gt=number).order_by("pk")
    columns = rows.values_list("pk", "owner", "mark", "atoms")
    return [(pk, owner, mark, bytes(atoms)) for pk, owner, mark, atoms in columns]


def marks(of_edition: int, owners: Iterable[int]) -> dict[int, int]:
    rows = Sheet.ungated.filter(edition=of_edition, owner__in=list(owners)).order_by("pk")
    return dict(rows.values_list("owner", "mark"))


@transaction.atomic
def replace(in_edition: int, written: list[Written]) -> None:
    """Write these sheets in the place of those their owners had."""
    gone = Sheet.ungated.filter(edition=in_edition, owner__in=[sheet.owner for sheet in written])
    Posting.ungated.filter(sheet__in=list(gone.values_list("pk", flat=True))).delete()
    gone.delete()
    add(in_edition, written)


@transaction.atomic
def add(in_edition: int, written: list[Written]) -> None:
    """Write the sheets of items that have none in this edition, as a stream: many times faster than row by row."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT nextval(pg_get_serial_sequence('archive_sheet', 'id')) FROM generate_series(1, %s)", [len(written)]
        )
        numbers = [row[0] for row in cursor.fetchall()]
        with cursor.copy("COPY archive_sheet (id, edition, owner, mark, atoms) FROM STDIN") as copy:
            for number, sheet in zip(numbers, written, strict=True):
                copy.write_row((number, in_edition, sheet.owner, sheet.mark, sheet.atoms))
        with cursor.copy("COPY archive_posting (word, sheet, edition, places) FROM STDIN") as copy:
            for number, sheet in zip(numbers, written, strict=True):
                for word, places in sheet.words.items():
                    copy.write_row((word, number, in_edition, places))


def postings(of_edition: int, word: bytes, after: bytes | None, first: int, final: int) -> list[tuple[int, bytes]]:
    """Sheet and places of a word, or of all words from it to before `after`, in the sheets from first to final."""
    bounds = "word = %s" if after is None else "word >= %s AND word < %s"
    given: list[Any] = [of_edition, word, *([] if after is None else [after]), first, final]
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT sheet, places FROM archive_posting WHERE edition = %s AND {bounds} "  # noqa: S608
            "AND sheet BETWEEN %s AND %s ORDER BY word, sheet",
            given,
        )
        rows: list[tuple[int, bytes]] = cursor.fetchall()
    return rows


def words(of_edition: int, first: int, final: int) -> list[bytes]:
    """Every word of the sheets from first to final, ascending."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT DISTINCT word FROM archive_posting WHERE edition = %s AND sheet BETWEEN %s AND %s ORDER BY word",
            [of_edition, first, final],
        )
        return [bytes(row[0]) for row in cursor.fetchall()]


@contextmanager
def alone(*, wait: bool = True) -> Iterator[bool]:
    """Whether this connection is the only one that builds an edition; the database ends that when it goes away."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {'pg_advisory_lock' if wait else 'pg_try_advisory_lock'}(%s)", [BUILDING])
        taken = wait or bool(cursor.fetchone()[0])
    try:
        yield taken
    finally:
        if taken:
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_unlock(%s)", [BUILDING])
