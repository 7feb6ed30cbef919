"""Work that outlasts a request: queued in the database, done by `manage.py work`, taken up again after a crash.

Tasks are Django's (its task interface with rows in the database, on SQLite and PostgreSQL alike). A worker holds a lock
file while it lives; a task left running by a worker whose lock nobody holds goes back into the queue, three times at
most. The tasks themselves may be done twice without harm: a file that stands is not made again.
"""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import IO, Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django_tasks import TaskResultStatus, task
from django_tasks_db.models import DBTaskResult

from ..models import Account, Entrustment, Recording
from . import folders, showing, sound
from .gate import Gate
from .showing import Hearing

MOST_ATTEMPTS = 3
SOON = 10  # a listener waits
AGAIN_AFTER_S = 60
GIVEN_UP = "archive.access.jobs.GivenUp"
BUSY = (TaskResultStatus.READY, TaskResultStatus.RUNNING)


@dataclass(frozen=True)
class State:
    """How far a piece of work is: `waiting`, `running`, `failed` or `none`. `share` is what is done of it, 0 to 1."""

    name: str
    share: float = 0.0
    words: str = ""


# --- the tasks ---


@task()
def build_sound(recording: int, start_ms: int, end_ms: int, closed: list[list[int]], key: str) -> None:
    """Build the sound of one hearing."""
    row = Recording.ungated.select_related("master").filter(pk=recording).first()
    if row is None:
        return
    hearing = Hearing(start_ms, end_ms, tuple((start, end) for start, end in closed))
    sound.prepare(row, hearing, sound.Telling(row, hearing))


@task()
def make_recording_ready(recording: int) -> None:
    """The working copy, and the whole sound for those who are entrusted with a new recording."""
    row = Recording.ungated.select_related("master").filter(pk=recording).first()
    if row is None:
        return
    for gate in _entrusted_gates(row):
        hearing = showing.hearing_of_recording(gate, row)
        if hearing is not None:
            sound.prepare(row, hearing, sound.Telling(row, hearing))
    sound.working_copy(row)


def _entrusted_gates(row: Recording) -> Iterator[Gate]:
    for account in Account.objects.filter(pk__in=Entrustment.ungated.filter(item=row.pk).values("account")):
        yield Gate(account)


# --- asking for them ---


def make_ready(recording: int) -> None:
    """Have a recording that was just brought in made ready, once its transaction has committed."""
    if not settings.SOUND_AT_ONCE:
        make_recording_ready.enqueue(recording)


def ask(recording: Recording, hearing: Hearing, key: str) -> None:
    """Have the sound of a hearing built soon, unless that waits or runs already."""
    last = _rows(key).order_by("-enqueued_at").first()
    if last is not None and (last.status in BUSY or _failed_just_now(last)):
        return
    closed = [list(span) for span in hearing.closed_in_recording]
    build_sound.using(priority=SOON).enqueue(recording.pk, hearing.start_ms, hearing.end_ms, closed, key)


def _failed_just_now(row: DBTaskResult) -> bool:
    """Somebody who waits asks every few seconds; what failed is tried again after a while only."""
    is_recent = row.finished_at is not None and timezone.now() - row.finished_at < timedelta(seconds=AGAIN_AFTER_S)
    return row.status == TaskResultStatus.FAILED and is_recent


def state(key: str, recording: Recording) -> State:
    """How far the building of a sound is."""
    row = _rows(key).order_by("-enqueued_at").first() or _ready_rows(recording).order_by("-enqueued_at").first()
    if row is None:
        return State("none")
    if row.status == TaskResultStatus.FAILED:
        return State("failed", words=_why(row))
    if row.status == TaskResultStatus.RUNNING:
        return State("running", sound.share_done(key))
    if row.status == TaskResultStatus.READY:
        return State("waiting", words="" if is_worked() else _("No worker is at work; start manage.py work."))
    return State("none")


def _rows(key: str) -> Any:
    return DBTaskResult.objects.filter(task_path=build_sound.module_path, args_kwargs__args__4=key)


def _ready_rows(recording: Recording) -> Any:
    return DBTaskResult.objects.filter(task_path=make_recording_ready.module_path, args_kwargs__args__0=recording.pk)


def _why(row: DBTaskResult) -> str:
    if row.exception_class_path == GIVEN_UP:
        return _("Its worker stopped three times in the middle. Is there enough memory and room on the disk?")
    last = str(row.traceback).strip().rpartition("\n")[2]
    return last.partition(": ")[2] or last


# --- workers ---


@contextmanager
def at_work(worker: str) -> Iterator[None]:
    """Hold the lock that says this worker lives; the system lets go of it however the worker ends."""
    path = folders.workers() / f"{worker}.lock"
    path.parent.mkdir(parents=True, exist_ok=True)
    handle = _locked(path)
    try:
        yield
    finally:
        path.unlink(missing_ok=True)
        handle.close()


def _locked(path: Path) -> IO[str]:
    """The lock file, held; made again if somebody took it for a dead worker's before it was."""
    while True:
        handle = path.open("a")
        fcntl.flock(handle, fcntl.LOCK_EX)
        if path.exists() and path.stat().st_ino == os.fstat(handle.fileno()).st_ino:
            return handle
        handle.close()


def _lives(worker: str) -> bool:
    path = folders.workers() / f"{worker}.lock"
    try:
        with path.open("r") as handle:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except FileNotFoundError:
        return False
    except BlockingIOError:
        return True
    path.unlink(missing_ok=True)
    return False


def is_worked() -> bool:
    """Whether any worker is at work on this machine."""
    return any(_lives(path.stem) for path in folders.workers().glob("*.lock"))


def take_up_again() -> int:
    """Put tasks whose worker is gone back into the queue; returns how many."""
    count = 0
    for row in DBTaskResult.objects.running():
        if row.worker_ids and _lives(row.worker_ids[-1]):
            continue
        with transaction.atomic():
            held = DBTaskResult.objects.select_for_update().filter(pk=row.pk, status=TaskResultStatus.RUNNING).first()
            if held is None or held.worker_ids != row.worker_ids:
                continue
            _put_back(held)
            count += 1
    return count


def _put_back(row: DBTaskResult) -> None:
    row.status = TaskResultStatus.READY
    if len(row.worker_ids) >= MOST_ATTEMPTS:
        row.status, row.exception_class_path = TaskResultStatus.FAILED, GIVEN_UP
    row.save(update_fields=["status", "exception_class_path"])


def forget_done(keep: int = 500) -> None:
    """Keep the last finished rows only; what they made stands by itself."""
    done = DBTaskResult.objects.finished().order_by("-enqueued_at").values_list("pk", flat=True)
    old: Sequence[Any] = list(done[keep:])
    DBTaskResult.objects.filter(pk__in=old).delete()
