"""The desk's bench: drafts, waveform, suggestions, corrections, closing seconds, uploads in pieces."""

from __future__ import annotations

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from archive.access import bringing, folders, writing
from archive.access.bringing import TranscriptGiven
from archive.models import ClosedSpan, Cue, Draft, LedgerRow, Person, Recording, Revision, Segment, Transcript, Upload

from .conftest import bring, open_up, segment, signed_in, tone
from .test_listening import body, loudness, sound_of

VTT = (
    "WEBVTT\n\n00:00.500 --> 00:01.500\n<v Marevoq>Marevok held the lamp.\n\n"
    "00:02.000 --> 00:03.000\nThe middle of it.\n\n00:04.000 --> 00:05.500\nThe lamp went out.\n"
)
OF_RECORDING = ("cut", "close_seconds", "draft", "sound_state", "wave", "cut_hints", "heard")
OF_TRANSCRIPT = ("correct_words", "versions", "names_heard")


@pytest.fixture
def recording(cast, tmp_path) -> Recording:
    given = [bringing.TranscriptGiven(VTT.encode(), "talk.vtt", "en"),
             bringing.TranscriptGiven(VTT.replace("lamp", "lampe").encode(), "parole.vtt", "fr")]
    return bring(cast["archivist"], tmp_path, "The lamp", transcripts=given)


@pytest.fixture
def transcript(recording) -> Transcript:
    return Transcript.ungated.get(recording=recording, language="en")


def named(text: str) -> Person:
    return writing.add_person(None, [writing.NameGiven("en", text, True)])


def addresses(recording: Recording, transcript: Transcript) -> list[str]:
    found = [reverse(name, args=[recording.ref]) for name in OF_RECORDING]
    found = [f"{url}?start=0&end=6000" if url.endswith("/heard/") else url for url in found]
    found += [reverse(name, args=[transcript.ref]) for name in OF_TRANSCRIPT]
    return found + [reverse("transcript_file", args=[transcript.ref, form]) for form in ("original", "srt", "vtt")]


def texts(transcript: Transcript) -> list[str]:
    rows = Cue.ungated.filter(transcript=transcript).order_by("start_ms")
    return list(rows.values_list("text", flat=True))


def put(client: Client, url: str, content, version: int):
    return client.put(url, json.dumps({"content": content, "version": version}), content_type="application/json")


# --- whose pages these are ---


def test_every_page_answers_the_archivist_it_is_entrusted_to(at_desk, recording, transcript) -> None:
    assert at_desk.get(sound_of(recording)).status_code == 200  # the waveform is made along with the sound
    for address in addresses(recording, transcript):
        assert at_desk.get(address).status_code == 200, address


def test_others_get_the_answer_for_what_never_was(cast, recording, transcript) -> None:
    cast["second"].is_archivist = True
    cast["second"].save()
    for name in ("second", "educator", "council", "keeper", "family", "plain"):
        client = signed_in(cast[name])
        for address in addresses(recording, transcript):
            never = address.replace(recording.ref, "zzzzzzzzzzzz").replace(transcript.ref, "zzzzzzzzzzzz")
            answer, absent = client.get(address), client.get(never)
            assert answer.status_code == absent.status_code == 404, (name, address)
            assert len(answer.content) == len(absent.content), (name, address)
    for address in addresses(recording, transcript):
        assert Client().get(address).status_code == 302, address


def test_only_the_archivist_posts(cast, recording, transcript) -> None:
    cast["second"].is_archivist = True
    cast["second"].save()
    posts = {
        reverse("close_seconds", args=[recording.ref]): {"start": "0:01", "end": "0:02", "reason": "x"},
        reverse("correct_words", args=[transcript.ref]): {"a-base": "1", "a-place": "0", "a-0-text": "other"},
        reverse("restore_version", args=[transcript.ref]): {"number": "1"},
        reverse("names_heard", args=[transcript.ref]): {"base": "1"},
    }
    for name in ("second", "council", "plain"):
        for address, data in posts.items():
            assert signed_in(cast[name]).post(address, data).status_code == 404, (name, address)
    assert not ClosedSpan.ungated.exists()
    assert texts(transcript)[0] == "Marevok held the lamp."


# --- closing seconds ---


