"""What a process of its own holds in memory when it has answered many queries, and how soon it answers its first."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from itertools import pairwise
from pathlib import Path
from typing import Any

from archive.management.bench._told import told

MOST_MIB = 400
MOST_S = 2.0
WORDS = 300


def rows() -> list[dict[str, Any]]:
    done = subprocess.run(
        [sys.executable, "-c", "from archive.management.bench import _resident; _resident.measure()"],
        check=True,
        stdout=subprocess.PIPE,
    )
    seen = json.loads(done.stdout.decode().splitlines()[-1])
    return [
        told("find_resident", seen["now"], None, None, "MiB", f"at most {MOST_MIB}", seen["now"] <= MOST_MIB),
        told("find_resident_peak", seen["peak"], None, None, "MiB, at its most", "", None),
        told("find_first", seen["first_s"] * 1000, None, None, "ms, first answer of a process", "at most 2,000",
             seen["first_s"] <= MOST_S),
        told("find_longest", seen["longest_s"] * 1000, None, None, f"ms, {seen['longest']}", "at most 2,000",
             seen["longest_s"] <= MOST_S),
    ]


def measure() -> None:
    import os

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    import django

    django.setup()
    from archive.access.gate import Gate
    from archive.management.bench._world import word
    from archive.search import finding, query

    def ask(text: str) -> float:
        began = time.perf_counter()
        finding.find(Gate(None), finding.Wanted(query.read(text)))
        return time.perf_counter() - began

    first_s = ask(word(40))
    for at in range(0, WORDS, 2):
        ask(f"{word(at)} | {word(at * 7)}")
    # Measured before the hardest questions: what they take is given back.
    now, peak = _mib("VmRSS"), _mib("VmHWM")
    hardest = {name: ask(text) for name, text in _hardest(word).items()}
    longest = max(hardest, key=lambda name: hardest[name])
    told_so = {"now": now, "peak": peak, "first_s": first_s, "longest_s": hardest[longest], "longest": longest}
    print(json.dumps(told_so))


def _hardest(word: Any) -> dict[str, str]:
    """Questions of many letters and many common words."""
    common = [word(at) for at in range(200)]
    return {
        "10,000 letters of one word": "x" * 10_000,
        "10,000 letters of common words": " ".join(common * 20)[:10_000],
        "forty common words, either": " | ".join(common[:40]),
        "a phrase of forty common words": '"' + " ".join(common[:40]) + '"',
        "a phrase of one word forty times": '"' + " ".join([common[0]] * 40) + '"',
        "twenty phrases of two common words": " ".join(f'"{one} {two}"' for one, two in pairwise(common[:21])),
        "forty beginnings, either": " | ".join(f"{one}{two}*" for one in common[:8] for two in common[8:13]),
        "forty common words left out": " ".join(f"-{one}" for one in common[:40]),
    }


def _mib(name: str) -> float:
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(next(line for line in status.splitlines() if line.startswith(name)).split()[1]) / 1024
