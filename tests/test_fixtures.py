"""The demo scenario and the land outline hold together: plain data only, no database.

Sources: RFC 7946 (GeoJSON), RFC 5646 (language tags), ISO 8601-2 (EDTF), W3C WebVTT; our own rules are named so.
"""

from __future__ import annotations

import csv
import json
import math
import re
import unicodedata
from itertools import pairwise
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

FIXTURES = Path(__file__).resolve().parents[1] / "fixtures"
SENNETH = FIXTURES / "senneth"
JSON_FILES = sorted([*SENNETH.glob("*.json"), *(SENNETH / "scripts").glob("*.json"), *SENNETH.glob("*.geojson")])
HOME_LAT_DEG, HOME_LON_DEG = 46.05, -38.05
KM_PER_DEG = 111.2  # mean of a degree of latitude; 1 % is enough for "near the island"
# RFC 5646 section 2.1, without grandfathered tags.
TAG = re.compile(
    r"(?:[a-z]{2,3}(?:-[a-z]{3}){0,3}|[a-z]{4}|[a-z]{5,8})(?:-[a-z]{4})?(?:-(?:[a-z]{2}|\d{3}))?"
    r"(?:-(?:[a-z\d]{5,8}|\d[a-z\d]{3}))*(?:-[a-wyz\d](?:-[a-z\d]{2,8})+)*(?:-x(?:-[a-z\d]{1,8})+)?",
    re.IGNORECASE,
)
# ISO 8601-2:2019 level 1, as far as the demo uses it.
EDTF = re.compile(r"(?:\d{4}|\d{3}X|\d{2}XX)(?:-\d{2}){0,2}[?~%]?")
TIMING = re.compile(r"(\d\d):(\d\d):(\d\d)[.,](\d{3}) --> (\d\d):(\d\d):(\d\d)[.,](\d{3})")

Data = dict[str, Any]


def read(name: str) -> Data:
    data: Data = json.loads((SENNETH / name).read_text(encoding="utf-8"))
    return data


def keyed(name: str, field: str) -> dict[str, Data]:
    items = read(name)[field]
    found = {item["key"]: item for item in items}
    assert len(found) == len(items), f"{name}: a key is used twice"
    return found


PEOPLE = keyed("people.json", "people")
ACCOUNTS = {account["username"]: account for account in read("people.json")["accounts"]}
PLACES = keyed("places.json", "places")
FIGURES = keyed("figures.json", "figures")
TOPICS = keyed("topics.json", "topics")
MIRRORS = keyed("mirrors.json", "mirrors")
RECORDINGS = keyed("recordings.json", "recordings")
SEGMENTS = keyed("segments.json", "segments")
ACCESS = read("access.json")
SPANS = {span["key"]: span for span in ACCESS["closed_spans"]}
CONDITIONS = [condition for decision in ACCESS["decisions"] for condition in decision["conditions"]]
LIFTED = {key for decision in ACCESS["decisions"] for key in decision["lifts"]}


def cues(path: Path) -> list[tuple[int, int, str]]:
    """Start and end in milliseconds and text of each cue; all blocks of the demo are regular."""
    found = []
    for block in path.read_text(encoding="utf-8").split("\n\n"):
        match = TIMING.search(block)
        if match:
            h1, m1, s1, f1, h2, m2, s2, f2 = map(int, match.groups())
            start_ms, end_ms = ((h1 * 60 + m1) * 60 + s1) * 1000 + f1, ((h2 * 60 + m2) * 60 + s2) * 1000 + f2
            found.append((start_ms, end_ms, " ".join(block[match.end() :].split())))
    return found


def transcripts(recording: Data) -> list[Path]:
    return [SENNETH / one["file"] for one in recording["files"]["transcripts"]]


