"""What is said, line by line, as the player lists it; a second language stands under the line it belongs to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from ...access.showing import ShownCue, ShownTranscript
from ...models import TranscriptKind
from ...templatetags.undersky import clock
from ...timecode.times import Span, format_fragment
from .parts import Shown

ORDER = {TranscriptKind.VERBATIM: 0, TranscriptKind.TRANSLATION: 1, TranscriptKind.SUMMARY: 2}


@dataclass
class _Line:
    cue: ShownCue
    language: str
    under: list[tuple[str, str]] = field(default_factory=list)  # text and language


def lines(transcripts: Sequence[ShownTranscript], sound_url: str, start_ms: int, end_ms: int) -> list[Shown]:
    """The lines of [start_ms, end_ms), counted from its start; each links to the sound at its second."""
    if not transcripts:
        return []
    main, *others = sorted(transcripts, key=lambda one: ORDER[TranscriptKind(one.kind)])
    found = [_Line(cue, main.language) for cue in main.cues]
    alone = [line for other in others for line in _lay_under(found, other)]
    ordered = sorted([*found, *alone], key=lambda line: (line.cue.start_ms, line.cue.end_ms))
    return _drawn(ordered, sound_url, start_ms, end_ms)


def _lay_under(found: list[_Line], other: ShownTranscript) -> list[_Line]:
    """Put each cue under the line it shares most time with; returns those that share none, as lines of their own."""
    alone = []
    for cue in other.cues:
        best = max(found, key=lambda line: _shared_ms(line.cue, cue), default=None)
        if best is None or _shared_ms(best.cue, cue) <= 0:
            alone.append(_Line(cue, other.language))
        else:
            best.under.append((cue.text, other.language))
    return alone


def _shared_ms(one: ShownCue, other: ShownCue) -> int:
    return min(one.end_ms, other.end_ms) - max(one.start_ms, other.start_ms)


def _drawn(ordered: list[_Line], sound_url: str, start_ms: int, end_ms: int) -> list[Shown]:
    drawn, speaker = [], ""
    for line in ordered:
        begin, end = max(line.cue.start_ms, start_ms) - start_ms, min(line.cue.end_ms, end_ms) - start_ms
        drawn.append(
            {
                "start_ms": begin,
                "end_ms": end,
                "time": clock(begin),
                "url": sound_url + format_fragment(Span(begin, None)),
                "speaker": line.cue.speaker if line.cue.speaker != speaker else "",
                "text": line.cue.text,
                "lang": line.language,
                "gloss": "\n".join(text for text, _ in line.under),
                "gloss_lang": line.under[0][1] if line.under else "",
            }
        )
        speaker = line.cue.speaker
    return drawn
