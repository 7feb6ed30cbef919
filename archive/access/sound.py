"""Sound as a viewer may hear it: which built file answers a hearing, and how one comes to be built.

The key of a built file is made from the master and the closed seconds of this viewer at this moment, so that a new
decision leads to another file from the next request on; the old one is never asked for again.
"""

from __future__ import annotations

import fcntl
import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path

from django.conf import settings

from ..media.files import whole_file
from ..media.rendition import render, rendition_key
from ..media.working import make_working_copy
from ..models import Recording
from .bringing import master_path
from .showing import Hearing

Progress = Callable[[float], None]


@dataclass(frozen=True)
class Sound:
    """A built file: M4A, served whole or in ranges under its SHA-256 as a strong ETag."""

    path: Path
    sha256: str
    size: int
    duration_ms: int


def built(recording: Recording, hearing: Hearing) -> Sound | None:
    """The file for this hearing if it stands complete on the disk."""
    path = _path(recording, hearing)
    try:
        facts = json.loads(path.with_suffix(".json").read_text(encoding="ascii"))
    except (OSError, ValueError):
        return None
    return Sound(path, **facts) if path.is_file() else None


def prepare(recording: Recording, hearing: Hearing, progress: Progress | None = None) -> Sound:
    """Build the file now, unless it stands already."""
    found = built(recording, hearing)
    if found is not None:
        return found
    path = _path(recording, hearing)
    with _alone(path):
        found = built(recording, hearing)
        return found or _build(recording, hearing, path, progress)


def ask_for(recording: Recording, hearing: Hearing) -> Sound | None:
    """The file, or None while it is being built in the background."""
    found = built(recording, hearing)
    if found is not None or settings.SOUND_AT_ONCE:
        return found or prepare(recording, hearing)
    with _lock:
        path = _path(recording, hearing)
        if path not in _under_way:
            _under_way.add(path)
            threading.Thread(target=_in_background, args=(recording, hearing, path), daemon=True).start()
    return None


_lock = threading.Lock()
_under_way: set[Path] = set()


def _in_background(recording: Recording, hearing: Hearing, path: Path) -> None:
    try:
        prepare(recording, hearing)
    finally:
        with _lock:
            _under_way.discard(path)


def _path(recording: Recording, hearing: Hearing) -> Path:
    key = rendition_key(recording.master.sha256, hearing.closed_in_recording, hearing.start_ms, hearing.end_ms)
    return Path(settings.RENDITIONS) / f"{key}.m4a"


def _build(recording: Recording, hearing: Hearing, path: Path, progress: Progress | None) -> Sound:
    made = render(
        working_copy(recording),
        path,
        hearing.closed_in_recording,
        start_ms=hearing.start_ms,
        end_ms=hearing.end_ms,
        chunk_dir=Path(settings.RENDITIONS) / "chunks",
        progress=progress,
    )
    sound = Sound(path, made.sha256, made.size, made.duration_ms)
    facts = asdict(sound)
    facts.pop("path")
    with whole_file(path.with_suffix(".json")) as handle:
        handle.write(json.dumps(facts).encode("ascii"))
    return sound


def working_copy(recording: Recording) -> Path:
    """The master decoded once, made if it is missing."""
    sha256 = recording.master.sha256
    path = Path(settings.WORKING) / f"{sha256}.flac"
    if not path.is_file():
        with _alone(path):
            if not path.is_file():
                make_working_copy(master_path(sha256), path)
    return path


@contextmanager
def _alone(path: Path) -> Iterator[None]:
    """One builder of this file at a time, over all processes of this machine."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with (path.parent / f".{path.stem[:16]}.lock").open("w") as handle:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
