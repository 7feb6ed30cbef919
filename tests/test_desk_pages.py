"""The desk: bringing in by page, cutting, editing with two people at once, writing in people, places and stars."""

from __future__ import annotations

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from archive.access import bringing, desk
from archive.access.gate import Gate
from archive.models import Figure, Item, Kind, Mirror, Name, Person, Place, Recording, Segment, Tie, Topic

from .conftest import bring, open_up, segment, tone

SRT = """1
00:00:00,500 --> 00:00:02,000
The lamp stood over the head.

2
00:00:02,500 --> 00:00:04,000
And then it went.
"""


@pytest.fixture
def recording(cast, tmp_path) -> Recording:
    given = bringing.TranscriptGiven(SRT.encode(), "talk.srt")
    return bring(cast["archivist"], tmp_path, "The lamp", transcripts=[given])


def form_of_bringing(tmp_path, seconds: float = 5.0, **changed):
    path = tone(tmp_path / "talk.wav", seconds, 330)
    data = {
        "title": "At the head",
        "recorded_on": "1962~",
        "language": "en",
        "speakers": ["Old Tole"],
        "places": [],
        "circumstances": "in the kitchen",
        "audio": SimpleUploadedFile("talk.wav", path.read_bytes()),
    }
    for at in range(3):
        data |= {f"transcript-{at}-language": "en", f"transcript-{at}-kind": "verbatim"}
    return data | changed


def srt(text: str = SRT, name: str = "talk.srt") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, text.encode())


def test_only_archivists_find_the_desk(cast) -> None:
    for name in ("educator", "council", "keeper", "plain"):
        client = Client()
        client.force_login(cast[name])
        for address in ("desk", "bring", "add_person", "add_mirror"):
            assert client.get(reverse(address)).status_code == 404
    assert Client().get(reverse("desk")).status_code == 302


