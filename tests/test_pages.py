"""The public pages: each works, says no more than its viewer meets, and hides what is hidden without a trace."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import date

import pytest
from astropy import units
from astropy.coordinates import SkyCoord
from django.urls import reverse

from archive.access import bringing, decisions, details, showing, writing
from archive.access.bringing import TranscriptGiven
from archive.access.gate import Gate
from archive.access.writing import NameGiven
from archive.models import Account, Audience, House, Item, LedgerRow, Level, Recording, TieKind
from archive.sky.catalogue import load_catalogue
from archive.templatetags import undersky
from archive.views.pages import cues, parts, sketch, stars

from .conftest import bring, open_up, segment, without_token

pytestmark = pytest.mark.django_db

LISTS = ("home", "recordings", "people", "places", "figures", "mirrors", "topics", "layers")
KINDS = ("recording", "segment", "person", "place", "figure", "mirror", "topic", "layer")
ROLES = (None, "archivist", "educator", "council", "keeper", "family", "plain")
WORDS = "WEBVTT\n\n00:00.500 --> 00:01.500\n<v Ina>The heron went up.\n\n00:02.000 --> 00:03.000\nAnd stayed.\n"
GLOSS = "WEBVTT\n\n00:00.400 --> 00:01.600\nHeron rising.\n\n00:04.000 --> 00:05.000\nA line alone.\n"


@dataclass
class World:
    """One of each kind, tied together; `of` finds one by its kind."""

    council: Account
    items: dict[str, Item]

    def of(self, kind: str) -> Item:
        return self.items[kind]

    def open(self, *but: str) -> None:
        open_up(self.council, *(item for kind, item in self.items.items() if kind not in but and kind != "segment"))


def named(text: str, other: str = "") -> list[NameGiven]:
    return [NameGiven("qse-x-senneth", text, True)] + ([NameGiven("en", other, True)] if other else [])


@pytest.fixture
def world(cast, tmp_path) -> World:
    House.objects.update_or_create(pk=1, defaults={"language": "qse-x-senneth", "name": "A house"})
    recording = bring(None, tmp_path, "Evening talk", circumstances="On the bench.")
    bringing.add_transcript(None, recording, TranscriptGiven(WORDS.encode(), "talk.vtt", "qse-x-senneth"))
    teller = writing.add_person(None, named("Ina Velun", "Ina"), about="Weaves nets.", family="Velun")
    teacher = writing.add_person(None, named("Old Bo"))
    place = writing.add_place(
        None, named("Tolë", "The cove"), nature="cove", latitude_deg=46.07123, longitude_deg=-38.01234
    )
    second = writing.add_place(None, named("Rasu"), nature="rock", latitude_deg=46.01, longitude_deg=-38.02)
    figure = writing.add_figure(
        None, named("Hëlim", "The Net"), about="A net.", stars=[91262, 91971, 92420], lines=[[91262, 91971, 92420]]
    )
    topic = writing.add_topic(None, named("Hadu", "Work"), about="Work by hand.")
    mirror = writing.add_mirror(None, figure, [(place, 91262), (second, 91971)], title="The net on the shore")
    layer = writing.add_layer(None, [], title="The old paths", features='{"type":"FeatureCollection","features":[]}')
    writing.tie(recording, TieKind.TOLD_BY, teller)
    writing.tie(recording, TieKind.RECORDED_AT, place)
    writing.tie(teller, TieKind.LEARNED_FROM, teacher)
    part = segment(
        recording,
        400,
        3500,
        "How the net was hung",
        summary="A short one.",
        speakers=[teller.pk],
        places=[place.pk],
        figures=[figure.pk],
        topics=[topic.pk],
        had_from=[teacher.pk],
    )
    made = (recording, part, teller, place, figure, mirror, topic, layer)
    items = dict(zip(KINDS, made, strict=True)) | {"teacher": teacher, "second": second}
    return World(cast["council"], items)


TITLES = {
    "recording": "Evening talk",
    "segment": "How the net was hung",
    "person": "Ina Velun",
    "place": "Tolë",
    "figure": "Hëlim",
    "mirror": "The net on the shore",
    "topic": "Hadu",
    "layer": "The old paths",
}


def page_of(item: Item) -> str:
    return reverse(item.kind, args=[item.ref])


def read(client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, address
    return answer.content.decode()


def main_part(page: str) -> str:
    return page.partition("<main")[2].partition("</main>")[0]


# --- every page works, for everybody ---


@pytest.mark.parametrize("name", LISTS)
@pytest.mark.parametrize("role", ROLES)
def test_lists_work_with_nothing_in_them_and_with_something(cast, world, client, name, role):
    if role:
        client.force_login(cast[role])
    read(client, reverse(name))
    world.open()
    page = read(client, reverse(name))
    if name != "home":
        assert TITLES[{"people": "person"}.get(name, name.rstrip("s"))] in page


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("role", ROLES)
def test_item_pages_work_for_everybody_once_open(cast, world, client, kind, role):
    world.open()
    if role:
        client.force_login(cast[role])
    page = read(client, page_of(world.of(kind)))
    assert TITLES[kind] in page.partition("<h1")[2].partition("</h1>")[0]
    assert "Only a description" not in page
    assert client.head(page_of(world.of(kind))).status_code == 200
    assert client.post(page_of(world.of(kind))).status_code == 405


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("role", ROLES)
def test_before_the_council_has_spoken_only_it_sees_a_description(cast, world, client, kind, role):
    if role:
        client.force_login(cast[role])
    answer = client.get(page_of(world.of(kind)))
    assert answer.status_code == (200 if role == "council" else 404)


def test_whoever_is_entrusted_reads_that_it_waits(cast, world, client):
    recording = world.of("recording")
    decisions.entrust(cast["council"], cast["archivist"], recording)
    client.force_login(cast["archivist"])
    page = read(client, page_of(recording))
    assert "It waits for the council" in page
    assert "The heron went up." in page


def test_every_name_carries_its_language(world, client):
    world.open()
    for kind in ("person", "place", "figure", "topic"):
        page = read(client, page_of(world.of(kind)))
        assert f'<h1 lang="qse-x-senneth">{TITLES[kind]}</h1>' in page
    home = read(client, reverse("home"))
    assert 'lang="qse-x-senneth">Hëlim' in home


def test_the_demo_says_that_it_is_invented(world, client):
    assert "Everything here is invented" not in read(client, reverse("home"))
    House.objects.update(is_invented=True)
    assert "Everything here is invented" in read(client, reverse("home"))


# --- hidden is as if it had never been ---


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("role", [None, "archivist", "educator", "keeper", "plain"])
def test_a_hidden_page_is_the_page_of_what_never_was(cast, world, client, kind, role):
    world.open()
    item = world.of(kind)
    open_up(cast["council"], item, terms=decisions.Terms())
    if role:
        client.force_login(cast[role])
    hidden = client.get(page_of(item))
    absent = client.get(reverse(kind, args=["aaaaaaaaaaaa"]))
    assert hidden.status_code == absent.status_code == 404
    assert without_token(hidden.content) == without_token(absent.content)
    assert hidden.headers == absent.headers


@pytest.mark.parametrize("kind", KINDS)
def test_the_name_of_a_hidden_thing_is_on_no_other_page(world, client, kind):
    world.open()
    open_up(world.council, world.of(kind), terms=decisions.Terms())
    for address in [*map(reverse, LISTS), *map(page_of, world.items.values())]:
        page = client.get(address).content.decode()
        assert TITLES[kind] not in page, address
        assert world.of(kind).ref not in page, address


def test_a_hidden_speakers_name_heads_no_line(world, client):
    world.open()
    page = page_of(world.of("recording"))
    speaker = '"who">Ina<'
    client.get(reverse("recording_sound", args=[world.of("recording").ref]))
    assert speaker in read(client, page)
    open_up(world.council, world.of("person"), terms=decisions.Terms())
    assert speaker not in read(client, page)
    assert "The heron went up." in read(client, page)
    assert "Ina" not in read(client, reverse("recording_captions", args=[world.of("recording").ref, "qse-x-senneth"]))


@pytest.mark.parametrize("kind", ["segment", "person", "place", "figure", "topic"])
def test_counts_and_order_are_those_of_an_archive_without_the_hidden(cast, world, client, kind, tmp_path):
    world.open()
    before = {address: client.get(address).content for address in map(reverse, LISTS)}
    extra = _another(kind, world)
    assert {address: client.get(address).content for address in before} == before
    open_up(cast["council"], extra, terms=decisions.Terms())
    assert {address: client.get(address).content for address in before} == before


def _another(kind: str, world: World) -> Item:
    """Something more of the kind, that the council has not decided about, or has closed."""
    if kind == "segment":
        extra = segment(world.of("recording"), 3600, 4000, "Aside", places=[world.of("place").pk])
        open_up(world.council, extra, terms=decisions.Terms())
        return extra
    made = {
        "person": lambda: writing.add_person(None, named("Aaa")),
        "place": lambda: writing.add_place(None, named("Aaa"), latitude_deg=46.0, longitude_deg=-38.0),
        "figure": lambda: writing.add_figure(None, named("Aaa"), stars=[11767]),
        "topic": lambda: writing.add_topic(None, named("Aaa")),
    }
    return made[kind]()


# --- a notice ---


@pytest.mark.parametrize("kind", KINDS)
def test_a_notice_gives_the_councils_words_and_nothing_else(world, client, kind):
    world.open()
    item = world.of(kind)
    terms = decisions.Terms(
        others_see=Level.NOTICE, notice_words="Told in winter alone.", whom_to_ask="Ask at the boat house."
    )
    open_up(world.council, item, terms=terms)
    page = read(client, page_of(item))
    assert "Told in winter alone." in page
    assert "Ask at the boat house." in page
    assert TITLES[kind] not in page
    assert item.ref not in page
    assert LedgerRow.objects.filter(event="met", item=item.ref).count() == 0


def test_a_notice_stands_on_the_pages_that_the_council_chose(world, client):
    world.open()
    for where, is_shown in (("own", False), ("tied", True)):
        terms = decisions.Terms(others_see=Level.NOTICE, notice_words=f"Words for {where}.", notice_pages=where)
        open_up(world.council, world.of("segment"), terms=terms)
        assert (f"Words for {where}." in read(client, page_of(world.of("place")))) == is_shown


# --- a description ---


def describe(world: World, kind: str) -> Item:
    world.open()
    open_up(world.council, world.of(kind), terms=decisions.Terms(others_see=Level.DESCRIPTION))
    return world.of(kind)


@pytest.mark.parametrize("kind", KINDS)
def test_a_described_page_says_so_in_words(world, client, kind):
    item = describe(world, kind)
    page = read(client, page_of(item))
    assert "Only a description is open to you" in page
    assert TITLES[kind] in page


@pytest.mark.parametrize("kind", ["recording", "segment"])
def test_a_described_recording_or_segment_gives_no_words_and_no_sound(world, client, kind):
    page = read(client, page_of(describe(world, kind)))
    for words in ("The heron went up.", "And stayed.", "data-player", "/sound", ".vtt"):
        assert words not in page


def test_a_described_segment_is_marked_where_it_is_listed(world, client):
    describe(world, "segment")
    page = read(client, page_of(world.of("recording")))
    assert "description only" in page
    assert "The heron went up." not in page


def test_a_described_place_gives_its_cell_and_no_spot(world, client):
    item = describe(world, "place")
    page = read(client, page_of(item))
    assert "somewhere between 46.00° north and 46.10° north, and between 38.10° west and 38.00° west" in page
    for digits in ("46.07", "38.01234", "071"):
        assert digits not in main_part(page)
    assert "HIP 91262" not in page
    assert "Vega" not in page


def test_an_open_place_gives_its_spot_a_caution_and_its_star(world, client):
    world.open()
    page = read(client, page_of(world.of("place")))
    assert "46.07123° north, 38.01234° west" in page
    assert "Take care: visiting" in page
    assert "Vega" in page
    assert f"?about={world.of('place').ref}" in page


def test_a_described_figure_gives_no_stars(world, client):
    page = read(client, page_of(describe(world, "figure")))
    for words in ("91262", "Vega", "<svg class=\"chart", "Its stars <"):
        assert words not in page


def test_a_described_mirror_gives_its_places_and_not_their_stars(world, client):
    page = read(client, page_of(describe(world, "mirror")))
    assert "Tolë" in page
    for words in ("91262", "Vega"):
        assert words not in page


def test_a_mirror_with_a_described_place_tells_no_star_of_any_place(world, client):
    """From the other pairs, and the star that is left, the spot could be worked out."""
    describe(world, "place")
    page = read(client, page_of(world.of("mirror")))
    assert "is not shown to you exactly" in page
    assert "Tolë" in page
    assert "Rasu" in page
    for words in ("91262", "91971", "Off by", "<polyline"):
        assert words not in page
    assert "91971" not in read(client, page_of(world.of("second")))


# --- recordings and segments ---


def test_a_recordings_page_has_its_facts_words_and_segments(world, client, cast):
    said = (date(2020, 3, 4), "Let all hear.")
    decisions.state_consent(None, world.of("recording"), "given", "Ina Velun herself", *said)
    world.open()
    client.get(reverse("recording_sound", args=[world.of("recording").ref]))  # has it built
    page = read(client, page_of(world.of("recording")))
    for words in ("about 1962", "On the bench.", "Ina Velun", "Tolë", "0:06", "You may hear it whole."):
        assert words in page
    assert "agreed to this being kept and heard (4 March 2020)" in page
    assert "The heron went up." in page
    assert f'href="/recordings/{world.of("recording").ref}/sound#t=0.5"' in page
    assert "Let all hear." not in page
    assert "herself" not in page
    client.force_login(cast["council"])
    assert "Said by Ina Velun herself." in read(client, page_of(world.of("recording")))


def test_a_segments_page_has_its_stretch_ties_and_way_back(world, client):
    before = segment(world.of("recording"), 0, 300, "The one before")
    after = segment(world.of("recording"), 5000, 5500, "The one after")
    hidden = segment(world.of("recording"), 3600, 3700, "Not for all")
    world.open()
    open_up(world.council, hidden, terms=decisions.Terms())
    client.get(reverse("segment_sound", args=[world.of("segment").ref]))  # has it built
    page = read(client, page_of(world.of("segment")))
    assert "A short one." in page
    for words in ("Told by", "Belongs to", "Sky figures named", "Topics", "Had from"):
        assert f"{words} (1)" in page
    assert f'href="/recordings/{world.of("recording").ref}/#t=0.4,3.5"' in page
    assert 'data-start-ms="100" data-end-ms="1100"' in page  # its lines count from its own start
    assert page_of(before) in page
    assert page_of(after) in page
    assert "Not for all" not in page


def test_where_only_clips_are_offered_no_page_tells_times_or_length(world, client):
    world.open()
    act = decisions.Act([world.of("recording").pk], None, offering="clips")
    decisions.decide(world.council, decisions.Minute(date(2020, 1, 1), "m"), act)
    page = read(client, page_of(world.of("recording")))
    assert "It is not offered whole" in page
    assert "How the net was hung" in page
    for words in ("data-player", f"{world.of('recording').ref}/sound", "0:06", "The heron"):
        assert words not in page
    part = read(client, page_of(world.of("segment")))
    assert "In the recording" not in part
    assert "The heron went up." in part
    assert "0:06" not in read(client, reverse("recordings"))


def test_the_council_reads_that_consent_was_taken_back(world, client, cast):
    world.open()
    decisions.state_consent(None, world.of("recording"), "withdrawn", "Ina Velun", date(2021, 5, 6))
    assert client.get(page_of(world.of("recording"))).status_code == 404
    client.force_login(cast["council"])
    assert "Consent was taken back on 6 May 2021" in read(client, page_of(world.of("recording")))


def test_meeting_what_is_restricted_is_written_down(world, client, cast):
    world.open()
    client.get(page_of(world.of("segment")))
    assert not LedgerRow.objects.filter(event="met").exists()
    family = Audience.objects.get(name="family")
    open_up(world.council, world.of("segment"), terms=decisions.Terms([family]))
    client.force_login(cast["family"])
    client.get(page_of(world.of("segment")))
    row = LedgerRow.objects.get(event="met")
    assert (row.actor, row.item, row.detail) == (cast["family"].ref, world.of("segment").ref, '{"surface": "page"}')


def test_lines_of_two_languages_stand_under_each_other_and_none_is_lost(world):
    recording = Recording.ungated.get()
    bringing.add_transcript(None, recording, TranscriptGiven(GLOSS.encode(), "g.vtt", "en", "translation"))
    world.open()
    shown = showing.transcripts(Gate(None), recording)
    drawn = cues.lines(shown, "/s", 0, 6000)
    assert [(one["text"], one["gloss"], one["gloss_lang"]) for one in drawn] == [
        ("The heron went up.", "Heron rising.", "en"),
        ("And stayed.", "", ""),
        ("A line alone.", "", ""),
    ]
    assert [one["speaker"] for one in drawn] == ["Ina", "", ""]


# --- people and topics ---


def test_from_whom_over_what_and_to_whom(world, client):
    world.open()
    page = read(client, page_of(world.of("person")))
    assert "Learned from" in page
    assert "Old Bo" in page
    assert "1 segment: " in re.sub(r"\s+", " ", page)
    gate = Gate(None)
    learned = details.learned_from(gate, world.of("person").pk)
    assert [(one.person.text, one.segments, [s.text for s in one.subjects]) for one in learned] == [
        ("Old Bo", 1, ["Hadu", "Hëlim"])
    ]
    taught = details.taught(gate, world.of("teacher").pk)
    assert [(one.person.text, one.segments) for one in taught] == [("Ina Velun", 1)]


def test_what_was_learned_shows_only_segments_that_are_met(world):
    world.open()
    open_up(world.council, world.of("segment"), terms=decisions.Terms())
    (learned,) = details.learned_from(Gate(None), world.of("person").pk)
    assert (learned.segments, learned.subjects) == (0, ())


def test_topics_form_a_tree_over_what_is_met(cast):
    broad, middle, narrow = (writing.add_topic(None, named(text)) for text in ("Broad", "Middle", "Narrow"))
    writing.tie(middle, TieKind.NARROWER_THAN, broad)
    writing.tie(narrow, TieKind.NARROWER_THAN, middle)
    open_up(cast["council"], broad, middle, narrow)
    assert shape(details.topic_tree(Gate(None))) == [("Broad", [("Middle", [("Narrow", [])])])]
    open_up(cast["council"], middle, terms=decisions.Terms())
    assert shape(details.topic_tree(Gate(None))) == [("Broad", []), ("Narrow", [])]


def test_a_ring_of_topics_is_shown_and_ends(cast):
    one, two = (writing.add_topic(None, named(text)) for text in ("One", "Two"))
    writing.tie(one, TieKind.NARROWER_THAN, two)
    writing.tie(two, TieKind.NARROWER_THAN, one)
    open_up(cast["council"], one, two)
    shown = shape(details.topic_tree(Gate(None)))
    assert {name for name, _ in shown} | {name for _, below in shown for name, _ in below} == {"One", "Two"}


def shape(nodes) -> list:
    return [(node.label.text, shape(node.narrower)) for node in nodes]


def test_names_with_marks_stand_with_those_without(cast, client):
    people = [writing.add_person(None, named(text)) for text in ("Eza", "Ëla", "Fen", "Dol")]
    open_up(cast["council"], *people)
    page = read(client, reverse("people"))
    assert re.findall(r'senneth">(\w+)</a>', page) == ["Dol", "Ëla", "Eza", "Fen"]


# --- links by role ---


def test_a_role_adds_its_links(cast, world, client, monkeypatch):
    monkeypatch.setattr(parts, "optional", lambda name, *args: f"/{name}/{'/'.join(args)}")
    world.open()
    expected = {"archivist": {"Edit", "Cut"}, "council": {"Decide"}, "educator": set(), "plain": set()}
    for role, words in expected.items():
        client.force_login(cast[role])
        page = main_part(read(client, page_of(world.of("recording"))))
        assert {one for one in ("Edit", "Cut", "Decide") if f">{one}</a>" in page} == words
    client.force_login(cast["archivist"])
    assert ">Cut</a>" not in main_part(read(client, page_of(world.of("place"))))


# --- long lists ---


def test_lists_are_cut_into_pages(cast, client, monkeypatch):
    people = [writing.add_person(None, named(f"Person {number:03}")) for number in range(65)]
    open_up(cast["council"], *people)
    first, second = read(client, reverse("people")), read(client, reverse("people") + "?page=2")
    assert "65 people are shown to you." in first
    assert "Person 000" in first
    assert "Person 064" not in first
    assert "Person 064" in second
    assert "Page 2 of 2" in second
    assert 'rel="next" href="?page=2"' in first


@pytest.mark.parametrize("number", ["0", "-1", "99", "x", "٣", "9" * 30])
def test_an_odd_page_number_shows_a_page(world, client, number):
    world.open()
    for name in LISTS:
        read(client, f"{reverse(name)}?page={number}")


# --- stars ---


def test_star_facts_match_the_printed_catalogue():
    # ESA 1997, The Hipparcos and Tycho Catalogues, SP-1200, vol. 5-9: fields H3, H4 and H5 of HIP 91262 and
    # HIP 11767 (18 36 56.19 +38 46 58.8, V 0.03; 02 31 47.08 +89 15 50.9, V 1.97). From memory. Places are shown
    # to a tenth of a minute of time and a minute of arc, so that the two reductions cannot differ in them; the
    # list's V comes from Hp and the colour, which for so bright a star may be off by some hundredths.
    printed = ((91262, 0.03, ("18 h 36.9 m", "+38° 47′")), (11767, 1.97, ("2 h 31.8 m", "+89° 16′")))
    for hip, magnitude, place in printed:
        shown = stars.facts(hip)
        assert float(shown[0]) == pytest.approx(magnitude, abs=0.06)
        assert shown[1:] == place


def test_a_star_that_is_not_listed_has_its_number_alone():
    assert stars.facts(1) is None
    assert [cell["value"] for cell in stars.rows([1])[0]] == ["HIP 1", "1", "", "", ""]


HIPS = (91262, 91971, 92420, 93194, 11767, 104382, 677)


def shown_figure(hips, lines=()) -> showing.FigureShown:
    label = showing.Label(1, "figure", "ref", "A figure", "en")
    return showing.FigureShown(label, "lines", "", tuple(hips), tuple(lines))


@pytest.mark.parametrize("hips", [HIPS[:4], HIPS[4:6], HIPS])
def test_a_sketch_keeps_distance_and_bearing_from_its_middle(hips):
    """Against astropy's separation and position angle; drawn to a tenth of a unit, hence the tolerance."""
    catalogue = load_catalogue()
    rows = catalogue.indices(list(hips))
    vectors = catalogue.position[rows]
    middle = SkyCoord(*vectors.sum(axis=0), representation_type="cartesian")
    middle = SkyCoord(middle.spherical.lon, middle.spherical.lat)
    points = SkyCoord(*vectors.T, representation_type="cartesian")
    points = SkyCoord(points.spherical.lon, points.spherical.lat)
    away = middle.separation(points).to_value(units.deg)
    angle = middle.position_angle(points)
    drawn = sketch.of(shown_figure(hips))
    scale = (sketch.MIDDLE - sketch.MARGIN) / max(sketch.LEAST_RADIUS_DEG, away.max() * 1.1)
    for dot, ro, theta in zip(drawn.own, away, angle, strict=True):
        # position angle runs from north through east, and east is drawn on the left
        assert dot.x == pytest.approx(sketch.MIDDLE - ro * scale * math.sin(theta.rad), abs=0.1)
        assert dot.y == pytest.approx(sketch.MIDDLE - ro * scale * math.cos(theta.rad), abs=0.1)


