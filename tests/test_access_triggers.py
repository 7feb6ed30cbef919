"""Database triggers: what only grows stays as it was written, and every write that matters moves the policy version.

Both databases' manuals are the source: SQLite, "CREATE TRIGGER" and "INSERT ... ON CONFLICT REPLACE" (delete triggers
do not fire for rows that REPLACE takes away); PostgreSQL, "CREATE TRIGGER" (TRUNCATE fires statement triggers only).
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime

import pytest
from django.apps import apps
from django.db import DatabaseError, connection, transaction

from archive.access import bringing, cautioning, decisions, ledger, triggers, writing
from archive.models import Account, Audience, Condition, Decision, House, LedgerRow, PolicyVersion, Rest, Season, Words

from .conftest import LONG_AGO, bring, open_up, segment

pytestmark = pytest.mark.django_db

ONLY_POSTGRESQL = "only PostgreSQL has this statement: run with UNDERSKY_DATABASE=postgresql://…"
ONLY_SQLITE = "only SQLite has this statement"

# A change of these moves nobody's level and shows on no gated page.
MAY_STAY_STILL = {
    "LedgerRow", "Decision", "IndexDebt", "PolicyVersion", "Touched", "Sheet", "Shelf", "Posting",
    "TranscriptProblem", "Draft", "Revision", "Upload",
    "Ask",
    "KeptSearch",
    "CopyGiven",
    "OwnWish",
}


def run(sql: str, *values: object) -> int:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, values)
        return int(cursor.rowcount)


def refused(sql: str, *values: object) -> None:
    with pytest.raises(DatabaseError, match="only grows"):
        run(sql, *values)


@pytest.fixture
def rows(cast) -> dict[str, int]:
    """A decision and a ledger row, by table; each table holds others as well."""
    open_up(cast["council"])
    row = ledger.write("test", None)
    return {"archive_decision": Decision.objects.latest("id").pk, "archive_ledgerrow": row.pk}


@pytest.fixture(params=list(triggers.APPEND_ONLY))
def table(request) -> str:
    return request.param


def test_the_named_triggers_stand():
    assert triggers.names() <= triggers.standing()


def test_a_row_cannot_be_changed(table, rows):
    column = "minute" if table == "archive_decision" else "detail"
    refused(f"UPDATE {table} SET {column} = 'another' WHERE id = %s", rows[table])


def test_nor_can_its_number_alone(table, rows):
    refused(f"UPDATE {table} SET id = id + 1000 WHERE id = %s", rows[table])


def test_a_row_cannot_be_removed(table, rows):
    refused(f"DELETE FROM {table} WHERE id = %s", rows[table])


def test_nor_through_the_models(rows):
    for row in (Decision.objects.get(pk=rows["archive_decision"]), LedgerRow.objects.latest("id")):
        with pytest.raises(DatabaseError, match="only grows"), transaction.atomic():
            row.save()
        with pytest.raises(DatabaseError, match="only grows"), transaction.atomic():
            row.delete()


def copied(table: str, number: int, **changed: object) -> tuple[list[str], list[object]]:
    """Columns and values of a stored row, some of them changed."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT * FROM {table} WHERE id = %s", [number])
        columns = [column.name if hasattr(column, "name") else column[0] for column in cursor.description]
        values = dict(zip(columns, cursor.fetchone(), strict=True))
    values |= changed
    return list(values), list(values.values())


@pytest.mark.parametrize("verb", ["INSERT OR REPLACE", "REPLACE"])
def test_a_row_cannot_be_replaced_by_its_number(table, rows, verb):
    if connection.vendor != "sqlite":
        pytest.skip(ONLY_SQLITE)
    columns, values = copied(table, rows[table])
    refused(f"{verb} INTO {table} ({', '.join(columns)}) VALUES ({', '.join(['%s'] * len(columns))})", *values)


@pytest.mark.parametrize("number", [10**9, None])
def test_a_row_cannot_be_replaced_by_its_unique_word(table, rows, number):
    """A new number, but the ref or digest of a standing row: REPLACE would take the standing row away."""
    if connection.vendor != "sqlite":
        pytest.skip(ONLY_SQLITE)
    columns, values = copied(table, rows[table], id=number)
    refused(
        f"INSERT OR REPLACE INTO {table} ({', '.join(columns)}) VALUES ({', '.join(['%s'] * len(columns))})", *values
    )


@pytest.mark.postgres
def test_a_table_cannot_be_emptied(table, rows):
    if connection.vendor != "postgresql":
        pytest.skip(ONLY_POSTGRESQL)
    with connection.cursor() as cursor:  # a table with foreign keys yet to be checked cannot be emptied anyway
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
    refused(f"TRUNCATE {table} CASCADE")


@pytest.mark.postgres
def test_an_insert_cannot_turn_into_an_update(table, rows):
    if connection.vendor != "postgresql":
        pytest.skip(ONLY_POSTGRESQL)
    columns, values = copied(table, rows[table])
    marks = ", ".join(["%s"] * len(columns))
    word = "minute" if table == "archive_decision" else "detail"
    refused(
        f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks}) ON CONFLICT (id) DO UPDATE SET {word} = 'x'",
        *values,
    )


