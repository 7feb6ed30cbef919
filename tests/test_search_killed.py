"""A process killed (SIGKILL) between the database and the index, or in the middle of either: the next start mends it.

The killed and the asking are processes of their own, over one database and one index: files beside SQLite, or tables of
a PostgreSQL database that is made for each test on the server that UNDERSKY_TEST_POSTGRES names.
"""

from __future__ import annotations

import json
import os
import secrets
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from django.conf import settings

ROOT = Path(settings.BASE_DIR)

START = """
import json, os, signal, sys
import django
django.setup()
from archive.access import indexing, shelves, writing
from archive.access.gate import Gate
from archive.models import Account, IndexDebt, Item, Segment
from archive.search import engine, finding, index, pieces, query, stock, tables
import whoosh.index

def die(*given, **named):
    os.kill(os.getpid(), signal.SIGKILL)

def then_die(work):
    def done(*given, **named):
        work(*given, **named)
        die()
    return done
"""
CHANGE = """
part = Segment.ungated.get(ref=sys.argv[1])
writing.change_segment(None, part, writing.SegmentGiven(0, 2000, "Changedword part"), part.version)
"""
ASK = """
def found(word):
    return finding.find(Gate(Account.objects.get(username="council")), finding.Wanted(query.read(word))).total
told = {word: found(word) for word in ("heronword", "changedword", "hiddenword")}
print(json.dumps(told | {"owed": IndexDebt.objects.count(), "folders": len(list(index._home().glob("whoosh-*")))}))
"""
# Where it dies: the name of a moment, and what is put in the way there.
IN_A_CHANGE = {
    "files": {
        "once it is committed, before it is indexed": "index.pay = die",
        "while the index is written": "whoosh.index.TOC.write = die",
        "once the index is written, before it is said": "index._point_to = die",
        "once the index is said, before the debt is struck off": "index._write = then_die(index._write)",
    },
    "tables": {
        "once it is committed, before it is indexed": "tables.pay = die",
        "once the old rows are gone, before the new ones are written": "shelves.add = die",
        "once the tables are written, before the debt is struck off": "tables._write = then_die(tables._write)",
    },
}
IN_A_REBUILD = {
    "files": {
        "in the middle": "index.sheets.add = then_die(index.sheets.add)",
        "once Whoosh's part is written": "index._make_pieces = die",
        "while a piece is written": "pieces.os.replace = die",
        "once the pieces are written, before they are used": "index._point_to = die",
        "once it is used, before the old one is swept away": "index._sweep = die",
    },
    "tables": {
        "in the middle": "shelves.add = then_die(shelves.add)",
        "once the tables are written, before they are used": "shelves.put_in_use = die",
        "once they are used, before that is committed": "shelves.put_in_use = then_die(shelves.put_in_use)",
    },
}
SERVER = os.environ.get("UNDERSKY_TEST_POSTGRES", "")
on_postgres = [
    pytest.mark.postgres,
    pytest.mark.skipif(not SERVER, reason="UNDERSKY_TEST_POSTGRES names no server"),
]


def moments(known: dict[str, dict[str, str]]) -> list:
    """(engine, where it dies), the tables' where there is a server."""
    return [
        pytest.param(engine, moment, marks=on_postgres if engine == "tables" else [])
        for engine, by_moment in known.items()
        for moment in by_moment
    ]


@pytest.fixture
def site(request, tmp_path) -> Iterator[tuple[dict[str, str], dict[str, str]]]:
    """The environment of the processes, and the refs of what is there. The test's `engine` says which index."""
    with _database(request.getfixturevalue("engine")) as kept_in:
        env = {**os.environ, "UNDERSKY_HOME": str(tmp_path), "DJANGO_SETTINGS_MODULE": "config.settings", **kept_in}
        command = [sys.executable, "-W", "ignore", "-m", "tests.fresh_site", "make"]
        made = subprocess.run(command, cwd=ROOT, env=env, check=True, capture_output=True, text=True)
        yield env, json.loads(made.stdout.splitlines()[-1])


@contextmanager
def _database(engine: str) -> Iterator[dict[str, str]]:
    if engine == "files":
        yield {"UNDERSKY_DATABASE": "sqlite", "UNDERSKY_SEARCH": "whoosh"}
        return
    import psycopg

    name = f"killed_{secrets.token_hex(6)}"
    with psycopg.connect(SERVER, autocommit=True) as server:
        server.execute(f"CREATE DATABASE {name}")
        try:
            yield {"UNDERSKY_DATABASE": f"{SERVER.rsplit('/', 1)[0]}/{name}", "UNDERSKY_SEARCH": "postgres"}
        finally:
            server.execute(f"DROP DATABASE {name} WITH (FORCE)")


def run(env: dict[str, str], code: str, *given: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-W", "ignore", "-c", START + code, *given]
    return subprocess.run(command, cwd=ROOT, env=env, capture_output=True, text=True)


def asked(env: dict[str, str]) -> dict[str, int]:
    done = run(env, ASK)
    assert done.returncode == 0, done.stderr
    found: dict[str, int] = json.loads(done.stdout.splitlines()[-1])
    return found


@pytest.mark.parametrize(("engine", "moment"), moments(IN_A_CHANGE))
def test_a_change_broken_off_by_a_kill_is_found_after_the_next_start(site, engine, moment):
    env, refs = site
    before = asked(env)
    assert (before["changedword"], before["owed"]) == (0, 0)
    killed = run(env, IN_A_CHANGE[engine][moment] + CHANGE, refs["segment"])
    assert killed.returncode == -signal.SIGKILL, killed.stderr
    after = asked(env)
    assert after["changedword"] == 1
    assert after["heronword"] == before["heronword"]
    assert (after["owed"], after["folders"]) == (0, int(engine == "files"))
    assert asked(env) == after


@pytest.mark.parametrize(("engine", "moment"), moments(IN_A_REBUILD))
def test_a_rebuild_broken_off_by_a_kill_leaves_one_whole_index(site, engine, moment):
    env, _ = site
    before = asked(env)
    killed = run(env, IN_A_REBUILD[engine][moment] + "\nengine.rebuild()")
    assert killed.returncode == -signal.SIGKILL, killed.stderr
    after = asked(env)
    assert {word: after[word] for word in before if word != "folders"} == {
        word: before[word] for word in before if word != "folders"
    }
    again = run(env, "print(engine.rebuild())")
    assert again.returncode == 0, again.stderr
    assert asked(env) == before


@pytest.mark.parametrize("engine", ["files", pytest.param("tables", marks=on_postgres)])
def test_a_change_taken_back_by_a_kill_is_nowhere(site, engine):
    """Killed before the database commits: neither there nor in the index."""
    env, refs = site
    before = asked(env)
    killed = run(env, "from django.db import transaction\nwriting.ledger.write = die" + CHANGE, refs["segment"])
    assert killed.returncode == -signal.SIGKILL, killed.stderr
    assert asked(env) == before
