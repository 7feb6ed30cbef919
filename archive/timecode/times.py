"""Times people write, as whole milliseconds from the start of a recording, and back.

Read: clock times (`1:02:03.5`, `62:03`, `0:07`), SubRip and WebVTT times, ISO 8601 durations (`PT1H2M3.5S`),
SMPTE ST 12-1 labels with their frame rate, and W3C Media Fragments (`#t=10,20`). Nothing is guessed: what
could mean two times is refused with the way to write it. Arithmetic is exact; parts of a millisecond are
rounded half up.
"""

import re
from fractions import Fraction
from typing import NamedTuple
from urllib.parse import unquote

from archive.timecode.errors import TimecodeError
from archive.timecode.frames import Rate, parse_smpte

CLOCK = re.compile(r"(?:([0-9]{1,9}):)?([0-9]{1,9}):([0-9]{2})(?:[.,]([0-9]{1,12}))?")
NUMBER = r"([0-9]{1,9}(?:[.,][0-9]{1,12})?)"
DURATION = re.compile(rf"PT(?:{NUMBER}H)?(?:{NUMBER}M)?(?:{NUMBER}S)?")
NPT_FRACTION = r"(?:\.([0-9]{0,12}))?"
NPT = re.compile(rf"(?:([0-9]{{1,9}}):)?([0-5][0-9]):([0-5][0-9]){NPT_FRACTION}|([0-9]{{1,9}}){NPT_FRACTION}")
LABEL_SHAPE = re.compile(r"[^:;]+(?:[:;][^:;]+){3}|[^;]*;.*")
MAX_CHARS = 200
NO_NEGATIVE = "a time before the start of the recording does not exist"
CLOCK_HINT = "Write hours:minutes:seconds, such as 1:02:03.5, or minutes:seconds, such as 0:07."
FRAGMENT_HINT = "Write it like #t=10,20 (seconds) or #t=01:02:03,01:02:10."


class Span(NamedTuple):
    """A stretch [start_ms, end_ms) of a recording; end_ms None means to its end."""

    start_ms: int
    end_ms: int | None


def parse_time(text: str, rate: Rate | None = None) -> int:
    """Return the milliseconds that text names; raise TimecodeError, which says how to mend it.

    rate is the frame rate, needed for SMPTE labels (`00:00:03:12`, `00:01:00;02`) and only for them.
    """
    given = text.strip()
    _check_readable(given)
    if given[0] in "Pp":
        return parse_duration(given)
    if LABEL_SHAPE.fullmatch(given):
        if rate is None:
            raise TimecodeError(given, "this label counts frames, and the frame rate is missing",
                                "Give the frame rate, such as 25 or 29.97.")
        return parse_smpte(given, rate)
    return parse_clock(given)


def parse_time_or_span(text: str, rate: Rate | None = None) -> int | Span:
    """Return milliseconds, or a Span if text is a Media Fragment (`#t=…`, `t=…` or a link ending in one)."""
    given = text.strip()
    if "#" in given or given.startswith("t="):
        return parse_fragment(given)
    return parse_time(given, rate)


def _check_readable(given: str) -> None:
    if not given:
        raise TimecodeError(given, "nothing is written", CLOCK_HINT)
    if len(given) > MAX_CHARS:
        raise TimecodeError(given, "this is too long for a time", CLOCK_HINT)
    if given[0] in "-\u2212\u2013":
        raise TimecodeError(given, NO_NEGATIVE, "Leave out the sign.")


def parse_clock(text: str) -> int:
    """Return the milliseconds of `[h:]mm:ss[.fff]`, dot or comma; only the first field may pass 59."""
    match = CLOCK.fullmatch(text)
    if match is None:
        raise TimecodeError(text, _why_no_clock(text), CLOCK_HINT)
    hours, minutes, seconds, fraction = match.groups()
    if hours is not None and len(minutes) != 2:
        raise TimecodeError(text, "minutes after hours need two digits", CLOCK_HINT)
    if int(seconds) > 59 or (hours is not None and int(minutes) > 59):
        raise TimecodeError(text, "only the first field may be more than 59", CLOCK_HINT)
    return _ms(int(hours or 0), int(minutes), int(seconds), fraction)


def _ms(hours: int, minutes: int, seconds: int, fraction: str | None) -> int:
    return ((hours * 60 + minutes) * 60 + seconds) * 1000 + fraction_ms(fraction or "")


def fraction_ms(digits: str) -> int:
    """Return the milliseconds of the digits behind a decimal point, half rounded up: `5` is 500."""
    if len(digits) <= 3:
        return int(digits.ljust(3, "0"))
    return int(digits[:3]) + int(digits[3] >= "5")


def _why_no_clock(text: str) -> str:
    if re.fullmatch(r"[0-9]+(?:[.,][0-9]*)?", text):
        return "one number alone could be seconds or minutes"
    if re.search(r"[^0-9:.,]", text):
        stranger = re.search(r"[^0-9:.,]", text)
        return f"{stranger[0] if stranger else ''!r} does not belong in a time"
    if re.fullmatch(r"[0-9]+(?::[0-9]+){1,2}", text):
        return "minutes and seconds after the first field need two digits"
    return "the fields are not hours, minutes and seconds"