def test_closed_seconds_are_gone_at_the_next_request(cast, at_desk, recording) -> None:
    part = segment(recording, 1500, 3500, "A part")
    open_up(cast["council"], recording, part)
    visitor = Client()
    captions = reverse("recording_captions", args=[recording.ref, "en"])
    assert "middle" in visitor.get(captions).content.decode()
    assert part.ref in visitor.get(reverse("find"), {"q": "middle"}).content.decode()
    data = {"start": "0:02", "end": "0:03", "reason": "the family asked"}
    answer = at_desk.post(reverse("close_seconds", args=[recording.ref]), data, follow=True)
    assert "closed from this moment" in answer.content.decode()
    assert ClosedSpan.ungated.get().decision_id is None  # it waits for the council
    assert "middle" not in visitor.get(captions).content.decode()
    assert part.ref not in visitor.get(reverse("find"), {"q": "middle"}).content.decode()
    whole = loudness(body(visitor.get(sound_of(recording))))
    piece = loudness(body(visitor.get(sound_of(part))))
    # The tone's RMS is 12000/32768/√2 = 0.26. A codec may smear a few ms into the silence: its edges are left out.
    assert whole[21:29].max() < 1e-4
    assert piece[6:14].max() < 1e-4
    assert whole[31:55].min() > 0.2
    assert body(at_desk.get(sound_of(recording)))  # whoever closed it still works on it
    assert b"the family asked" not in visitor.get(reverse("recording", args=[recording.ref])).content


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"start": ""}, "Write a time."),
        ({"end": "0:01"}, "not after its start"),
        ({"end": "0:09"}, "the recording ends at 0:06"),
        ({"reason": ""}, "required"),
        ({"start": "1:75"}, "only the first field may be more than 59"),
    ],
)
def test_a_stretch_that_cannot_be_is_refused_in_words(at_desk, recording, changed, words) -> None:
    data = {"start": "0:02", "end": "0:03", "reason": "kept words"} | changed
    answer = at_desk.post(reverse("close_seconds", args=[recording.ref]), data)
    assert answer.status_code == 200
    assert words in answer.content.decode()
    assert not ClosedSpan.ungated.exists()


# --- drafts ---


def test_a_draft_outlives_the_browser_and_is_its_writers_alone(cast, at_desk, recording) -> None:
    url = reverse("draft", args=[recording.ref])
    content = {"pieces": [{"id": "a", "start_ms": 1000, "end_ms": 2000, "title": "half"}], "chosen": "a"}
    assert put(at_desk, url, content, 0).json()["version"] == 1
    assert signed_in(cast["archivist"]).get(url).json()["content"] == content
    cast["second"].is_archivist = True
    cast["second"].save()
    open_up(cast["council"], recording)
    other = signed_in(cast["second"])
    assert other.get(url).json() == {"version": 0, "content": {}, "words": ""}
    assert put(other, url, {"pieces": []}, 0).status_code == 200
    assert at_desk.get(url).json()["content"] == content
    assert not Segment.ungated.exists()
    assert b"half" not in other.get(reverse("cut", args=[recording.ref])).content


def test_an_older_draft_does_not_overwrite_a_newer(at_desk, recording) -> None:
    url = reverse("draft", args=[recording.ref])
    put(at_desk, url, {"pieces": [{"id": "new"}]}, 0)
    late = put(at_desk, url, {"pieces": []}, 0)
    assert late.status_code == 409
    assert late.json()["content"] == {"pieces": [{"id": "new"}]}


@pytest.mark.parametrize(
    "sent",
    ["", "[]", "{", '{"content": [], "version": 0}', '{"content": {"pieces": 1}, "version": 0}', "[" * 9000,
     '{"content": {"a": NaN}, "version": 0}', '{"content": {}, "version": 1e999}', '{"content": {"a": "\\u0000"}}',
     '{"content": {"a": "\\ud800"}, "version": 0}', json.dumps({"content": {"a": "x" * (1 << 20)}, "version": 0})],
)
def test_what_is_no_draft_is_refused(at_desk, recording, sent) -> None:
    answer = at_desk.put(reverse("draft", args=[recording.ref]), sent, content_type="application/json")
    assert answer.status_code == 400
    assert answer.json()["words"]
    assert not Draft.ungated.exists()


def test_a_piece_leaves_the_draft_once_it_is_cut(at_desk, recording) -> None:
    url = reverse("draft", args=[recording.ref])
    put(at_desk, url, {"pieces": [{"id": "a"}, {"id": "b"}]}, 0)
    data = {"start": "0:01", "end": "0:02", "title": "A part", "piece": "a"}
    assert at_desk.post(reverse("cut", args=[recording.ref]), data).status_code == 302
    assert at_desk.get(url).json()["content"]["pieces"] == [{"id": "b"}]


# --- typed times ---


