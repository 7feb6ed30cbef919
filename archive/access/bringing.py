"""Bringing a recording in: the master kept untouched under its SHA-256, its transcripts read, nothing half-saved."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.db import transaction
from django.utils.translation import gettext as _

from ..media.errors import MediaError
from ..media.files import Received, blocks_of, receive, sha256_file, storage_error, sync_folder
from ..media.probe import MediaFacts, check_name_matches, probe
from ..models import (
    Account,
    Cue,
    Kind,
    Master,
    Person,
    Recording,
    TieKind,
    Transcript,
    TranscriptKind,
    TranscriptProblem,
)
from ..timecode import cues as read
from ..timecode.checks import check_against_duration
from ..timecode.readers import read_transcript
from . import decisions, folders, jobs, ledger, making, revisions, uploads, writing
from .gate import Gate

# By how much a transcript's last line may run past the sound (common practice, no source: lines end on whole seconds).
ROUNDED_UP_MS = 1000


class Refused(Exception):
    """The file or its transcript cannot be taken in. Nothing was saved; `problems` say what, where and how to mend.

    `transcript` is the position, from 0, of the transcript that is at fault; None where it is the sound.
    `is_storage`: the disk is at fault, and the file may be taken in later.
    """

    def __init__(
        self,
        message: str,
        problems: Sequence[read.Problem] = (),
        transcript: int | None = None,
        is_storage: bool = False,
    ) -> None:
        super().__init__(message)
        self.message = message
        self.problems = list(problems)
        self.transcript = transcript
        self.is_storage = is_storage


@dataclass(frozen=True)
class TranscriptGiven:
    data: bytes
    original_name: str
    language: str = "en"
    kind: str = TranscriptKind.VERBATIM
    encoding: str | None = None


@dataclass(frozen=True)
class RecordingGiven:
    title: str
    recorded_on: str
    speakers: Sequence[str] = ()
    language: str = "en"
    circumstances: str = ""
    places: Sequence[int] = ()
    people: Sequence[int] = ()  # speakers that are kept already, by number
    transcripts: Sequence[TranscriptGiven] = ()


@dataclass(frozen=True)
class Looked:
    """A file that was looked over and not kept. Nothing but its sum is known of one that is kept already."""

    sha256: str
    duration_ms: int
    is_kept: bool


@dataclass(frozen=True)
class Brought:
    recording: Recording
    problems: list[read.Problem]


def add_recording(
    by: Account | None, blocks: Iterable[bytes], original_name: str, given: RecordingGiven
) -> Brought:
    """Take a recording in. It lands closed and waits for the council; `by` is entrusted with it.

    `blocks` is the file's bytes in pieces, read once and never held whole. Raises Refused; then nothing is kept.
    """
    received = _receive(blocks)
    try:
        return _take_in(by, received, original_name, given)
    finally:
        received.path.unlink(missing_ok=True)


def add_upload(by: Account, ref: str, given: RecordingGiven) -> Brought:
    """Take in a file that has arrived as an upload of `by`. Refused, it stays, unless the file itself is at fault."""
    arriving = uploads.get(by, ref)
    if arriving is None or not arriving.is_here:
        raise Refused(_("The file has not arrived whole. Choose it again; what is here already is not sent twice."))
    path = folders.part_path(ref)
    try:
        brought = _take_in(by, _hashed(path), arriving.original_name, given)
    except Refused as refused:
        if refused.transcript is None and not refused.is_storage:
            uploads.drop(by, ref)
        raise
    uploads.drop(by, ref)
    return brought


def _hashed(path: Path) -> Received:
    try:
        return Received(path, sha256_file(path), path.stat().st_size)
    except OSError as error:
        raise Refused(storage_error(error).message, is_storage=True) from error


def _take_in(by: Account | None, received: Received, original_name: str, given: RecordingGiven) -> Brought:
    facts = _look_at(received, original_name)
    transcripts = _read_all(given.transcripts, facts.duration_ms)
    with transaction.atomic():
        recording = _keep(by, received, facts, original_name, given)
        for one, text in zip(given.transcripts, transcripts, strict=True):
            _keep_transcript(by, recording, one, text)
        _place_master(received)
        jobs.make_ready(recording.pk)
    return Brought(recording, [problem for text in transcripts for problem in text.problems])


def look_over(path: Path, original_name: str) -> Looked:
    """Say what taking this file in would find, and keep nothing. Raises Refused."""
    try:
        stamp = _stamp(path)
        sha256 = _sum_of(path, stamp)
    except OSError as error:
        raise Refused(storage_error(error).message, is_storage=True) from error
    if Master.ungated.filter(sha256=sha256).exists():
        return Looked(sha256, 0, True)
    return Looked(sha256, _length_of(path, original_name, stamp), False)


# A table's files are looked over at each press of its button, and each reading goes from end to end: a file that is as
# it was, by its size and time of writing, is not read again.
_Stamp = tuple[int, int]


def _stamp(path: Path) -> _Stamp:
    found = path.stat()
    return found.st_size, found.st_mtime_ns


@lru_cache(maxsize=4000)
def _sum_of(path: Path, stamp: _Stamp) -> str:
    return sha256_file(path)


@lru_cache(maxsize=4000)
def _length_of(path: Path, original_name: str, stamp: _Stamp) -> int:
    return _facts(path, original_name).duration_ms


def read_over(given: TranscriptGiven, duration_ms: int) -> list[read.Problem]:
    """The problems of a transcript that could be taken in, keeping nothing. Raises Refused where it could not."""
    return _read(given, duration_ms).problems


def recording(number: int) -> Recording:
    """A recording as kept, for whoever has already passed the gate."""
    return Recording.ungated.select_related("master").get(pk=number)


def file_blocks(path: Path) -> Iterator[bytes]:
    return blocks_of(path)


def _receive(blocks: Iterable[bytes]) -> Received:
    try:
        return receive(_bounded(blocks), folders.incoming())
    except MediaError as error:
        raise Refused(error.message, is_storage=error.code in ("disk_full", "storage")) from error


def _bounded(blocks: Iterable[bytes]) -> Iterator[bytes]:
    size = 0
    for block in blocks:
        size += len(block)
        if size > settings.MAX_MASTER_BYTES:
            raise Refused(
                _("The file is larger than %(size)d MB, the most this archive takes (UNDERSKY_MAX_MASTER_MB).")
                % {"size": settings.MAX_MASTER_BYTES >> 20}
            )
        yield block


def _look_at(received: Received, original_name: str) -> MediaFacts:
    if Master.ungated.filter(sha256=received.sha256).exists():
        raise Refused(_("This very file is kept already (SHA-256 %(sum)s…). Nothing was added.")
                      % {"sum": received.sha256[:12]})
    return _facts(received.path, original_name)


def _facts(path: Path, original_name: str) -> MediaFacts:
    try:
        facts = probe(path)
        check_name_matches(facts, original_name)
    except MediaError as error:
        raise Refused(error.message) from error
    return facts


def _read_all(given: Sequence[TranscriptGiven], duration_ms: int) -> list[read.Transcript]:
    found = []
    for position, one in enumerate(given):
        try:
            found.append(_read(one, duration_ms))
        except Refused as refused:
            refused.transcript = position
            raise
    return found


def _read(given: TranscriptGiven, duration_ms: int) -> read.Transcript:
    """The transcript as read; refused as a whole where it is none, has no times, or belongs to other sound."""
    if len(given.data) > settings.MAX_TRANSCRIPT_BYTES:
        raise Refused(_("The transcript is larger than %(size)d MB; that is no transcript of one recording.")
                      % {"size": settings.MAX_TRANSCRIPT_BYTES >> 20})
    text = read_transcript(given.data, given.original_name, given.encoding)
    if not text.cues:
        raise Refused(_("“%(name)s” holds no cue that could be read.") % {"name": given.original_name}, text.problems)
    if all(cue.start_ms is None for cue in text.cues):
        raise Refused(
            _("“%(name)s” has no times, so its words cannot be found in the sound. Give each line its time.")
            % {"name": given.original_name}
        )
    _check_end(text, duration_ms, given.original_name)
    return text


def _check_end(text: read.Transcript, duration_ms: int, name: str) -> None:
    """A last line rounded up past the end is kept with a warning; one that belongs to other sound refuses the file."""
    late = [problem for problem in check_against_duration(text, duration_ms) if problem.code == "past-end"]
    limit_ms = duration_ms + ROUNDED_UP_MS
    if any((cue.start_ms or 0) >= duration_ms or (cue.end_ms or 0) > limit_ms for cue in text.cues):
        raise Refused(
            _("“%(name)s” runs past the end of the sound: is it the transcript of another recording?") % {"name": name},
            sorted([*text.problems, *late]),
        )
    text.problems.extend(problem._replace(severity="warning") for problem in late)


def _keep(
    by: Account | None, received: Received, facts: MediaFacts, original_name: str, given: RecordingGiven
) -> Recording:
    recording = Recording(
        title=given.title.strip(),
        recorded_on=given.recorded_on.strip(),
        circumstances=given.circumstances,
        language=given.language,
        created_by=by,
    )
    recording.full_clean(exclude=["item_ptr", "kind", "decision", "created_by"])
    recording.save()
    Master.ungated.create(
        recording=recording,
        sha256=received.sha256,
        original_name=Path(original_name).name[:255],
        size_bytes=received.size,
        container=facts.container,
        codec=facts.codec,
        duration_ms=facts.duration_ms,
        rate_hz=facts.rate_hz,
        channels=facts.channels,
    )
    speakers = [writing.item(number) for number in given.people]
    speakers += [speaker(by, name, given.language) for name in given.speakers]
    for position, person in enumerate(speakers):
        writing.tie(recording, TieKind.TOLD_BY, person, position)
    for position, number in enumerate(given.places):
        writing.tie(recording, TieKind.RECORDED_AT, writing.item(number), position)
    if by is not None:
        decisions.entrust(None, by, recording, _("brought it in"))
    ledger.write("recording brought in", by, recording.ref, sha256=received.sha256, size=received.size)
    writing.owe_index([recording.pk])
    return recording


def speaker(by: Account | None, name: str, language: str) -> Person:
    """The person the writer meets under this name, or a new one who waits for the council."""
    found = writing.named(Gate(by), Kind.PERSON, name)
    if found is not None:
        return Person.ungated.get(pk=found.pk)
    made = making.add(by, Kind.PERSON, [writing.NameGiven(language, name.strip(), True)])
    return Person.ungated.get(pk=made.pk)


@transaction.atomic
def add_transcript(by: Account | None, recording: Recording, given: TranscriptGiven) -> Transcript:
    """Add a transcript to a recording that is kept already; Refused leaves nothing."""
    text = _read(given, recording.master.duration_ms)
    twins = Transcript.ungated.filter(recording=recording, sha256=hashlib.sha256(given.data).hexdigest())
    if twins.filter(language=given.language, kind=given.kind).exists():
        raise Refused(_("This very transcript is here already, in this language and as this kind. Nothing was added."))
    kept = _keep_transcript(by, recording, given, text)
    ledger.write("transcript added", by, recording.ref, sha256=kept.sha256)
    writing.owe_index([recording.pk])
    return kept


def _keep_transcript(
    by: Account | None, recording: Recording, given: TranscriptGiven, text: read.Transcript
) -> Transcript:
    kept = Transcript(
        recording=recording,
        language=given.language,
        kind=given.kind,
        original=given.data,
        original_name=Path(given.original_name).name[:255],
        sha256=hashlib.sha256(given.data).hexdigest(),
        file_format=text.format,
        encoding=text.encoding,
    )
    kept.full_clean(exclude=["original"])
    kept.save()
    usable = [cue for cue in text.cues if _runs_forward(cue)]
    Cue.ungated.bulk_create(
        [
            Cue(
                transcript=kept,
                start_ms=cue.start_ms or 0,
                end_ms=cue.end_ms or 0,
                text=cue.text,
                speaker=cue.speaker[:120],
                line=cue.line,
            )
            for cue in usable
        ],
        batch_size=1000,
    )
    revisions.first(kept, by)
    text.problems.extend(_not_taken(cue) for cue in text.cues if not _runs_forward(cue))
    TranscriptProblem.ungated.bulk_create(
        [
            TranscriptProblem(
                transcript=kept,
                line=problem.line,
                code=problem.code,
                severity=problem.severity,
                text=f"{problem.text}\n{problem.raw}".strip(),
            )
            for problem in text.problems
        ],
        batch_size=1000,
    )
    return kept


def _runs_forward(cue: read.Cue) -> bool:
    return cue.start_ms is not None and cue.end_ms is not None and cue.end_ms >= cue.start_ms


def _not_taken(cue: read.Cue) -> read.Problem:
    return read.Problem(
        cue.line,
        "not-placed",
        "refused",
        _("This cue has no stretch of time that runs forward, so it was not placed in the sound. Its words follow."),
        cue.text,
    )


def _place_master(received: Received) -> None:
    """Give the file its place among the masters, readable only, in the last step before the commit."""
    path = folders.master_path(received.sha256)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _link(received, path)
        path.chmod(0o400)
        sync_folder(path.parent)
    except OSError as error:
        raise Refused(storage_error(error).message, is_storage=True) from error


def _link(received: Received, path: Path) -> None:
    """Give the file its place. What a crash left there before its commit is looked at: only whole bytes stay."""
    try:
        os.link(received.path, path)
    except FileExistsError:
        if sha256_file(path) != received.sha256:
            path.unlink()
            os.link(received.path, path)
