"""What a kill in the middle or a full disk breaks off: no master and no upload is lost, and the work goes on.

Workers and servers are processes of their own and get a real SIGKILL. The full disk is the system's own refusal to let
a process write files beyond a size (setrlimit, RLIMIT_FSIZE: POSIX.1-2017): an error in the middle of a write.
"""

from __future__ import annotations

import hashlib
import http.client
import json
import os
import re
import resource
import signal
import sqlite3
import subprocess
import sys
import time
import wave
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import av
import numpy as np
import pytest

from .test_council_fresh import ROOT, Site, _free_ports, _wait_for

PATIENCE_S = 120.0
PIECE_BYTES = 1 << 18
LIMIT_BYTES = 3 << 20


@pytest.fixture(scope="module")
def site(tmp_path_factory) -> Site:
    return Site(tmp_path_factory.mktemp("site"))


@pytest.fixture
def home(site) -> Path:
    return Path(site.env["UNDERSKY_HOME"])


def noise(path: Path, seconds: int, seed: int) -> Path:
    random = np.random.default_rng(seed)
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(8000)
        for _ in range(seconds):
            file.writeframes((random.normal(0, 3000, 8000)).astype("<i2").tobytes())
    return path


def limited() -> None:
    resource.setrlimit(resource.RLIMIT_FSIZE, (LIMIT_BYTES, LIMIT_BYTES))


def manage(site: Site, *given: str, before: Callable[[], None] | None = None) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-W", "ignore", "manage.py", *given]
    return subprocess.run(command, cwd=ROOT, env=site.env, capture_output=True, text=True, preexec_fn=before)


def started(site: Site, *given: str, before: Callable[[], None] | None = None) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-W", "ignore", "manage.py", *given]
    return subprocess.Popen(command, cwd=ROOT, env=site.env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                            preexec_fn=before)


def wait_until(is_so: Callable[[], Any], process: subprocess.Popen[bytes]) -> None:
    end_s = time.monotonic() + PATIENCE_S
    while not is_so():
        assert process.poll() is None, "it ended before it could be killed"
        assert time.monotonic() < end_s, "it never came so far"
        time.sleep(0.01)


def masters(home: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in (home / "masters").rglob("*") if path.is_file()}


def whole(home: Path, sha256: str) -> list[Path]:
    """Built sound of a master, each checked against the hash that was kept with it."""
    made = []
    for path in (home / "renditions").glob("*.json"):
        facts = json.loads(path.read_text())
        if facts["master"] == sha256:
            sound = path.with_suffix(".m4a")
            assert hashlib.sha256(sound.read_bytes()).hexdigest() == facts["sha256"]
            made.append(sound)
    return made


# --- the upload's own small browser ---


