"""`manage.py serve`: the archive on a real WSGI server, on the loopback address unless told otherwise."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from argparse import ArgumentParser
from types import TracebackType
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand

from archive.search import sight
from config.wsgi import application

ROOM_FOR_A_FORM_BYTES = 64 << 20


class Command(BaseCommand):
    help = (
        "Serve the archive (waitress), with a worker beside it that makes sound ready. Put a front server with HTTPS "
        "before it for anybody but yourself."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default="127.0.0.1")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--threads", type=int, default=8)
        parser.add_argument("--quiet", action="store_true")
        parser.add_argument("--no-worker", action="store_true", help="where `manage.py work` runs by itself")

    def handle(self, *args: Any, **options: Any) -> None:
        if not options["quiet"]:
            self.stdout.write(f"http://{options['host']}:{options['port']}/")
        if options.get("no_worker"):
            _serve(options)
            return
        with WorkerBeside():
            _serve(options)


def _serve(options: dict[str, Any]) -> None:
    import waitress

    threading.Thread(target=sight.read_ahead, daemon=True).start()
    waitress.serve(
        application,
        host=options["host"],
        port=options["port"],
        threads=options["threads"],
        ident=None,
        max_request_body_size=settings.MAX_MASTER_BYTES + ROOM_FOR_A_FORM_BYTES,
    )


class WorkerBeside:
    """A worker in a process of its own, started anew should it end. It ends when this process does, however that is."""

    LONGEST_WAIT_S = 60.0
    LAST_TASK_S = 5.0

    def __init__(self) -> None:
        self.stopping = threading.Event()
        self.process: subprocess.Popen[bytes] | None = None
        self.watcher = threading.Thread(target=self._watch, daemon=True)

    def __enter__(self) -> WorkerBeside:
        self.watcher.start()
        return self

    def __exit__(self, *_why: type[BaseException] | BaseException | TracebackType | None) -> None:
        self.stopping.set()
        process = self.process
        if process is None or process.poll() is not None:
            return
        if process.stdin:
            process.stdin.close()
        try:
            process.wait(self.LAST_TASK_S)
        except subprocess.TimeoutExpired:
            process.kill()  # what it was at is taken up again at the next start
            process.wait()

    def _watch(self) -> None:
        wait_s = 1.0
        while not self.stopping.is_set():
            began_s = time.monotonic()
            self.process = _started()
            self.process.wait()
            wait_s = 1.0 if time.monotonic() - began_s > self.LONGEST_WAIT_S else min(wait_s * 2, self.LONGEST_WAIT_S)
            self.stopping.wait(wait_s)


def _started() -> subprocess.Popen[bytes]:
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "work", "--with-parent"]
    return subprocess.Popen(command, stdin=subprocess.PIPE)  # noqa: S603
