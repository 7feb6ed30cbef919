"""Sound as a viewer may hear it: which built file answers a hearing, and how one comes to be built.

The key of a built file is made from the master and the closed seconds of this viewer at this moment, so that a new
decision leads to another file from the next request on; the old one is never asked for again. Beside each file lie
its facts (JSON), its peaks and the pauses found in it, all made from what is heard in it and nothing else.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.conf import settings

from ..media.errors import MediaError
from ..media.files import whole_file
from ..media.pauses import find_pauses
from ..media.rendition import Rendition, render, rendition_key
from ..media.working import make_working_copy
from ..models import Recording
from . import folders
from .showing import Hearing

Progress = Callable[[float], None]
TELL_EVERY_S = 0.5


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
    facts = read_facts(path.with_suffix(".json"))
    if facts is None or not path.is_file():
        return None
    return Sound(path, facts["sha256"], facts["size"], facts["duration_ms"])


def read_facts(path: Path) -> dict[str, Any] | None:
    try:
        found: dict[str, Any] = json.loads(path.read_text(encoding="ascii"))
    except (OSError, ValueError):
        return None
    return found


def prepare(recording: Recording, hearing: Hearing, progress: Progress | None = None) -> Sound:
    """Build the file now, unless it stands already."""
    found = built(recording, hearing)
    if found is not None:
        return found
    path = _path(recording, hearing)
    with folders.held(_lock_of(path)):
        found = built(recording, hearing)
        return found or _build(recording, hearing, path, progress)


def ask_for(recording: Recording, hearing: Hearing) -> Sound | None:
    """The file, or None while it is being built by a worker."""
    from . import jobs  # the tasks build what is asked for here, so they know this module

    found = built(recording, hearing)
    if found is not None or settings.SOUND_AT_ONCE:
        return found or prepare(recording, hearing)
    jobs.ask(recording, hearing, key(recording, hearing))
    return None


# --- what lies beside it ---


def peaks(recording: Recording, hearing: Hearing) -> bytes | None:
    """Pairs (lowest, highest) of int8, 50 a second, of what this hearing holds."""
    if built(recording, hearing) is None:
        return None
    try:
        return _path(recording, hearing).with_suffix(".peaks").read_bytes()
    except OSError:
        return None


def pauses(recording: Recording, hearing: Hearing) -> list[tuple[int, int]]:
    """Stretches without talk in what this hearing holds; found when first asked for, then kept."""
    sound = built(recording, hearing)
    if sound is None:
        return []
    path = sound.path.with_suffix(".pauses")
    try:
        return [(start, end) for start, end in json.loads(path.read_text(encoding="ascii"))]
    except (OSError, ValueError):
        return _find_pauses(sound.path, path)


def _find_pauses(sound: Path, path: Path) -> list[tuple[int, int]]:
    try:
        found = [(pause.start_ms, pause.end_ms) for pause in find_pauses(sound)]
        _write(path, json.dumps(found).encode("ascii"))
    except MediaError:
        return []
    return found


# --- building ---


class Telling:
    """Writes down how far a build is, for whoever waits for it."""

    def __init__(self, recording: Recording, hearing: Hearing) -> None:
        self.path = _path(recording, hearing).with_suffix(".share")
        self.last_s = 0.0

    def __call__(self, share: float) -> None:
        now_s = time.monotonic()
        if now_s - self.last_s < TELL_EVERY_S and share < 1:
            return
        self.last_s = now_s
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self.path.write_text(f"{share:.3f}", encoding="ascii")
        except OSError:
            return  # how far it is may go unsaid


def share_done(rendition: str) -> float:
    try:
        path = Path(settings.RENDITIONS) / f"{rendition}.share"
        return min(1.0, max(0.0, float(path.read_text(encoding="ascii"))))
    except (OSError, ValueError):
        return 0.0


def key(recording: Recording, hearing: Hearing) -> str:
    return rendition_key(
        recording.master.sha256, hearing.closed_in_recording, hearing.start_ms, hearing.end_ms
    )


def _path(recording: Recording, hearing: Hearing) -> Path:
    return Path(settings.RENDITIONS) / f"{key(recording, hearing)}.m4a"


def _lock_of(path: Path) -> Path:
    return path.parent / f".{path.stem[:16]}.lock"


def sweeping_lock() -> Path:
    """Builders share it; whoever sweeps pieces away holds it alone."""
    return Path(settings.RENDITIONS) / ".sweep.lock"


def _build(recording: Recording, hearing: Hearing, path: Path, progress: Progress | None) -> Sound:
    copy = working_copy(recording)
    with folders.held(sweeping_lock(), shared=True):
        made = render(
            copy,
            path,
            hearing.closed_in_recording,
            start_ms=hearing.start_ms,
            end_ms=hearing.end_ms,
            chunk_dir=Path(settings.RENDITIONS) / "chunks",
            progress=progress,
        )
        _keep_facts(recording, hearing, path, made)
    path.with_suffix(".share").unlink(missing_ok=True)
    return Sound(path, made.sha256, made.size, made.duration_ms)


def _keep_facts(recording: Recording, hearing: Hearing, path: Path, made: Rendition) -> None:
    """Peaks first, facts last: a file counts as built once its facts stand."""
    _write(path.with_suffix(".peaks"), made.peaks)
    facts = {
        "sha256": made.sha256,
        "size": made.size,
        "duration_ms": made.duration_ms,
        "master": recording.master.sha256,
        "start_ms": hearing.start_ms,
        "end_ms": hearing.end_ms,
        "chunks": list(made.chunks),
    }
    _write(path.with_suffix(".json"), json.dumps(facts).encode("ascii"))


def _write(path: Path, data: bytes) -> None:
    with whole_file(path) as handle:
        handle.write(data)


def working_copy(recording: Recording) -> Path:
    """The master decoded once, made if it is missing."""
    sha256 = recording.master.sha256
    path = folders.working_path(sha256)
    if not path.is_file():
        with folders.held(_lock_of(path)):
            if not path.is_file():
                make_working_copy(folders.master_path(sha256), path)
    return path
