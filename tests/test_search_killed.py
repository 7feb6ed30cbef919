"""A process killed (SIGKILL) between the database and the index, or in the middle of either: the next start mends it.

The killed and the asking are processes of their own, over one database and one index folder.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings

ROOT = Path(settings.BASE_DIR)

START = """
import json, os, signal, sys
import django
django.setup()
from archive.access import indexing, writing
from archive.access.gate import Gate
from archive.models import Account, IndexDebt, Item, Segment
from archive.search import engine, finding, index, pieces, query, stock
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
    "once it is committed, before it is indexed": "index.pay = die",
    "while the index is written": "whoosh.index.TOC.write = die",
    "once the index is written, before it is said": "index._point_to = die",
    "once the index is said, before the debt is struck off": "index._write = then_die(index._write)",
}
IN_A_REBUILD = {
    "in the middle": "index.sheets.add = then_die(index.sheets.add)",
    "once Whoosh's part is written": "index._make_pieces = die",
    "while a piece is written": "pieces.os.replace = die",
    "once the pieces are written, before they are used": "index._point_to = die",
    "once it is used, before the old one is swept away": "index._sweep = die",
}


@pytest.fixture
def site(tmp_path) -> tuple[dict[str, str], dict[str, str]]:
    """The environment of the processes, and the refs of what is there."""
    env = {**os.environ, "UNDERSKY_HOME": str(tmp_path), "UNDERSKY_DATABASE": "sqlite", "UNDERSKY_SEARCH": "whoosh"}
    env["DJANGO_SETTINGS_MODULE"] = "config.settings"
    command = [sys.executable, "-W", "ignore", "-m", "tests.fresh_site", "make"]
    made = subprocess.run(command, cwd=ROOT, env=env, check=True, capture_output=True, text=True)
    return env, json.loads(made.stdout.splitlines()[-1])


def run(env: dict[str, str], code: str, *given: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-W", "ignore", "-c", START + code, *given]
    return subprocess.run(command, cwd=ROOT, env=env, capture_output=True, text=True)


def asked(env: dict[str, str]) -> dict[str, int]:
    done = run(env, ASK)
    assert done.returncode == 0, done.stderr
    found: dict[str, int] = json.loads(done.stdout.splitlines()[-1])
    return found


@pytest.mark.parametrize("moment", IN_A_CHANGE)
def test_a_change_broken_off_by_a_kill_is_found_after_the_next_start(site, moment):
    env, refs = site
    before = asked(env)
    assert (before["changedword"], before["owed"]) == (0, 0)
    killed = run(env, IN_A_CHANGE[moment] + CHANGE, refs["segment"])
    assert killed.returncode == -signal.SIGKILL, killed.stderr
    after = asked(env)
    assert after["changedword"] == 1
    assert after["heronword"] == before["heronword"]
    assert (after["owed"], after["folders"]) == (0, 1)
    assert asked(env) == after


@pytest.mark.parametrize("moment", IN_A_REBUILD)
def test_a_rebuild_broken_off_by_a_kill_leaves_one_whole_index(site, moment):
    env, _ = site
    before = asked(env)
    killed = run(env, IN_A_REBUILD[moment] + "\nindex.rebuild()")
    assert killed.returncode == -signal.SIGKILL, killed.stderr
    after = asked(env)
    assert {word: after[word] for word in before if word != "folders"} == {
        word: before[word] for word in before if word != "folders"
    }
    again = run(env, "print(engine.rebuild())")
    assert again.returncode == 0, again.stderr
    assert asked(env) == before


def test_a_change_taken_back_by_a_kill_is_nowhere(site):
    """Killed before the database commits: neither there nor in the index."""
    env, refs = site
    before = asked(env)
    killed = run(env, "from django.db import transaction\nwriting.ledger.write = die" + CHANGE, refs["segment"])
    assert killed.returncode == -signal.SIGKILL, killed.stderr
    assert asked(env) == before
