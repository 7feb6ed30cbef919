"""A decision is in force for every worker process and every surface from the first request after its commit.

Four WSGI worker processes with warm caches; 600 requests across all of them by default, UNDERSKY_FRESH asks for more
(the long run at night asks for 10,000). Then the same with a season's last midnight passing.
"""

from __future__ import annotations

import http.client
import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

REQUESTS = int(os.environ.get("UNDERSKY_FRESH", "600"))
WORKERS = 4
ROOT = Path(__file__).resolve().parent.parent


class Site:
    def __init__(self, home: Path) -> None:
        self.env = {**os.environ, "UNDERSKY_HOME": str(home), "UNDERSKY_DATABASE": "sqlite"}
        self.refs: dict[str, str] = json.loads(self.run("make").splitlines()[-1])
        self.workers: list[subprocess.Popen[bytes]] = []
        self.lines: list[http.client.HTTPConnection] = []

    def run(self, *given: str) -> str:
        command = [sys.executable, "-W", "ignore", "-m", "tests.fresh_site", *given]
        return subprocess.run(command, cwd=ROOT, env=self.env, check=True, capture_output=True, text=True).stdout

    def start(self, offset_s: float) -> None:
        for port in _free_ports(WORKERS):
            command = [sys.executable, "-W", "ignore", "-m", "tests.fresh_site", "serve", str(port), str(offset_s)]
            self.workers.append(subprocess.Popen(command, cwd=ROOT, env=self.env, stderr=subprocess.DEVNULL))
            self.lines.append(http.client.HTTPConnection("127.0.0.1", port, timeout=60))
        for line in self.lines:
            _wait_for(line)

    def ask(self, line: http.client.HTTPConnection, path: str) -> tuple[int, str]:
        line.request("GET", path)
        answer = line.getresponse()
        return answer.status, answer.read().decode("utf-8", "replace")

    def stop(self) -> None:
        for line in self.lines:
            line.close()
        for worker in self.workers:
            worker.terminate()
            worker.wait(30)
        self.workers, self.lines = [], []


def _free_ports(count: int) -> list[int]:
    held = [socket.socket() for _ in range(count)]
    for one in held:
        one.bind(("127.0.0.1", 0))
    ports = [one.getsockname()[1] for one in held]
    for one in held:
        one.close()
    return ports


def _wait_for(line: http.client.HTTPConnection) -> None:
    for _ in range(200):
        try:
            line.request("GET", "/")
            line.getresponse().read()
            return
        except OSError:
            line.close()
            time.sleep(0.2)
    raise TimeoutError("a worker did not start")


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    made = Site(tmp_path)
    yield made
    made.stop()


def surfaces(refs: dict[str, str]) -> list[str]:
    return [
        f"/recordings/{refs['recording']}/", f"/segments/{refs['segment']}/", "/recordings/", "/find/?q=heronword",
        f"/recordings/{refs['recording']}/sound", f"/recordings/{refs['recording']}/captions/en.vtt",
        f"/segments/{refs['segment']}/sound", "/",
    ]  # fmt: skip


def shows(refs: dict[str, str], status: int, body: str) -> bool:
    """Whether an answer gives anything of the recording, its segment or its words."""
    found = any(ref in body for ref in (refs["recording"], refs["segment"])) or "is said here" in body
    return status == 200 and (found or "ftyp" in body[:16])


def test_no_worker_gives_a_stale_answer_after_a_decision(site: Site):
    site.start(0)
    paths = surfaces(site.refs)
    for line in site.lines * 2:  # caches of policy, levels, search and sound are warm
        assert all(shows(site.refs, *site.ask(line, path)) for path in paths)
    site.run("close", site.refs["recording"])
    assert _stale(site, paths) == []


def _stale(site: Site, paths: list[str]) -> list[tuple[int, str]]:
    """Every worker in turn is asked for every surface in turn."""
    found = []
    for at in range(REQUESTS):
        line, path = site.lines[at % WORKERS], paths[(at // WORKERS) % len(paths)]
        if shows(site.refs, *site.ask(line, path)):
            found.append((at, path))
    return found


def _open_until(site: Site, path: str, lead_s: float) -> datetime | None:
    """When the season ends for workers whose midnight comes in lead_s; None if they took longer than that to start."""
    now = datetime.now(UTC)
    midnight = datetime(now.year, now.month, now.day, tzinfo=UTC) + timedelta(days=1)
    offset_s = (midnight - now).total_seconds() - lead_s
    site.stop()
    site.start(offset_s)
    answers = [site.ask(line, path)[0] for line in site.lines]
    return midnight - timedelta(seconds=offset_s) if answers == [200] * WORKERS else None


def test_no_worker_misses_a_seasons_last_midnight(site: Site):
    """The workers' clocks are set so that the season's last day ends some seconds after they have started."""
    path = f"/recordings/{site.refs['seasonal']}/"
    end = next((end for lead_s in (15, 120) if (end := _open_until(site, path, lead_s))), None)
    assert end, "the season is open before"
    while datetime.now(UTC) < end:
        site.ask(site.lines[0], path)
        time.sleep(0.05)
    answers = [site.ask(site.lines[at % WORKERS], path)[0] for at in range(REQUESTS)]
    assert answers == [404] * len(answers)
