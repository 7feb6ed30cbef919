"""Database triggers: the ledger and decisions only grow, and the policy version moves with every write that matters.

SQLite's table rebuilds drop triggers, so they are made anew after every migration; a system check and a test make
sure that they are there.
"""

from __future__ import annotations

from typing import Any

from django.db import DEFAULT_DB_ALIAS, connections

from ..models import Touched

# Tables that only grow, and the unique column of each besides its number.
APPEND_ONLY = {"archive_ledgerrow": "digest", "archive_decision": "ref"}
ITEM, REACH, RULES, ALL = (int(sort) for sort in Touched.Sort)
OWN = ((ITEM, "item_ptr_id"),)
INSIDE = ((ITEM, "item_ptr_id"), (ITEM, "recording_id"))
# What a write to each of these tables touches (archive.access.touched): the sort, and the column with the number, or 0.
TOUCHES: dict[str, tuple[tuple[int, str], ...]] = {
    "archive_item": ((ITEM, "id"),),
    "archive_recording": OWN,
    "archive_segment": INSIDE,
    "archive_closedspan": INSIDE,
    "archive_person": OWN,
    "archive_place": OWN,
    "archive_figure": OWN,
    "archive_mirror": OWN,
    "archive_topic": OWN,
    "archive_layer": OWN,
    "archive_name": ((ITEM, "item_id"),),
    "archive_master": ((ITEM, "recording_id"),),
    "archive_tie": ((ITEM, "source_id"), (ITEM, "target_id")),
    "archive_topictie": ((ITEM, "content_object_id"), (ITEM, "tag_id")),
    "archive_reach": ((REACH, "condition_id"),),
    "archive_condition": ((RULES, "0"), (REACH, "id")),
    "archive_condition_audiences": ((RULES, "0"),),
    "archive_audience": ((RULES, "0"),),
    "archive_audience_parts": ((RULES, "0"),),
    "archive_season": ((RULES, "0"),),
    "archive_house": ((ALL, "0"),),
    "archive_rest": ((ALL, "0"),),
}
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
    "archive_layer",
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
            made += _sqlite_trigger(f"{table}_moves_{verb}", timing, "; ".join(_sqlite_moves(table, verb)))
    return made


def _sqlite_moves(table: str, verb: str) -> list[str]:
    """A word for conflicts in the statement that fires a trigger goes for the trigger's too, so here are none.

    `changes()` counts the rows of the update just before it in the trigger (SQLite's manual): a second look-up for each
    of the thousands of rows of a busy condition's reach would cost half as much again.
    """
    made = ["UPDATE archive_policyversion SET number = number + 1"]
    version = "coalesce((SELECT number FROM archive_policyversion), 0)"
    rows = {"insert": ("NEW",), "update": ("NEW", "OLD"), "delete": ("OLD",)}[verb]
    touched = TOUCHES.get(table, ())
    for sort, number in dict.fromkeys(
        (sort, column if column == "0" else f"{row}.{column}") for row in rows for sort, column in touched
    ):
        same = f"sort = {sort} AND number = {number}"
        made += [
            f"UPDATE archive_touched SET version = {version} WHERE {same}",  # noqa: S608
            f"INSERT INTO archive_touched (sort, number, version) SELECT {sort}, {number}, {version} "
            "WHERE changes() = 0",
        ]
    return made


def _sqlite_trigger(name: str, timing: str, body: str) -> list[str]:
    return [f"DROP TRIGGER IF EXISTS {name}", f"CREATE TRIGGER {name} {timing} BEGIN {body}; END"]


def _postgresql() -> list[str]:
    made = [
        """CREATE OR REPLACE FUNCTION archive_only_grows() RETURNS trigger LANGUAGE plpgsql AS
        $$ BEGIN RAISE EXCEPTION '% only grows', TG_TABLE_NAME; END $$""",
        """CREATE OR REPLACE FUNCTION archive_move_version() RETURNS trigger LANGUAGE plpgsql AS
        $$ BEGIN UPDATE archive_policyversion SET number = number + 1; RETURN NULL; END $$""",
        *(_postgresql_moves(table, verb) for table in TOUCHES for verb in ("insert", "update", "delete")),
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
            function = f"{table}_touched_by_{verb}" if table in TOUCHES else "archive_move_version"
            seen = f" REFERENCING {SEEN[verb]}" if table in TOUCHES else ""
            timing = f"AFTER {verb.upper()}{columns} ON {{}}{seen} FOR EACH STATEMENT"
            made += _postgresql_trigger(f"{table}_moves_{verb}", table, timing, function)
    return made


# The rows that a statement wrote, as its trigger sees them on PostgreSQL.
SEEN = {
    "insert": "NEW TABLE AS fresh",
    "update": "NEW TABLE AS fresh OLD TABLE AS gone",
    "delete": "OLD TABLE AS gone",
}


def _postgresql_moves(table: str, verb: str) -> str:
    """The version first: its row is locked from then on, so that what is touched is noted in the order of commits."""
    rows = {"insert": ("fresh",), "update": ("fresh", "gone"), "delete": ("gone",)}[verb]
    listed = " UNION ".join(
        f"SELECT {sort} AS sort, {column} AS number FROM {row}"  # noqa: S608
        for row in rows
        for sort, column in TOUCHES[table]
    )
    return f"""CREATE OR REPLACE FUNCTION {table}_touched_by_{verb}() RETURNS trigger LANGUAGE plpgsql AS
        $$ DECLARE now bigint; BEGIN
        UPDATE archive_policyversion SET number = number + 1 RETURNING number INTO now;
        INSERT INTO archive_touched (sort, number, version)
        SELECT DISTINCT listed.sort, listed.number, now FROM ({listed}) listed ORDER BY 1, 2
        ON CONFLICT (sort, number) DO UPDATE SET version = EXCLUDED.version;
        RETURN NULL; END $$"""  # noqa: S608


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
            # What an emptied database noted bears versions that are yet to come.
            cursor.execute("DELETE FROM archive_touched")


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
    if {"archive_policyversion", "archive_touched"} <= set(connections[using].introspection.table_names()):
        install(using)
