"""The ledger: a chain in which a changed, missing, moved or slipped-in row shows, whoever writes at the same time.

The hash is SHA-256 (FIPS 180-4); its check value is that of the standard's example for "abc" (FIPS 180-2, B.1).
"""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection, transaction

from archive.access import decisions, ledger, met, writing
from archive.access.gate import Gate
from archive.models import Audience, LedgerRow

from .conftest import bring, open_up, segment

pytestmark = pytest.mark.django_db

ROOT = Path(settings.BASE_DIR)


@dataclass
class Row:
    """A ledger row outside the database, which tampering may change."""

    pk: int
    at: datetime
    actor: str
    event: str
    item: str
    detail: str
    previous: str
    digest: str


def written(count: int = 6) -> list[Row]:
    for number in range(count):
        ledger.write("test", None, f"item{number}", words=f"“words” {number}, ʔ and é")
    return [
        Row(row.pk, row.at, row.actor, row.event, row.item, row.detail, row.previous, row.digest)
        for row in LedgerRow.objects.order_by("id")
    ]


def broken_at(rows: list[Row]) -> int | None:
    _count, broken = ledger.check(iter(rows))  # type: ignore[arg-type]
    return broken.row if broken else None


def test_the_hash_is_sha_256():
    assert hashlib.sha256(b"abc").hexdigest() == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_a_digest_is_the_hash_of_the_row_as_json():
    """Written out by hand, so that anyone can check an exported ledger with nothing but a JSON and a hash library."""
    row = written(1)[0]
    body = json.dumps(
        [row.previous, row.at.isoformat(), row.actor, row.event, row.item, row.detail],
        ensure_ascii=False, separators=(",", ":"),
    )
    assert row.digest == hashlib.sha256(body.encode("utf-8")).hexdigest()
    assert row.previous == "0" * 64


def test_an_untouched_chain_holds():
    assert ledger.check() == (0, None)
    written()
    assert ledger.check() == (6, None)


@pytest.mark.parametrize("column", ["at", "actor", "event", "item", "detail"])
def test_a_changed_word_shows(column):
    rows = written()
    held = getattr(rows[3], column)
    setattr(rows[3], column, held + timedelta(microseconds=1) if column == "at" else f"{held}x")
    assert broken_at(rows) == rows[3].pk


def test_a_missing_row_shows():
    rows = written()
    after = rows[4].pk
    del rows[3]
    assert broken_at(rows) == after


def test_a_missing_first_row_shows():
    rows = written()
    assert broken_at(rows[1:]) == rows[1].pk


def test_two_rows_that_changed_places_show():
    rows = written()
    rows[2], rows[3] = rows[3], rows[2]
    assert broken_at(rows) == rows[2].pk


def test_a_row_slipped_in_shows_even_with_a_true_digest():
    rows = written()
    at = rows[2].at
    digest = ledger.digest(rows[2].digest, at, "", "test", "forged", "{}")
    rows.insert(3, Row(10_000, at, "", "test", "forged", "{}", rows[2].digest, digest))
    assert broken_at(rows) == rows[4].pk


def test_a_rewritten_row_with_its_digest_renewed_shows_at_the_next():
    rows = written()
    row = rows[2]
    row.detail = "{}"
    row.digest = ledger.digest(row.previous, row.at, row.actor, row.event, row.item, row.detail)
    assert broken_at(rows) == rows[3].pk


def test_words_moved_from_one_column_to_the_next_change_the_digest():
    at = datetime(2024, 1, 1, tzinfo=UTC)
    assert ledger.digest("", at, "ab", "c", "", "") != ledger.digest("", at, "a", "bc", "", "")
    assert ledger.digest("", at, 'a","b', "", "", "") != ledger.digest("", at, "a", "b", "", "")


def test_a_row_changed_in_the_database_itself_shows():
    """Whoever owns the tables can drop a trigger; the chain still tells."""
    rows = written()
    table = " ON archive_ledgerrow" if connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER archive_ledgerrow_no_update{table}")
        cursor.execute("UPDATE archive_ledgerrow SET detail = '{}' WHERE id = %s", [rows[3].pk])
    count, broken = ledger.check()
    assert (count, broken.row if broken else None) == (3, rows[3].pk)