def test_a_recording_is_brought_in_by_page(at_desk, cast, tmp_path) -> None:
    answer = at_desk.post(reverse("bring"), form_of_bringing(tmp_path, **{"transcript-0-file": srt()}), follow=True)
    row = Recording.ungated.get()
    assert answer.redirect_chain == [(reverse("desk_recording", args=[row.ref]), 302)]
    assert row.decision_id is None
    assert row.master.original_name == "talk.wav"
    assert b"Old Tole" in at_desk.get(reverse("recording", args=[row.ref])).content
    assert b"At the head" in at_desk.get(reverse("desk")).content
    stranger = Client()
    stranger.force_login(cast["plain"])
    assert stranger.get(reverse("recording", args=[row.ref])).status_code == 404


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"title": ""}, b"required"),
        ({"recorded_on": "last summer"}, b"is not a date"),
        ({"language": "english, mostly"}, b"is not a language tag"),
        ({"audio": SimpleUploadedFile("talk.wav", b"")}, b"empty (0 bytes)"),
        ({"audio": SimpleUploadedFile("talk.wav", b"only words, no sound")}, b"not a sound or video file"),
        ({"transcript-0-file": srt("no times at all\n")}, b"No timing line"),
        ({"transcript-0-file": srt(SRT.replace("00:00:04,000", "00:10:04,000"))}, b"runs past the end of the sound"),
        ({"transcript-0-file": srt(), "transcript-0-encoding": "klingon"}, b"No encoding is called"),
        ({"places": ["Nowhere"]}, b"Nothing is known by"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_kept(at_desk, tmp_path, changed, words) -> None:
    answer = at_desk.post(reverse("bring"), form_of_bringing(tmp_path, **changed))
    assert answer.status_code == 200
    assert words in answer.content
    assert b"in the kitchen" in answer.content  # what was typed is still there
    assert not Item.ungated.exists()
    assert not any((tmp_path / "masters").glob("*/*"))


def test_a_cut_off_file_a_wrong_name_and_a_duplicate_are_refused(at_desk, tmp_path) -> None:
    whole = tone(tmp_path / "w.wav", 5, 220).read_bytes()
    cases = [("talk.wav", whole[: len(whole) // 2], b"cut off"), ("talk.mp3", whole, b"The name ends in .mp3")]
    for name, data, words in cases:
        answer = at_desk.post(reverse("bring"), form_of_bringing(tmp_path, audio=SimpleUploadedFile(name, data)))
        assert words in answer.content
        assert not Item.ungated.exists()
    at_desk.post(reverse("bring"), form_of_bringing(tmp_path, audio=SimpleUploadedFile("a.wav", whole)))
    again = at_desk.post(reverse("bring"), form_of_bringing(tmp_path, audio=SimpleUploadedFile("b.wav", whole)))
    assert b"is kept already" in again.content
    assert Recording.ungated.count() == 1


def test_every_problem_of_a_transcript_is_listed_by_line(at_desk, tmp_path) -> None:
    odd = SRT + "\n3\n00:00:04,500 --> 00:00:04,100\nBackwards.\n"
    answer = at_desk.post(
        reverse("bring"), form_of_bringing(tmp_path, **{"transcript-0-file": srt(odd)}), follow=True
    )
    assert b"before it starts" in answer.content
    assert b"Backwards." in answer.content  # its words are not lost


def test_a_new_name_close_to_a_known_one_is_asked_about(at_desk, cast, tmp_path) -> None:
    at_desk.post(reverse("add_person"), names_of("Marevoq"))
    answer = at_desk.post(reverse("bring"), form_of_bringing(tmp_path, speakers=["Marevok"]))
    assert "is new, but close to “Marevoq”".encode() in answer.content
    assert not Recording.ungated.exists()
    at_desk.post(reverse("bring"), form_of_bringing(tmp_path, speakers=["Marevok"], sure="on"))
    assert Person.ungated.count() == 2


def names_of(*texts: str, language: str = "en", **more):
    data = {}
    for at, text in enumerate(texts):
        data |= {f"name-{at}-text": text, f"name-{at}-language": language}
    return data | {"name-0-leads": "yes"} | more


# --- cutting ---


def cut_form(**changed):
    return {"start": "0:01", "end": "0:03.5", "title": "The lamp over the head"} | changed


@pytest.mark.parametrize(
    ("start", "end", "stretch"),
    [
        ("0:01", "0:03.5", (1000, 3500)),
        ("PT1S", "PT3.5S", (1000, 3500)),
        ("#t=1,3.5", "", (1000, 3500)),
        ("00:00:01:00", "00:00:03:12", (1000, 3480)),
    ],
)
def test_times_are_typed_in_any_accepted_form(at_desk, recording, start, end, stretch) -> None:
    at_desk.post(reverse("cut", args=[recording.ref]), cut_form(start=start, end=end, rate="25"))
    made = Segment.ungated.get()
    assert (made.start_ms, made.end_ms) == stretch


def test_ticked_lines_give_the_stretch(at_desk, recording) -> None:
    page = at_desk.get(reverse("cut", args=[recording.ref]))
    assert b'value="500-2000"' in page.content
    data = cut_form(start="", end="", cue=["500-2000", "2500-4000"])
    at_desk.post(reverse("cut", args=[recording.ref]), data)
    made = Segment.ungated.get()
    assert (made.start_ms, made.end_ms) == (500, 4000)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"end": "0:06.001"}, "but the recording ends at 0:06"),
        ({"start": "0:07"}, "before this"),
        ({"start": "0:03", "end": "0:02"}, "not after its start"),
        ({"start": "1:75"}, "only the first field may be more than 59"),
        ({"start": "00:00:01:00"}, "the frame rate is missing"),
        ({"start": "", "end": ""}, "tick the first and the last line"),
        ({"title": ""}, "required"),
        ({"places": ["Nowhere"]}, "Nothing is known by “Nowhere”"),
    ],
)
def test_what_lies_outside_or_cannot_be_read_is_refused(at_desk, recording, changed, words) -> None:
    answer = at_desk.post(reverse("cut", args=[recording.ref]), cut_form(summary="kept words") | changed)
    assert words in answer.content.decode()
    assert b"kept words" in answer.content
    assert not Segment.ungated.exists()


def test_segments_may_overlap_and_take_known_and_new_names(at_desk, recording) -> None:
    at_desk.post(reverse("add_person"), names_of("Tâʼorun"))
    for title in ("one", "two"):
        data = cut_form(title=title, speakers=["ta'orun"], topics=["winter; storms"])
        assert at_desk.post(reverse("cut", args=[recording.ref]), data).status_code == 302
    assert Segment.ungated.count() == 2
    assert Person.ungated.count() == 1
    assert Topic.ungated.count() == 2  # the second time they were known
    assert Tie.ungated.filter(kind="told_by", source__kind=Kind.SEGMENT).count() == 2


