"""Bringing in: nothing half-saved, uploads that survive, work that is taken up again, stale sound that goes."""

from __future__ import annotations

import errno
import io
import os
import threading

import pytest
from django.core.exceptions import ValidationError
from django_tasks_db.models import DBTaskResult

from archive.access import bringing, folders, jobs, revisions, showing, sound, sweeping, uploads, writing
from archive.access.decisions import Terms
from archive.access.gate import Gate
from archive.management.commands.work import QueueWorker
from archive.models import Cue, Entrustment, Item, Master, Recording, Revision, Segment, Transcript, Upload

from .conftest import bring, open_up, segment, tone

GIVEN = bringing.RecordingGiven(title="A talk", recorded_on="1962")


def sent(account, data: bytes, name: str = "talk.wav", piece: int = 10_000) -> uploads.Arriving:
    arriving = uploads.begin(account, name, len(data))
    while not arriving.is_here:
        at = arriving.arrived_bytes
        part = data[at : at + piece]
        arriving = uploads.append(account, arriving.ref, at, io.BytesIO(part), len(part))
    return arriving


def masters() -> list[str]:
    return sorted(path.name for path in folders.master_path("xx").parents[1].glob("*/*"))


# --- uploads ---


def test_an_upload_in_pieces_becomes_a_master_byte_for_byte(cast, tmp_path):
    data = tone(tmp_path / "t.wav", 3).read_bytes()
    arriving = sent(cast["archivist"], data)
    recording = bringing.add_upload(cast["archivist"], arriving.ref, GIVEN).recording
    kept = folders.master_path(recording.master.sha256)
    assert kept.read_bytes() == data
    assert kept.stat().st_mode & 0o777 == 0o400
    assert not Upload.ungated.exists()
    assert not folders.part_path(arriving.ref).exists()


def test_a_broken_connection_costs_one_piece_at_most(cast, tmp_path):
    data = tone(tmp_path / "t.wav", 3).read_bytes()
    archivist = cast["archivist"]
    arriving = uploads.begin(archivist, "talk.wav", len(data))
    uploads.append(archivist, arriving.ref, 0, io.BytesIO(data[:5000]), 5000)
    with pytest.raises(uploads.NotTaken) as broken:
        uploads.append(archivist, arriving.ref, 5000, io.BytesIO(data[5000:6000]), 4000)  # 1000 of 4000 come
    assert broken.value.arrived == 5000
    again = uploads.begin(archivist, "talk.wav", len(data))
    assert (again.ref, again.arrived_bytes) == (arriving.ref, 5000)
    assert sent(archivist, data).is_here
    assert bringing.add_upload(archivist, arriving.ref, GIVEN).recording.master.size_bytes == len(data)


def test_a_piece_in_the_wrong_place_is_told_where_to_go_on(cast):
    arriving = uploads.begin(cast["archivist"], "a.wav", 100)
    uploads.append(cast["archivist"], arriving.ref, 0, io.BytesIO(b"x" * 40), 40)
    for offset in (0, 39, 41, 100):
        with pytest.raises(uploads.NotTaken) as refused:
            uploads.append(cast["archivist"], arriving.ref, offset, io.BytesIO(b"y" * 10), 10)
        assert refused.value.arrived == 40
    with pytest.raises(uploads.NotTaken):
        uploads.append(cast["archivist"], arriving.ref, 40, io.BytesIO(b"y" * 61), 61)


def test_nobody_meets_another_ones_upload(cast):
    arriving = uploads.begin(cast["archivist"], "a.wav", 100)
    assert uploads.get(cast["second"], arriving.ref) is None
    assert not uploads.drop(cast["second"], arriving.ref)
    with pytest.raises(uploads.NotTaken):
        uploads.append(cast["second"], arriving.ref, 0, io.BytesIO(b"x"), 1)
    with pytest.raises(bringing.Refused):
        bringing.add_upload(cast["second"], arriving.ref, GIVEN)


