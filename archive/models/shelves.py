"""The search index in tables, for archives whose database is PostgreSQL (archive.search.tables)."""

from __future__ import annotations

from django.db import models


class Shelf(models.Model):
    """One row, id 1: the edition of the index that is in use. A new one is written beside it, and put in use whole."""

    edition = models.BigIntegerField(default=0)

    ungated = models.Manager()


class Sheet(models.Model):
    """The words of one item, in one edition; numbers only grow, and a later row of the same owner goes for the earlier.

    `atoms` is the table of its texts (archive.search.sheets.ATOM), empty where the item is gone.
    """

    edition = models.BigIntegerField()
    owner = models.BigIntegerField()
    mark = models.BigIntegerField()
    atoms = models.BinaryField()

    ungated = models.Manager()

    class Meta:
        indexes = [
            models.Index(fields=["edition", "id"], name="sheet_by_edition"),
            models.Index(fields=["owner"], name="sheet_by_owner"),
        ]


class Posting(models.Model):
    """Where a word (UTF-8, so that it sorts by its bytes) stands in a sheet: its places, 32 bits each."""

    word = models.BinaryField()
    sheet = models.BigIntegerField(db_index=True)
    edition = models.BigIntegerField()
    places = models.BinaryField()

    ungated = models.Manager()

    class Meta:
        indexes = [models.Index(fields=["edition", "word", "sheet"], name="posting_by_word")]
