"""The judged set: a made-up archive with known ties and planted mishearings, for every sort of viewer."""

from __future__ import annotations

import pytest

from archive.access.gate import Gate
from archive.management.bench import _judged, judged
from archive.search import finding, index, query, sounding
from archive.search.finding import Wanted

from .conftest import bring, open_up, segment
from .test_find_things import ask, world  # noqa: F401 (a fixture)
from .test_search import named, said

pytestmark = pytest.mark.django_db


def test_star_group_questions_find_all_that_is_tied_and_nothing_else():
    """All that is tied for every viewer; misheard names as the goals have it (ours, no source)."""
    made = _judged.make(300)
    index.rebuild()
    rows = judged.judge(made)
    assert len(rows) == 2 * len(judged.VIEWERS) + 3
    assert [row for row in rows if row["holds"] is False] == []
    assert all(" 0 right" not in row["unit"] for row in rows)


def test_a_misheard_name_is_shown_as_heard(cast, tmp_path):
    talk = bring(None, tmp_path, "Talk")
    figure = named("figure", "Taivek", stars=[1])
    said(talk, [
        (100, 900, "Then we saw Tavek over the water"), (1100, 1900, "and there was Tie Vek again"),
        (2100, 2900, "only the take of it"), (3100, 3900, "and Taivek himself"),
    ])
    parts = [segment(talk, at * 1000, at * 1000 + 950, f"Part {at}") for at in range(4)]
    open_up(cast["council"], talk, figure)
    found = ask("heard:taivek")
    assert {hit.number for hit in found.hits} == {parts[0].pk, parts[1].pk}
    assert {way.heard for hit in found.hits for way in hit.reached} == {"Tavek", "Tie Vek"}
    found = ask("sky:taivek")
    assert {hit.number: [way.way for way in hit.reached] for hit in found.hits if hit.number != talk.pk} == {
        parts[0].pk: ["heard_as"], parts[1].pk: ["heard_as"], parts[3].pk: ["in_words"],
    }


@pytest.mark.parametrize("instead", ["Tavek", "Tie Vek"])
def test_hidden_lines_are_not_heard(cast, tmp_path, instead):
    from archive.access import decisions

    talk = bring(None, tmp_path, "Talk")
    figure = named("figure", "Taivek", stars=[1])
    said(talk, [(100, 900, f"Then we saw {instead} over the water")])
    part = segment(talk, 0, 950, "Part")
    open_up(cast["council"], talk, figure)
    assert ask("heard:taivek").total
    open_up(cast["council"], part, terms=decisions.Terms())
    assert ask("heard:taivek").total == 0


@pytest.mark.parametrize(
    "text", ["heard:x", "heard:" + "abc" * 40, "heard:الكلمة", 'heard:"a b c d e f g"', "heard:12"]
)
def test_any_name_is_listened_for(world, text):  # noqa: F811
    assert finding.find(Gate(None), Wanted(query.read(text))).total == 0
    assert sounding.alike(["ab", "mp"], ["ab", "kl"]) == [1, 0]
