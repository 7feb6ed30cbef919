"""Finding: folding, the query language, BM25 over what is met, and an index that mends itself."""

from __future__ import annotations

import errno
import gc
import json
import math
import os
import shutil
import subprocess
import sys
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from django.conf import settings as django_settings
from django.core.management import call_command
from django.db import connection, transaction
from hypothesis import given, settings
from hypothesis import strategies as st
from whoosh import index as store

from archive.access import bringing, decisions, indexing, showing, writing
from archive.access.gate import Gate, stretches_of
from archive.access.spans import merge
from archive.models import Audience, ClosedSpan, Cue, IndexDebt, Item, Recording, Segment, Tie
from archive.search import engine, finding, index, query, ranking, sight, tables
from archive.search.finding import Found, Wanted
from archive.search.query import Clause, read
from archive.search.words import Piece, marked, words_of
from archive.timecode.sounds import by_sounds

from .conftest import bring, make_cast, open_up, segment

pytestmark = pytest.mark.django_db
only_files = pytest.mark.skipif(
    django_settings.SEARCH != "whoosh", reason="of the index in files; here PostgreSQL keeps it in tables"
)


def ask(text: str, account=None, page: int = 1, **narrowing) -> Found:
    return finding.find(Gate(account), Wanted(read(text), **narrowing), page)


def titles(found: Found) -> list[str]:
    return [Item.ungated.get(pk=hit.number).ref for hit in found.hits]


def refs(*items) -> list[str]:
    return [item.ref for item in items]


def said(recording: Recording, lines: list[tuple[int, int, str]], language: str = "en") -> None:
    """Give the recording a transcript of these cues."""
    blocks = [
        f"{at}\n{_clock(start)} --> {_clock(end)}\n{text}\n" for at, (start, end, text) in enumerate(lines, start=1)
    ]
    bringing.add_transcript(
        None, recording, bringing.TranscriptGiven("\n".join(blocks).encode(), "talk.srt", language)
    )


def _clock(ms: int) -> str:
    return f"00:00:{ms // 1000:02d},{ms % 1000:03d}"


def named(kind: str, name: str, *spellings: str, **given):
    add = {"person": writing.add_person, "place": writing.add_place, "figure": writing.add_figure}.get(kind)
    names = [writing.NameGiven("en", name, True), *(writing.NameGiven("en", text) for text in spellings)]
    if kind == "topic":
        return writing.add_topic(None, names, **given)
    if kind == "place":
        given = {"latitude_deg": 46.0, "longitude_deg": -38.0, **given}
    return add(None, names, **given)


# --- words ---


@pytest.mark.parametrize(
    ("written", "typed"),
    [
        ("Aḍëtiꞌo Telu", "adetio telu"),
        ("Aḍëtiꞌo", "A\u0323d\u0308ëti'o".replace("\u0323d\u0308", "d")),
        ("Hamvurë", "HAMVURE"),
        ("Maꞌel", "maʔel"),
        ("Maꞌel", "ma’el"),
        ("Straße", "STRASSE"),
        ("loom-weight", "loom weight"),
    ],
)
def test_any_spelling_is_the_same_word(written, typed):
    assert words_of(written) == words_of(typed)


def test_marks_stand_where_the_word_is_written():
    pieces = marked("So the Aḍëtiꞌo, he said", {"adetio"})
    assert pieces == [Piece("So the "), Piece("Aḍëtiꞌo", True), Piece(", he said")]
    assert "".join(piece.text for piece in marked("e\u0301 x", {"e"})) == "e\u0301 x"
    assert marked("e\u0301 x", {"e"})[0] == Piece("e\u0301", True)


def test_a_long_text_is_cut_round_its_first_mark():
    pieces = marked("before " * 100 + "kiln " + "after " * 100, {"kiln"})
    assert len("".join(piece.text for piece in pieces)) < 340
    assert [piece.text for piece in pieces if piece.hit] == ["kiln"]


# --- the query language ---


def test_words_phrases_and_exclusion():
    asked = read('goat “the gate” -tongs by:"Maꞌel Tavëlin" AT: kiln')
    assert set(asked.clauses) == {
        Clause("", ("goat",)),
        Clause("", ("the", "gate"), is_exact=True),
        Clause("", ("tongs",), True),
        Clause("by", ("mael", "tavelin")),
        Clause("at", ("kiln",)),
    }


def test_bars_join_what_may_be_met_instead():
    assert read("goat | kiln") == read("kiln|goat goat | kiln")
    either = Clause("", ("goat",), instead=(Clause("", ("kiln",)),))
    assert read("fire kiln | goat").clauses == (Clause("", ("fire",)), either)
    assert read("| goat |").clauses == read("goat").clauses
    assert read("goat | -kiln").clauses == read("goat -kiln").clauses
    assert "kiln" in read("goat | kiln").marks
    assert read("|").clauses == ()


