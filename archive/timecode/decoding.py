"""Bytes of a transcript to text: byte order mark, UTF-16 by its zero bytes, strict UTF-8, else a guess, reported.

The bytes themselves are never changed. Text is not normalised; letters stay as they were written.
"""

import codecs
import re
from typing import NamedTuple

from archive.timecode.cues import Problem

BOMS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
# Codecs that Python calls text encodings but that no transcript is saved in.
NOT_FOR_FILES = {"idna", "punycode", "unicode_escape", "raw_unicode_escape", "undefined"}
LOST = "\ufffd"
# Half a character, which UTF-7 can smuggle in and no database takes.
LONE_SURROGATE = re.compile("[\ud800-\udfff]")
SAMPLE_BYTES = 65_536
# Share of byte pairs with a zero half: Latin UTF-16 has nearly all, other scripts still those of times and spaces.
ZERO_SHARE = 0.1
DOUBLED_CR = "\r\r\n"


class Decoded(NamedTuple):
    """Lines without their ends, the encoding used, and what was odd on the way."""

    lines: list[str]
    encoding: str
    problems: list[Problem]


def decode_lines(data: bytes, encoding: str | None = None) -> Decoded:
    """Return the lines of a file, split only at CRLF, CR and LF; never raises.

    encoding, if given, is used unless a byte order mark says otherwise. Zero characters become U+FFFD, as
    the WebVTT standard asks (6.1, step 1) and databases need.
    """
    text, used, problems = _decode(data, encoding)
    text = text.replace("\0", LOST)
    if text.count(DOUBLED_CR) and text.count(DOUBLED_CR) == text.count("\n"):
        text = text.replace(DOUBLED_CR, "\n")
        problems.append(Problem(0, "doubled-line-ends", "note", "Every line ended twice (CR CR LF); read as once."))
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return Decoded(lines, used, problems + _lost_letters(text, lines))


def _decode(data: bytes, encoding: str | None) -> tuple[str, str, list[Problem]]:
    for bom, name in BOMS:
        if data.startswith(bom):
            problems = _overruled(encoding, name)
            return data[len(bom):].decode(name, "replace"), name, problems
    if encoding:
        return _with_given(data, encoding)
    return _guessed(data)


def _overruled(encoding: str | None, name: str) -> list[Problem]:
    given = _known(encoding) if encoding else name
    if given is not None and name.startswith(given.removesuffix("-sig")):
        return []
    text = f"The file's byte order mark says {name}, so it was read as that and not as {encoding}."
    return [Problem(0, "encoding-overruled", "warning", text)]


def _known(encoding: str) -> str | None:
    try:
        name = codecs.lookup(encoding).name
        b"text".decode(name, "replace")
    except (LookupError, UnicodeError, ValueError):
        return None
    return None if name.replace("-", "_") in NOT_FOR_FILES else name


def _with_given(data: bytes, encoding: str) -> tuple[str, str, list[Problem]]:
    name = _known(encoding)
    if name is not None:
        return LONE_SURROGATE.sub(LOST, data.decode(name, "replace")), name, []
    text, used, problems = _guessed(data)
    message = f"There is no encoding “{encoding[:40]}”. Name one such as utf-8, windows-1252 or iso-8859-2."
    return text, used, [Problem(0, "encoding-unknown", "refused", message), *problems]


def _guessed(data: bytes) -> tuple[str, str, list[Problem]]:
    wide = _utf16_name(data)
    if wide:
        message = f"No byte order mark; read as {wide} because of its zero bytes."
        return data.decode(wide, "replace"), wide, [Problem(0, "utf16-without-mark", "note", message)]
    try:
        return data.decode("utf-8"), "utf-8", []
    except UnicodeDecodeError as error:
        return _not_utf8(data, data.count(b"\n", 0, error.start) + 1)


def _utf16_name(data: bytes) -> str | None:
    sample = data[: SAMPLE_BYTES]
    pairs = len(sample) // 2
    first, second = sample[0::2].count(0), sample[1::2].count(0)
    if not pairs or max(first, second) < ZERO_SHARE * pairs or 10 * min(first, second) > max(first, second):
        return None
    name = "utf-16-le" if second > first else "utf-16-be"
    try:
        data.decode(name)
    except UnicodeDecodeError:
        return None
    return name


def _not_utf8(data: bytes, line: int) -> tuple[str, str, list[Problem]]:
    lenient = data.decode("utf-8", "replace")
    if _mostly_utf8(data, lenient):
        message = "Some bytes are not UTF-8, as the rest of the file is; they were replaced. Mend the source file."
        return lenient, "utf-8", [Problem(line, "bytes-replaced", "warning", message)]
    name = "cp1252"
    try:
        text = data.decode(name)
    except UnicodeDecodeError:
        name, text = "latin-1", data.decode("latin-1")
    message = (f"The file does not say its encoding and is not UTF-8; {name} was guessed. "
               "If letters look wrong, say which encoding it was saved in.")
    return text, name, [Problem(line, "encoding-guessed", "warning", message)]


def _mostly_utf8(data: bytes, lenient: str) -> bool:
    beyond_ascii = sum(map(len, re.findall(r"[^\x00-\x7f\ufffd]+", lenient)))
    return beyond_ascii > 2 * lenient.count(LOST)


def _lost_letters(text: str, lines: list[str]) -> list[Problem]:
    if LOST not in text:
        return []
    message = "A letter is lost here (U+FFFD stands in its place). Mend it in the source or after taking in."
    return [Problem(number, "lost-letters", "warning", message)
            for number, line in enumerate(lines, 1) if LOST in line]


def blank(line: str) -> bool:
    """Whether a line holds nothing but spaces and tabs; a no-break space is text."""
    return not line.strip(" \t")


def filled_range(lines: list[str], first: int, stop: int) -> tuple[int, int]:
    """Return [first, stop) narrowed to begin and end with a line that is not blank; empty if all are."""
    while first < stop and blank(lines[first]):
        first += 1
    while stop > first and blank(lines[stop - 1]):
        stop -= 1
    return first, stop