def test_a_segment_is_taken_away_only_after_asking(at_desk, recording) -> None:
    made = segment(recording, 0, 1000, "to go")
    address = reverse("remove_segment", args=[made.ref])
    assert b"to go" in at_desk.get(address).content
    assert Segment.ungated.exists()
    at_desk.post(address)
    assert not Segment.ungated.exists()


def test_the_second_of_two_editors_is_told_and_loses_nothing(at_desk, cast, recording) -> None:
    made = segment(recording, 0, 1000, "first")
    cast["second"].is_archivist = True
    cast["second"].display_name = "Ishelu"
    cast["second"].save()
    open_up(cast["council"], recording)
    other = Client()
    other.force_login(cast["second"])
    address = reverse("edit_segment", args=[made.ref])
    version = str(made.version)
    other.post(address, cut_form(title="theirs", summary="theirs too", version=version))
    answer = at_desk.post(address, cut_form(title="mine", summary="mine too", version=version))
    text = answer.content.decode()
    assert "Ishelu saved this while you were writing" in text
    assert all(words in text for words in ("theirs", "theirs too", "mine", "mine too"))
    assert Segment.ungated.get().title == "theirs"
    again = {name: answer.context["form"][name].value() for name in ("start", "end", "title", "summary", "version")}
    at_desk.post(address, again)
    assert Segment.ungated.get().title == "mine"


def test_ties_to_what_the_editor_does_not_meet_stay(at_desk, cast, recording) -> None:
    hidden = Person.ungated.create(kind=Kind.PERSON)
    Name.ungated.create(item=hidden, language="en", text="Hidden One")
    made = segment(recording, 0, 1000, "first", speakers=[hidden.pk])
    address = reverse("edit_segment", args=[made.ref])
    assert b"Hidden One" not in at_desk.get(address).content
    at_desk.post(address, cut_form(version=str(made.version)))
    assert Tie.ungated.filter(source=made, target=hidden).exists()


def test_nothing_saved_at_the_desk_opens_what_the_council_closed(at_desk, cast, recording) -> None:
    from archive.access.decisions import Terms

    made = segment(recording, 1000, 3000, "closed to others")
    open_up(cast["council"], recording)
    open_up(cast["council"], made, terms=Terms())
    address = reverse("edit_segment", args=[made.ref])
    shorter = at_desk.post(address, cut_form(start="0:01", end="0:02", version=str(made.version)))
    assert b"none of them may be left out" in shorter.content
    gone = at_desk.post(reverse("remove_segment", args=[made.ref]))
    assert b"Ask the council to lift its condition first" in gone.content
    assert Segment.ungated.get().end_ms == 3000
    wider = at_desk.post(address, cut_form(start="0:00.5", end="0:03", version=str(made.version)))
    assert wider.status_code == 302


def test_no_other_archivist_meets_what_is_not_theirs(cast, recording) -> None:
    cast["second"].is_archivist = True
    cast["second"].save()
    other = Client()
    other.force_login(cast["second"])
    made = segment(recording, 0, 1000, "first")
    for name, ref in (("cut", recording.ref), ("desk_recording", recording.ref), ("edit_recording", recording.ref),
                      ("add_transcript", recording.ref), ("edit_segment", made.ref), ("remove_segment", made.ref)):
        assert other.get(reverse(name, args=[ref])).status_code == 404


# --- people, places, figures, topics, mirrors ---


def test_a_person_has_names_in_languages_and_teachers(at_desk) -> None:
    at_desk.post(reverse("add_person"), names_of("Marevoq"))
    data = names_of("ʔolvan", language="qse-x-senneth", born="1931~", learned_from=["marevoq"]) | {
        "name-1-text": "Olvan", "name-1-language": "en"}
    answer = at_desk.post(reverse("add_person"), data, follow=True)
    assert answer.status_code == 200
    pupil = Person.ungated.get(born="1931~")
    assert list(Name.ungated.filter(item=pupil).values_list("text", flat=True)) == ["ʔolvan", "Olvan"]
    assert Tie.ungated.filter(source=pupil, kind="learned_from").count() == 1
    assert desk.known(Gate(pupil.created_by), Kind.PERSON).find("olvan")


def place_of(name: str, latitude: str = "46.1", longitude: str = "-38.1", **more):
    return names_of(name, latitude_deg=latitude, longitude_deg=longitude, cell_deg="0.1", **more)


