"""Arithmetic of half-open stretches of milliseconds."""

from __future__ import annotations

from collections.abc import Iterable

Span = tuple[int, int]


def merge(spans: Iterable[Span]) -> list[Span]:
    """The union, ascending, without overlap or touching neighbours."""
    merged: list[Span] = []
    for start, end in sorted(spans):
        if start >= end:
            continue
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((start, end))
    return merged


def complement(merged: list[Span], length: int) -> list[Span]:
    """What of [0, length) the merged spans leave out."""
    edges = [0, *(edge for span in merged for edge in span), length]
    return [(start, end) for start, end in zip(edges[::2], edges[1::2], strict=True) if start < end]


def overlaps(start: int, end: int, merged: list[Span]) -> bool:
    """Whether [start, end) shares anything with the spans; an empty stretch counts as the instant at its start."""
    return any(start < b and max(end, start + 1) > a for a, b in merged)


def clip(merged: list[Span], start: int, end: int) -> list[Span]:
    """The parts inside [start, end), counted from `start`."""
    inside = [(max(a, start) - start, min(b, end) - start) for a, b in merged]
    return [(a, b) for a, b in inside if a < b]
