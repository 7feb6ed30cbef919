"""What a page needs to play a sound: the player's data where the file stands ready, else where to ask for it."""

from __future__ import annotations

from dataclasses import dataclass, field

from django.urls import reverse
from django.utils.translation import gettext as _

from ...access import quiet, showing, sound
from ...access.gate import Gate
from ...access.showing import Hearing, ShownTranscript
from ...models import Recording, Segment
from ...templatetags.undersky import clock, language_name
from . import cues
from .parts import Shown


@dataclass(frozen=True)
class SoundOnPage:
    """`player` is what parts/player.html draws, `ready_url` where to ask whether the sound is ready meanwhile.

    `lines` are what is said, for pages whose sound is not ready; `captions` are links to the words as files.
    """

    player: Shown | None
    ready_url: str
    sound_url: str
    lines: list[Shown]
    captions: list[Shown] = field(default_factory=list)


def of_recording(gate: Gate, row: Recording) -> SoundOnPage | None:
    hearing = showing.hearing_of_recording(gate, row)
    return _sound(gate, "recording", row.ref, row, hearing) if hearing is not None else None


def of_segment(gate: Gate, row: Segment) -> SoundOnPage | None:
    hearing = showing.hearing_of_segment(gate, row)
    return _sound(gate, "segment", row.ref, row.recording, hearing) if hearing is not None else None


def _sound(gate: Gate, kind: str, ref: str, recording: Recording, hearing: Hearing) -> SoundOnPage:
    url = reverse(f"{kind}_sound", args=[ref])
    transcripts = showing.transcripts(gate, recording, hearing.start_ms, hearing.end_ms)
    lines = cues.lines(transcripts, url, hearing.start_ms, hearing.end_ms)
    player = {
        "id": "player", "label": _("Player"), "src": url, "length_ms": hearing.duration_ms, "cues": lines,
        "quiet": [
            {"start_ms": start_ms, "end_ms": end_ms, "time": f"{clock(start_ms)} – {clock(end_ms)}"}
            for start_ms, end_ms in quiet.stretches(gate, recording, hearing)
        ],
    }
    return SoundOnPage(
        player=player if sound.built(recording, hearing) is not None else None,
        ready_url=reverse(f"{kind}_sound_ready", args=[ref]),
        sound_url=url,
        lines=lines,
        captions=_captions(transcripts, kind, ref),
    )


def _captions(transcripts: list[ShownTranscript], kind: str, ref: str) -> list[Shown]:
    tags = list(dict.fromkeys(one.language for one in transcripts))
    return [{"label": language_name(tag), "url": reverse(f"{kind}_captions", args=[ref, tag])} for tag in tags]
