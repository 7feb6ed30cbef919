"""`manage.py bench text`: transcripts read, misheard names found, cuts suggested, against libraries for the same.

Each side is measured in a process of its own, by turns, in processor time, medians of several rounds. The texts
of `pk` are made from the topics that Python's own help carries (PSF licence): the first sentences of ten of
them, joined, as Choi (2000), Advances in Domain Independent Linear Text Segmentation, joined news. Nothing is
shipped.
"""

from __future__ import annotations

import itertools
import json
import random
import re
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

CUES = 100_000
ROUNDS = 3
NAMES = 5_000
JOINED_TEXTS = 100
SEGMENTS, FEWEST, MOST = 10, 3, 11
# What the peer takes for words without a topic, given by us because its own list is a download.
STOP_WORDS = re.findall(r"\w+", """
    a about after all also an and any are as at be been before being both but by can could did do does for from had
    has have he her his how i if in into is it its may more most no not of on one only or other our out over she so
    some such than that the their them then there these they this those to two up was we were what when where which
    who will with would you your
""")


def rows() -> list[dict[str, Any]]:
    """Measure everything once; about two minutes on two cores."""
    ours, theirs = [], []
    with tempfile.TemporaryDirectory(prefix="text-bench-") as folder:
        file = Path(folder) / "told.srt"
        file.write_text(_subrip(), "utf-8")
        for _ in range(ROUNDS):
            ours.append(_in_its_own_process(f"read_ours({str(file)!r})"))
            theirs.append(_in_its_own_process(f"read_theirs({str(file)!r})"))
    ours_per_s, theirs_per_s = (statistics.median(CUES / one["s"] for one in side) for side in (ours, theirs))
    memory_mib, their_mib = (statistics.median(one["mib"] for one in side) for side in (ours, theirs))
    misheard_s = statistics.median(_in_its_own_process("find_names()")["s"] for _ in range(ROUNDS))
    scores = _in_its_own_process("segment()")
    return [
        _row("read_100k_cues", ours_per_s, theirs_per_s, "cues/s", ">= 50000 cues/s", ours_per_s >= 50_000),
        _row("read_100k_cues_memory", memory_mib, their_mib, "MiB more", "<= 200 MiB", memory_mib <= 200),
        _row("misheard_search_s", misheard_s, None, "s for 100,000 cues and 5,000 names", "<= 5 s", misheard_s <= 5),
        _row("pk", scores["ours"], scores["theirs"], "Pk, lower is better", "<= 0.10 and <= half the peer",
             scores["ours"] <= 0.10 and scores["ours"] <= scores["theirs"] / 2),
        _row("window_diff", scores["ours_wd"], scores["theirs_wd"], "WindowDiff, lower is better", "", None),
    ]


def _row(name: str, ours: float, peer: float | None, unit: str, goal: str, holds: bool | None) -> dict[str, Any]:
    return {"name": name, "ours": ours, "peer": peer, "ratio": ours / peer if peer else None,
            "unit": unit, "goal": goal, "holds": holds}


def _in_its_own_process(what: str) -> dict[str, float]:
    command = f"import json; from archive.management.bench import text; print(json.dumps(text.{what}))"
    done = subprocess.run([sys.executable, "-c", command], capture_output=True, text=True, check=False)  # noqa: S603
    if done.returncode:
        raise RuntimeError(f"The measurement {what} failed:\n{done.stderr[-2_000:]}")
    return json.loads(done.stdout)


def _timed(work: Callable[[], Any]) -> dict[str, float]:
    """Return the seconds of processor time that work took and how far it drove up this process's memory, in MiB."""
    before_mib = _most_memory_mib()
    start_s = time.process_time()
    work()
    seconds = time.process_time() - start_s
    return {"s": seconds, "mib": _most_memory_mib() - before_mib}


def _most_memory_mib() -> float:
    """Return the most memory this process has held. Linux; getrusage would begin with that of the parent."""
    status = Path("/proc/self/status").read_text("ascii")
    return int(re.findall(r"VmHWM:\s+(\d+) kB", status)[0]) / 1024


def _subrip() -> str:
    from archive.timecode.times import format_srt

    return "".join(
        f"{number + 1}\n{format_srt(number * 3_000)} --> {format_srt(number * 3_000 + 2_500)}\n"
        f"They told us of the stars over the bay, line {number}\nand of the path home\n\n" for number in range(CUES))