class Sender:
    """Signed in as the archivist; sends a file in pieces over one connection."""

    def __init__(self, site: Site, port: int) -> None:
        self.session = site.run("sign_in", "archivist").strip()
        self.line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        _wait_for(self.line)

    def headers(self, **more: str) -> dict[str, str]:
        token = "t" * 32
        return {"Cookie": f"sessionid={self.session}; csrftoken={token}", "X-CSRFToken": token, **more}

    def ask(self, method: str, path: str, body: bytes | None = None, **headers: str) -> tuple[int, dict[str, Any]]:
        self.line.request(method, path, body, self.headers(**headers))
        answer = self.line.getresponse()
        return answer.status, json.loads(answer.read())

    def begin(self, name: str, size: int) -> str:
        status, state = self.ask("POST", "/desk/uploads/", json.dumps({"name": name, "size": size}).encode(),
                                 **{"Content-Type": "application/json"})
        assert status == 200, state
        return f"/desk/uploads/{state['ref']}/"

    def put(self, path: str, data: bytes, at: int) -> tuple[int, dict[str, Any]]:
        return self.ask("PUT", path, data[at : at + PIECE_BYTES], **{"X-Offset": str(at)})

    def put_half(self, path: str, data: bytes, at: int) -> None:
        """Promise a piece and send half of it."""
        piece = data[at : at + PIECE_BYTES]
        self.line.putrequest("PUT", path)
        for name, value in self.headers(**{"X-Offset": str(at), "Content-Length": str(len(piece))}).items():
            self.line.putheader(name, value)
        self.line.endheaders(piece[: len(piece) // 2])


@pytest.fixture
def serve(site) -> Iterator[Callable[..., tuple[subprocess.Popen[bytes], Sender]]]:
    running: list[subprocess.Popen[bytes]] = []
    senders: list[Sender] = []

    def start(before: Callable[[], None] | None = None) -> tuple[subprocess.Popen[bytes], Sender]:
        port = _free_ports(1)[0]
        running.append(started(site, "serve", "--quiet", "--no-worker", "--port", str(port), before=before))
        senders.append(Sender(site, port))
        return running[-1], senders[-1]

    yield start
    for sender in senders:
        sender.line.close()
    for process in running:
        process.kill()
        process.wait()


# --- kills ---


def test_a_worker_killed_in_the_middle_of_a_build_is_followed_by_one_that_ends_it(site, home, serve, tmp_path):
    tape = noise(tmp_path / "long.wav", 700, seed=1)
    data = tape.read_bytes()
    _server, sender = serve()
    bring_in(sender, home, data, "long.wav")
    worker = started(site, "work")
    wait_until(lambda: list((home / "renditions" / "chunks").rglob("*.chunk")), worker)
    worker.send_signal(signal.SIGKILL)
    worker.wait()
    sha256 = hashlib.sha256(data).hexdigest()
    assert whole(home, sha256) == []  # nothing half-made counts as made
    stood = {path: path.stat().st_mtime_ns for path in (home / "renditions" / "chunks").rglob("*.chunk")}
    done = manage(site, "work", "--once")
    assert done.returncode == 0, done.stderr
    assert len(whole(home, sha256)) == 1
    assert masters(home)[sha256] == data
    kept = [path for path, at in stood.items() if path.exists() and path.stat().st_mtime_ns == at]
    assert kept  # what stood is not made a second time
    again = manage(site, "work", "--once")
    assert again.returncode == 0
    assert len(whole(home, sha256)) == 1


def bring_in(sender: Sender, home: Path, data: bytes, name: str) -> str:
    """Send what is not here yet, then the form; returns the recording's address at the desk."""
    path = sender.begin(name, len(data))
    at = sender.ask("GET", path)[1]["arrived"]
    while at < len(data):
        status, state = sender.put(path, data, at)
        assert status == 200, state
        at = state["arrived"]
    form = {"kept": path.split("/")[-2], "title": name, "recorded_on": "1962", "language": "en"}
    for number in range(3):
        form |= {f"transcript-{number}-language": "en", f"transcript-{number}-kind": "verbatim"}
    sender.line.request("POST", "/desk/bring/", urlencode(form), sender.headers(
        **{"Content-Type": "application/x-www-form-urlencoded"}))
    answer = sender.line.getresponse()
    page = answer.read().decode()
    assert answer.status == 302, re.findall(r'(?s)<ul class="errorlist.*?</ul>', page)
    assert masters(home)[hashlib.sha256(data).hexdigest()] == data
    return answer.headers["Location"]


def test_a_server_killed_in_the_middle_of_a_piece_loses_at_most_that_piece(home, serve, tmp_path):
    data = noise(tmp_path / "sent.wav", 120, seed=2).read_bytes()
    server, sender = serve()
    path = sender.begin("sent.wav", len(data))
    for at in (0, PIECE_BYTES):
        assert sender.put(path, data, at)[0] == 200
    sender.put_half(path, data, 2 * PIECE_BYTES)
    time.sleep(0.3)
    os.kill(server.pid, signal.SIGKILL)
    server.wait()
    _, sender = serve()
    status, state = sender.ask("GET", path)
    assert status == 200
    assert 2 * PIECE_BYTES <= state["arrived"] < 3 * PIECE_BYTES
    bring_in(sender, home, data, "sent.wav")  # the same file, chosen again, goes on where it stood
    assert masters(home)[hashlib.sha256(data).hexdigest()] == data


# --- a full disk ---


def test_an_upload_that_fills_the_disk_goes_on_once_there_is_room(home, serve, tmp_path):
    data = noise(tmp_path / "big.wav", 400, seed=3).read_bytes()
    assert len(data) > LIMIT_BYTES
    server, sender = serve(before=limited)
    path = sender.begin("big.wav", len(data))
    at, status = 0, 200
    while status == 200:
        status, state = sender.put(path, data, at)
        at = state["arrived"]
    assert status == 507  # RFC 4918, section 11.5, Insufficient Storage
    assert "could not be written" in state["words"]
    assert at % PIECE_BYTES == 0
    assert LIMIT_BYTES - PIECE_BYTES <= at <= LIMIT_BYTES
    server.kill()
    server.wait()
    _, sender = serve()
    assert sender.ask("GET", path)[1]["arrived"] == at
    bring_in(sender, home, data, "big.wav")
    assert masters(home)[hashlib.sha256(data).hexdigest()] == data


def test_a_build_that_fills_the_disk_says_so_and_is_made_once_there_is_room(site, home, serve, tmp_path):
    data = noise(tmp_path / "built.wav", 400, seed=4).read_bytes()
    sha256 = hashlib.sha256(data).hexdigest()
    _server, sender = serve()
    ref = bring_in(sender, home, data, "built.wav").split("=")[-1].strip("/").split("/")[-1]
    manage(site, "work", "--once", before=limited)
    assert whole(home, sha256) == []
    assert not list(home.rglob(".part-*"))
    state = sender.ask("GET", f"/desk/recordings/{ref}/sound-state/")[1]
    assert state["state"] == "failed"
    assert "could not be written" in state["words"]
    assert masters(home)[sha256] == data
    an_hour_later(home)
    sender.line.request("GET", f"/recordings/{ref}/sound", headers=sender.headers())
    assert sender.line.getresponse().read()
    assert manage(site, "work", "--once").returncode == 0
    assert len(whole(home, sha256)) == 1


def an_hour_later(home: Path) -> None:
    """What failed is tried again only after a while."""
    with closing(sqlite3.connect(home / "undersky.sqlite3")) as database, database:
        database.execute("UPDATE django_tasks_database_dbtaskresult SET finished_at = datetime(finished_at, '-1 hour')")


def test_a_tape_too_large_for_the_disk_is_refused_in_words(site, home, tmp_path):
    before = masters(home)
    tape = noise(tmp_path / "large.wav", 300, seed=5)
    refused = manage(site, "add_recording", str(tape), "--title", "C", "--date", "1962", "--by", "archivist",
                     before=limited)
    assert refused.returncode == 1
    assert "Nothing was saved" in refused.stderr
    assert "Traceback" not in refused.stderr
    assert masters(home) == before
    assert not list(home.rglob(".part-*"))


def test_sound_that_does_not_fit_leaves_the_recording_safe_and_says_so(site, home, tmp_path):
    """Nine minutes of Opus are small; the working copy made of them is not."""
    tape = noise(tmp_path / "whole.wav", 540, seed=6)
    small = tmp_path / "small.opus"
    with av.open(str(tape)) as given, av.open(str(small), "w", format="ogg") as made:
        stream = made.add_stream("libopus", rate=48_000, layout="mono")
        stream.bit_rate = 16_000
        for frame in given.decode(audio=0):
            made.mux(stream.encode(frame))
        made.mux(stream.encode(None))
    assert small.stat().st_size < LIMIT_BYTES
    said = manage(site, "add_recording", str(small), "--title", "S", "--date", "1962", "--by", "archivist",
                  before=limited)
    assert said.returncode == 1
    assert "its file is safe" in said.stderr
    assert "Traceback" not in said.stderr
    assert masters(home)[hashlib.sha256(small.read_bytes()).hexdigest()] == small.read_bytes()