@pytest.mark.parametrize(("asked", "answer"), [
    ({"text": "0:02.5"}, {"start_ms": 2500, "end_ms": None}),
    ({"text": "PT2.5S"}, {"start_ms": 2500, "end_ms": None}),
    ({"text": "#t=10,20"}, {"start_ms": 10_000, "end_ms": 20_000}),  # W3C Media Fragments 1.0, 4.2.1
    ({"text": "00:00:03:12", "rate": "25"}, {"start_ms": 3480, "end_ms": None}),
])
def test_a_typed_time_is_read_for_the_bench(at_desk, asked, answer) -> None:
    assert at_desk.get(reverse("typed_time"), asked).json() == answer


@pytest.mark.parametrize(("asked", "words"), [
    ({"text": "1:75"}, "only the first field may be more than 59"), ({"text": ""}, "Write a time."),
    ({}, "Write a time."),
    ({"text": "00:00:03:12"}, "frame rate is missing"), ({"text": "0:01", "rate": "x"}, "x"),
    ({"text": "9" * 5000}, "too long"),
])
def test_what_is_no_time_is_answered_in_words(at_desk, asked, words) -> None:
    assert words in at_desk.get(reverse("typed_time"), asked).json()["words"]


# --- the waveform ---


def test_the_waveform_is_of_what_the_archivist_hears(cast, at_desk, recording) -> None:
    at_desk.get(sound_of(recording))
    whole = at_desk.get(reverse("wave", args=[recording.ref])).content
    assert abs(len(whole) / 2 / 50 - 6.0) < 0.1  # pairs, 50 a second, of 6 s
    cast["second"].is_archivist = True
    cast["second"].save()
    open_up(cast["council"], recording)
    at_desk.post(reverse("close_seconds", args=[recording.ref]), {"start": "0:02", "end": "0:03", "reason": "x"})
    other = signed_in(cast["second"])
    other.get(sound_of(recording))
    cut = other.get(reverse("wave", args=[recording.ref]))
    assert cut.status_code == 200
    assert set(cut.content[2 * 105 : 2 * 145]) == {0}  # 2.1 s to 2.9 s
    assert set(whole[2 * 105 : 2 * 145]) != {0}


# --- suggestions ---


def test_suggestions_change_nothing_by_themselves(at_desk, cast, recording, transcript) -> None:
    person = named("Marevoq")
    open_up(cast["council"], person)
    before = texts(transcript)
    page = at_desk.get(reverse("names_heard", args=[transcript.ref])).content.decode()
    assert "<mark>Marevok</mark>" in page
    for name in ("cut_hints", "heard"):
        at_desk.get(reverse(name, args=[recording.ref]), {"start": "0", "end": "6000"})
    at_desk.post(reverse("names_heard", args=[transcript.ref]), {"base": "1", "as-0-0-7": "Marevoq"})
    assert texts(transcript) == before
    assert not Segment.ungated.exists()
    assert not Revision.ungated.filter(number__gt=1).exists()


def test_a_suggestion_is_taken_changed_or_refused(at_desk, cast, transcript) -> None:
    open_up(cast["council"], named("Marevoq"))
    url = reverse("names_heard", args=[transcript.ref])
    refused = {"base": "1", "name-0-0-7": "refuse", "as-0-0-7": "Marevoq", "was-0-0-7": "Marevoq"}
    at_desk.post(url, refused)
    assert texts(transcript)[0] == "Marevok held the lamp."
    assert "<mark>Marevok</mark>" not in at_desk.get(url).content.decode()
    at_desk.post(url, refused | {"name-0-0-7": "take"})
    assert texts(transcript)[0] == "Marevoq held the lamp."


def test_names_that_the_archivist_does_not_meet_are_never_suggested(at_desk, recording, transcript) -> None:
    named("Marevoq")  # nobody has decided about this person
    for address in addresses(recording, transcript):
        assert b"Marevoq" not in at_desk.get(address).content, address


def test_the_first_version_is_given_in_one_way_whoever_is_hidden(at_desk, recording, transcript) -> None:
    """A voice that is not met is left out: the file is not refused for it, which would tell that there is one."""
    named("Marevoq")
    first = reverse("transcript_file", args=[transcript.ref, "original"])
    hidden = at_desk.get(first)
    assert hidden["Content-Type"].startswith("text/vtt")
    Transcript.ungated.filter(pk=transcript.pk).delete()
    other = bringing.add_transcript(
        None, recording, TranscriptGiven(VTT.replace("<v Marevoq>", "").encode(), "talk.vtt", "en"))
    shown = at_desk.get(first.replace(transcript.ref, other.ref))
    assert hidden.content == shown.content