@pytest.mark.parametrize("path", JSON_FILES, ids=lambda path: path.name)
def test_json_is_marked_invented_and_composed(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    data = json.loads(text)
    assert "invented" in data["invented"]
    assert data["licence"] == "CC0-1.0"
    assert unicodedata.is_normalized("NFC", text)  # our rule: folding is tested on spellings, not on broken input


def test_other_files_are_marked_invented() -> None:
    others = [*SENNETH.glob("*.md"), *(SENNETH / "transcripts").iterdir()]
    assert len(others) >= 10
    for path in others:
        assert "invented" in path.read_text(encoding="utf-8")[:600].lower(), path.name


def test_no_file_lies_about_unlisted() -> None:
    named = {path for one in RECORDINGS.values() for path in transcripts(one)}
    named |= {SENNETH / one["files"]["audio"] for one in RECORDINGS.values()}
    assert named == {*(SENNETH / "audio").iterdir(), *(SENNETH / "transcripts").iterdir()}


def test_language_tags_are_well_formed() -> None:
    tags = set(re.findall(r'"lang": "([^"]*)"', "".join(path.read_text(encoding="utf-8") for path in JSON_FILES)))
    tags |= {tag for one in RECORDINGS.values() for tag in one["languages"]}
    assert tags == {"en", "qse-x-senneth"}
    assert all(TAG.fullmatch(tag) for tag in tags)


@pytest.mark.parametrize("items", [PEOPLE, PLACES, FIGURES, TOPICS, MIRRORS], ids=lambda items: next(iter(items)))
def test_names_lead_with_one_preferred(items: dict[str, Data]) -> None:
    for key, item in items.items():
        names = item["names"]
        assert [name["preferred"] for name in names] == [True] + [False] * (len(names) - 1), key
        assert len({(name["lang"], name["text"]) for name in names}) == len(names), key


def test_people_learn_over_four_generations_without_a_circle() -> None:
    def depth(key: str, above: tuple[str, ...] = ()) -> int:
        assert key not in above, f"{key} learned from themselves"
        return 1 + max((depth(one, (*above, key)) for one in PEOPLE[key]["learned_from"]), default=0)

    assert max(depth(key) for key in PEOPLE) >= 4
    assert len(PEOPLE) >= 10


def test_dates_are_edtf() -> None:
    dates = [person[field] for person in PEOPLE.values() for field in ("born", "died") if person[field]]
    dates += [recording["recorded_on"] for recording in RECORDINGS.values()]
    assert all(EDTF.fullmatch(one) for one in dates)


def test_families_and_accounts_resolve() -> None:
    families = {family["key"] for family in read("people.json")["families"]} | {None}
    assert {person["family"] for person in PEOPLE.values()} <= families
    assert {account["person"] for account in ACCOUNTS.values()} <= {*PEOPLE, None}
    roles = [role for account in ACCOUNTS.values() for role in account["roles"]]
    assert roles.count("council") == 2
    assert {"archivist", "educator"} <= set(roles) <= {"archivist", "educator", "council", "keeper"}


def test_topics_agree_both_ways() -> None:
    for key, topic in TOPICS.items():
        assert all(key in TOPICS[one]["narrower"] for one in topic["broader"]), key
        assert all(key in TOPICS[one]["broader"] for one in topic["narrower"]), key
    assert len(TOPICS) >= 12
    assert TOPICS["remedies"]["caution"] == "remedy"


def km_from_home(lon_deg: float, lat_deg: float) -> float:
    east = (lon_deg - HOME_LON_DEG) * math.cos(math.radians(HOME_LAT_DEG))
    return math.hypot(east, lat_deg - HOME_LAT_DEG) * KM_PER_DEG


def signed_area(ring: list[list[float]]) -> float:
    return sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in pairwise(ring)) / 2


def rings(path: Path) -> list[tuple[int, list[list[float]]]]:
    """All rings of a collection of polygons, each with its place in its polygon (0: the outer one)."""
    out = []
    for feature in json.loads(path.read_text(encoding="utf-8"))["features"]:
        geometry = feature["geometry"]
        several = geometry["type"] == "MultiPolygon"
        for polygon in geometry["coordinates"] if several else [geometry["coordinates"]]:
            out += list(enumerate(polygon))
    return out


