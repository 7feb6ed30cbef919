"""Many recordings from a table: problems by row and column first, rows whole or not at all, stopped and gone on."""

from __future__ import annotations

import errno
import io
import os
import signal
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from archive.access import bringing, folders, manifests, uploads, writing
from archive.models import Item, Kind, Master, Recording, Transcript, Upload

from .conftest import tone

SRT = "1\n00:00:00,500 --> 00:00:01,000\nThe lamp.\n"
HEAD = "file,title,recorded_on,language,speakers,transcript,transcript_kind\n"


@pytest.fixture
def tapes(tmp_path: Path) -> Path:
    """Three tapes and a transcript in a folder."""
    folder = tmp_path / "tapes"
    (folder / "side").mkdir(parents=True)
    tone(folder / "one.wav", 2, 300)
    tone(folder / "two.wav", 2, 400)
    tone(folder / "side" / "three.wav", 2, 500)
    (folder / "one.srt").write_text(SRT)
    return folder


GOOD = HEAD + (
    'one.wav,The lamp,1962~,en,"Old Tole; Ana",one.srt,verbatim\n'
    "two.wav,The boat,1963,,Old Tole,,\n"
    "\n"
    "side/three.wav,The bay,196X,qse-x-senneth,,,\n"
)


def table(folder: Path, text: str, name: str = "tapes.csv") -> Path:
    path = folder / name
    path.write_text(text)
    return path


def run(*given: Any, **options: Any) -> str:
    out = io.StringIO()
    call_command("add_recording", *given, by="archivist", stdout=out, stderr=out, **options)
    return out.getvalue()


def refused(check: manifests.Checked) -> set[tuple[int, str]]:
    return {(one.row, one.column) for one in check.problems if one.severity == "refused"}


# --- looking it over ---


BAD = """file,title,recorded_on,speakers,places,transcript,transcript_language,transcript_kind,colour
one.wav,,1962,,,one.srt,en,verbatim,red
missing.wav,Lost,last summer,,Nowhere,,,,
../outside.wav,Outside,1962,,,,,,
broken.wav,Broken,1962,,,,,,
two.mp3,Wrong name,1962,,,,,,
two.wav,First,1962,,,late.srt,not a tag,sung,
side/three.wav,Same,1962,,,,en,,
twin.wav,Twin,1962,,,,,,
"""


def test_every_problem_is_told_by_row_and_column_and_nothing_is_kept(cast, tapes):
    data = (tapes / "one.wav").read_bytes()
    (tapes / "broken.wav").write_bytes(data[: len(data) // 2])
    (tapes / "two.mp3").write_bytes(tone(tapes / "x.wav", 1, 350).read_bytes())
    (tapes / "late.srt").write_text(SRT.replace("00:00:01,000", "00:09:00,000"))
    (tapes / "twin.wav").write_bytes((tapes / "side" / "three.wav").read_bytes())
    tone(tapes.parent / "outside.wav", 1)
    checked = manifests.check(cast["archivist"], BAD.encode(), manifests.Folder(tapes))
    assert refused(checked) == {
        (2, "title"), (3, "file"), (3, "recorded_on"), (3, "places"), (4, "file"), (5, "file"), (6, "file"),
        (7, "transcript"), (7, "transcript_language"), (7, "transcript_kind"), (8, "transcript"), (9, "file"),
    }
    assert (1, "colour", "warning") in {(one.row, one.column, one.severity) for one in checked.problems}
    lines = [one.text for one in checked.problems if one.row == 7 and one.column == "transcript"]
    assert any("runs past the end" in line for line in lines)
    assert any(line.startswith("line 1: This cue runs to ") for line in lines)
    assert not checked.ready
    assert not Item.ungated.exists()
    assert not Master.ungated.exists()


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("", (0, "")),
        ("file,title\nx.wav,A\n", (1, "recorded_on")),
        (HEAD.replace("language", "title"), (1, "title")),
        (HEAD + 'one.wav,"The lamp,1962\n', (0, "")),
        (HEAD + "one.wav,Lamps, tall,1962,en,,,,,\n", (2, "recorded_on")),
        (HEAD + "one.wav,A,1962,,,,,,9\n", (2, "")),
        (HEAD + "x" * 200_000 + ",A,1962,,,,\n", (0, "")),
    ],
)
def test_a_table_that_cannot_be_read_is_refused_where_it_fails(cast, tapes, text, place):
    assert place in refused(manifests.check(cast["archivist"], text.encode(), manifests.Folder(tapes)))


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_spreadsheets_of_all_sorts_are_read(cast, tapes, encoding, delimiter):
    text = "File;Title;Recorded on\r\none.wav;Café;1962\r\n".replace(";", delimiter)
    checked = manifests.check(cast["archivist"], text.encode(encoding), manifests.Folder(tapes))
    assert [row.title for row in checked.ready] == ["Café"]


