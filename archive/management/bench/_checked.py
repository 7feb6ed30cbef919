"""Long runs of tests that draw random worlds: how many a minute, and whether all agreed.

They are the very tests of the suite, asked for more worlds, so they need its requirements (.requirements/test.txt).
"""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError

ROOT = Path(__file__).resolve().parents[3]


def run(name: str, test: str, worlds: int, asked_by: str) -> list[dict[str, Any]]:
    """Run one test (`tests/…::…`) with the environment variable `asked_by` set to the number of worlds.

    UNDERSKY_SEED, where it is set, draws others. What the test prints is passed on.
    """
    return [run_parts(name, test, worlds, [{asked_by: str(worlds)}])]


def run_parts(name: str, test: str, worlds: int, parts: list[dict[str, str]]) -> dict[str, Any]:
    """Run a test once for each of these environments, all at the same time; so many worlds in all."""
    if importlib.util.find_spec("pytest") is None:
        raise CommandError("This runs tests of the suite: install .requirements/test.txt first.")
    began = time.perf_counter()
    running = [_started(test, part) for part in parts]
    ended = [each.wait() for each in running]
    a_minute = worlds * 60 / (time.perf_counter() - began)
    return {
        "name": name, "ours": a_minute, "peer": None, "ratio": None, "unit": f"worlds a minute, of {worlds:,}",
        "goal": "no world differs", "holds": not any(ended),
    }


def _started(test: str, given: dict[str, str]) -> subprocess.Popen[bytes]:
    return subprocess.Popen(  # noqa: S603 (this very program's tests)
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", test],
        cwd=ROOT, env={**os.environ, **given}, stdout=sys.stderr,
    )