def test_who_speaks_is_offered_for_a_stretch(at_desk, cast, recording) -> None:
    open_up(cast["council"], named("Marevoq"))
    answer = at_desk.get(reverse("heard", args=[recording.ref]), {"start": "0", "end": "2000"})
    assert {"field": "speakers", "name": "Marevoq"} in answer.json()["found"]
    assert at_desk.get(reverse("heard", args=[recording.ref]), {"start": "5", "end": "x"}).status_code == 400


# --- corrections ---


def correct(client: Client, transcript: Transcript, text: str, base: int = 1):
    data = {"a-base": str(base), "a-place": ["0", "1"], "a-0-text": text, "a-1-text": "The middle of it."}
    return client.post(reverse("correct_words", args=[transcript.ref]), data, follow=True)


def test_a_correction_is_a_revision_and_the_bytes_stay(at_desk, cast, transcript) -> None:
    assert b"Saved as a new version" in correct(at_desk, transcript, "Somebody held the lamp.").content
    assert texts(transcript) == ["Somebody held the lamp.", "The middle of it.", "The lamp went out."]
    transcript.refresh_from_db()
    assert bytes(transcript.original) == VTT.encode()
    newest = Revision.ungated.filter(transcript=transcript).order_by("-number").first()
    assert (newest.number, newest.made_by) == (2, cast["archivist"])
    came = at_desk.get(reverse("transcript_file", args=[transcript.ref, "original"])).content
    assert b"Marevok held the lamp." in came
    assert b"Somebody" not in came
    assert b"Nothing was changed" in correct(at_desk, transcript, "Somebody held the lamp.", base=2).content


def test_the_bytes_as_they_came_are_given_in_the_shell_and_the_ledger_says_so(transcript, tmp_path) -> None:
    out = tmp_path / "came.vtt"
    call_command("transcript", "original", transcript.ref, "--out", str(out))
    assert out.read_bytes() == VTT.encode()
    assert LedgerRow.objects.filter(event="transcript taken out", item=transcript.recording.ref).count() == 1
    with pytest.raises(CommandError, match="cannot be written"):
        call_command("transcript", "original", transcript.ref, "--out", str(out))
    with pytest.raises(CommandError, match="No transcript has the address"):
        call_command("transcript", "original", "x", "--out", str(tmp_path / "none"))
    assert not (tmp_path / "none").exists()


def test_versions_are_compared_and_put_back(at_desk, transcript) -> None:
    correct(at_desk, transcript, "Somebody held the lamp.")
    page = at_desk.get(reverse("versions", args=[transcript.ref]), {"before": "1", "after": "2"}).content.decode()
    assert "Marevok held the lamp." in page
    assert "Somebody held the lamp." in page
    assert "The middle of it." not in page  # only what differs
    at_desk.post(reverse("restore_version", args=[transcript.ref]), {"number": "1"})
    assert texts(transcript)[0] == "Marevok held the lamp."
    assert Revision.ungated.filter(transcript=transcript).count() == 3
    gone = at_desk.post(reverse("restore_version", args=[transcript.ref]), {"number": "99"}, follow=True)
    assert b"is not kept" in gone.content


def test_two_people_on_one_line_are_told(at_desk, transcript) -> None:
    correct(at_desk, transcript, "Theirs.")
    answer = correct(at_desk, transcript, "Mine.")
    assert all(words in answer.content for words in (b"Somebody was faster", b"Theirs.", b"Mine."))
    assert texts(transcript)[0] == "Theirs."


def test_two_languages_stand_side_by_side_and_are_saved_together(at_desk, recording, transcript) -> None:
    other = Transcript.ungated.get(recording=recording, language="fr")
    url = reverse("correct_words", args=[transcript.ref]) + f"?beside={other.ref}"
    page = at_desk.get(url).content.decode()
    assert "Marevok held the lamp." in page
    assert "Marevok held the lampe." in page
    data = {"a-base": "1", "b-base": "1", "a-place": "0", "b-place": "0", "a-0-text": "One.", "b-0-text": "Un."}
    at_desk.post(url, data)
    assert (texts(transcript)[0], texts(other)[0]) == ("One.", "Un.")
    wrong = data | {"a-base": "2", "b-base": "2", "a-0-text": "Two.", "b-0-text": "Deux.", "b-0-start": "x"}
    assert b"Nothing was saved" in at_desk.post(url, wrong).content
    assert (texts(transcript)[0], texts(other)[0]) == ("One.", "Un.")