def test_a_new_name_close_to_a_known_one_must_be_meant(cast, tapes):
    writing.add_person(None, [writing.NameGiven("en", "Tolemy Arn", True)])
    archivist = cast["archivist"]
    made = bringing.speaker(archivist, "Marevel", "en")
    data = (HEAD + "one.wav,A,1962,,Maravel,,\ntwo.wav,B,1962,,MAREVEL,,\n").encode()
    source = manifests.Folder(tapes)
    assert refused(manifests.check(archivist, data, source)) == {(2, "speakers")}
    sure = manifests.check(archivist, data, source, is_sure=True)
    assert sure.is_good
    assert [row.people for row in sure.rows] == [(), (made.pk,)]
    # Nobody is told of a person whom they do not meet.
    hidden = manifests.check(archivist, (HEAD + "one.wav,A,1962,,Tolemy Arm,,\n").encode(), source)
    assert hidden.is_good


# --- from the shell ---


def test_a_folder_is_brought_in_and_a_second_run_passes_over_it(cast, tapes):
    table(tapes, GOOD)
    out = run(tapes)
    assert "3 of 3 rows are in" in out
    assert sorted(Recording.ungated.values_list("title", "recorded_on", "language")) == [
        ("The bay", "196X", "qse-x-senneth"), ("The boat", "1963", "en"), ("The lamp", "1962~", "en"),
    ]
    assert Item.ungated.filter(kind=Kind.PERSON).count() == 2  # the second row has the first row's speaker
    assert Transcript.ungated.get().kind == "verbatim"
    assert not Recording.ungated.filter(decision__isnull=False).exists()
    again = run(tapes)
    assert again.count("kept already") == 3
    assert "0 of 0 rows" in again
    assert Recording.ungated.count() == 3


def test_nothing_is_taken_in_while_anything_is_refused_or_only_looked_at(cast, tapes):
    bad = table(tapes, GOOD.replace("1963", "when the ice went"))
    with pytest.raises(CommandError, match="--good-rows"):
        run(manifest=bad)
    assert "Nothing was taken in" in run(manifest=table(tapes, GOOD), dry_run=True)
    assert not Recording.ungated.exists()
    assert "2 of 2 rows are in" in run(manifest=table(tapes, GOOD.replace("1963", "then")), good_rows=True)
    assert set(Recording.ungated.values_list("title", flat=True)) == {"The lamp", "The bay"}


def test_stopped_in_the_middle_the_rest_comes_with_the_next_run(cast, tapes, monkeypatch):
    path = table(tapes, GOOD)
    take, seen = bringing._take_in, []

    def asked_to_end(*given: Any) -> bringing.Brought:
        seen.append(given[2])
        if len(seen) == 2:
            os.kill(os.getpid(), signal.SIGTERM)  # as a service manager stops a command
        return take(*given)

    monkeypatch.setattr(bringing, "_take_in", asked_to_end)
    with pytest.raises(CommandError, match="1 of 3 rows are in") as stopped:
        run(manifest=path)
    assert stopped.value.returncode == 130
    assert not [one for one in folders.incoming().glob("*") if one.is_file()]
    assert list(Recording.ungated.values_list("title", flat=True)) == ["The lamp"]
    monkeypatch.undo()
    assert "2 of 2 rows are in" in run(manifest=path)
    assert Recording.ungated.count() == 3


def test_a_full_disk_ends_it_and_one_bad_row_does_not(cast, tapes, monkeypatch):
    path, link, calls = table(tapes, GOOD), os.link, []

    def once_no_room(*given: Any) -> None:
        calls.append(given)
        if len(calls) == 2:
            raise OSError(errno.ENOSPC, "No space left on device")
        link(*given)

    monkeypatch.setattr(os, "link", once_no_room)
    with pytest.raises(CommandError):
        run(manifest=path)
    assert list(Recording.ungated.values_list("title", flat=True)) == ["The lamp"]
    assert "2 of 2 rows are in" in run(manifest=path)


@pytest.mark.parametrize("given", [
    {"manifest": Path("none.csv")}, {"manifest": Path(__file__), "audio": Path("one.wav")}, {}, {"title": "A"},
])
def test_a_senseless_command_is_refused_in_words(cast, given):
    with pytest.raises(CommandError):
        run(**given)


