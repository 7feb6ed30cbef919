"""Text into words: folded, so that a word is found under any spelling; and the marks on what was found."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Container
from dataclasses import dataclass

from ..timecode.folding import fold, fold_letters, past_marks

# Marks that folding leaves (vowel signs of many scripts) are parts of words, though not letters to `re`.
MARKS = "".join(chr(code) for code in range(0x300, 0x20000) if unicodedata.category(chr(code))[0] == "M")
WORD = re.compile(rf"[^\W_](?:[^\W_]|[{MARKS}])*")
LONGEST_WORD = 64  # what is longer is cut, in the index and in what is asked
SHOWN_CHARS = 320
BEFORE_HIT_CHARS = 90


@dataclass(frozen=True)
class Piece:
    """A part of a text as it is written; `hit` where it is one of the words looked for."""

    text: str
    hit: bool = False


def words_of(text: str) -> list[str]:
    """The folded words of a text, in order."""
    return [word[:LONGEST_WORD] for word in WORD.findall(fold(text))]


def marked(text: str, wanted: Container[str]) -> list[Piece]:
    """The text in pieces, the wanted (folded) words marked; a long one is cut to the part round its first mark."""
    spans = _spans(text, wanted)
    start, end = _window(text, spans)
    pieces = [Piece("…")] if start else []
    at = start
    for first, last in spans:
        if first < start or last > end:
            continue
        pieces += [Piece(text[at:first]), Piece(text[first:last], True)]
        at = last
    pieces.append(Piece(text[at:end] + ("…" if end < len(text) else "")))
    return [piece for piece in pieces if piece.text]


def _spans(text: str, wanted: Container[str]) -> list[tuple[int, int]]:
    """Where the wanted words stand in the text as written (character offsets, marks included)."""
    folded, came_from = _folded_with_sources(text)
    found = []
    for match in WORD.finditer(folded):
        if match.group()[:LONGEST_WORD] in wanted:
            found.append((came_from[match.start()], past_marks(text, came_from[match.end() - 1] + 1)))
    return found


def _folded_with_sources(text: str) -> tuple[str, list[int]]:
    """The folded text, and for each of its characters the offset of the one it came from."""
    parts = fold_letters(text)
    came_from = [offset for offset, part in enumerate(parts) for _ in part]
    return "".join(parts), came_from


def _window(text: str, spans: list[tuple[int, int]]) -> tuple[int, int]:
    """The part of a long text to show, begun at a space where there is one near."""
    if len(text) <= SHOWN_CHARS:
        return 0, len(text)
    first = spans[0][0] if spans else 0
    start = max(0, min(first - BEFORE_HIT_CHARS, len(text) - SHOWN_CHARS))
    if start:
        space = text.find(" ", start, first)
        start = space + 1 if space >= 0 else start
    end = min(len(text), start + SHOWN_CHARS)
    space = text.rfind(" ", first + 1, end) if end < len(text) else -1
    return start, space if space > first else end