@pytest.mark.parametrize("path", [SENNETH / "coast.geojson", FIXTURES / "land" / "land.geojson"], ids=lambda p: p.name)
def test_outlines_follow_rfc_7946(path: Path) -> None:
    for place, ring in rings(path):
        assert ring[0] == ring[-1]  # section 3.1.6: first and last positions are the same
        assert len(ring) >= 4  # same section
        assert (signed_area(ring) > 0) == (place == 0)  # same section, the right-hand rule
        assert all(-180 <= lon <= 180 and -90 <= lat <= 90 for lon, lat in ring)  # section 4


def test_land_is_cut_at_the_antimeridian() -> None:
    """RFC 7946 section 3.1.9. Antarctica alone spans it, along the pole."""
    for _, ring in rings(FIXTURES / "land" / "land.geojson"):
        jumps = [(a, b) for a, b in pairwise(ring) if abs(a[0] - b[0]) > 180]
        assert all(a[1] == b[1] == -90 for a, b in jumps)


def test_land_is_small() -> None:
    assert (FIXTURES / "land" / "land.geojson").stat().st_size <= 150_000


def test_coast_is_an_island_of_the_agreed_size() -> None:
    """Our rule: 25 to 35 km from end to end, a few hundred corners, all of it in the open ocean near 46 N 38 W."""
    outline = [ring for _, ring in rings(SENNETH / "coast.geojson")]
    assert 300 <= sum(map(len, outline)) <= 700
    lats = [lat for _, lat in outline[0]]
    assert 25 <= (max(lats) - min(lats)) * KM_PER_DEG <= 35
    assert all(km_from_home(*point) < 25 for ring in outline for point in ring)


def is_inside(lon: float, lat: float, ring: list[list[float]]) -> bool:
    """Even-odd rule on a closed ring."""
    crossings = [
        lon < x1 + (lat - y1) * (x2 - x1) / (y2 - y1)
        for (x1, y1), (x2, y2) in pairwise(ring)
        if (y1 > lat) != (y2 > lat)
    ]
    return sum(crossings) % 2 == 1


def test_places_lie_on_the_island_and_the_mooring_in_the_bay() -> None:
    outline = [ring for _, ring in rings(SENNETH / "coast.geojson")]
    for key, place in PLACES.items():
        on_land = any(is_inside(place["lon_deg"], place["lat_deg"], ring) for ring in outline)
        assert on_land != (place["kind"] == "mooring"), key
        assert km_from_home(place["lon_deg"], place["lat_deg"]) < 25, key
    assert [key for key, place in PLACES.items() if place["exact_spot"] == "closed"] == ["hidden-spring"]


def test_figures_are_well_formed() -> None:
    assert {figure["kind"] for figure in FIGURES.values()} == {"group", "single", "shape", "path", "region"}
    for key, figure in FIGURES.items():
        assert {hip for line in figure["lines"] for hip in line} <= set(figure["stars"]), key
        assert len(set(figure["stars"])) == len(figure["stars"]), key
        assert figure["part_of"] is None or set(figure["stars"]) <= set(FIGURES[figure["part_of"]]["stars"]), key
        if figure["kind"] == "single":
            assert (len(figure["stars"]), figure["lines"]) == (1, []), key
    assert 11767 in FIGURES["goat-gate"]["stars"]  # Polaris
    assert FIGURES["salt-pan"]["outline_deg"][0] == FIGURES["salt-pan"]["outline_deg"][-1]


def catalogue() -> dict[int, tuple[float, float]]:
    """Right ascension and declination in radians (ICRS, J1991.25) by Hipparcos number."""
    path = FIXTURES / "sky" / "stars.csv"
    if not path.exists():
        pytest.skip("fixtures/sky/stars.csv is not there yet")
    with path.open(encoding="utf-8", newline="") as lines:
        return {int(row["hip"]): (float(row["ra_rad"]), float(row["dec_rad"])) for row in csv.DictReader(lines)}