@pytest.mark.parametrize("text", ["", "   ", "\n"])
def test_nothing_typed_is_blank(text):
    assert read(text).is_blank


@pytest.mark.parametrize("text", ["\u0301\u0301", "-", '"', '""', ".*[(", "ʔ", "by:''", "—"])
def test_no_word_in_it(text):
    assert not read(text).is_blank
    assert read(text).clauses == () or text.startswith("by")


def test_what_is_too_long_is_cut_and_said():
    assert read("word " * 2000).was_cut
    assert read(" ".join(f"w{at}" for at in range(100))).was_cut
    assert len(read(" ".join(f"w{at}" for at in range(100))).clauses) == query.MOST_WORDS


@settings(deadline=None)
@given(st.text(max_size=300) | st.text(alphabet=' "-:“”byatofntile\u0301א', max_size=60))
def test_reading_a_query_never_fails(text):
    asked = read(text)
    assert all(clause.words and all(clause.words) for clause in asked.clauses)
    assert len(set(asked.clauses)) == len(asked.clauses)
    marked(text, asked.marks)


# --- BM25 ---


def plain_bm25(wanted: list[str], documents: list[list[tuple[float, list[str]]]]) -> list[float]:
    """Robertson & Zaragoza 2009, equations 3.15 and 3.3 and section 3.6.1, written out one document at a time.

    A document is its parts: (weight of the part, its words). The 1 inside the logarithm as in archive.search.ranking.
    """
    counts, lengths = [], []
    for parts in documents:
        count: Counter[str] = Counter()
        for weight, words in parts:
            for word in words:
                count[word] += weight
        counts.append(count)
        lengths.append(sum(weight * len(words) for weight, words in parts))
    average = sum(lengths) / len(documents)
    scores = []
    for count, length in zip(counts, lengths, strict=True):
        score = 0.0
        for word in wanted:
            holding = sum(1 for other in counts if other[word])
            idf = math.log(1 + (len(documents) - holding + 0.5) / (holding + 0.5))
            tf = count[word]
            score += idf * tf / (1.2 * (1 - 0.75 + 0.75 * length / average) + tf)
        scores.append(score)
    return scores


def test_bm25_equals_a_plain_computation(cast, tmp_path):
    """Checked against `plain_bm25`, to rounding of doubles (1e-9)."""
    recording = bring(None, tmp_path, "Talk")
    lines = [
        (0, 900, "kiln kiln fire"),
        (1000, 1900, "the kiln and the goat"),
        (2000, 2900, "goat"),
        (5000, 5900, "fire fire"),
    ]
    said(recording, lines)
    parts = [
        segment(recording, 0, 2000, "Of the kiln", summary="Fire in it"),
        segment(recording, 2000, 3000, "Goats of the kiln"),
        segment(recording, 3000, 4000, "Nothing of it at all"),
    ]
    open_up(cast["council"], recording)
    documents = [
        [(2, ["of", "the", "kiln"]), (1, words_of("fire in it kiln kiln fire the kiln and the goat"))],
        [(2, ["goats", "of", "the", "kiln"]), (1, ["goat"])],
        [(2, ["nothing", "of", "it", "at", "all"])],
        [(2, ["talk"]), (1, ["fire", "fire"])],
    ]
    for asked in (["kiln"], ["goat", "kiln"], ["fire"], ["of"]):
        expected = dict(zip(refs(*parts, recording), plain_bm25(sorted(asked), documents), strict=True))
        hits = ask(" ".join(asked)).hits
        assert hits
        for hit in hits:
            assert hit.score == pytest.approx(expected[Item.ungated.get(pk=hit.number).ref], abs=1e-9)


def test_rarity_is_never_negative():
    assert ranking.rarity(10, 10) > 0
    assert ranking.rarity(10, 1) > ranking.rarity(10, 9)


# --- visible only ---


def answers(account) -> list[tuple]:
    """Everything an answer holds, for several queries, in a form that tells any difference."""
    asked = ["kiln", "goat kiln", '"the goat"', "goat -fire", "by:tole", "ember", "fire", "secret", "", "at:cove fire"]
    return [
        (text, found.total, found.kinds, found.languages, found.heard, named_facets(found), found.alone,
         [(Item.ungated.get(pk=hit.number).ref, float(hit.score).hex(), cue_ref(hit.cue), named_ways(hit.ways))
          for hit in found.hits],
         [Item.ungated.get(pk=number).ref for number in found.things])
        for text in asked
        for found in [ask(text, account)]
    ]


