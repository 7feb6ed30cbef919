"""Measuring in a process and over a database of its own, both thrown away afterwards."""

from __future__ import annotations

import json
import os
import secrets
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


def rows_of(module: str, segments: int) -> list[dict[str, Any]]:
    """The rows that `measure(segments)` of this module prints as its last line."""
    with tempfile.TemporaryDirectory(prefix=f"{module}-bench-") as home, _database(module) as database:
        made = subprocess.run(  # noqa: S603 (this very program)
            [sys.executable, "-c", f"from archive.management.bench import {module}; {module}.measure({segments})"],
            env={**os.environ, "UNDERSKY_HOME": home, "UNDERSKY_DATABASE": database},
            check=True,
            stdout=subprocess.PIPE,
        )
    rows: list[dict[str, Any]] = json.loads(made.stdout.decode().splitlines()[-1])
    return rows


@contextmanager
def _database(module: str) -> Iterator[str]:
    """SQLite; or, where UNDERSKY_DATABASE names a PostgreSQL server, a database made there for this run and dropped."""
    server = os.environ.get("UNDERSKY_DATABASE", "sqlite")
    if "://" not in server:
        yield "sqlite"
        return
    import psycopg
    from psycopg import sql

    name = f"{module}_bench_{secrets.token_hex(4)}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        try:
            yield server[: server.rindex("/") + 1] + name
        finally:
            connection.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))


def world(**size: int) -> Any:
    """The made-up archive, in that process."""
    ready()
    from archive.management.bench._world import Size, World

    return World(Size(**size)).write()


def ready() -> None:
    """Set Django up over the empty database of that process: nothing of it is imported before."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