def test_a_row_stands_or_falls_with_what_it_tells():
    before = LedgerRow.objects.count()
    with transaction.atomic():
        writing.add_person(None, [writing.NameGiven("en", "Somebody", True)])
        assert LedgerRow.objects.count() == before + 1
        transaction.set_rollback(True)
    assert LedgerRow.objects.count() == before


def test_the_work_of_a_council_and_an_archivist_is_one_unbroken_chain(cast, tmp_path):
    council, archivist = cast["council"], cast["archivist"]
    recording = bring(archivist, tmp_path, "A talk")
    part = segment(recording, 0, 1000, "A part")
    open_up(council, recording)
    open_up(council, part, terms=decisions.Terms(Audience.objects.all()))
    decisions.entrust(council, council, recording, "to hear it")
    decisions.state_consent(archivist, recording, "withdrawn", "them", date(2020, 1, 1))
    met.note(Gate(council), recording, "page")
    count, broken = ledger.check()
    assert broken is None
    events = list(LedgerRow.objects.order_by("id").values_list("event", flat=True))
    assert count == len(events)
    for event in ("decided", "entrusted", "consent", "met", "segment made"):
        assert event in events


def test_a_council_member_who_listens_shows_in_the_ledger(cast, tmp_path):
    recording = bring(cast["archivist"], tmp_path, "A talk")
    decisions.entrust(cast["council"], cast["council"], recording, "to hear it")
    row = LedgerRow.objects.latest("id")
    assert (row.event, row.actor, row.item) == ("entrusted", cast["council"].ref, recording.ref)
    met.note(Gate(cast["council"]), recording, "sound")
    row = LedgerRow.objects.latest("id")
    assert (row.event, row.actor, json.loads(row.detail)) == ("met", cast["council"].ref, {"surface": "sound"})


def test_the_ledger_holds_refs_and_no_titles(cast, tmp_path):
    """Logs carry opaque ids only: the ledger's readers may not meet all that it tells of."""
    title = "Titleword"
    recording = bring(cast["archivist"], tmp_path, title)
    part = segment(recording, 0, 1000, title)
    open_up(cast["council"], recording, part)
    writing.remove_segment(cast["archivist"], part)
    assert not LedgerRow.objects.filter(detail__icontains=title).exists()
    assert not LedgerRow.objects.filter(item__icontains=title).exists()


WRITER = """
import os
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
import django
django.setup()
from archive.access import ledger, writing
for number in range(15):
    if number % 3:
        ledger.write("test", None, f"{os.getpid()}-{number}")
    else:
        writing.add_person(None, [writing.NameGiven("en", f"{os.getpid()}-{number}", True)])
"""


def run_with(environment: dict[str, str], *command: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, *command], cwd=ROOT, env=os.environ | environment, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    )


def finished(process: subprocess.Popen[str]) -> str:
    said, _ = process.communicate(timeout=120)
    assert process.returncode == 0, said
    return said


@pytest.mark.django_db(transaction=True)
def test_several_writers_at_once_leave_one_chain(tmp_path):
    """Four processes write to one database: people and plain rows, each in a transaction of its own."""
    environment = {"UNDERSKY_HOME": str(tmp_path)}
    if connection.vendor == "postgresql":
        held = connection.settings_dict
        environment["UNDERSKY_DATABASE"] = (
            f"postgresql://{held['USER']}:{held['PASSWORD']}@{held['HOST']}:{held['PORT']}/{held['NAME']}"
        )
    else:
        finished(run_with(environment, "manage.py", "migrate", "-v", "0"))
    for process in [run_with(environment, "-c", WRITER) for _ in range(4)]:
        finished(process)
    counted = "from archive.access import ledger; print(ledger.check())"
    said = finished(run_with(environment, "manage.py", "shell", "-v", "0", "-c", counted))
    assert said.strip().splitlines()[-1] == "(60, None)"
