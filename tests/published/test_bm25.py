"""Ranking against BM25 written out plainly from Robertson & Zaragoza 2009, for every kind of viewer.

S. Robertson and H. Zaragoza, “The Probabilistic Relevance Framework: BM25 and Beyond”, Foundations and Trends in
Information Retrieval 3(4), 2009: equations 3.3 and 3.15 and section 3.6.1 (tests.test_search.plain_bm25). What a
viewer meets is gathered here from single items and from the pages' own transcripts, not from the search's arrays.
"""

from __future__ import annotations

import itertools

import pytest

from archive.access import decisions
from archive.access.gate import Gate
from archive.models import Audience, Cue, Item, Level, Recording, Segment
from archive.search.words import words_of

from ..conftest import bring, open_up, segment
from ..test_search import ask, plain_bm25, said, shown_on_pages

pytestmark = pytest.mark.django_db
WORDS = ("kiln", "goat", "fire", "the", "hearth", "part")
TO_ROUNDING = 1e-9  # doubles, added in another order


@pytest.fixture
def archive(cast, tmp_path) -> None:
    """Three recordings: open with closed parts, offered as clips, and undecided; one entrusted, some for the family."""
    family = Audience.objects.get(name="family")
    lines = ["the kiln and the goat", "fire fire kiln", "goat of the hearth", "the hearth hearth", "kiln goat fire"]
    for at, hz in enumerate((210, 220, 230)):
        recording = bring(None, tmp_path, f"Talk of the {('kiln', 'goat', 'fire')[at]}", hz=hz)
        said(recording, [(start, start + 480, lines[(start // 500 + at) % 5]) for start in range(0, 6000, 500)])
        parts = [
            segment(recording, start, start + 900, f"Part {start} hearth", summary="the goat" * (start % 3))
            for start in (0, 800, 2000, 3500)
        ]
        if at < 2:
            act = decisions.Act([recording.pk], None, offering=("quiet", "clips")[at])
            decisions.decide(cast["council"], decisions.Minute(decisions.date(2020, 1, 1), "m"), act)
        open_up(cast["council"], parts[1], terms=decisions.Terms([family], others_see=2 * (at % 2)))
        open_up(cast["council"], parts[2], terms=decisions.Terms())
    decisions.entrust(cast["council"], cast["plain"], Recording.ungated.order_by("-pk")[0])


def documents_of(gate: Gate) -> dict[int, list[tuple[float, list[str]]]]:
    """Each passage met, as its parts: title twice, all else once."""
    shown = list(Cue.ungated.filter(pk__in=shown_on_pages(gate)).values_list(
        "transcript__recording", "start_ms", "end_ms", "text"
    ))
    segments = list(Segment.ungated.all())
    found: dict[int, list[tuple[float, list[str]]]] = {}
    for row in segments:
        said_in = [words for holder, *times, words in shown if holder == row.recording_id and lies_in(row, *times)]
        found[row.pk] = [(2, words_of(row.title)), *((1, words_of(text)) for text in (row.summary, *said_in))]
    for row in Recording.ungated.all():
        own = [one for one in segments if one.recording_id == row.pk]
        left = [
            text for holder, start, end, text in shown
            if holder == row.pk and not any(lies_in(one, start, end) for one in own)
        ]
        found[row.pk] = [(2, words_of(row.title)), *((1, words_of(text)) for text in (row.circumstances, *left))]
    met = {row.pk for row in Item.ungated.filter(pk__in=found) if gate.level_now(of_kind(row)) >= Level.DESCRIPTION}
    return {number: parts for number, parts in found.items() if number in met}


def of_kind(row: Item) -> Item:
    return (Segment if row.kind == "segment" else Recording).ungated.get(pk=row.pk)


def lies_in(row: Segment, start: int, end: int) -> bool:
    """A cue belongs to a segment that it shares half its time with, or half of the segment's."""
    shared = min(end, row.end_ms) - max(start, row.start_ms)
    return shared > 0 and 2 * shared >= min(end - start, row.end_ms - row.start_ms)


@pytest.mark.parametrize("who", ["visitor", "family", "plain", "council", "archivist"])
def test_every_viewer_is_ranked_by_what_they_meet(archive, cast, who):
    account = cast.get(who)
    documents = documents_of(Gate(account))
    for asked in [*itertools.combinations(WORDS, 1), *itertools.combinations(WORDS, 2), WORDS[:4]]:
        scores = dict(zip(documents, plain_bm25(sorted(asked), list(documents.values())), strict=True))
        holding = {number: {word for _, words in parts for word in words} for number, parts in documents.items()}
        for text, enough in ((" ".join(asked), all), (" | ".join(asked), any)):
            found = {hit.number: hit.score for hit in ask(text, account).hits}
            expected = {number for number, words in holding.items() if enough(word in words for word in asked)}
            assert set(found) == expected
            assert found == pytest.approx({number: scores[number] for number in found}, abs=TO_ROUNDING), text
            assert list(found.values()) == sorted(found.values(), reverse=True)