@pytest.mark.parametrize(
    ("address", "data", "words"),
    [
        ("add_place", place_of("Head", "91", "0"), "A latitude lies between"),
        ("add_place", place_of("Head", "1", "181"), "A longitude lies"),
        ("add_person", names_of("Head", language="senneth tongue"), "is not a language tag"),
        ("add_person", {}, "at least one name"),
        ("add_figure", names_of("Lamp", shape="group", stars="11767 999999"), "HIP 999999 is not in the star list"),
        ("add_figure", names_of("Lamp", shape="group", stars="the bright one"), "is no number of a star"),
        ("add_figure", names_of("Lamp", shape="lines", lines="11767"), "at least two stars"),
        ("add_figure", names_of("Lamp", shape="lines"), "at least one star"),
        ("add_mirror", {"title": "x", "figure": ["Nothing"]}, "Nothing is known by"),
    ],
)
def test_what_cannot_be_is_refused_in_words(at_desk, address, data, words) -> None:
    answer = at_desk.post(reverse(address), data)
    assert words in answer.content.decode()
    assert not Item.ungated.exists()


def test_markup_in_a_topic_is_only_letters(at_desk, recording) -> None:
    bad = "<script>alert(1)</script>"
    at_desk.post(reverse("add_topic"), names_of(bad))
    at_desk.post(reverse("cut", args=[recording.ref]), cut_form(topics=[bad]))
    topic = Topic.ungated.get()
    made = Segment.ungated.get()
    for address in (reverse("topic", args=[topic.ref]), reverse("segment", args=[made.ref]), reverse("topics"),
                    reverse("edit_topic", args=[topic.ref]), reverse("cut", args=[recording.ref]), reverse("desk")):
        page = at_desk.get(address).content
        assert bad.encode() not in page
        assert b"&lt;script&gt;" in page or address == reverse("desk")


def test_figures_and_mirrors_are_written_in_and_changed(at_desk) -> None:
    at_desk.post(reverse("add_figure"), names_of("Lamp", shape="lines", lines="11767 85822\n85822 82080"))
    figure = Figure.ungated.get()
    assert (figure.stars, figure.lines) == ([11767, 85822, 82080], [[11767, 85822], [85822, 82080]])
    for name, latitude in (("Head", "46.1"), ("Rock", "46.2"), ("Spring", "46.3")):
        assert at_desk.post(reverse("add_place"), place_of(name, latitude)).status_code == 302
    pairs = {"pair-0-place": "head", "pair-0-star": "11767", "pair-1-place": "Rock", "pair-1-star": "85822"}
    at_desk.post(reverse("add_mirror"), {"title": "The lamp on the shore", "figure": ["lamp"]} | pairs)
    mirror = Mirror.ungated.get()
    address = reverse("edit_mirror", args=[mirror.ref])
    page = at_desk.get(address).content.decode()
    assert all(words in page for words in ("Head", "Rock", "11767", "Lamp"))
    changed = pairs | {"pair-2-place": "Spring", "pair-2-star": "82080"}
    data = {"title": "On the shore", "figure": ["Lamp"], "version": str(mirror.version)}
    assert at_desk.post(address, data | changed).status_code == 302
    assert Tie.ungated.filter(source=mirror, kind="stands_at").count() == 3
    twice = data | pairs | {"pair-1-star": "11767", "version": "2"}
    assert b"can stand in a mirror once" in at_desk.post(address, twice).content


def test_two_people_editing_a_place_are_told(at_desk, cast) -> None:
    at_desk.post(reverse("add_place"), place_of("Head"))
    place = Place.ungated.get()
    address = reverse("edit_place", args=[place.ref])
    data = place_of("Head", version="1")
    at_desk.post(address, data | {"about": "theirs"})
    answer = at_desk.post(address, data | {"about": "mine", "name-0-text": "The Head"})
    text = answer.content.decode()
    assert "archivist saved this while you were writing" in text
    assert all(words in text for words in ("theirs", "mine", "The Head (en)", "Head (en)"))
    assert Place.ungated.get().about == "theirs"


def test_what_is_needed_is_not_said_to_be_optional(at_desk, recording) -> None:
    optional = re.compile(r'<label for="id_(\w+)">[^<]*<span class="optional">')
    for address, needed in ((reverse("bring"), {"audio", "title"}),
                            (reverse("close_seconds", args=[recording.ref]), {"start", "end", "reason"})):
        page = at_desk.get(address).content.decode()
        assert not needed & set(optional.findall(page))
        assert all(f'id="id_{name}"' in page for name in needed)
