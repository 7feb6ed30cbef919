"""Database triggers: the ledger and decisions only grow, and the policy version moves with every write that matters.

SQLite's table rebuilds drop triggers, so they are made anew after every migration; a system check and a test make
sure that they are there.
"""

from __future__ import annotations

from typing import Any

from django.db import DEFAULT_DB_ALIAS, connections

# Tables that only grow, and the unique column of each besides its number.
APPEND_ONLY = {"archive_ledgerrow": "digest", "archive_decision": "ref"}
MOVES_VERSION = (
    "archive_item",
    "archive_account",
    "archive_recording",
    "archive_segment",
    "archive_closedspan",
    "archive_tie",
    "archive_topictie",
    "archive_audience",
    "archive_audience_parts",
    "archive_membership",
    "archive_season",
    "archive_rest",
    "archive_itemcaution",
    "archive_words",
    "archive_condition",
    "archive_condition_audiences",
    "archive_reach",
    "archive_entrustment",
    "archive_consent",
    "archive_house",
    "archive_person",
    "archive_place",
    "archive_figure",
    "archive_mirror",
    "archive_topic",
    "archive_name",
    "archive_transcript",
    "archive_cue",
    "archive_master",
)


def statements(vendor: str) -> list[str]:
    return _sqlite() if vendor == "sqlite" else _postgresql()


def names() -> set[str]:
    """Triggers that must stand, by name."""
    third = "replace" if connections[DEFAULT_DB_ALIAS].vendor == "sqlite" else "truncate"
    held = {f"{table}_no_{verb}" for table in APPEND_ONLY for verb in ("update", "delete", third)}
    return held | {f"{table}_moves_{verb}" for table in MOVES_VERSION for verb in ("insert", "update", "delete")}


def _sqlite() -> list[str]:
    made = []
    for table, unique in APPEND_ONLY.items():
        for verb in ("update", "delete"):
            made += _sqlite_trigger(
                f"{table}_no_{verb}", f"BEFORE {verb.upper()} ON {table}", f"SELECT RAISE(ABORT, '{table} only grows')"
            )
        taken = f"SELECT 1 FROM {table} WHERE id = NEW.id OR {unique} = NEW.{unique}"  # noqa: S608
        # INSERT OR REPLACE takes away every row it collides with, without firing the delete trigger.
        made += _sqlite_trigger(
            f"{table}_no_replace",
            f"BEFORE INSERT ON {table} WHEN EXISTS ({taken})",
            f"SELECT RAISE(ABORT, '{table} only grows')",
        )
    for table in MOVES_VERSION:
        for verb in ("insert", "update", "delete"):
            timing = f"AFTER {verb.upper()} ON {table}"
            if (table, verb) == ("archive_account", "update"):
                # Signing in writes last_login; that changes nobody's level.
                timing = (
                    "AFTER UPDATE OF is_active, is_archivist, is_council, is_educator, is_keeper, is_superuser "
                    f"ON {table}"
                )
            made += _sqlite_trigger(
                f"{table}_moves_{verb}", timing, "UPDATE archive_policyversion SET number = number + 1"
            )
    return made


def _sqlite_trigger(name: str, timing: str, body: str) -> list[str]:
    return [f"DROP TRIGGER IF EXISTS {name}", f"CREATE TRIGGER {name} {timing} BEGIN {body}; END"]


def _postgresql() -> list[str]:
    made = [
        """CREATE OR REPLACE FUNCTION archive_only_grows() RETURNS trigger LANGUAGE plpgsql AS
        $$ BEGIN RAISE EXCEPTION '% only grows', TG_TABLE_NAME; END $$""",
        """CREATE OR REPLACE FUNCTION archive_move_version() RETURNS trigger LANGUAGE plpgsql AS
        $$ BEGIN UPDATE archive_policyversion SET number = number + 1; RETURN NULL; END $$""",
    ]
    for table in APPEND_ONLY:
        for verb, timing in (
            ("update", "BEFORE UPDATE ON {} FOR EACH ROW"),
            ("delete", "BEFORE DELETE ON {} FOR EACH ROW"),
            ("truncate", "BEFORE TRUNCATE ON {} FOR EACH STATEMENT"),
        ):
            made += _postgresql_trigger(f"{table}_no_{verb}", table, timing, "archive_only_grows")
    for table in MOVES_VERSION:
        for verb in ("insert", "update", "delete"):
            columns = ""
            if (table, verb) == ("archive_account", "update"):
                columns = " OF is_active, is_archivist, is_council, is_educator, is_keeper, is_superuser"
            timing = f"AFTER {verb.upper()}{columns} ON {{}} FOR EACH STATEMENT"
            made += _postgresql_trigger(f"{table}_moves_{verb}", table, timing, "archive_move_version")
    return made


def _postgresql_trigger(name: str, table: str, timing: str, function: str) -> list[str]:
    return [
        f"DROP TRIGGER IF EXISTS {name} ON {table}",
        f"CREATE TRIGGER {name} {timing.format(table)} EXECUTE FUNCTION {function}()",
    ]


def install(using: str = DEFAULT_DB_ALIAS) -> None:
    connection = connections[using]
    with connection.cursor() as cursor:
        for statement in statements(connection.vendor):
            cursor.execute(statement)
        cursor.execute("SELECT count(*) FROM archive_policyversion")
        if cursor.fetchone()[0] == 0:
            cursor.execute("INSERT INTO archive_policyversion (id, number) VALUES (1, 1)")


def standing(using: str = DEFAULT_DB_ALIAS) -> set[str]:
    """Names of the triggers that the database holds now."""
    connection = connections[using]
    query = (
        "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        if connection.vendor == "sqlite"
        else "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal"
    )
    with connection.cursor() as cursor:
        cursor.execute(query)
        return {row[0] for row in cursor.fetchall()}


def install_after_migrate(using: str = DEFAULT_DB_ALIAS, **kwargs: Any) -> None:
    if "archive_policyversion" in connections[using].introspection.table_names():
        install(using)
