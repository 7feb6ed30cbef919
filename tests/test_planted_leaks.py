"""Leaks put in on purpose: each is switched on alone, and the crawl of the twins, or the canaries, must see it.

A leak test that has never seen a leak proves nothing. Each fault below is one that real systems have had; the
archive and its twin are crawled with the fault in both, for the pages it shows on.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db.models import Max
from django.http import HttpResponse, HttpResponseRedirect
from django.test import override_settings
from django.urls import get_resolver, path
from django.utils.http import http_date

from archive.access import details, found, gate, judging, layout, policy, showing, sound
from archive.access.gate import Gate
from archive.maps import frame
from archive.models import Item, Level, Place
from archive.search import counting, finding, query, sight
from archive.views import middleware

from .crawl import ROUTES, Answer, Ask, asks, crawl, routes
from .test_leaks import QUICK, taken_back
from .twin import NOW, canaries, canaries_in
from .twin_making import build
from .twin_town import Archive, Town, View, clock, settle

pytestmark = pytest.mark.django_db

Patch = pytest.MonkeyPatch
ITEMS = ("recording", "segment", "person", "place", "figure", "mirror", "topic", "layer")
LISTS = ("recordings", "people", "places", "figures", "mirrors", "topics", "layers")


# --- the faults ---


def ranking_counts_hidden_documents(patch: Patch) -> None:
    """How rare a word is, is told from all documents (Büttcher and Clarke, FAST 2005)."""

    def statistics(self: sight.Sight, is_told: bool) -> tuple[int, float]:
        return int(np.count_nonzero(self.board.is_told == is_told)), 10.0

    patch.setattr(sight.Sight, "statistics", statistics)


def facets_count_hidden_passages(patch: Patch) -> None:
    real = counting.facets
    patch.setattr(
        counting, "facets",
        lambda held, answers, documents: real(held, np.ones_like(answers), np.arange(len(answers), dtype=np.int64)),
    )
    patch.setattr(
        sight.Sight, "_met_ties",
        lambda self, kinds: (self.level[self.board.layout.tie_target] >= Level.DESCRIPTION)
        & np.isin(self.board.layout.tie_kind, [layout.tie_code(kind) for kind in kinds]),
    )


def suggestions_offer_hidden_names(patch: Patch) -> None:
    patch.setattr(found, "is_met", lambda gate, name: True)


def lines_are_found_in_closed_seconds(patch: Patch) -> None:
    patch.setattr(layout, "readable", lambda *given: np.ones(len(given[-1]), dtype=bool))


def the_map_makes_room_for_hidden_places(patch: Patch) -> None:
    def bounds(features: Any) -> tuple[float, float, float, float]:
        spots = list(Place.ungated.values_list("latitude_deg", "longitude_deg"))
        return min(a for a, _ in spots), min(b for _, b in spots), max(a for a, _ in spots), max(b for _, b in spots)

    patch.setattr(frame, "bounds", bounds)


def a_cell_lies_round_the_true_point(patch: Patch) -> None:
    def round_it(latitude_deg: float, longitude_deg: float, size_deg: float) -> tuple[float, ...]:
        half = size_deg / 2
        edges = (latitude_deg - half, longitude_deg - half, latitude_deg + half, longitude_deg + half)
        return tuple(round(edge, 6) for edge in edges)

    patch.setattr(showing, "cell_of", round_it)


def a_described_place_gives_its_point(patch: Patch) -> None:
    real = showing._place

    def shown(held: Gate, row: Place, *more: Any) -> showing.PlaceShown:
        return dataclasses.replace(real(held, row, *more), at=(row.latitude_deg, row.longitude_deg), cell=None)

    patch.setattr(showing, "_place", shown)


def a_described_figure_gives_its_stars(patch: Patch) -> None:
    real = showing._figure

    def shown(held: Gate, row: Any, *more: Any) -> showing.FigureShown:
        lines = tuple(tuple(line) for line in row.lines)
        return dataclasses.replace(real(held, row, *more), stars=tuple(row.stars), lines=lines)

    patch.setattr(showing, "_figure", shown)


def the_entity_tag_is_made_from_the_master(patch: Patch) -> None:
    real = sound.built

    def built(*given: Any) -> sound.Sound | None:
        file = real(*given)
        return dataclasses.replace(file, sha256=file.path.stem) if file else None

    patch.setattr(sound, "built", built)


def the_sound_keeps_its_closed_seconds(patch: Patch) -> None:
    real = sound.render
    patch.setattr(settings, "RENDITIONS", settings.RENDITIONS / "open")
    patch.setattr(sound, "render", lambda copy, out, closed, **more: real(copy, out, [], **more))


def captions_run_through_closed_seconds(patch: Patch) -> None:
    patch.setattr(showing, "overlaps", lambda start, end, closed: False)


def lines_name_hidden_speakers(patch: Patch) -> None:
    patch.setattr(showing, "unnamed_speakers", lambda held: set())


def a_clip_says_how_long_the_whole_is(patch: Patch) -> None:
    real = showing._recording_card

    def card(held: Gate, row: Any, *more: Any) -> showing.RecordingCard:
        return dataclasses.replace(real(held, row, *more), duration_ms=row.master.duration_ms)

    patch.setattr(showing, "_recording_card", card)


def related_things_are_named_though_hidden(patch: Patch) -> None:
    real = showing.labels
    patch.setattr(showing, "labels", lambda held, numbers, at_least=0: real(held, numbers, Level.NOTHING))


def the_neighbour_is_looked_for_among_all(patch: Patch) -> None:
    patch.setattr(details, "_along", lambda held, rows: list(
        rows.order_by("recording__recorded_on", "recording__ref", "start_ms").values_list("pk", flat=True)
    ))


def totals_count_the_hidden(patch: Patch) -> None:
    patch.setattr(Gate, "count", lambda self, kind, at_least=0: len(self.policy.by_kind[kind]))


def notices_say_how_many_more(patch: Patch) -> None:
    real = Gate.notices_on_page

    def notices(self: Gate, own: int, around: Any) -> list[tuple[str, str]]:
        hidden = sum(self.level(number) == Level.NOTHING for number in set(around))
        return [*real(self, own, around), (f"{hidden} more are closed", "")]

    patch.setattr(Gate, "notices_on_page", notices)


def forbidden_is_said_instead_of_not_found(patch: Patch) -> None:
    real = Gate.fetch

    def fetch(self: Gate, model: Any, ref: str, at_least: Level = Level.DESCRIPTION) -> Any:
        try:
            return real(self, model, ref, at_least)
        except gate.NotMet as error:
            if model.ungated.filter(ref=ref).exists():
                raise PermissionDenied from error
            raise

    patch.setattr(Gate, "fetch", fetch)


def a_notice_stands_where_nothing_is_met(patch: Patch) -> None:
    real = Gate.level_of
    patch.setattr(Gate, "level_of", lambda self, item: max(real(self, item), Level.NOTICE))


def row_numbers_reach_the_page(patch: Patch) -> None:
    real = showing._label
    patch.setattr(
        showing, "_label", lambda *given: dataclasses.replace((made := real(*given)), also=f"no. {made.number}")
    )


def a_date_is_taken_from_the_table(patch: Patch) -> None:
    real = middleware.PageHeaders.__call__

    def call(self: Any, request: Any) -> Any:
        response = real(self, request)
        newest = Item.ungated.aggregate(newest=Max("created_at"))["newest"]
        response.headers["Last-Modified"] = http_date(newest.astimezone(UTC).timestamp())
        return response

    patch.setattr(middleware.PageHeaders, "__call__", call)


def visitors_are_given_what_the_last_viewer_met(patch: Patch) -> None:
    kept: dict[int, Any] = {}
    real = policy.levels_for

    def shared(standing: judging.Policy, account: Any, moment: Any) -> Any:
        return kept.setdefault(standing.version, real(standing, account, moment))

    patch.setattr(policy, "levels_for", shared)


def peaks_run_through_closed_seconds(patch: Patch) -> None:
    real = sound.peaks

    def peaks(row: Any, hearing: Any) -> bytes | None:
        whole = dataclasses.replace(hearing, closed_in_recording=())
        sound.prepare(row, whole)
        return real(row, whole)

    patch.setattr(sound, "peaks", peaks)


def _after_not_found(patch: Patch, given: Callable[[Any, Any], Any]) -> None:
    """Have another answer given in place of 404 where there is such a thing, and the viewer does not meet it."""
    real = middleware.PageHeaders.__call__

    def call(self: Any, request: Any) -> Any:
        response = real(self, request)
        is_here = Item.ungated.filter(ref__in=request.path.split("/")).exists()
        return given(request, response) if response.status_code == 404 and is_here else response

    patch.setattr(middleware.PageHeaders, "__call__", call)


def what_is_hidden_leads_to_the_sign_in_page(patch: Patch) -> None:
    _after_not_found(patch, lambda request, response: HttpResponseRedirect(f"/sign-in/?next={request.path}"))


def the_error_page_says_that_it_is_closed(patch: Patch) -> None:
    def words(request: Any, response: Any) -> Any:
        response.content = response.content.replace(b"</main>", b"<p>It is closed.</p></main>")
        return response

    _after_not_found(patch, words)


@dataclass(frozen=True)
class Fault:
    plant: Callable[[Patch], None]
    routes: tuple[str, ...]
    before: tuple[str, ...] = ()  # who looked before
    viewer: str = "visitor"

    @property
    def name(self) -> str:
        return self.plant.__name__


FAULTS = (
    Fault(ranking_counts_hidden_documents, ("find",)),
    Fault(facets_count_hidden_passages, ("find",)),
    Fault(suggestions_offer_hidden_names, ("suggest",)),
    Fault(lines_are_found_in_closed_seconds, ("find",)),
    Fault(the_map_makes_room_for_hidden_places, ("map_frame",)),
    Fault(a_cell_lies_round_the_true_point, ("place", "places_geojson")),
    Fault(a_described_place_gives_its_point, ("place", "places_geojson")),
    Fault(a_described_figure_gives_its_stars, ("figure", "sky_chart")),
    Fault(the_entity_tag_is_made_from_the_master, ("recording_sound",)),
    Fault(the_sound_keeps_its_closed_seconds, ("recording_sound",)),
    Fault(captions_run_through_closed_seconds, ("recording_captions",)),
    Fault(lines_name_hidden_speakers, ("recording_captions",)),
    Fault(a_clip_says_how_long_the_whole_is, ("recordings",)),
    Fault(related_things_are_named_though_hidden, ("segment",)),
    Fault(the_neighbour_is_looked_for_among_all, ("segment",)),
    Fault(totals_count_the_hidden, ("home", *LISTS)),
    Fault(notices_say_how_many_more, ("recording", "person")),
    Fault(forbidden_is_said_instead_of_not_found, ("person",)),
    Fault(a_notice_stands_where_nothing_is_met, ("person",)),
    Fault(row_numbers_reach_the_page, LISTS),
    Fault(a_date_is_taken_from_the_table, ("home",)),
    Fault(peaks_run_through_closed_seconds, ("wave",), viewer="archivist"),
    Fault(what_is_hidden_leads_to_the_sign_in_page, ("person",)),
    Fault(the_error_page_says_that_it_is_closed, ("person",)),
    Fault(visitors_are_given_what_the_last_viewer_met, ("people", "person"), ("family",)),
)


# --- crawling with each ---


@contextmanager
def planted(fault: Fault) -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        policy.forget()
        sight.forget()
        fault.plant(patch)
        yield
    policy.forget()
    sight.forget()


def with_each(archive: Archive, wanted: dict[str, list[Ask]], viewer: str) -> dict[str, dict[Ask, Answer]]:
    """What the viewer is answered, with each fault planted in turn."""
    archive.prepare(viewer)
    answers = {}
    for fault in faults_for(viewer):
        with planted(fault):
            for earlier in fault.before:
                crawl(archive.town, earlier, wanted[fault.name])
            answers[fault.name] = crawl(archive.town, viewer, wanted[fault.name]) | scores(archive, fault)
    return answers


def faults_for(viewer: str) -> list[Fault]:
    return [fault for fault in FAULTS if fault.viewer == viewer]


QUERIES = ("story", "story tide", "tide goes story", "zqperopenname story")


def scores(archive: Archive, fault: Fault) -> dict[Ask, Answer]:
    """The scores that order the answers, to the last bit; the page does not show them, the order may."""
    if "find" not in fault.routes:
        return {}
    keys = {number: key for key, number in archive.numbers.items()}
    with clock(NOW):
        answers = {text: finding.find(Gate(), finding.Wanted(query.read(text))) for text in QUERIES}
    return {
        Ask("SCORES", text): Answer(0, (), repr([(keys[hit.number], hit.score.hex()) for hit in answer.hits]).encode())
        for text, answer in answers.items()
    }


@dataclass(frozen=True)
class Both:
    view: View
    first: dict[str, dict[Ask, Answer]]
    second: dict[str, dict[Ask, Answer]]


@pytest.fixture(scope="module")
def both(django_db_setup, django_db_blocker, tmp_path_factory) -> dict[str, Both]:
    """By viewer."""
    home = tmp_path_factory.mktemp("planted")
    ours = override_settings(HOME=home, SOUND_AT_ONCE=True, PASSWORD_HASHERS=QUICK)
    with django_db_blocker.unblock(), ours, taken_back():
        town = settle()
        return {viewer: twins_for(home, town, viewer) for viewer in sorted({fault.viewer for fault in FAULTS})}


def twins_for(home: Path, town: Town, viewer: str) -> Both:
    with taken_back():
        archive = build(home, town)
        view = archive.view(viewer)
        wanted = {
            fault.name: [
                ask for ask in asks(archive.refs, fault.routes) if ask.method == "GET" and "Range" not in str(ask)
            ]
            for fault in faults_for(viewer)
        }
        first = with_each(archive, wanted, viewer)
    with taken_back():
        second = with_each(build(home, town, view), wanted, viewer)
    return Both(view, first, second)


def is_seen(both: Both, fault: Fault) -> bool:
    """Whether the twins differ, or a canary comes out."""
    first, second = both.first[fault.name], both.second[fault.name]
    if first != second:
        return True
    held_back = canaries(both.view.levels)
    return any(
        word in held_back and word not in ask.path for ask, answer in first.items()
        for word in canaries_in(answer.everything())
    )


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_the_crawl_sees(both, fault):
    assert is_seen(both[fault.viewer], fault)


def test_an_address_that_nobody_listed_is_seen(monkeypatch):
    """A list of all addresses for search engines, say: the table of what is crawled does not have it."""
    sitemap = path("sitemap.xml", lambda request: HttpResponse(" ".join(Item.ungated.values_list("ref", flat=True))))
    monkeypatch.setattr(get_resolver(), "url_patterns", [*get_resolver().url_patterns, sitemap])
    assert set(routes()) - set(ROUTES) == {"sitemap.xml"}


def test_the_twins_agree_to_the_last_bit_of_a_score(tmp_path):
    town, answers = settle(), []
    with taken_back():
        archive = build(tmp_path, town)
        view = archive.view("visitor")
        answers.append(scores(archive, FAULTS[0]))
    with taken_back():
        answers.append(scores(build(tmp_path, town, view), FAULTS[0]))
    assert answers[0] == answers[1]