def test_a_full_disk_loses_no_piece_that_was_answered_for(cast, monkeypatch):
    arriving = uploads.begin(cast["archivist"], "a.wav", 1 << 20)
    first = b"x" * 300_000
    uploads.append(cast["archivist"], arriving.ref, 0, io.BytesIO(first), len(first))

    def no_room(_handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", no_room)
    with pytest.raises(uploads.NotTaken) as full:
        uploads.append(cast["archivist"], arriving.ref, 300_000, io.BytesIO(first), len(first))
    assert full.value.full
    assert "disk is full" in full.value.message
    assert folders.part_path(arriving.ref).read_bytes() == first


def test_a_full_disk_keeps_the_upload_and_adds_nothing(cast, tmp_path, monkeypatch):
    arriving = sent(cast["archivist"], tone(tmp_path / "t.wav", 3).read_bytes())

    def no_room(*_paths: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "link", no_room)
    with pytest.raises(bringing.Refused) as refused:
        bringing.add_upload(cast["archivist"], arriving.ref, GIVEN)
    assert "disk is full" in refused.value.message
    assert not Item.ungated.exists()
    assert masters() == []
    monkeypatch.undo()
    assert bringing.add_upload(cast["archivist"], arriving.ref, GIVEN).recording.pk


def test_a_bad_transcript_keeps_the_upload_a_bad_file_does_not(cast, tmp_path):
    archivist = cast["archivist"]
    good = sent(archivist, tone(tmp_path / "t.wav", 3).read_bytes())
    bad = bringing.TranscriptGiven(b"no times", "t.srt")
    with pytest.raises(bringing.Refused):
        bringing.add_upload(archivist, good.ref, bringing.RecordingGiven("A talk", "1962", transcripts=[bad]))
    assert uploads.get(archivist, good.ref).is_here
    noise = sent(archivist, b"not sound at all" * 100, "noise.wav")
    with pytest.raises(bringing.Refused):
        bringing.add_upload(archivist, noise.ref, GIVEN)
    assert uploads.get(archivist, noise.ref) is None


def test_what_a_crash_left_among_the_masters_is_mended(cast, tmp_path):
    """A crash after the file got its place and before the commit leaves a file that no row knows."""
    path = tone(tmp_path / "t.wav", 3)
    received = bringing.sha256_file(path)
    half = folders.master_path(received)
    half.parent.mkdir(parents=True)
    half.write_bytes(path.read_bytes()[:100])
    recording = bringing.add_recording(cast["archivist"], bringing.file_blocks(path), "t.wav", GIVEN).recording
    assert folders.master_path(recording.master.sha256).read_bytes() == path.read_bytes()


def test_a_failed_commit_leaves_no_rows_and_the_next_try_works(cast, tmp_path, monkeypatch):
    path = tone(tmp_path / "t.wav", 3)

    def fail(*_given: object) -> None:
        raise RuntimeError("killed here")

    monkeypatch.setattr(bringing.jobs, "make_ready", fail)
    with pytest.raises(RuntimeError):
        bringing.add_recording(cast["archivist"], bringing.file_blocks(path), "t.wav", GIVEN)
    assert not Recording.ungated.exists()
    assert not Master.ungated.exists()
    assert not list(folders.incoming().glob("*"))
    monkeypatch.undo()
    assert bringing.add_recording(cast["archivist"], bringing.file_blocks(path), "t.wav", GIVEN).recording.pk


def test_old_uploads_are_forgotten_and_new_ones_stay(cast):
    old = uploads.begin(cast["archivist"], "old.wav", 10)
    uploads.append(cast["archivist"], old.ref, 0, io.BytesIO(b"x"), 1)
    uploads.begin(cast["archivist"], "new.wav", 10)
    Upload.ungated.filter(ref=old.ref).update(touched_at="2001-01-01T00:00:00Z")
    stray = folders.part_path("strayedstray")
    stray.write_bytes(b"x")
    assert uploads.sweep() == 2
    assert [one.original_name for one in uploads.mine(cast["archivist"])] == ["new.wav"]
    assert not stray.exists()
    assert not folders.part_path(old.ref).exists()


# --- revisions ---


SRT = "1\n00:00:00,500 --> 00:00:01,000\nThe limp.\n\n2\n00:00:01,500 --> 00:00:02,000\nIt went.\n"


@pytest.fixture
def transcript(cast, tmp_path) -> Transcript:
    given = bringing.TranscriptGiven(SRT.encode(), "t.srt")
    bring(cast["archivist"], tmp_path, "A talk", transcripts=[given])
    return Transcript.ungated.get()


def texts(transcript: Transcript) -> list[str]:
    return list(Cue.ungated.filter(transcript=transcript).values_list("text", flat=True))


def test_a_correction_is_a_revision_with_who_and_when(cast, transcript):
    number = revisions.correct(cast["archivist"], transcript, 1, [revisions.Correction(0, "The lamp.")])
    assert number == 2
    assert texts(transcript) == ["The lamp.", "It went."]
    newest, first = revisions.history(transcript)
    assert (newest.number, newest.made_by, first.number) == (2, "archivist", 1)
    difference = revisions.compare(revisions.at(transcript, 1), revisions.at(transcript, 2))
    assert [(d.before[0].text, d.after[0].text) for d in difference] == [("The limp.", "The lamp.")]
    assert bytes(transcript.original) == SRT.encode()


def test_any_revision_can_be_put_back_and_nothing_is_lost_by_it(cast, transcript):
    revisions.correct(cast["archivist"], transcript, 1, [revisions.Correction(0, "The lamp.")])
    revisions.correct(cast["archivist"], transcript, 2, [revisions.Correction(1, is_taken_away=True)])
    assert texts(transcript) == ["The lamp."]
    assert revisions.restore(cast["archivist"], transcript, 1) == 4
    assert texts(transcript) == ["The limp.", "It went."]
    assert [line.text for line in revisions.at(transcript, 3).lines] == ["The lamp."]
    assert revisions.restore(cast["archivist"], transcript, 2) == 5
    assert texts(transcript) == ["The lamp.", "It went."]


def test_two_people_correcting_different_lines_do_not_clash(cast, transcript):
    revisions.correct(cast["archivist"], transcript, 1, [revisions.Correction(0, "The lamp.")])
    revisions.correct(cast["second"], transcript, 1, [revisions.Correction(1, "It went out.")])
    assert texts(transcript) == ["The lamp.", "It went out."]


def test_two_people_correcting_one_line_are_told(cast, transcript):
    revisions.correct(cast["archivist"], transcript, 1, [revisions.Correction(0, "The lamp.")])
    with pytest.raises(revisions.Overtaken) as told:
        revisions.correct(cast["second"], transcript, 1, [revisions.Correction(0, "The limb.")])
    assert told.value.by == "archivist"
    assert told.value.clashes[0].theirs.text == "The lamp."
    assert told.value.clashes[0].typed.text == "The limb."
    assert texts(transcript) == ["The lamp.", "It went."]


WRONG = ({"start_ms": 1200}, {"end_ms": 7000}, {"text": "x" * 20_001}, {"speaker": "y" * 121})


@pytest.mark.parametrize("wrong", WRONG)
def test_a_line_that_cannot_be_is_refused(cast, transcript, wrong):
    with pytest.raises(ValidationError):
        revisions.correct(cast["archivist"], transcript, 1, [revisions.Correction(0, **wrong)])
    assert Revision.ungated.count() == 1


# --- work that waits ---


@pytest.fixture
def queued(settings, cast, tmp_path) -> Recording:
    settings.SOUND_AT_ONCE = False
    return bring(cast["archivist"], tmp_path, "A talk", seconds=3)


def state_for(cast, recording: Recording) -> jobs.State:
    hearing = showing.hearing_of_recording(Gate(cast["archivist"]), recording)
    return jobs.state(sound.key(recording, hearing), recording)


def work_once() -> None:
    QueueWorker(is_once=True).run()


@pytest.mark.django_db(transaction=True)
def test_a_new_recording_is_made_ready_by_the_worker(cast, queued):
    gate = Gate(cast["archivist"])
    hearing = showing.hearing_of_recording(gate, queued)
    assert sound.built(queued, hearing) is None
    key = sound.key(queued, hearing)
    assert jobs.state(key, queued).name == "waiting"
    work_once()
    assert sound.built(queued, hearing) is not None
    assert len(sound.peaks(queued, hearing)) == 2 * 150  # 50 a second for 3 s
    assert folders.working_path(queued.master.sha256).is_file()


@pytest.mark.django_db(transaction=True)
def test_a_listener_asks_once_however_often_the_page_is_loaded(cast, queued):
    work_once()
    open_up(cast["council"], queued)
    segment(queued, 500, 1500, "a part")
    row = queued.__class__.ungated.get(pk=queued.pk)
    hearing = showing.hearing_of_segment(Gate(None), Segment.ungated.get())
    for _ in range(3):
        assert sound.ask_for(row, hearing) is None
    assert DBTaskResult.objects.filter(status="READY").count() == 1
    work_once()
    assert sound.ask_for(row, hearing) is not None


@pytest.mark.django_db(transaction=True)
def test_what_a_killed_worker_was_at_is_taken_up_again(cast, queued):
    row = DBTaskResult.objects.get()
    row.claim("the worker that was killed")
    assert state_for(cast, queued).name == "running"
    assert jobs.take_up_again() == 1
    work_once()
    row.refresh_from_db()
    assert row.status == "SUCCESSFUL"


@pytest.mark.django_db(transaction=True)
def test_a_living_workers_task_is_left_alone(queued):
    row = DBTaskResult.objects.get()
    with jobs.at_work("alive"):
        row.claim("alive")
        assert jobs.is_worked()
        assert jobs.take_up_again() == 0
    assert jobs.take_up_again() == 1


@pytest.mark.django_db(transaction=True)
def test_a_task_that_kills_its_worker_is_given_up_and_says_so(cast, queued):
    row = DBTaskResult.objects.get()
    for attempt in range(3):
        row.refresh_from_db()
        row.claim(f"killed {attempt}")
        jobs.take_up_again()
    row.refresh_from_db()
    assert row.status == "FAILED"
    state = state_for(cast, queued)
    assert state.name == "failed"
    assert "three times" in state.words


@pytest.mark.django_db(transaction=True)
def test_a_master_that_cannot_be_read_fails_in_words_and_is_not_asked_for_in_a_storm(cast, queued):
    folders.master_path(queued.master.sha256).chmod(0o600)
    folders.master_path(queued.master.sha256).write_bytes(b"")
    work_once()
    hearing = showing.hearing_of_recording(Gate(cast["archivist"]), queued)
    assert "empty" in state_for(cast, queued).words
    for _ in range(3):
        sound.ask_for(queued, hearing)
    work_once()
    for _ in range(3):
        sound.ask_for(queued, hearing)
    assert DBTaskResult.objects.filter(status="READY").count() == 0


# --- sweeping ---


def files() -> set[str]:
    return {path.name for path in sound.sweeping_lock().parent.glob("*.m4a")}


def test_a_decision_makes_the_old_copy_stale_and_the_sweep_takes_it_and_its_pieces(cast, tmp_path):
    recording = bring(cast["council"], tmp_path, "A talk", seconds=20)
    open_up(cast["council"], recording)
    part = segment(recording, 2000, 6000, "a part")
    public = showing.hearing_of_recording(Gate(None), recording)
    old = sound.prepare(recording, public)
    assert sweeping.sweep().files == 0  # it is served
    open_up(cast["council"], part, terms=Terms())
    now = showing.hearing_of_recording(Gate(None), recording)
    assert sound.built(recording, now) is None  # withdrawn at once
    new = sound.prepare(recording, now)
    assert sweeping.sweep().files == 0  # whoever is entrusted with it still hears the whole
    Entrustment.ungated.all().delete()
    swept = sweeping.sweep()
    assert swept.files == 1
    assert swept.chunks >= 1
    assert not old.path.exists()
    assert not old.path.with_suffix(".peaks").exists()
    assert new.path.exists()
    assert files() == {new.path.name}


def test_a_span_closed_at_the_desk_is_gone_from_what_others_hear(cast, tmp_path):
    recording = bring(cast["archivist"], tmp_path, "A talk", seconds=10)
    open_up(cast["council"], recording)
    before = sound.key(recording, showing.hearing_of_recording(Gate(None), recording))
    writing.close_span(cast["archivist"], recording, 1000, 2000, "not for all")
    hearing = showing.hearing_of_recording(Gate(None), recording)
    assert hearing.closed == ((1000, 2000),)
    assert sound.key(recording, hearing) != before


def test_the_sweep_waits_for_builders(cast, tmp_path):
    bring(cast["archivist"], tmp_path, "A talk")
    entered, leave = threading.Event(), threading.Event()

    def build() -> None:
        with folders.held(sound.sweeping_lock(), shared=True):
            entered.set()
            leave.wait(10)

    builder = threading.Thread(target=build)
    builder.start()
    entered.wait(10)
    with pytest.raises(folders.Busy):
        sweeping.sweep()
    leave.set()
    builder.join()
    sweeping.sweep()


# --- the end of the sound ---


def lines(*ends: str) -> bringing.TranscriptGiven:
    cues = "".join(f"{at}\n00:00:0{at - 1},000 --> 00:00:{end}\nword\n\n" for at, end in enumerate(ends, start=1))
    return bringing.TranscriptGiven(cues.encode(), "t.srt")


def test_a_last_line_rounded_up_past_the_end_is_kept_with_a_warning(cast, tmp_path):
    path = tone(tmp_path / "t.wav", 1.5)
    given = bringing.RecordingGiven("A talk", "1962", transcripts=[lines("00,900", "02,000")])
    brought = bringing.add_recording(None, bringing.file_blocks(path), path.name, given)
    assert [(problem.code, problem.severity) for problem in brought.problems] == [("past-end", "warning")]
    assert Cue.ungated.count() == 2


def test_a_transcript_of_other_sound_is_refused_with_all_its_problems(cast, tmp_path):
    path = tone(tmp_path / "t.wav", 1.5)
    given = bringing.RecordingGiven("A talk", "1962", transcripts=[lines("00,900", "00,500", "09,000")])
    with pytest.raises(bringing.Refused) as refused:
        bringing.add_recording(None, bringing.file_blocks(path), path.name, given)
    assert {problem.code for problem in refused.value.problems} == {"past-end", "reversed"}
    assert not Recording.ungated.exists()
    assert masters() == []