def cue_ref(number: int) -> str:
    return Cue.ungated.get(pk=number).text if number else ""


def named_facets(found: Found):
    return {name: [(Item.ungated.get(pk=number).ref, count) for number, count in rows]
            for name, rows in found.facets.items()}


def named_ways(ways):
    return [(kind, Item.ungated.get(pk=number).ref) for kind, number in ways]


def make_archive(cast, tmp_path):
    """Open and hidden things that share words, ties and a recording."""
    first, second = bring(None, tmp_path, "First talk"), bring(None, tmp_path, "Second talk of fire", hz=300)
    tole, figure, place, topic = (
        named("person", "Tole"), named("figure", "The Ember Tongs", stars=[1]), named("place", "Cove"),
        named("topic", "Kilns"),
    )
    said(first, [(0, 900, "the kiln and the goat"), (1000, 1900, "secret fire kiln"), (2000, 2900, "the fire"),
                 (4000, 4900, "kiln kiln kiln")])
    said(second, [(0, 900, "secret goat secret"), (1000, 1900, "the goat fire")])
    open_parts = [
        segment(first, 0, 1000, "Kiln of the goat", speakers=[tole.pk], topics=[topic.pk], places=[place.pk]),
        segment(first, 2000, 3000, "Fire", speakers=[tole.pk], figures=[figure.pk]),
    ]
    hidden_part = segment(first, 1000, 2000, "Secret kiln", speakers=[tole.pk], topics=[topic.pk], places=[place.pk])
    hidden_person = named("person", "Tole Secret Goat", about="kiln fire")
    writing.tie(open_parts[0], "told_by", hidden_person)
    span = writing.close_span(None, first, 4000, 5000, "not for all")
    segment(second, 0, 1000, "Goat of the second", topics=[topic.pk], speakers=[hidden_person.pk])
    open_up(cast["council"], first, tole, figure, place, topic)
    open_up(cast["council"], hidden_part, terms=decisions.Terms())
    return second, hidden_part, hidden_person, span


def test_answers_equal_those_of_an_archive_without_the_hidden_things(cast, tmp_path):
    """Goguen & Meseguer 1982 (non-interference), to the bits of the scores."""
    second, hidden_part, hidden_person, span = make_archive(cast, tmp_path)
    before = answers(None)
    assert any(row[1] for row in before)
    # The twin: the hidden cues gone with their seconds, the hidden items deleted.
    Cue.ungated.filter(text__in=["secret fire kiln", "kiln kiln kiln"]).delete()
    for item in (second, hidden_part, hidden_person, span):
        Item.ungated.filter(pk=item.pk).delete()
    writing.owe_index([second.pk, hidden_part.pk, hidden_person.pk, span.pk, Recording.ungated.get().pk])
    assert answers(None) == before
    engine.rebuild()
    assert answers(None) == before


