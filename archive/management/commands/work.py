"""`manage.py work`: does what waits in the queue (sound being made ready) and sweeps away what is no longer served."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from argparse import ArgumentParser
from contextlib import suppress
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import OperationalError, close_old_connections
from django.utils.crypto import get_random_string
from django.utils.translation import gettext as _
from django_tasks_db.management.commands.db_worker import Worker
from django_tasks_db.models import DBTaskResult
from django_tasks_db.utils import exclusive_transaction

from archive.access import folders, jobs, policy, sweeping

IDLE_S = 1.0
BEHIND_LISTENERS = 10  # of nice(2): the server goes first where there is too little processor for both
LOOK_AFTER_LOST_S = 15.0
SWEEP_AT_MOST_EVERY_S = 60.0


class QueueWorker(Worker):
    """Runs tasks one by one; takes up those of workers that are gone; sweeps when something was decided."""

    def __init__(self, is_once: bool) -> None:
        super().__init__(
            queue_names=["*"],
            interval=IDLE_S,
            batch=is_once,
            backend_name="default",
            startup_delay=False,
            max_tasks=None,
            worker_id=get_random_string(20),
            excluded_queue_names=[],
        )
        self.stopping = threading.Event()
        self.looked_s = self.swept_s = float("-inf")
        self.swept_version = -1

    def stop(self, *_why: Any) -> None:
        """Finish the task under way, then end."""
        self.stopping.set()

    def run(self) -> None:
        with jobs.at_work(self.worker_id):
            while not self.stopping.is_set():
                close_old_connections()
                self._take_up_again()
                if self._one_task():
                    continue
                self._sweep()
                if self.batch:
                    return
                self.stopping.wait(self.interval)

    def _take_up_again(self) -> None:
        if time.monotonic() - self.looked_s > LOOK_AFTER_LOST_S:
            self.looked_s = time.monotonic()
            jobs.take_up_again()

    def _one_task(self) -> bool:
        """Run the next task, if there is one. The database is locked only where one waits."""
        ready = DBTaskResult.objects.ready()
        if not ready.exists():
            return False
        with exclusive_transaction():
            row = ready.get_locked()
            if row is not None:
                row.claim(self.worker_id)
        if row is not None:
            self.run_task(row)
        return row is not None

    def _sweep(self) -> None:
        if time.monotonic() - self.swept_s < SWEEP_AT_MOST_EVERY_S:
            return
        version = policy.current_version()
        if version == self.swept_version:
            return
        self.swept_s = time.monotonic()
        with suppress(folders.Busy):  # another worker builds; the next round sees to it
            sweeping.sweep()
            jobs.forget_done()
            self.swept_version = version


class Command(BaseCommand):
    help = (
        "Do the work that waits: make sound ready, take up again what a crash broke off, and remove built sound that "
        "no one is given any more. `serve` and `demo` start one of these beside the server."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--once", action="store_true", help="end when nothing waits any more")
        parser.add_argument("--with-parent", action="store_true", help="end when standard input is closed")

    def handle(self, *args: Any, **options: Any) -> None:
        worker = QueueWorker(options["once"])
        for name in (signal.SIGINT, signal.SIGTERM):
            signal.signal(name, worker.stop)
        if options["with_parent"]:
            os.nice(BEHIND_LISTENERS)
            threading.Thread(target=_stop_with_parent, args=(worker,), daemon=True).start()
        try:
            worker.run()
        except OperationalError as error:
            words = _("The database cannot be read or written (%(why)s). Is the disk full? What was being made is "
                      "taken up again by the next worker.")
            raise CommandError(words % {"why": error}) from error
        if options["verbosity"] > 1:
            self.stdout.write(_("The worker ends."))


def _stop_with_parent(worker: QueueWorker) -> None:
    """The pipe from the server closes however the server ends."""
    sys.stdin.read()
    worker.stop()
