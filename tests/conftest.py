"""The cast and the small things every test file may need."""

from __future__ import annotations

import os
import re
import wave
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest
from django.conf import settings
from django.db import connection
from django.test import Client

from archive.access import bringing, decisions, founding, policy, triggers, writing
from archive.models import Account, Audience, Builtin, Figure, Recording
from archive.search import engine

from .browser import chromium, visit  # noqa: F401 (fixtures for every test file)

LONG_AGO = datetime(2000, 1, 1, tzinfo=UTC)
MINUTE = decisions.Minute(date(2020, 1, 2), "minute 1", "two of us", "for the test")


@pytest.fixture(scope="session")
def django_db_modify_db_settings(django_db_modify_db_settings_parallel_suffix, tmp_path_factory) -> None:
    """SQLite in a file, as it is used, and not in memory, where all threads of a site would share one connection."""
    database = settings.DATABASES["default"]
    if database["ENGINE"].endswith("sqlite3"):
        database.setdefault("TEST", {})["NAME"] = str(tmp_path_factory.mktemp("database") / "test.sqlite3")


@pytest.fixture(autouse=True)
def _own_folders(settings, tmp_path_factory) -> None:
    """Run-time files of each test lie in a folder of its own."""
    home = tmp_path_factory.mktemp("home")
    settings.HOME = home
    for name in ("MASTERS", "WORKING", "RENDITIONS", "INDEX"):
        setattr(settings, name, home / name.lower())
    settings.SOUND_AT_ONCE = True
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture(autouse=True)
def _forget_policy() -> Iterator[None]:
    policy.forget()
    engine.forget()
    yield
    policy.forget()
    engine.forget()


# The files that take longest: a worker that got one of these last would keep the others waiting.
LONG = ("test_leaks.py", "test_random_twins.py", "test_planted_leaks.py", "test_access_oracle.py", "test_demo.py")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Long files first; xdist hands files out in this order where it is told not to count their tests instead."""
    items.sort(key=lambda item: LONG.index(item.path.name) if item.path.name in LONG else len(LONG))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo):
    """With UNDERSKY_NO_SKIPS=yes a skip is a failure, but for what only the other database can do: CI runs both."""
    report = yield
    if report.skipped and os.environ.get("UNDERSKY_NO_SKIPS") == "yes" and not hasattr(report, "wasxfail"):
        reason = str(report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr)
        if "SQLite" not in reason and "PostgreSQL" not in reason:
            report.outcome, report.longrepr = "failed", f"skipped, which CI forbids: {reason}"
    return report


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_teardown(item: pytest.Item) -> None:
    """Tests that commit are cleaned up by emptying the tables; what only grows must be let go first.

    Emptying ends with the signal that makes the triggers anew.
    """
    marks = item.iter_markers("django_db")
    commits = {"transactional_db", "live_server"} & set(getattr(item, "fixturenames", ()))
    if commits or next((mark.kwargs.get("transaction") for mark in marks), False):
        _drop_guards()


def _drop_guards() -> None:
    on_table = connection.vendor == "postgresql"
    with connection.cursor() as cursor:
        for table in triggers.APPEND_ONLY:
            for verb in ("update", "delete", "replace", "truncate"):
                cursor.execute(f"DROP TRIGGER IF EXISTS {table}_no_{verb}" + (f" ON {table}" if on_table else ""))


@pytest.fixture
def house(db) -> None:
    """The home place of the pages about the sky."""
    founding.found(name="House", latitude_deg=46.0, longitude_deg=-38.0, time_zone="Etc/GMT+3")


@pytest.fixture
def cast(db) -> dict[str, Account]:
    """One account of each sort, and `family`: a member of the audience of that name."""
    return make_cast()


def make_cast() -> dict[str, Account]:
    def account(name: str, **roles: bool) -> Account:
        return Account.objects.create_user(username=name, password="a long enough word", **roles)

    people = {
        "archivist": account("archivist", is_archivist=True),
        "educator": account("educator", is_educator=True),
        "council": account("council", is_council=True),
        "second": account("second", is_council=True),
        "keeper": account("keeper", is_keeper=True),
        "family": account("family"),
        "plain": account("plain"),
    }
    audiences = make_audiences()
    decisions.join(people["council"], audiences["family"], people["family"], LONG_AGO)
    return people


def make_audiences() -> dict[str, Audience]:
    made = {
        name: Audience.objects.get_or_create(name=name, defaults={"builtin": builtin})[0]
        for name, builtin in (
            ("everyone", Builtin.EVERYONE),
            ("signed in", Builtin.SIGNED_IN),
            ("family", None),
            ("women", None),
        )
    }
    return made


def tone(path: Path, seconds: float, hz: float = 440.0, rate_hz: int = 16_000) -> Path:
    """A WAV file of one tone."""
    times = np.arange(round(seconds * rate_hz)) / rate_hz
    samples = (np.sin(2 * np.pi * hz * times) * 12_000).astype("<i2")
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate_hz)
        file.writeframes(samples.tobytes())
    return path


def bring(by: Account | None, folder: Path, title: str, seconds: float = 6.0, hz: float = 440.0, **given) -> Recording:
    path = tone(folder / f"{abs(hash((title, hz)))}.wav", seconds, hz)
    details = bringing.RecordingGiven(title=title, recorded_on="1962~", **given)
    return bringing.add_recording(by, bringing.file_blocks(path), path.name, details).recording


def signed_in(account: Account) -> Client:
    client = Client()
    client.force_login(account)
    return client


@pytest.fixture
def at_desk(cast) -> Client:
    return signed_in(cast["archivist"])


def without_token(page: bytes) -> bytes:
    """The page without the word that is drawn anew for each form."""
    return re.sub(rb'name="csrfmiddlewaretoken" value="[^"]*"', b"", page)


def called(text: str) -> list[writing.NameGiven]:
    """One English name, by which a thing is led to."""
    return [writing.NameGiven("en", text, True)]


def figure(name: str, *stars: int) -> Figure:
    """A figure of one stroke through these stars (Hipparcos numbers)."""
    return writing.add_figure(None, called(name), stars=list(stars), lines=[list(stars)])


def open_up(council: Account, *items, terms: decisions.Terms | None = None) -> None:
    """The council decides: open, or under these terms."""
    decisions.decide(council, MINUTE, decisions.Act([item.pk for item in items], terms))


def segment(recording: Recording, start_ms: int, end_ms: int, title: str, **ties):
    return writing.add_segment(None, recording, writing.SegmentGiven(start_ms, end_ms, title, **ties))