def test_somebody_must_be_entrusted_with_a_tables_recordings(cast, tapes):
    with pytest.raises(CommandError, match="--by"):
        call_command("add_recording", manifest=table(tapes, GOOD))


# --- one recording, by command ---


ONE = {"title": "T", "date": "1962", "language": "qse-x-senneth"}


def test_each_transcript_may_have_a_language_and_a_kind(cast, tapes):
    (tapes / "one.srt").rename(tapes / "one:en.srt")
    plain, told = str(tapes / "one:en.srt"), str(tapes / "one:en.srt:pt")
    run(str(tapes / "one.wav"), transcript=[plain, told, f"{told}:summary"], **ONE)
    kept = Transcript.ungated.values_list("language", "kind", "original_name")
    assert sorted(kept) == [(tag, kind, "one:en.srt") for tag, kind in (
        ("pt", "summary"), ("pt", "verbatim"), ("qse-x-senneth", "verbatim"))]


@pytest.mark.parametrize(("about", "words"), [
    (":en:loud", "“loud” in .*:en:loud is no kind"), (":not a tag", "is not a language tag"), (":a:b:c", "no file"),
])
def test_what_is_wrong_about_a_transcript_is_said(cast, tapes, about, words):
    with pytest.raises(CommandError, match=words):
        run(str(tapes / "one.wav"), transcript=[str(tapes / "one.srt") + about], **ONE)
    assert not Recording.ungated.exists()


# --- by page ---


def sent(path: Path) -> SimpleUploadedFile:
    return SimpleUploadedFile(path.name, path.read_bytes())


def test_by_page_the_rows_are_seen_before_they_are_brought_in(at_desk, cast, tapes):
    files = [sent(tapes / name) for name in ("one.wav", "one.srt", "two.wav")]
    data = {"table": SimpleUploadedFile("tapes.csv", GOOD.encode()), "files": files, "do": "check"}
    page = at_desk.post(reverse("bring_many"), data)
    assert b"There is no file" in page.content  # side/three.wav has not come
    assert b"Bring 2 rows in" in page.content
    assert not Recording.ungated.exists()
    assert Upload.ungated.count() == 3
    kept = page.context["kept_table"]
    done = at_desk.post(reverse("bring_many"), {"kept_table": kept, "do": "bring"})
    assert b"2 recordings are in" in done.content
    assert set(Recording.ungated.values_list("title", flat=True)) == {"The lamp", "The boat"}
    assert Transcript.ungated.get().original_name == "one.srt"
    assert not Upload.ungated.exists()
    three = at_desk.post(
        reverse("bring_many"), {"kept_table": kept, "files": [sent(tapes / "side" / "three.wav")], "do": "bring"}
    )
    assert three.content.count(b"kept already") >= 2 or b"1 recording is in" in three.content
    assert Recording.ungated.count() == 3


def test_a_press_takes_in_for_a_while_and_the_next_goes_on(at_desk, cast, tapes, monkeypatch):
    monkeypatch.setattr("archive.views.desk.many.WORK_S", 0.0)
    files = [sent(path) for path in (tapes / "one.wav", tapes / "one.srt", tapes / "two.wav", tapes / "side/three.wav")]
    data = {"table": SimpleUploadedFile("t.csv", GOOD.encode()), "files": files, "do": "bring"}
    page = at_desk.post(reverse("bring_many"), data)
    for count in (1, 2, 3):
        assert Recording.ungated.count() == count
        assert (b"Press again to go on" in page.content) == (count < 3)
        page = at_desk.post(reverse("bring_many"), {"kept_table": page.context["kept_table"], "do": "bring"})
    assert Recording.ungated.count() == 3


def test_a_page_without_a_table_or_with_anothers_files_takes_nothing(at_desk, cast, tapes):
    assert b"Choose the table" in at_desk.post(reverse("bring_many"), {"do": "bring"}).content
    other = uploads.begin(cast["second"], "one.wav", 3)
    uploads.append(cast["second"], other.ref, 0, io.BytesIO(b"abc"), 3)
    page = at_desk.post(reverse("bring_many"), {"kept_table": GOOD, "do": "bring"})
    assert page.content.count(b"There is no file") >= 3
    assert uploads.get(cast["second"], other.ref) is not None
    stranger = Client()
    stranger.force_login(cast["educator"])
    assert stranger.get(reverse("bring_many")).status_code == 404