def test_the_same_transcript_is_taken_in_once(at_desk, recording, transcript) -> None:
    url = reverse("add_transcript", args=[recording.ref])

    def sent(language: str, name: str = "again.vtt"):
        file = SimpleUploadedFile(name, VTT.encode())
        fields = {"transcript-0-file": file, "transcript-0-language": language, "transcript-0-kind": "verbatim"}
        return at_desk.post(url, fields).content.decode()

    assert "here already" in sent("en")
    assert Transcript.ungated.filter(recording=recording).count() == 2
    assert "here already" not in sent("de")
    assert "here already" not in sent("fr", "third.vtt")
    page = at_desk.get(reverse("correct_words", args=[transcript.ref])).content.decode()
    assert "third.vtt" in page
    assert "again.vtt" not in page  # told apart by the file only where language and kind do not


def test_one_version_alone_is_not_compared(at_desk, transcript) -> None:
    url = reverse("versions", args=[transcript.ref])
    assert 'name="before"' not in at_desk.get(url).content.decode()
    correct(at_desk, transcript, "Somebody held the lamp.")
    assert 'name="before"' in at_desk.get(url).content.decode()


# --- uploads in pieces ---


def begin(client: Client, size: int, name: str = "tape.wav"):
    data = json.dumps({"name": name, "size": size})
    return client.post(reverse("begin_upload"), data, content_type="application/json")


def send(client: Client, ref: str, data: bytes, offset: int):
    url = reverse("upload", args=[ref])
    return client.put(url, data, content_type="application/octet-stream", headers={"X-Offset": str(offset)})


def test_an_upload_in_pieces_becomes_a_recording(at_desk, cast, tmp_path) -> None:
    data = tone(tmp_path / "w.wav", 5, 220).read_bytes()
    half = len(data) // 2
    ref = begin(at_desk, len(data)).json()["ref"]
    assert send(at_desk, ref, data[:half], 0).json()["arrived"] == half
    wrong = send(at_desk, ref, data[:half], 0)
    assert (wrong.status_code, wrong.json()["arrived"]) == (409, half)
    assert f"up to byte {half}" in wrong.json()["words"]
    again = begin(at_desk, len(data)).json()  # the same file, chosen again
    assert (again["ref"], again["arrived"]) == (ref, half)
    assert at_desk.get(reverse("upload", args=[ref])).json()["arrived"] == half
    assert send(at_desk, ref, data[half:], again["arrived"]).json()["arrived"] == len(data)
    form = {"title": "The tape", "recorded_on": "1962~", "language": "en", "kept": ref}
    for at in range(3):
        form |= {f"transcript-{at}-language": "en", f"transcript-{at}-kind": "verbatim"}
    assert at_desk.post(reverse("bring"), form).status_code == 302
    row = Recording.ungated.get()
    assert folders.master_path(row.master.sha256).read_bytes() == data
    assert not Upload.ungated.exists()
    assert not folders.part_path(ref).exists()


def test_an_upload_is_its_owners_and_is_dropped_with_its_bytes(at_desk, cast) -> None:
    ref = begin(at_desk, 100).json()["ref"]
    send(at_desk, ref, b"x" * 40, 0)
    assert folders.part_path(ref).stat().st_size == 40
    cast["second"].is_archivist = True
    cast["second"].save()
    for name in ("second", "plain"):
        other = signed_in(cast[name])
        assert other.get(reverse("upload", args=[ref])).status_code == 404
        assert send(other, ref, b"y", 40).status_code == 404
        assert other.post(reverse("drop_upload", args=[ref])).status_code == 404
    assert at_desk.post(reverse("drop_upload", args=[ref])).status_code == 302
    assert not Upload.ungated.exists()
    assert not folders.part_path(ref).exists()


@pytest.mark.parametrize(
    "sent",
    ["", "[]", "{}", '{"name": "a.wav", "size": 0}', '{"name": "a.wav", "size": -1}', '{"name": "a", "size": 1e999}',
     '{"name": "\\u0000", "size": 5}', '{"name": "\\ud800", "size": 5}', '{"name": "a", "size": 99999999999999999}'],
)
def test_what_cannot_be_uploaded_is_refused_in_words(at_desk, sent) -> None:
    answer = at_desk.post(reverse("begin_upload"), sent, content_type="application/json")
    assert answer.status_code == 400
    assert answer.json()["words"]
    assert not Upload.ungated.exists()


def test_a_piece_without_its_place_or_too_long_is_refused(at_desk) -> None:
    ref = begin(at_desk, 10).json()["ref"]
    url = reverse("upload", args=[ref])
    assert at_desk.put(url, b"x", content_type="application/octet-stream").status_code == 400
    assert send(at_desk, ref, b"x" * 11, 0).status_code == 409
    assert at_desk.get(url).json()["arrived"] == 0