def test_a_sketch_of_nothing_is_none_and_unlisted_stars_are_left_out():
    assert sketch.of(shown_figure([])) is None
    assert sketch.of(shown_figure([1])) is None
    drawn = sketch.of(shown_figure([1, 91262], [(91262, 1)]))
    assert len(drawn.own) == 1


# --- how things are written ---


@pytest.mark.parametrize(
    ("text", "words"),
    [
        # ISO 8601-2:2019, as set out in the Extended Date/Time Format specification, levels 0 and 1
        ("1985-04-12", "12 April 1985"),
        ("1985-04", "April 1985"),
        ("1985", "1985"),
        ("1984?", "1984, not certain"),
        ("2004-06~", "about June 2004"),
        ("2004-06-11%", "about 11 June 2004, not certain"),
        ("201X", "some time in the 2010s"),
        ("20XX", "some time from 2000 to 2099"),
        ("-1985", "-1985"),
        ("1964/2008", "from 1964 to 2008"),
        ("not a date", "not a date"),
    ],
)
def test_event_dates_in_words(text, words):
    assert undersky.event_date(text) == words


@pytest.mark.parametrize(("tag", "words"), [("en", "English"), ("qse-x-senneth", "Senneth"), ("qsf", "qsf")])
def test_languages_by_name(tag, words):
    assert undersky.language_name(tag) == words


def test_clock_times_round_down_to_the_second():
    assert [undersky.clock(ms) for ms in (0, 999, 61_999, 3_723_500, None)] == ["0:00", "0:00", "1:01", "1:02:03", ""]


def test_a_language_tag_cannot_break_out_of_its_attribute():
    assert undersky.lang_attr('x" onload="') == ' lang="x&quot; onload=&quot;"'
    assert undersky.lang_attr("") == ""
