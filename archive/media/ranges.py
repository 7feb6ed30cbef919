"""Byte ranges of HTTP as pure arithmetic (RFC 9110 section 14; If-Range: section 13.1.5).

Only GET has ranges (section 14.2): pass header=None for any other method.
"""

from __future__ import annotations

import re
from typing import NamedTuple

CAP_BYTES = 1 << 20
"""A 206 answer carries at most this much. A listener who stalls holds a worker no longer than 1 MiB takes; players
ask again for the rest (section 15.3.7: the client must look at Content-Range to see what it got)."""
_RANGE = re.compile(r"([0-9]{0,4000})-([0-9]{0,4000})", re.ASCII)
_STRONG_TAG = re.compile(r'"[\x21\x23-\x7e\x80-\xff]*"')


class RangePlan(NamedTuple):
    """The answer to give: status, the bytes [start, end) to send, and the headers that go with them."""

    status: int
    start: int
    end: int
    headers: dict[str, str]


def strong_etag(sha256: str) -> str:
    """Return the entity tag for bytes with this SHA-256 (section 8.8.3): equal bytes, equal tag."""
    return f'"{sha256}"'


def plan_range(header: str | None, if_range: str | None, etag: str, size: int, cap_bytes: int = CAP_BYTES) -> RangePlan:
    """Decide what to send for the Range and If-Range headers of a GET for `size` bytes with this strong `etag`.

    One range inside the file: 206, cut to `cap_bytes`. One range wholly outside: 416. No range, several, a unit
    other than bytes, anything malformed or reversed, or an If-Range that is not exactly `etag`: 200 with everything.
    Raises ValueError for a weak or malformed `etag`, a mistake of the caller's.
    """
    if not _STRONG_TAG.fullmatch(etag):
        raise ValueError(f"{etag} is not a strong entity tag: it must be quoted and not begin with W/.")
    wanted = _single_range(header)
    if wanted is None or (if_range is not None and if_range.strip(" \t") != etag):
        return _everything(etag, size)
    first, last = wanted
    if first == "":
        return _suffix(int(last), etag, size, cap_bytes)
    end = int(last) + 1 if last else size
    if end <= int(first) and last:
        return _everything(etag, size)
    return _part(int(first), end, etag, size, cap_bytes)


def _single_range(header: str | None) -> tuple[str, str] | None:
    """Return (first, last) as digits of the only range asked for; None where the header is to be ignored."""
    unit, equals, specs = (header or "").strip(" \t").partition("=")
    if not equals or unit.lower() != "bytes":
        return None
    filled = [spec.strip(" \t") for spec in specs.split(",") if spec.strip(" \t")]  # section 5.6.1: empty elements
    match = _RANGE.fullmatch(filled[0]) if len(filled) == 1 else None
    if match is None or match.group(0) == "-":
        return None
    return match.group(1), match.group(2)


def _suffix(length: int, etag: str, size: int, cap_bytes: int) -> RangePlan:
    """Answer 'the last so many bytes' (section 14.1.2); of nothing at all, any suffix is all of it."""
    if length == 0:
        return _unsatisfiable(etag, size)
    if size == 0:
        return _everything(etag, size)
    return _part(max(0, size - length), size, etag, size, cap_bytes)


def _part(first: int, end: int, etag: str, size: int, cap_bytes: int) -> RangePlan:
    if first >= size:
        return _unsatisfiable(etag, size)
    end = min(end, size, first + cap_bytes)
    headers = _headers(etag, end - first) | {"Content-Range": f"bytes {first}-{end - 1}/{size}"}
    return RangePlan(206, first, end, headers)


def _everything(etag: str, size: int) -> RangePlan:
    return RangePlan(200, 0, size, _headers(etag, size))


def _unsatisfiable(etag: str, size: int) -> RangePlan:
    return RangePlan(416, 0, 0, _headers(etag, 0) | {"Content-Range": f"bytes */{size}"})


def _headers(etag: str, length: int) -> dict[str, str]:
    return {"Accept-Ranges": "bytes", "ETag": etag, "Content-Length": str(length)}
