"""How fast closed seconds are taken out, and in how much memory: two hours of made-up talk, measured beside FFmpeg.

The peer is the ffmpeg program where it is installed, else the same work in one piece through PyAV; each row's unit says
which. Both encode with the same settings (AAC-LC, constant quality, the same coder, no noise substitution).
"""

from __future__ import annotations

import resource
import shutil
import subprocess
import sys
import tempfile
import time
import wave
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import av
import numpy as np

from archive.media.chunks import RECIPE, as_float, new_encoder
from archive.media.pauses import find_pauses
from archive.media.peaks import peaks_of
from archive.media.rendition import Rendition, render
from archive.media.spans import RATE_HZ, silence, to_samples
from archive.media.working import WorkingCopy, WorkingReader, make_working_copy

HOURS = 2
CLOSED = [(61_000, 61_800), (900_000, 905_000), (2_400_250, 2_430_250), (4_000_000, 4_060_000), (6_500_000, 6_620_000)]
"""Five spans of 0.8, 5, 30, 60 and 120 s."""
LONG_HOURS = 6
_MINUTE = 60 * RATE_HZ


def rows() -> list[dict[str, Any]]:
    """Measure everything once; about five minutes on two cores. Needs 3 GB in the temporary folder for a while."""
    with tempfile.TemporaryDirectory(prefix="media-bench-") as name:
        folder = Path(name)
        master = _write_master(folder / "master.wav")
        copy = make_working_copy(master, folder / "work.flac")
        made = _first_build(folder, copy, master)
        return [
            _cut(folder, copy, master),
            made,
            _peaks(folder / "open.m4a"),
            _pauses(copy),
            _memory(folder),
        ]


def _row(name: str, ours: float, peer: float, unit: str, goal: str, holds: bool, ratio: float) -> dict[str, Any]:
    return {
        "name": name,
        "ours": round(ours, 3),
        "peer": round(peer, 3),
        "ratio": round(ratio, 2),
        "unit": unit,
        "goal": goal,
        "holds": holds,
    }


def _cut(folder: Path, copy: WorkingCopy, master: Path) -> dict[str, Any]:
    ours = _seconds(lambda: render(copy.path, folder / "cut.m4a", CLOSED, chunk_dir=folder / "chunks"))
    peer = _seconds(lambda: _peer_encode(master, folder / "peer.m4a", CLOSED))
    unit = f"s, wall time; peer: decode, mute and encode the whole with {_peer_name()}"
    return _row("cut_five_spans", ours, peer, unit, ">= 20 x faster", peer >= 20 * ours, peer / ours)


def _first_build(folder: Path, copy: WorkingCopy, master: Path) -> dict[str, Any]:
    ours = _cpu_seconds(lambda: render(copy.path, folder / "open.m4a", [], chunk_dir=folder / "chunks"))
    peer = _cpu_seconds(lambda: _peer_encode(master, folder / "peer.m4a", []))
    unit = f"s, processor time; peer: {_peer_name()} encoding the same two hours"
    return _row("first_build", ours, peer, unit, "<= 1.3 x", ours <= 1.3 * peer, ours / peer)


def _peaks(rendition: Path) -> dict[str, Any]:
    ours = _cpu_seconds(lambda: peaks_of(rendition))
    peer = _cpu_seconds(lambda: _peer_decode(rendition))
    unit = f"s, processor time; peer: a bare decode with {_peer_name()}"
    return _row("peaks", ours, peer, unit, "<= 1.3 x", ours <= 1.3 * peer, ours / peer)


def _pauses(copy: WorkingCopy) -> dict[str, Any]:
    spent = _cpu_seconds(lambda: find_pauses(copy.path))
    speed = copy.samples / RATE_HZ / spent
    unit = "x real time, processor time, decoding included; peer: the goal"
    return _row("pauses_x_realtime", speed, 800, unit, ">= 800", speed >= 800, speed / 800)


def _memory(folder: Path) -> dict[str, Any]:
    """Take a six-hour recording through everything in a process of its own and ask for its greatest size.

    Its sound repeats every minute, so that most chunks are encoded only once and the run stays short.
    """
    one = next(_minutes(1))
    _write_wav(folder / "long.wav", (one for _ in range(LONG_HOURS * 60)), bytes_per_sample=2)
    command = [sys.executable, "-m", "archive.management.bench.media", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)  # noqa: S603 - our own interpreter
    mib = float(done.stdout)
    unit = "MiB resident through working copy, rendition, peaks and pauses; peer: the goal"
    return _row("memory_mib", mib, 200, unit, "<= 200 at six hours", mib <= 200, mib / 200)