def parse_duration(text: str) -> int:
    """Return the milliseconds of an ISO 8601 duration of hours, minutes and seconds (ISO 8601-1, 5.5.2).

    Only its first field may pass 59 and only its last may carry a fraction. Years, months, weeks and days
    are refused, since a recording is not measured in them.
    """
    match = DURATION.fullmatch(text)
    given = [(index, value) for index, value in enumerate(match.groups()) if value] if match else []
    hint = "Write it like PT1H2M3.5S."
    if not given:
        raise TimecodeError(text, "a duration needs PT and hours (H), minutes (M) or seconds (S)", hint)
    values = [_exact(value) for _, value in given]
    if any(value >= 60 for value in values[1:]):
        raise TimecodeError(text, "only the first field may be more than 59", hint)
    if not all(written.isdigit() for _, written in given[:-1]):
        raise TimecodeError(text, "only the last field may have a fraction", hint)
    weights_ms = (3_600_000, 60_000, 1_000)
    exact_ms = [value * weights_ms[index] for value, (index, _) in zip(values, given, strict=True)]
    return int(sum(exact_ms, Fraction(1, 2)))


def _exact(number: str) -> Fraction:
    return Fraction(number.replace(",", "."))


def parse_fragment(text: str) -> Span:
    """Return the stretch that a W3C Media Fragment names (Media Fragments URI 1.0, 4.2.1 and 5.1.1).

    Takes `#t=…`, `t=…` or a whole link. As 5.1.1 asks: names and values are percent-decoded after they are
    split, other dimensions are passed over, and of several `t` the last valid one counts. Where a browser
    would quietly ignore an invalid one and play everything, this raises TimecodeError.
    """
    if len(text) > 10 * MAX_CHARS:
        raise TimecodeError(text, "this is too long for a link to a time", FRAGMENT_HINT)
    values = [value for name, value in _pairs(text.rpartition("#")[2]) if name == "t"]
    spans, error = [], TimecodeError(text, "it names no time (t=)", FRAGMENT_HINT)
    for value in values:
        try:
            spans.append(_temporal(value))
        except TimecodeError as problem:
            error = TimecodeError(text, problem.reason, FRAGMENT_HINT)
    if not spans:
        raise error
    return spans[-1]


def _pairs(fragment: str) -> list[tuple[str, str]]:
    pairs = []
    for part in fragment.split("&"):
        name, equals, value = part.partition("=")
        try:
            pairs.append((unquote(name, errors="strict"), unquote(value, errors="strict") if equals else ""))
        except UnicodeDecodeError:
            continue
    return pairs


def _temporal(value: str) -> Span:
    start, comma, end = value.removeprefix("npt:").partition(",")
    if not start and not end:
        raise TimecodeError(value, "a start or an end is missing")
    if comma and not end:
        raise TimecodeError(value, "the comma needs an end behind it")
    span = Span(_npt_ms(start) if start else 0, _npt_ms(end) if comma else None)
    if span.end_ms is not None and span.start_ms >= span.end_ms:
        raise TimecodeError(value, "the end must be later than the start")
    return span


def _npt_ms(text: str) -> int:
    match = NPT.fullmatch(text)
    if match is None:
        reason = f"“{text[:40]}” is neither seconds nor hh:mm:ss with two digits each, up to 59"
        raise TimecodeError(text, reason)
    hours, minutes, seconds, fraction, alone, alone_fraction = match.groups()
    if alone is not None:
        return _ms(0, 0, int(alone), alone_fraction)
    return _ms(int(hours or 0), int(minutes), int(seconds), fraction)


def format_clock(ms: int) -> str:
    """Return `h:mm:ss.fff` without zeros in front or behind: 7000 is `0:07`, 3723500 is `1:02:03.5`."""
    seconds, rest_ms = divmod(_not_negative(ms), 1000)
    minutes, seconds = divmod(seconds, 60)
    head = f"{minutes // 60}:{minutes % 60:02d}" if minutes >= 60 else f"{minutes}"
    return f"{head}:{seconds:02d}{_tail(rest_ms)}"


def format_srt(ms: int) -> str:
    """Return the SubRip form: `01:02:03,500`."""
    return _padded(ms, ",")


def format_vtt(ms: int) -> str:
    """Return the WebVTT form with hours, which a writer must give two digits or more: `01:02:03.500`."""
    return _padded(ms, ".")


def format_duration(ms: int) -> str:
    """Return the ISO 8601 duration: `PT1H2M3.5S`; nothing is `PT0S`."""
    seconds, rest_ms = divmod(_not_negative(ms), 1000)
    hours, minutes, seconds = seconds // 3600, seconds // 60 % 60, seconds % 60
    parts = [f"{hours}H" if hours else "", f"{minutes}M" if minutes else ""]
    if seconds or rest_ms or not any(parts):
        parts.append(f"{seconds}{_tail(rest_ms)}S")
    return "PT" + "".join(parts)


def format_fragment(span: Span) -> str:
    """Return the Media Fragment of a stretch in seconds: `#t=10,20.5`, or `#t=10` to the end."""
    start = _seconds(span.start_ms)
    return f"#t={start}" if span.end_ms is None else f"#t={start},{_seconds(span.end_ms)}"


def _seconds(ms: int) -> str:
    seconds, rest_ms = divmod(_not_negative(ms), 1000)
    return f"{seconds}{_tail(rest_ms)}"


def _tail(rest_ms: int) -> str:
    return f".{rest_ms:03d}".rstrip("0") if rest_ms else ""


def _padded(ms: int, mark: str) -> str:
    seconds, rest_ms = divmod(_not_negative(ms), 1000)
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}{mark}{rest_ms:03d}"


def _not_negative(ms: int) -> int:
    if ms < 0:
        raise TimecodeError(f"{ms} ms", NO_NEGATIVE)
    return ms
