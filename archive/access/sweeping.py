"""Taking away what is no longer served: built sound that no viewer is given any more, and the pieces it was made of.

Such files are withdrawn the moment a decision is taken, because nobody's hearing leads to them; here they go from the
disk. What everyone who may hear anything is given now is worked out anew, so that a file which is missing from that is
stale. One that is needed again (when a season opens) is built again from the working copy.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from django.conf import settings

from ..media.files import remove_leftovers
from ..media.rendition import Rendition, sweep_chunks
from ..models import Account, Recording, Segment
from . import folders, showing, sound, uploads
from .gate import Gate
from .showing import Hearing
from .spans import Span

BESIDE = (".m4a", ".json", ".peaks", ".pauses", ".share")


@dataclass(frozen=True)
class Swept:
    files: int
    chunks: int
    uploads: int


class _Remembering(Gate):
    """A gate that works out a recording's closed stretches once."""

    def __init__(self, account: Account | None) -> None:
        super().__init__(account)
        self._closed: dict[int, list[Span]] = {}

    def closed_stretches(self, recording: Recording) -> list[Span]:
        if recording.pk not in self._closed:
            self._closed[recording.pk] = super().closed_stretches(recording)
        return self._closed[recording.pk]


@dataclass
class _Stock:
    """The built files of one recording, by the stretch each one holds."""

    by_stretch: dict[tuple[int, int], set[Path]] = field(default_factory=dict)


def sweep() -> Swept:
    """Remove stale sound, pieces that no file is made of, half-done files and forgotten uploads.

    Raises folders.Busy while sound is being built.
    """
    with folders.held(sound.sweeping_lock(), wait=False):
        stale = _stale()
        for path in stale:
            _remove(path)
        chunks = sweep_chunks(_folder() / "chunks", _standing()) if stale else 0
    remove_leftovers(_folder())
    return Swept(len(stale), chunks, uploads.sweep())


def _folder() -> Path:
    return Path(settings.RENDITIONS)


def _facts() -> Iterator[tuple[Path, dict[str, Any]]]:
    for path in sorted(_folder().glob("*.json")):
        facts = sound.read_facts(path)
        yield path, facts or {}


def _stale() -> list[Path]:
    """Files (by their facts) that no viewer is given now; facts that do not say of what they are count as stale."""
    stocks: dict[str, _Stock] = {}
    unknown = []
    for path, facts in _facts():
        if "master" not in facts:
            unknown.append(path)
            continue
        stock = stocks.setdefault(facts["master"], _Stock())
        stock.by_stretch.setdefault((facts["start_ms"], facts["end_ms"]), set()).add(path)
    gates = list(_gates())
    for master, stock in stocks.items():
        for key in _given(master, stock, gates):
            for paths in stock.by_stretch.values():
                paths.discard(_folder() / f"{key}.json")
    left = [path for stock in stocks.values() for paths in stock.by_stretch.values() for path in paths]
    return unknown + left


def _gates() -> Iterator[_Remembering]:
    """A gate for a visitor and each account, one of each sort: those who meet the same things hear the same."""
    seen: set[tuple[bytes, frozenset[int]]] = set()
    for account in [None, *Account.objects.filter(is_active=True).order_by("pk")]:
        gate = _Remembering(account)
        sort = (gate.levels.tobytes(), frozenset(gate.trusted))
        if sort not in seen:
            seen.add(sort)
            yield gate


def _given(master: str, stock: _Stock, gates: Iterable[Gate]) -> Iterator[str]:
    """The keys of what is given of this recording to anybody, as far as its stretches are in stock."""
    row = Recording.ungated.select_related("master").filter(master__sha256=master).first()
    if row is None:
        return
    segments = [
        one for one in Segment.ungated.filter(recording=row).select_related("recording__master")
        if (one.start_ms, one.end_ms) in stock.by_stretch
    ]
    for gate in gates:
        hearings = [showing.hearing_of_recording(gate, row)]
        hearings += [showing.hearing_of_segment(gate, one) for one in segments]
        yield from (sound.key(row, hearing) for hearing in hearings if isinstance(hearing, Hearing))


def _remove(path: Path) -> None:
    """The facts go first, so that the file no longer counts as built."""
    for ending in (".json", *(other for other in BESIDE if other != ".json")):
        path.with_suffix(ending).unlink(missing_ok=True)


def _standing() -> list[Rendition]:
    return [
        Rendition(path.with_suffix(".m4a"), facts["sha256"], facts["duration_ms"], facts["size"], b"",
                  tuple(facts["chunks"]))
        for path, facts in _facts() if "chunks" in facts
    ]
