"""How fast the index is built, beside Whoosh by itself over the same words.

Whoosh by itself holds a document a segment with its words and their positions, and the segment's number; its words are
folded by our own folding, as ours are. It is given a part of the archive only: its speed falls with size, so this is
the harder comparison.
"""

from __future__ import annotations

import tempfile
import time
from typing import Any

from archive.management.bench._told import told

SAMPLE = 10_000
WORDS = 150


def row(world: Any, ours_s: float) -> dict[str, Any]:
    ours = len(world.numbers["segment"]) * WORDS / ours_s
    peer = SAMPLE * WORDS / _bare_s(world)
    unit = f"words a second; the peer over {SAMPLE:,} segments"
    return told("find_index_build", ours, peer, ours / peer, unit, "at least 0.9", ours >= 0.9 * peer)


def _bare_s(world: Any) -> float:
    from whoosh import columns, fields
    from whoosh import index as store
    from whoosh.analysis.tokenizers import SpaceSeparatedTokenizer

    from archive.search.words import words_of

    text = fields.TEXT(analyzer=SpaceSeparatedTokenizer(), phrase=True)
    schema = fields.Schema(text=text, owner=fields.COLUMN(columns.NumericColumn("q")))
    texts = [world.text(WORDS) for _ in range(SAMPLE)]
    with tempfile.TemporaryDirectory() as folder:
        began = time.perf_counter()
        writer = store.create_in(folder, schema).writer(limitmb=128, compound=False)
        for number, words in enumerate(texts):
            writer.add_document(text=" ".join(words_of(words)), owner=number)
        writer.commit()
        return time.perf_counter() - began