def _six_hours(folder: Path) -> float:
    """Return the greatest resident size in MiB after all work on a six-hour recording."""
    master, work, chunks = folder / "long.wav", folder / "long.flac", folder / "long-chunks"
    copy = make_working_copy(master, work)
    made = render(copy.path, folder / "long.m4a", CLOSED, chunk_dir=chunks)
    peaks_of(made.path)
    find_pauses(copy.path)
    return _greatest_mib()


def _greatest_mib() -> float:
    """Return this program's own greatest resident size (proc(5), VmHWM).

    ru_maxrss would do elsewhere, but on Linux it also counts the parent's size at the moment of the fork.
    """
    status = Path("/proc/self/status")
    if not status.exists():
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    line = next(line for line in status.read_text("ascii").splitlines() if line.startswith("VmHWM:"))
    return int(line.split()[1]) / 1024


# --- the sound


def _write_master(path: Path) -> Path:
    _write_wav(path, _minutes(HOURS * 60), bytes_per_sample=3)
    return path


def _minutes(count: int) -> Iterator[np.ndarray]:
    """Yield minutes of something like talk with pauses, no two alike, float32 in [-1, 1]."""
    times = np.arange(_MINUTE) / RATE_HZ
    glide = 2 * np.pi * np.cumsum(140 + 14 * np.sin(2 * np.pi * 0.7 * times)) / RATE_HZ
    tones = sum(np.sin(k * glide) / k for k in range(1, 20)).astype(np.float32)
    for number in range(count):
        rng = np.random.default_rng(number)
        knots = rng.random(501) * (np.arange(501) % 60 < 50)
        rhythm = np.interp(times, np.arange(501) * 0.12, knots).astype(np.float32)
        noise = rng.standard_normal(_MINUTE, np.float32)
        yield np.clip(0.2 * rhythm**2 * tones + noise * (0.001 + 0.02 * rhythm), -0.99, 0.99)


def _write_wav(path: Path, minutes: Iterator[np.ndarray], bytes_per_sample: int) -> None:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(bytes_per_sample)
        file.setframerate(RATE_HZ)
        for minute in minutes:
            whole = (minute * (2 ** (8 * bytes_per_sample - 1) - 1)).astype("<i4")
            file.writeframes(whole.view(np.uint8).reshape(-1, 4)[:, :bytes_per_sample].tobytes())


# --- the peer


def _ffmpeg() -> str | None:
    return shutil.which("ffmpeg")


def _peer_name() -> str:
    return "the ffmpeg program" if _ffmpeg() else "FFmpeg through PyAV (no ffmpeg program here)"


def _peer_encode(master: Path, out: Path, closed: list[tuple[int, int]]) -> None:
    program = _ffmpeg()
    if program is None:
        _encode_in_one_piece(master, out, closed)
        return
    inside = "+".join(f"between(t,{a / 1000},{b / 1000})" for a, b in closed)
    mute = ["-af", f"volume=0:enable='{inside}'"] if closed else []
    codec = ["-c:a", "aac", "-aac_coder", RECIPE.coder, "-aac_pns", "0", "-q:a", str(RECIPE.quality)]
    _run([program, "-i", str(master), *mute, *codec, "-movflags", "+faststart", str(out)])


def _peer_decode(path: Path) -> None:
    program = _ffmpeg()
    if program:
        _run([program, "-i", str(path), "-f", "null", "-"])
        return
    with av.open(str(path)) as container:
        for _ in container.decode(audio=0):
            pass


def _run(command: list[str]) -> None:
    subprocess.run([command[0], "-v", "error", "-y", *command[1:]], check=True)  # noqa: S603 - fixed arguments


def _encode_in_one_piece(master: Path, out: Path, closed: list[tuple[int, int]]) -> None:
    """Decode, silence and encode everything with one encoder; the packets are written without a container."""
    copy = make_working_copy(master, out.with_suffix(".flac"))
    encoder = new_encoder(1, RECIPE)
    with WorkingReader(copy) as reader, out.open("wb") as file:
        for first, block in reader.blocks(1_024 * 1_000):
            sound = as_float(silence(block, first, to_samples(closed)))
            for at in range(0, sound.shape[1] - 1_023, 1_024):
                frame = av.AudioFrame.from_ndarray(sound[:, at : at + 1_024].copy(), format="fltp", layout="mono")
                frame.sample_rate, frame.pts = RATE_HZ, first + at
                file.writelines(bytes(packet) for packet in encoder.encode(frame))


# --- the clock


def _seconds(work: Callable[[], Rendition | None]) -> float:
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def _cpu_seconds(work: Callable[[], object]) -> float:
    """Return processor time of this process and of the programs it started, so that neighbours do not count."""
    begin = _cpu()
    work()
    return _cpu() - begin


def _cpu() -> float:
    return sum(
        usage.ru_utime + usage.ru_stime
        for usage in map(resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    )


if __name__ == "__main__":
    print(_six_hours(Path(sys.argv[1])))