def read_ours(file: str) -> dict[str, float]:
    """Read 100,000 cues (11 MB) with our reader, from bytes to cues and problems."""
    from archive.timecode.readers import read_transcript

    return _timed(lambda: read_transcript(Path(file).read_bytes(), file))


def read_theirs(file: str) -> dict[str, float]:
    """Read the same with bare pysrt, told its encoding."""
    import pysrt

    return _timed(lambda: pysrt.from_string(Path(file).read_bytes().decode()))


def find_names() -> dict[str, float]:
    """Look for 5,000 made-up names in 100,000 cues of made-up words, a tenth of them with a name misheard."""
    from archive.timecode.misheard import find_misheard

    rng = random.Random(5)
    names = [_made_up(rng, rng.randint(2, 4)).capitalize() for _ in range(NAMES)]
    words = [_made_up(rng, rng.choice([1, 1, 2, 2, 2, 3, 3, 4])) for _ in range(20_000)]
    weights = list(itertools.accumulate(1 / rank for rank in range(1, len(words) + 1)))
    cues = [_spoken(rng, rng.choices(words, cum_weights=weights, k=9), names) for _ in range(CUES)]
    return _timed(lambda: find_misheard(cues, names))


def _made_up(rng: random.Random, syllables: int) -> str:
    starts, vowels = [*"ptkmnslrvhgbdfw", "sh", "th", "ng"], [*"aeiou", "ai", "ee"]
    return "".join(rng.choice(starts) + rng.choice(vowels) + (rng.choice("nlrs") if rng.random() < 0.3 else "")
                   for _ in range(syllables))


def _spoken(rng: random.Random, words: list[str], names: list[str]) -> str:
    if rng.random() < 0.1:
        name = list(rng.choice(names))
        name[rng.randrange(1, len(name))] = rng.choice("aeioutks")
        words[4] = "".join(name)
    return f"{words[0].capitalize()} {' '.join(words[1:])}."


def segment() -> dict[str, float]:
    """Return the mean Pk and WindowDiff over joined texts, ours and nltk's TextTiling, its number of cuts free."""
    from nltk.tokenize.texttiling import TextTilingTokenizer

    from archive.timecode.segmentation import pk, suggest_cuts, window_diff

    rng = random.Random(1)
    pool = _help_texts()
    tiling = TextTilingTokenizer(stopwords=STOP_WORDS)
    found: dict[str, list[float]] = {name: [] for name in ("ours", "theirs", "ours_wd", "theirs_wd")}
    for _ in range(JOINED_TEXTS):
        sentences, cuts = _joined(rng, pool)
        for name, suggested in (("ours", suggest_cuts(sentences)), ("theirs", _tiled(tiling, sentences))):
            found[name].append(pk(cuts, suggested, len(sentences)))
            found[f"{name}_wd"].append(window_diff(cuts, suggested, len(sentences)))
    return {name: statistics.mean(values) for name, values in found.items()}


def _help_texts() -> list[list[str]]:
    """Return the sentences of each help topic that has enough prose: no examples, grammar or headings."""
    from pydoc_data.topics import topics as help_topics

    texts = []
    for text in help_topics.values():
        parts = [part for part in text.split("\n\n") if not part.startswith(("   ", ">>>")) and "::=" not in part]
        sentences = re.split(r"(?<=[.!?]) (?=[A-Z])", " ".join(" ".join(parts).split()))
        kept = [sentence for sentence in sentences if 5 <= len(re.findall(r"[A-Za-z]+", sentence)) <= 60]
        if len(kept) >= MOST:
            texts.append(kept)
    return texts


def _joined(rng: random.Random, pool: list[list[str]]) -> tuple[list[str], list[int]]:
    sentences: list[str] = []
    cuts = []
    for text in rng.sample(pool, SEGMENTS):
        if sentences:
            cuts.append(len(sentences))
        sentences += text[: rng.randint(FEWEST, MOST)]
    return sentences, cuts


def _tiled(tiling: Any, sentences: list[str]) -> list[int]:
    """Return nltk's cuts as sentence numbers; each sentence is a paragraph, its punctuation taken out."""
    plain = [" ".join(re.findall(r"[a-z]+", sentence.lower())) for sentence in sentences]
    try:
        tiles = tiling.tokenize("\n\n".join(plain))
    except ValueError:
        return []
    cuts, seen = [], 0
    for tile in tiles[:-1]:
        seen += sum(bool(part.strip()) for part in tile.split("\n\n"))
        cuts.append(seen)
    return [cut for cut in sorted(set(cuts)) if 0 < cut < len(sentences)]