def test_an_upsert_is_refused_on_sqlite(table, rows):
    if connection.vendor != "sqlite":
        pytest.skip(ONLY_SQLITE)
    columns, values = copied(table, rows[table])
    marks = ", ".join(["%s"] * len(columns))
    word = "minute" if table == "archive_decision" else "detail"
    refused(
        f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks}) ON CONFLICT (id) DO UPDATE SET {word} = 'x'",
        *values,
    )


def test_triggers_come_back_after_a_migration():
    name = "archive_ledgerrow_no_update"
    with connection.cursor() as cursor:
        suffix = " ON archive_ledgerrow" if connection.vendor == "postgresql" else ""
        cursor.execute(f"DROP TRIGGER {name}{suffix}")
    assert name not in triggers.standing()
    triggers.install_after_migrate()
    assert triggers.names() <= triggers.standing()


# --- the policy version ---


def test_every_table_that_can_change_a_page_moves_the_version():
    models = apps.get_app_config("archive").get_models(include_auto_created=True)
    still = {model._meta.db_table for model in models if model.__name__ not in MAY_STAY_STILL}
    still -= {"archive_account_groups", "archive_account_user_permissions"}
    assert still == set(triggers.MOVES_VERSION)


def number() -> int:
    return PolicyVersion.objects.get(pk=1).number


def moved(act: Callable[[], object]) -> bool:
    before = number()
    act()
    return number() > before


@pytest.fixture
def full(cast, tmp_path) -> None:
    """At least one row in every table that moves the version."""
    archivist, council = cast["archivist"], cast["council"]
    person = writing.add_person(archivist, [writing.NameGiven("en", "Somebody", True)])
    topic = writing.add_topic(archivist, [writing.NameGiven("en", "Kilns", True)])
    figure = writing.add_figure(archivist, [writing.NameGiven("en", "Oar", True)])
    places = [
        writing.add_place(archivist, [writing.NameGiven("en", name, True)], latitude_deg=1.0, longitude_deg=1.0)
        for name in ("Cove", "Head")
    ]
    writing.add_mirror(archivist, figure, [(places[0], 1), (places[1], 2)], title="m")
    writing.add_layer(archivist, [], title="Paths", features='{"type":"FeatureCollection","features":[]}')
    text = b"WEBVTT\n\n00:00.000 --> 00:01.000\nword\n"
    recording = bring(archivist, tmp_path, "A talk", transcripts=[bringing.TranscriptGiven(text, "t.vtt")])
    segment(recording, 0, 1000, "A part", speakers=[person.pk], topics=[topic.pk])
    writing.close_span(archivist, recording, 2000, 3000, "")
    season = Season.objects.create(name="s", from_month=1, from_day=1, to_month=2, to_day=2)
    family = Audience.objects.get(name="family")
    open_up(council, recording, terms=decisions.Terms([family], season=season))
    decisions.state_consent(archivist, recording, "given", "them", date(2020, 1, 1))
    House.objects.get_or_create(pk=1)
    cautioning.choose(council, recording, ["mourning"])
    Words.ungated.create(key="ask", text="Ask us")
    either = Audience.objects.create(name="either", combining="any")
    either.parts.add(family)
    Rest.ungated.create(
        person=person, starts_at=LONG_AGO, instead=[["en", "the rester"]], decision=Decision.objects.first()
    )


def test_every_write_moves_the_version(full):
    """Insert is proved by the rows that `full` makes; here each table's update and delete, by SQL."""
    for name in triggers.MOVES_VERSION:
        column = "is_active" if name == "archive_account" else _first_column(name)
        assert moved(lambda name=name, column=column: run(f"UPDATE {name} SET {column} = {column}")), name


def _first_column(table: str) -> str:
    with connection.cursor() as cursor:
        return str(connection.introspection.get_table_description(cursor, table)[0].name)


def test_every_removal_moves_the_version(full):
    for name in ("archive_reach", "archive_condition_audiences", "archive_membership", "archive_entrustment",
                 "archive_consent", "archive_cue", "archive_topictie", "archive_tie", "archive_name"):
        assert moved(lambda name=name: run(f"DELETE FROM {name}")), name


def test_every_addition_moves_the_version(cast):
    assert moved(lambda: Condition.ungated.create(target=_a_person()))
    assert moved(lambda: Season.objects.create(name="s", from_month=1, from_day=1, to_month=2, to_day=2))


def _a_person():
    return writing.add_person(None, [writing.NameGiven("en", "Somebody", True)])


def test_signing_in_moves_nothing(cast):
    account = cast["plain"]

    def sign_in() -> None:
        account.last_login = datetime(2024, 1, 1, tzinfo=UTC)
        account.save(update_fields=["last_login"])

    assert not moved(sign_in)
    assert moved(lambda: Account.objects.filter(pk=account.pk).update(is_active=False))


def test_a_write_that_is_rolled_back_leaves_the_version():
    before = number()
    with transaction.atomic():
        _a_person()
        assert number() > before
        transaction.set_rollback(True)
    assert number() == before


def test_meeting_something_moves_nothing(cast):
    assert not moved(lambda: ledger.write("met", cast["plain"], "ref", surface="page"))