def test_stars_are_in_the_catalogue_and_rise_at_46_north() -> None:
    stars = catalogue()
    used = {hip for figure in FIGURES.values() for hip in figure["stars"]}
    used |= {pair["hip"] for mirror in MIRRORS.values() for pair in mirror["pairs"]}
    assert used <= set(stars)
    assert all(math.degrees(stars[hip][1]) > -(90 - 46) for hip in used)  # culmination above the horizon
    for ra_deg, dec_deg in FIGURES["salt-pan"]["outline_deg"]:
        near = min(math.hypot(ra_deg - math.degrees(ra), dec_deg - math.degrees(dec)) for ra, dec in stars.values())
        assert near < 0.01  # the outline runs through listed stars, rounded to 0.001 degrees


def tangent_plane(hips: list[int]) -> np.ndarray:
    """Stars on the plane touching the sphere at their mean direction, x east and y north, as complex degrees."""
    ra, dec = np.array([catalogue()[hip] for hip in hips]).T
    unit = np.stack([np.cos(dec) * np.cos(ra), np.cos(dec) * np.sin(ra), np.sin(dec)], axis=1)
    middle = unit.mean(axis=0) / np.linalg.norm(unit.mean(axis=0))
    east = np.array([-middle[1], middle[0], 0]) / math.hypot(middle[0], middle[1])
    north = np.cross(middle, east)
    depth = unit @ middle
    plane: np.ndarray = np.degrees(unit @ east / depth) + 1j * np.degrees(unit @ north / depth)
    return plane


def misfit_km(mirror: Data, stars: np.ndarray) -> float:
    """Root mean square of the best turn, scale and shift of the stars onto the places (least squares)."""
    places = [PLACES[pair["place"]] for pair in mirror["pairs"]]
    east = np.array([place["lon_deg"] for place in places]) * math.cos(math.radians(HOME_LAT_DEG)) * KM_PER_DEG
    ground = east + 1j * np.array([place["lat_deg"] for place in places]) * KM_PER_DEG
    design = np.stack([stars, np.ones_like(stars)], axis=1)
    solution = np.linalg.lstsq(design, ground, rcond=None)[0]
    return float(np.sqrt(np.mean(np.abs(ground - design @ solution) ** 2)))


def test_five_fires_match_as_a_reflection_of_the_sky_looked_up_at() -> None:
    """Seen from below, west is to the right: that view is the plane with x turned round."""
    mirror = MIRRORS["five-fires"]
    from_below = -tangent_plane([pair["hip"] for pair in mirror["pairs"]]).conj()
    assert len(mirror["pairs"]) == 5
    assert 0.2 < misfit_km(mirror, from_below.conj()) < 0.8  # "some hundred metres": our rule for the demo
    assert misfit_km(mirror, from_below) > 3  # without the reflection the match is gone
    assert len(MIRRORS["island-tongs"]["pairs"]) == 3  # too few to claim anything


def test_mirrors_resolve() -> None:
    for mirror in MIRRORS.values():
        assert {pair["place"] for pair in mirror["pairs"]} <= set(PLACES)
        assert {pair["hip"] for pair in mirror["pairs"]} <= set(FIGURES[mirror["figure"]]["stars"])
        assert set(mirror["told_by"]) <= set(PEOPLE)


@pytest.mark.parametrize("key", RECORDINGS)
def test_sound_is_as_long_as_said(key: str) -> None:
    recording = RECORDINGS[key]
    with av.open(str(SENNETH / recording["files"]["audio"])) as sound:
        stream = sound.streams.audio[0]
        assert (stream.codec_context.name, stream.channels) == ("opus", 1)
        assert "nvented" in stream.metadata["comment"]
        samples = sum(frame.samples for frame in sound.decode(stream))
        heard_ms = samples * 1000 / stream.rate
    assert heard_ms == pytest.approx(recording["duration_ms"], abs=60)  # one Opus frame of 60 ms


def test_there_is_enough_to_hear_in_little_room() -> None:
    assert sum(recording["duration_ms"] for recording in RECORDINGS.values()) >= 20 * 60_000
    assert sum(path.stat().st_size for path in (SENNETH / "audio").iterdir()) <= 6_000_000
    voices = {one for recording in RECORDINGS.values() for one in recording["speakers"]}
    assert len(voices) >= 4
    assert {key for key, person in PEOPLE.items() if person["recorded_voice"]} <= voices


