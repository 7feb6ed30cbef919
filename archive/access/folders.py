"""Where the files of the archive lie. All of it is inside one folder (UNDERSKY_HOME)."""

from __future__ import annotations

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.conf import settings


def master_path(sha256: str) -> Path:
    return Path(settings.MASTERS) / sha256[:2] / sha256


def working_path(sha256: str) -> Path:
    return Path(settings.WORKING) / f"{sha256}.flac"


def incoming() -> Path:
    return Path(settings.HOME) / "incoming"


def part_path(ref: str) -> Path:
    """An upload under way, or waiting to be taken in."""
    return incoming() / "parts" / f"{ref}.part"


def workers() -> Path:
    """A lock file for each worker at work."""
    return Path(settings.HOME) / "workers"


class Busy(Exception):
    """Somebody else holds the lock."""


@contextmanager
def held(path: Path, shared: bool = False, wait: bool = True) -> Iterator[None]:
    """Hold a lock file over all processes of this machine; with `shared`, beside others that share it.

    Without `wait`, Busy is raised where it cannot be had at once.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    how = fcntl.LOCK_SH if shared else fcntl.LOCK_EX
    with path.open("a") as handle:
        try:
            fcntl.flock(handle, how if wait else how | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise Busy(path.name) from error
        yield
