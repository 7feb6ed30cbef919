"""Frame counting: SMPTE ST 12-1 time labels, with and without drop-frame, and milliseconds.

A label counts frames; it is a time only together with its frame rate. Rates are exact fractions: 29.97 is
30000/1001. A label written with `;` before the frames is drop-frame: in every minute except each tenth, the
first two labels (four at 59.94) are skipped, so that labels keep up with the clock (ST 12-1, drop-frame
compensation). No frame is lost, only labels.
"""

import re
from fractions import Fraction

from archive.timecode.errors import TimecodeError

Rate = str | int | float | Fraction

LABEL = re.compile(r"([0-9]{1,2})[:;]([0-9]{2})[:;]([0-9]{2})([:;])([0-9]{2,3})")
NTSC = Fraction(1000, 1001)
# 23.98 is the coarsest name in use for 24000/1001 (23.97602…), so names may be this far off.
RATE_NAME_TOLERANCE = Fraction(5, 1000)
MAX_RATE = 240
RATE_HINT = "Give a whole number such as 25, or 23.976, 29.97, 59.94, or a fraction such as 30000/1001."


def parse_rate(rate: Rate) -> Fraction:
    """Return the exact frame rate in frames per second; raise TimecodeError for one not in use.

    Whole numbers up to 240 and their 1000/1001 companions exist; 29.97 and the like name the companions.
    """
    text = str(rate).strip()
    if not re.fullmatch(r"[0-9]{1,6}(?:/[0-9]{1,6}|\.[0-9]{1,20})?", text) or text.endswith("/0"):
        raise TimecodeError(text, "this is not a frame rate", RATE_HINT)
    exact = _companion_or_whole(Fraction(text), named="." in text)
    if exact is None:
        raise TimecodeError(text, "no such frame rate is in use", RATE_HINT)
    return exact


def _companion_or_whole(value: Fraction, named: bool) -> Fraction | None:
    if not 1 <= value <= MAX_RATE:
        return None
    if value.denominator == 1:
        return value
    companion = round(value / NTSC) * NTSC
    off = abs(value - companion)
    return companion if off == 0 or (named and off <= RATE_NAME_TOLERANCE) else None


def nominal(rate: Fraction) -> int:
    """Return how many labels a second holds: 30 at 29.97, 25 at 25."""
    return -(-rate.numerator // rate.denominator)


def dropped_per_minute(rate: Fraction) -> int:
    """Return how many labels drop-frame skips a minute: 2 at 29.97, 4 at 59.94; 0 where it does not exist."""
    if rate.denominator == 1 or nominal(rate) % 30:
        return 0
    return nominal(rate) // 15


def frame_of_label(text: str, rate: Rate) -> int:
    """Return the frame number (from 0) that a label such as `00:01:00;02` names.

    Raises TimecodeError for a label that does not exist: a field out of range, or one that drop-frame skips.
    """
    exact = parse_rate(rate)
    match = LABEL.fullmatch(text.strip())
    if match is None:
        raise TimecodeError(text, "a frame label has four fields", "Write it like 00:01:30:12.")
    hours, minutes, seconds, frames = (int(match[group]) for group in (1, 2, 3, 5))
    _check_fields(text, (hours, minutes, seconds, frames), nominal(exact))
    total = ((hours * 60 + minutes) * 60 + seconds) * nominal(exact) + frames
    if match[4] == ":":
        return total
    skipped = _checked_drop(text, exact, minutes, seconds, frames)
    all_minutes = hours * 60 + minutes
    return total - skipped * (all_minutes - all_minutes // 10)


def _check_fields(text: str, fields: tuple[int, int, int, int], per_second: int) -> None:
    hours, minutes, seconds, frames = fields
    if hours > 23:
        raise TimecodeError(text, "labels end at 23:59:59", "Give a later time without frames.")
    if minutes > 59 or seconds > 59:
        raise TimecodeError(text, "minutes and seconds go up to 59", "Carry them over to the field before.")
    if frames >= per_second:
        reason = f"the frames go up to {per_second - 1} at this rate"
        raise TimecodeError(text, reason, "Check the frame rate of the recording.")


def _checked_drop(text: str, rate: Fraction, minutes: int, seconds: int, frames: int) -> int:
    skipped = dropped_per_minute(rate)
    if not skipped:
        hint = "Write : before the frames, or give the rate 29.97 or 59.94."
        raise TimecodeError(text, "; means drop-frame, which does not exist at this rate", hint)
    if seconds == 0 and frames < skipped and minutes % 10:
        hint = f"The first label of this minute ends in ;{skipped:02d}."
        raise TimecodeError(text, "drop-frame counting skips this label", hint)
    return skipped


def label_of_frame(frame: int, rate: Rate, drop: bool = False) -> str:
    """Return the label of a frame number (from 0); with drop, the drop-frame label written with `;`.

    Raises TimecodeError past 23:59:59, for a negative frame, or for drop where it does not exist.
    """
    exact = parse_rate(rate)
    per_second = nominal(exact)
    numbered = frame + (_labels_skipped(frame, exact) if drop else 0)
    whole_seconds, frames = divmod(numbered, per_second)
    if frame < 0 or whole_seconds >= 86_400:
        raise TimecodeError(f"frame {frame}", "labels run from 00:00:00 to 23:59:59", "Give another time.")
    minutes, seconds = divmod(whole_seconds, 60)
    mark = ";" if drop else ":"
    return f"{minutes // 60:02d}:{minutes % 60:02d}:{seconds:02d}{mark}{frames:02d}"


def _labels_skipped(frame: int, rate: Fraction) -> int:
    skipped = dropped_per_minute(rate)
    if not skipped:
        raise TimecodeError(f"frame {frame}", "drop-frame does not exist at this rate", "Count without drop.")
    per_minute = nominal(rate) * 60 - skipped
    per_ten = per_minute * 10 + skipped
    tens, rest = divmod(frame, per_ten)
    # The first minute of ten keeps its labels, so it is `skipped` frames longer than the other nine.
    return skipped * (9 * tens + max(0, rest - skipped) // per_minute)


def ms_of_frame(frame: int, rate: Rate) -> int:
    """Return the start of a frame in whole milliseconds, half rounded up."""
    return int(Fraction(frame * 1000) / parse_rate(rate) + Fraction(1, 2))


def frame_at_ms(ms: int, rate: Rate) -> int:
    """Return the frame whose start, in whole milliseconds, is the last one at or before ms.

    The half millisecond undoes the rounding of ms_of_frame, so frame → ms → frame is the identity.
    """
    return (ms + Fraction(1, 2)) * parse_rate(rate) // 1000


def parse_smpte(text: str, rate: Rate) -> int:
    """Return the start of a labelled frame in milliseconds; raise TimecodeError if no such label exists."""
    return ms_of_frame(frame_of_label(text, rate), rate)


def format_smpte(ms: int, rate: Rate, drop: bool = False) -> str:
    """Return the label of the frame shown at ms."""
    return label_of_frame(frame_at_ms(ms, rate), rate, drop)