@pytest.mark.parametrize("key", RECORDINGS)
def test_recordings_resolve(key: str) -> None:
    recording = RECORDINGS[key]
    assert set(recording["speakers"]) <= set(PEOPLE)
    assert recording["place"] in PLACES
    assert recording["consent"]["state"] in {"given", "given by family", "withdrawn"}
    assert (recording["consent"]["withdrawn_on"] is None) == (recording["consent"]["state"] != "withdrawn")
    said = {line["who"] for line in read(recording["files"]["script"])["lines"]}
    assert said - {"announcer"} == set(recording["speakers"])


@pytest.mark.parametrize("key", RECORDINGS)
def test_cues_run_forward_inside_the_sound(key: str) -> None:
    for path in transcripts(RECORDINGS[key]):
        found = cues(path)
        assert found, path.name
        assert path.read_text(encoding="utf-8").count(" --> ") == len(found), path.name
        times = [time for start_ms, end_ms, _ in found for time in (start_ms, end_ms)]
        assert times == sorted(times), path.name
        assert all(start_ms < end_ms for start_ms, end_ms, _ in found), path.name
        assert times[-1] <= RECORDINGS[key]["duration_ms"], path.name
        assert all(text for _, _, text in found), path.name


def test_one_transcript_marks_voices() -> None:
    """W3C WebVTT section 4.2.2: the cue voice span."""
    text = (SENNETH / "transcripts" / "egg-stair.vtt").read_text(encoding="utf-8")
    assert text.startswith("WEBVTT\n\n")
    assert set(re.findall(r"<v ([^>]+)>", text)) == {"Announcer", "Tolë", "Maꞌel", "Yoḍëk"}


def test_misheard_names_are_true_to_both_texts() -> None:
    pairs = read("misheard.json")["pairs"]
    for pair in pairs:
        name = Path(pair["transcript"])
        script = (SENNETH / "scripts" / f"{name.stem}.json").read_text(encoding="utf-8")
        text = " ".join(words for _, _, words in cues(SENNETH / name))
        assert pair["true"] in script, pair
        assert pair["heard"] in text, pair
        assert not re.search(rf"(?<!\w){re.escape(pair['true'])}(?!\w)", re.sub(r"<v [^>]+>", "", text)), pair
    assert len(pairs) >= 20


@pytest.mark.parametrize("stretch", [*SEGMENTS.values(), *SPANS.values()], ids=lambda one: one["key"])
def test_stretches_lie_on_cue_edges(stretch: Data) -> None:
    recording = RECORDINGS[stretch["recording"]]
    found = cues(transcripts(recording)[0])
    assert 0 <= stretch["start_ms"] < stretch["end_ms"] <= recording["duration_ms"]
    assert stretch["start_ms"] in {start_ms for start_ms, _, _ in found}
    assert stretch["end_ms"] in {end_ms for _, end_ms, _ in found}
    lines = [line["id"] for line in read(recording["files"]["script"])["lines"]]
    first, last = stretch["lines"]
    assert lines.index(first) <= lines.index(last)


@pytest.mark.parametrize("key", SEGMENTS)
def test_segments_resolve(key: str) -> None:
    segment = SEGMENTS[key]
    recording = RECORDINGS[segment["recording"]]
    lines = read(recording["files"]["script"])["lines"]
    numbers = [line["id"] for line in lines]
    first, last = (numbers.index(line) for line in segment["lines"])
    assert {line["who"] for line in lines[first : last + 1]} == set(segment["speakers"])
    assert set(segment["had_from"]) <= set(PEOPLE)
    assert set(segment["topics"]) <= set(TOPICS)
    assert set(segment["places"]) <= set(PLACES)
    assert set(segment["figures"]) <= set(FIGURES)


def test_segments_are_many_and_some_overlap() -> None:
    assert 20 <= len(SEGMENTS) <= 32
    ordered = sorted(SEGMENTS.values(), key=lambda one: (one["recording"], one["start_ms"]))
    overlaps = [
        (one["key"], two["key"])
        for one, two in pairwise(ordered)
        if one["recording"] == two["recording"] and two["start_ms"] < one["end_ms"]
    ]
    assert len(overlaps) >= 2


