"""Measuring in a process and over a database of its own, both thrown away afterwards."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from typing import Any


def rows_of(module: str, segments: int) -> list[dict[str, Any]]:
    """The rows that `measure(segments)` of this module prints as its last line."""
    with tempfile.TemporaryDirectory(prefix=f"{module}-bench-") as home:
        made = subprocess.run(  # noqa: S603 (this very program)
            [sys.executable, "-c", f"from archive.management.bench import {module}; {module}.measure({segments})"],
            env={**os.environ, "UNDERSKY_HOME": home, "UNDERSKY_DATABASE": "sqlite"},
            check=True,
            stdout=subprocess.PIPE,
        )
    rows: list[dict[str, Any]] = json.loads(made.stdout.decode().splitlines()[-1])
    return rows


def world(**size: int) -> Any:
    """The made-up archive, in that process: Django is set up first, so nothing of it is imported above."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    import django

    django.setup()
    from django.core.management import call_command

    from archive.management.bench._world import Size, World

    call_command("migrate", verbosity=0)
    return World(Size(**size)).write()