def test_a_viewer_with_nothing_finds_nothing(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk of kilns")
    said(recording, [(0, 1000, "kilns")])
    segment(recording, 0, 2000, "Kilns")
    for text in ("kilns", "", "talk", "-kilns"):
        found = ask(text)
        assert (found.total, found.hits, found.things, found.heard) == (0, [], [], 0)
        assert not any(found.facets.values())


def test_the_council_finds_descriptions_but_no_words(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    said(recording, [(0, 1000, "whispered")])
    part = segment(recording, 0, 2000, "Kilns")
    assert titles(ask("kilns", cast["council"])) == refs(part)
    assert ask("whispered", cast["council"]).total == 0


def test_cues_are_seen_exactly_where_the_pages_show_them(cast, tmp_path):
    """The array rule against Gate.closed_stretches and showing.transcripts, over many placings."""
    rng = np.random.default_rng(7)
    family = Audience.objects.get(name="family")
    for round_ in range(6):
        recording = bring(cast["archivist"], tmp_path, f"Talk {round_}", hz=200 + round_)
        starts = rng.integers(0, 6400, 60)
        said(recording, [(0, 100, "x")])
        transcript = Cue.ungated.filter(transcript__recording=recording).get().transcript
        Cue.ungated.bulk_create([
            Cue(transcript=transcript, start_ms=int(start), end_ms=int(start + length), text=f"w{at}")
            for at, (start, length) in enumerate(zip(starts, rng.integers(0, 900, 60), strict=True))
        ])
        for at in range(4):
            start = int(rng.integers(0, 5000))
            part = segment(recording, start, start + int(rng.integers(1, 900)), f"Part {at}")
            if at % 2:
                open_up(cast["council"], part, terms=decisions.Terms([family], others_see=2 * (at % 4 == 1)))
        writing.close_span(None, recording, 2000, 2000 + int(rng.integers(1, 900)), "closed")
        offering = "clips" if round_ % 2 else "quiet"
        if round_ != 4:
            decisions.decide(cast["council"], decisions.Minute(date(2020, 1, 1), "m"),
                             decisions.Act([recording.pk], None, offering=offering))
    decisions.entrust(cast["council"], cast["plain"], Segment.ungated.first())
    decisions.entrust(cast["council"], cast["second"], ClosedSpan.ungated.first())
    for account in (None, *cast.values()):
        gate = Gate(account)
        seen = sight.sight_of(gate, engine.current())
        stock = seen.board.stock
        found = set(stock.cue[seen.is_seen & (stock.part == indexing.Field.CUE)].tolist())
        assert found == shown_on_pages(gate)
        heard = np.flatnonzero(seen.heard)
        assert set(heard.tolist()) == heard_on_pages(gate)


def shown_on_pages(gate: Gate) -> set[int]:
    shown = set()
    for recording in Recording.ungated.all():
        for transcript in showing.transcripts(gate, recording):
            for cue in transcript.cues:
                rows = Cue.ungated.filter(transcript=transcript.number, start_ms=cue.start_ms, end_ms=cue.end_ms,
                                          text=cue.text)
                shown |= set(rows.values_list("pk", flat=True))
    return shown


def heard_on_pages(gate: Gate) -> set[int]:
    heard = set()
    for row, hearing_of in [
        *((row, showing.hearing_of_recording) for row in Recording.ungated.all()),
        *((row, showing.hearing_of_segment) for row in Segment.ungated.all()),
    ]:
        hearing = hearing_of(gate, row)
        if hearing is None:
            continue
        is_all_closed = hearing.closed == ((0, hearing.duration_ms),)
        if not (is_all_closed and is_known_to_be_closed(gate, row)):
            heard.add(row.pk)
    return heard


def is_known_to_be_closed(gate: Gate, row: Recording | Segment) -> bool:
    """Whether all its seconds lie under what the viewer knows of and may not hear. Of the rest they know nothing."""
    recording = row.recording if isinstance(row, Segment) else row
    start_ms, end_ms = (row.start_ms, row.end_ms) if isinstance(row, Segment) else (0, recording.master.duration_ms)
    known = [(start, end) for number, start, end in stretches_of(recording) if 0 < gate.level(number) < 3]
    return any(start <= start_ms and end_ms <= end for start, end in merge(known))


# --- ways ---


def test_a_name_leads_to_what_is_tied_to_it_and_says_so(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    person = named("person", "Maꞌel Tavëlin", "Mael")
    figure = named("figure", "The Ember Tongs", stars=[1])
    part = segment(recording, 0, 1000, "In winter", speakers=[person.pk], figures=[figure.pk])
    segment(recording, 1000, 2000, "In summer")
    open_up(cast["council"], recording, person, figure)
    for text in ("mael", '"maʔel tavelin"', "by:mael", "tavelin winter", "of:tongs by:mael", "ember tongs winter"):
        assert titles(ask(text)) == refs(part), text
    assert ask("mael").hits[0].ways == (("told_by", person.pk),)
    assert ask("mael").things == [person.pk]
    assert ask("of:mael").total == ask("at:tongs").total == ask("mael -tongs").total == 0
    open_up(cast["council"], person, terms=decisions.Terms())
    assert ask("mael").total == 0
    assert ask("mael").things == []


def test_phrases_run_over_cues_but_not_over_pauses(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk", seconds=20)
    said(recording, [(0, 1000, "up to the goat"), (1100, 2000, "gate of the sky"), (9000, 9900, "and down")])
    part = segment(recording, 0, 10_000, "A part")
    open_up(cast["council"], recording)
    assert titles(ask('"goat gate"')) == refs(part)
    assert Cue.ungated.get(pk=ask('"goat gate"').hits[0].cue).text == "up to the goat"
    assert ask('"gate goat"').total == 0
    assert ask('"sky and"').total == 0


def test_cues_outside_every_segment_give_the_recording(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    said(recording, [(0, 1000, "inside"), (3000, 4000, "outside")])
    part = segment(recording, 0, 2000, "A part")
    open_up(cast["council"], recording)
    assert titles(ask("inside")) == refs(part)
    found = ask("outside")
    assert titles(found) == refs(recording)
    assert Cue.ungated.get(pk=found.hits[0].cue).start_ms == 3000


def test_facets_count_what_narrowing_then_finds(cast, tmp_path):
    make_archive(cast, tmp_path)
    for text in ("", "kiln", "fire"):
        whole = ask(text)
        for rows in whole.facets.values():
            for number, count in rows:
                assert ask(text, things=(number,)).total == count
        for kind, count in whole.kinds:
            assert ask(text, kind=kind).total == count
        for language, count in whole.languages:
            assert ask(text, language=language).total == count
        assert ask(text, only_heard=True).total == whole.heard
        assert ask(text, unknown=True).total == 0


def test_order_by_date_told(cast, tmp_path):
    made = []
    for year, hz in (("1970", 300), ("196X", 310), ("1965-02", 320)):
        recording = bring(None, tmp_path, f"Kiln {year}", hz=hz)
        Recording.ungated.filter(pk=recording.pk).update(recorded_on=year)
        made.append(recording)
    open_up(cast["council"], *made)
    assert titles(ask("kiln", sort="oldest")) == refs(made[1], made[2], made[0])
    assert titles(ask("kiln", sort="newest")) == refs(made[0], made[2], made[1])
    assert set(titles(ask("kiln", first_day=19_660_101))) == set(refs(made[0], made[1]))
    assert set(titles(ask("kiln", last_day=19_651_231))) == set(refs(made[1], made[2]))


def test_a_star_finds_every_word_that_begins_so(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    said(recording, [(0, 1000, "weaver weaving weft")])
    part = segment(recording, 0, 1000, "Of the loom")
    open_up(cast["council"], recording)
    for text in ("weav*", "Wëav*", "wea* loom", "-wov* weav*"):
        assert titles(ask(text)) == refs(part), text
    assert ask("weav").total == ask("we*").total == ask("loom -wef*").total == 0
    assert [piece.text for piece in marked("weaver, weft", read("weav*").marks) if piece.hit] == ["weaver"]


def test_a_bar_finds_what_holds_either_and_ranks_by_both(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    said(recording, [(0, 900, "kiln fire"), (1000, 1900, "goat fire"), (2000, 2900, "goat kiln"), (3000, 3900, "sea")])
    parts = [segment(recording, at * 1000, at * 1000 + 1000, f"Part {at}") for at in range(4)]
    open_up(cast["council"], recording)
    assert set(titles(ask("goat | kiln"))) == set(refs(*parts[:3]))
    assert titles(ask("goat | kiln"))[0] == parts[2].ref
    assert set(titles(ask("goat|kiln fire"))) == set(refs(*parts[:2]))
    assert set(titles(ask("goat | \"fire sea\" | sea"))) == set(refs(*parts[1:]))
    assert set(titles(ask("goat | kiln -fire"))) == set(refs(parts[2]))
    both = {hit.number: hit.score for hit in ask("goat | kiln").hits}
    assert both[parts[2].pk] == pytest.approx(ask("goat kiln").hits[0].score, abs=1e-9)
    assert ask("nowhere | absent").alone[0][1] == 0


def test_a_whole_reaches_what_is_tied_to_its_parts(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    whole, part, least = (named("figure", name, stars=[1]) for name in ("Bigfigure", "Midfigure", "Leastfigure"))
    writing.tie(part, "part_of", whole)
    writing.tie(least, "part_of", part)
    told = segment(recording, 0, 1000, "A part", figures=[least.pk])
    open_up(cast["council"], recording, whole, part, least)
    for text in ("bigfigure", "of:bigfigure", "midfigure", "leastfigure"):
        assert titles(ask(text)) == refs(told), text
    assert ask("", things=(whole.pk,)).total == dict(ask("").facets["figure"])[whole.pk] == 1
    open_up(cast["council"], part, terms=decisions.Terms())
    assert ask("bigfigure").total == 0


# --- upkeep ---


def test_changes_are_found_at_once_and_unchanged_words_are_left(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    said(recording, [(0, 1000, "kiln")])
    open_up(cast["council"], recording)
    assert ask("kiln").total == 1
    folder, generation = engine.current().folder, engine.current().generation
    part = segment(recording, 0, 1000, "Added")
    assert titles(ask("added")) == refs(part)
    assert not IndexDebt.objects.exists()
    stock = engine.current()
    assert stock.folder == folder
    assert stock.generation > generation
    writing.owe_index([recording.pk, part.pk])
    assert engine.current() is stock
    given = writing.SegmentGiven(0, 1000, "Changed")
    writing.change_segment(None, part, given, part.version)
    assert titles(ask("changed")) == refs(part)
    assert ask("added").total == 0
    writing.remove_segment(None, part)
    assert ask("changed").total == 0
    assert not engine.current().atoms_of(np.array([part.pk])).size


@only_files
def test_a_debt_left_by_a_crash_is_paid_before_the_next_search(cast, tmp_path, monkeypatch):
    recording = bring(None, tmp_path, "A talk")
    open_up(cast["council"], recording)
    index.current()
    part = segment(recording, 0, 1000, "Added")
    monkeypatch.setattr(index, "_write", lambda *given: (_ for _ in ()).throw(OSError("disk full")))
    with pytest.raises(OSError, match="disk full"):
        index.pay()
    assert IndexDebt.objects.filter(item_number=part.pk).exists()
    with pytest.raises(index.NotReady):
        ask("added")
    monkeypatch.undo()
    assert titles(ask("added")) == refs(part)


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_a_change_under_way_is_not_missed(tmp_path):
    """A second change of an item already owed writes no second debt: paying must wait until it is committed."""
    if connection.vendor != "postgresql":
        pytest.skip("SQLite lets one writer in at a time: run with UNDERSKY_DATABASE=postgresql://…")
    cast = make_cast()
    recording = bring(None, tmp_path, "A talk")
    part = segment(recording, 0, 1000, "Before")
    open_up(cast["council"], recording)
    engine.rebuild()
    writing.owe_index([part.pk])  # outside a transaction the listener pays at once
    IndexDebt.objects.get_or_create(item_number=part.pk)
    changed, may_commit = threading.Event(), threading.Event()

    def change() -> None:
        with transaction.atomic():
            Segment.ungated.filter(pk=part.pk).update(title="After")
            IndexDebt.objects.bulk_create([IndexDebt(item_number=part.pk)], ignore_conflicts=True)
            changed.set()
            may_commit.wait(10)
        connection.close()

    writer = threading.Thread(target=change)
    writer.start()
    assert changed.wait(10)
    threading.Timer(0.5, may_commit.set).start()
    engine.pay()
    writer.join()
    engine.pay()
    assert ask("after").total == 1


def damage_missing(folder):
    shutil.rmtree(folder)


def damage_half_written(folder):
    for file in folder.glob("*.pst"):
        os.truncate(file, file.stat().st_size // 2)
    for file in folder.glob("*.trm"):
        os.truncate(file, file.stat().st_size // 2)


def damage_postings_only(folder):
    for file in folder.glob("*.pst"):
        file.write_bytes(b"x" * file.stat().st_size)


def damage_contents_table(folder):
    for file in folder.glob("*.toc"):
        os.truncate(file, 10)


def damage_pointer(folder):
    (folder.parent / "current.json").write_text("{")


def damage_piece(folder):
    for file in folder.glob("*.piece"):
        file.write_bytes(b"x" * file.stat().st_size)


def damage_piece_half_written(folder):
    for file in folder.glob("*.piece"):
        os.truncate(file, file.stat().st_size // 2)


def damage_piece_missing(folder):
    for file in folder.glob("*.piece"):
        file.rename(file.with_suffix(".making"))


def damage_form(folder):
    (folder.parent / "current.json").write_text(json.dumps({"folder": folder.name, "form": "0 older"}))


@only_files
def test_a_passing_trouble_of_the_machine_costs_no_index(cast, tmp_path, monkeypatch):
    recording = bring(None, tmp_path, "A talk of kilns")
    open_up(cast["council"], recording)
    assert ask("kilns").total == 1
    folder = index.current().folder
    index.forget()
    monkeypatch.setattr(index.Stock, "read", lambda *given: (_ for _ in ()).throw(OSError(errno.EMFILE, "too many")))
    with pytest.raises(index.NotReady):
        ask("kilns")
    monkeypatch.undo()
    assert ask("kilns").total == 1
    assert index.current().folder == folder


@pytest.mark.filterwarnings("ignore::ResourceWarning")  # Whoosh leaves files open that it fails to read
@pytest.mark.parametrize(
    "damage",
    [
        *(damage_missing, damage_half_written, damage_postings_only, damage_contents_table, damage_pointer),
        *(damage_form, damage_piece, damage_piece_half_written, damage_piece_missing),
    ],
)
@only_files
def test_a_damaged_index_heals_itself(cast, tmp_path, damage):
    recording = bring(None, tmp_path, "A talk of kilns")
    said(recording, [(at * 100, at * 100 + 90, f"kiln {at} goat") for at in range(30)])
    open_up(cast["council"], recording)
    assert ask("kiln goat").total == 1
    folder = index.current().folder
    index.forget()
    damage(folder)
    assert ask("kiln goat").total == 1
    assert ask("kilns").total == 1
    assert [one.name for one in folder.parent.glob("whoosh-*")] == [index.current().folder.name]
    gc.collect()


def test_a_large_missing_index_is_built_in_the_background(cast, tmp_path, monkeypatch):
    recording = bring(None, tmp_path, "A talk")
    open_up(cast["council"], recording)
    started = []
    monkeypatch.setattr(engine.chosen(), "AT_ONCE", 0)
    monkeypatch.setattr(engine.chosen(), "_build_in_background", lambda: started.append(1))
    with pytest.raises(engine.NotReady):
        ask("talk")
    assert len(started) == 1
    engine.rebuild()
    assert ask("talk").total == 1


def test_the_old_index_answers_while_a_new_one_is_built(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk of kilns")
    open_up(cast["council"], recording)
    assert ask("kilns").total == 1
    made, seen = [], []

    def meanwhile(done: int, total: int) -> None:
        if not made:
            made.append(segment(recording, 0, 1000, "Made meanwhile"))
            seen.append((ask("kilns").total, ask("meanwhile").total))

    old = engine.current().folder
    engine.rebuild(meanwhile)
    assert seen == [(1, 1)]
    assert engine.current().folder != old
    assert not old.exists()
    assert ask("meanwhile").total == 1


def another_process(code: str) -> str:
    """What a process of its own prints, with this test's index folder as its own."""
    env = {**os.environ, "UNDERSKY_HOME": str(Path(django_settings.INDEX).parent)}
    whole = f"import django; django.setup()\nfrom archive.search import index\n{code}"
    done = subprocess.run([sys.executable, "-c", whole], env=env, check=True, capture_output=True, text=True)
    return done.stdout.strip()


@only_files
def test_another_process_sees_what_was_indexed_and_waits_its_turn(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk of kilns")
    open_up(cast["council"], recording)
    index.current()
    before = index.current()  # all that was owed is paid by now
    folder = before.folder.name
    another_process(
        "from archive.access.indexing import Atom, Field\n"
        "index.indexing.atoms_of = lambda numbers: {n: [Atom(n, Field.TITLE, 'other words')] for n in numbers}\n"
        f"index._write(index._home() / {folder!r}, [{recording.pk}])"
    )
    assert index.current().generation == before.generation + 1
    assert ask("other").total == 1
    with index._writing:
        assert another_process("print(index._writing.take(wait=False))") == "False"
    assert another_process("print(index._writing.take(wait=False))") == "True"


def test_the_command_says_how_far_it_is(cast, tmp_path, capsys):
    recording = bring(None, tmp_path, "A talk of kilns")
    open_up(cast["council"], recording)
    call_command("reindex")
    said_so = capsys.readouterr().out
    assert "100 %" in said_so
    assert "texts indexed" in said_so
    assert ask("kilns").total == 1


@only_files
def test_a_broken_off_rebuild_leaves_the_old_index(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk of kilns")
    open_up(cast["council"], recording)
    old = index.current().folder

    def broken(done: int, total: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        index.rebuild(broken)
    assert index.current().folder == old
    assert [one.name for one in old.parent.glob("whoosh-*")] == [old.name]


@only_files
def test_a_piece_is_what_whoosh_itself_reads(cast, tmp_path):
    """Against Whoosh's own readers, posting by posting and row by row, over several parts and with deletions."""
    recording = bring(None, tmp_path, "A talk")
    said(recording, [(at * 100, at * 100 + 90, f"kiln {at} kiln") for at in range(20)])
    index.current()
    part = segment(recording, 0, 1000, "Added kiln", summary="kiln added")
    index.current()
    writing.remove_segment(None, part)
    stock = index.current()
    reader = store.open_dir(str(stock.folder)).reader()
    parts = [leaf for leaf, _ in reader.leaf_readers()]
    assert [leaf.segment().segment_id() for leaf in parts] == [piece.name for piece in stock.pieces]
    for name in ("owner", "mark"):
        whole = [value for leaf in parts for value in leaf.column_reader(name)]
        assert whole == [value for piece in stock.pieces for value in piece[name].tolist()]
    assert [reader.is_deleted(at) for at in range(reader.doc_count_all())] == (~stock.sheet_stands).tolist()
    for leaf, piece, stands in zip(parts, stock.pieces, stock.standing, strict=True):
        words = [word.decode() for word in leaf.lexicon("text")]
        assert [piece._word(at).decode() for at in range(len(words))] == words
        for word in words:
            expected, postings = [], leaf.postings("text", word)
            while postings.is_active():
                expected += [(postings.id(), place) for place in postings.value_as("positions")]
                postings.next()
            assert [(sheet, place) for sheet, place in piece_places(piece, word) if stands[sheet]] == expected
    reader.close()


def piece_places(piece, word: str) -> list[tuple[int, int]]:
    """The sheet and the place in it of every standing of the word, as the piece's arrays tell them."""
    entries = piece.entries(word)
    found = []
    for atom, at in zip(piece.entry_atom[entries].tolist(), piece.entry_at[entries].tolist(), strict=True):
        sheet = int(np.searchsorted(piece["first_atom"], atom, side="right")) - 1
        before = int(piece["words"][piece["first_atom"][sheet] : atom].sum())
        found.append((sheet, before + at))
    return found


def test_a_piece_knows_its_own_words_and_no_others(cast, tmp_path):
    """On either engine: every word it names stands in it, and every word of its texts is named."""
    recording = bring(None, tmp_path, "A talk of kilns")
    said(recording, [(0, 900, "the Aḍëtiꞌo kiln"), (1000, 1900, "שלום kiln")])
    engine.rebuild()
    first = engine.current()
    assert [piece.vocabulary() for piece in first.pieces] == [sorted(["a", "adetio", "kiln", "kilns", "of", "talk",
                                                                      "the", "שלום"], key=str.encode)]
    segment(recording, 0, 1000, "Added kiln")
    stock = engine.current()
    added = [piece for piece in stock.pieces if piece.name not in {old.name for old in first.pieces}]
    assert "added" in {word for piece in added for word in piece.vocabulary()}
    for piece in stock.pieces:
        words = piece.vocabulary()
        assert words == sorted(set(words), key=str.encode)
        assert all(len(piece.atoms_holding(word)) for word in words)
        assert sum(len(piece.atoms_holding(word)) for word in words) == int(piece["words"].sum())
        alike = by_sounds(words)
        assert {key: piece.sounding(key) for key in (*alike, "no such sounds")} == alike | {"no such sounds": []}


@only_files
def test_a_folder_that_cannot_be_written_keeps_nobody_waiting(tmp_path, settings):
    in_the_way = tmp_path / "index"
    in_the_way.write_text("no folder")
    settings.INDEX = in_the_way
    with ThreadPoolExecutor(1) as others, pytest.raises(OSError, match="exists"):
        others.submit(index._writing.take).result()
    in_the_way.unlink()
    assert index._writing.take(wait=False)
    index._writing.give_back()


@only_files
def test_a_piece_cut_short_while_it_is_in_use_is_made_anew(cast, tmp_path):
    part = segment(bring(None, tmp_path, "A talk"), 0, 1000, "The kiln")
    assert titles(ask("kiln", cast["council"])) == refs(part)
    for piece in index.current().folder.glob("*.piece"):
        os.truncate(piece, 64)
    assert titles(ask("the", cast["council"])) == refs(part)


@only_files
def test_words_taken_back_do_not_stay_on_the_disk(cast, tmp_path):
    recording = bring(None, tmp_path, "A talk")
    part = segment(recording, 0, 1000, "Canarywordtitle")
    folder = index.current().folder
    assert any(b"canarywordtitle" in file.read_bytes() for file in folder.iterdir() if file.is_file())
    writing.remove_segment(None, part)
    index.current()
    assert not any(b"canarywordtitle" in file.read_bytes() for file in folder.iterdir() if file.is_file())


@pytest.mark.parametrize(
    "text",
    [
        *("x" * 10_000, "the " * 2500, '"' * 50, 'goat "gate', "שלום עולם", "\u0301"),
        *("(a+)+$", "by:", "-", "\x00", "🜂", "a" * 64, '"' + "word " * 60, "the of and", "talk |" * 2000),
        *("עִבְרִית of:", "\u202etalk\u202c", "\u0301\u0302\u0303", "*" * 500, "a* b* c*", "\ud800", '-"talk', "|||"),
    ],
)
def test_any_text_is_answered(cast, tmp_path, text):
    recording = bring(None, tmp_path, "A talk")
    open_up(cast["council"], recording)
    began = time.monotonic()
    assert ask(text).total >= 0
    assert time.monotonic() - began < 2.0
    assert Tie.ungated.count() == 0


def test_what_was_read_ahead_serves_the_first_search_and_a_missing_index_is_no_error_there(cast, tmp_path, monkeypatch):
    segment(bring(None, tmp_path, "A talk"), 0, 1000, "The kiln")
    monkeypatch.setattr(sight.connection, "close", lambda: None)  # the test is no thread of its own
    sight.read_ahead()
    held = sight._sights[0]
    assert sight.sight_of(Gate(None), engine.current()) is held
    monkeypatch.setattr(index, "current", _not_ready)
    monkeypatch.setattr(tables, "current", _not_ready)
    sight.read_ahead()


def _not_ready():
    raise engine.NotReady