TARGETS: dict[str, dict[str, Data]] = {
    "recording": RECORDINGS,
    "segment": SEGMENTS,
    "closed_span": SPANS,
    "speaker": PEOPLE,
    "place": PLACES,
    "figure": FIGURES,
    "mirror": MIRRORS,
    "topic": TOPICS,
}


@pytest.mark.parametrize("condition", CONDITIONS, ids=lambda one: one["key"])
def test_conditions_resolve(condition: Data) -> None:
    target = condition["target"]
    assert target["key"] in TARGETS[target["kind"]]
    audiences = {audience["key"] for audience in ACCESS["audiences"]} | {"everyone", "signed-in"}
    assert set(condition["audiences"]) <= audiences
    assert condition["season"] in {season["key"] for season in ACCESS["seasons"]} | {None}
    assert condition["scope"] in {"itself", "tied"}
    assert condition["others_see"] in {"nothing", "notice", "description"}
    assert (condition["notice"] is not None) == (condition["others_see"] == "notice")


def test_decisions_come_in_order_and_lift_what_was_made_before() -> None:
    decisions = ACCESS["decisions"]
    assert [one["met_on"] for one in decisions] == sorted(one["met_on"] for one in decisions)
    made: set[str] = set()
    for decision in decisions:
        assert set(decision["lifts"]) <= made
        made |= {condition["key"] for condition in decision["conditions"]}
        assert set(decision["present"]) <= set(PEOPLE)
    assert len(made) == len(CONDITIONS), "a condition's key is used twice"


def test_members_and_entrusted_have_accounts() -> None:
    members = [member for audience in ACCESS["audiences"] for member in audience["members"]]
    for grant in [*members, *ACCESS["entrusted"]]:
        assert grant["account"] in ACCOUNTS
        assert "council" in ACCOUNTS[grant["granted_by"]]["roles"]
    assert {one["recording"] for one in ACCESS["entrusted"]} == set(RECORDINGS)


def test_winter_wraps_the_end_of_the_year() -> None:
    winter = next(season for season in ACCESS["seasons"] if season["key"] == "winter")
    assert winter["from"] > winter["to"]  # MM-DD compares as text


def test_the_scenario_shows_every_kind_of_care() -> None:
    """What the demo must have, by the brief of the scenario: counted on conditions in force."""
    force = [one for one in CONDITIONS if one["key"] not in LIFTED]

    def on(kind: str) -> list[Data]:
        return [one for one in force if one["target"]["kind"] == kind]

    open_to_all = [one["target"]["key"] for one in on("recording") if one["audiences"] == ["everyone"]]
    assert len(open_to_all) >= 4
    inside = {SEGMENTS[one["target"]["key"]]["recording"] for one in on("segment")}
    assert len(inside & set(open_to_all)) >= 3
    assert [one for one in on("recording") if one["audiences"] == ["yangil-family"]]
    assert [one for one in on("segment") if one["season"] == "winter"]
    assert [one for one in on("place") if one["others_see"] == "description"]
    assert [one for one in on("figure") if one["others_see"] == "nothing"]
    assert [one for one in on("topic") if one["scope"] == "tied"]
    assert [one for one in on("speaker") if "resting" in PEOPLE[one["target"]["key"]]]
    assert {one["target"]["key"] for one in on("closed_span")} == set(SPANS)
    assert {one["mode"] for one in ACCESS["closed_stretches"]} == {"quiet", "clips"}
    assert [one for one in RECORDINGS.values() if one["consent"]["state"] == "withdrawn"]
    undecided = {one["recording"] for one in ACCESS["undecided"]}
    decided = {one["target"]["key"] for one in CONDITIONS if one["target"]["kind"] == "recording"}
    withdrawn = {key for key, one in RECORDINGS.items() if one["consent"]["state"] == "withdrawn"}
    assert set(RECORDINGS) == undecided | decided | withdrawn
    assert not undecided & decided
