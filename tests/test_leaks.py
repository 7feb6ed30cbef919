"""Nothing of what a viewer does not meet comes out of any address: the archive and its twin answer alike.

Method: access decided as non-interference (Goguen and Meseguer, "Security policies and security models", 1982): a
viewer's answers equal those of an archive from which everything hidden from that viewer is gone.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from django.db import transaction

from archive.models import Level

from .crawl import ROUTES, Answer, Ask, asks, crawl, routes
from .twin import EVERYTHING, PLAN, Archive, Town, View, build, canaries, forget, settle

pytestmark = pytest.mark.django_db

# Each sort of viewer whose twin is built; the others are crawled for canaries only.
TWINS = ("visitor", "educator", "family", "archivist", "council")
OTHERS = ("keeper", "plain")


@contextmanager
def taken_back() -> Iterator[None]:
    """Whatever is written inside is gone afterwards."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)
    forget()


def seen_by(archive: Archive, viewer: str) -> View:
    return View(archive.levels(viewer), archive.closed(viewer))


def test_every_address_is_crawled():
    """A page that is not in the table of tests/crawl.py has not been looked at: put it there."""
    missing = set(routes()) - set(ROUTES)
    assert not missing, f"add to ROUTES in tests/crawl.py: {sorted(missing)}"
    assert not set(ROUTES) - set(routes()), "ROUTES lists addresses that are gone"


@pytest.fixture
def town(db) -> Town:
    return settle()


@pytest.mark.parametrize("viewer", TWINS)
def test_the_twin_answers_alike(town, tmp_path, viewer):
    with taken_back():
        archive = build(tmp_path, town)
        view = seen_by(archive, viewer)
        wanted = asks(archive.refs)
        first = crawl(town, viewer, wanted)
    with taken_back():
        twin = build(tmp_path, town, view)
        left = {key: level for key, level in view.levels.items() if level > Level.NOTHING}
        assert twin.levels(viewer) == left, "the plan of the twin gives other levels"
        second = crawl(town, viewer, wanted)
    differing = [ask for ask in wanted if first[ask] != second[ask]]
    assert not differing, "\n\n".join(told(ask, first[ask], second[ask]) for ask in differing[:5])
    nothing_hidden_in(first, view)


@pytest.mark.parametrize("viewer", OTHERS)
def test_no_canary_comes_out(town, tmp_path, viewer):
    with taken_back():
        archive = build(tmp_path, town)
        nothing_hidden_in(crawl(town, viewer, asks(archive.refs)), seen_by(archive, viewer))


def nothing_hidden_in(answers: dict[Ask, Answer], view: View) -> None:
    """No canary in any byte, but for a question that holds it itself and is answered with its own words."""
    words = {word.encode(): key for word, key in canaries(view.levels).items()}
    for ask, answer in answers.items():
        whole = answer.everything().lower()
        found = [
            f"{word.decode()} of {key}" for word, key in words.items()
            if word in whole and word.decode() not in (ask.path + ask.data).lower()
        ]
        assert not found, f"{ask}\n{found}"


def told(ask: Ask, first: Answer, second: Answer) -> str:
    """Where two answers differ, for whoever has to mend it."""
    lines = [str(ask), f"status {first.status} and {second.status}"]
    lines += [f"header {each}" for each in sorted(set(first.headers) ^ set(second.headers))]
    if b"\0" in first.body + second.body:
        return "\n".join([*lines, f"{len(first.body)} and {len(second.body)} bytes"])
    texts = [answer.body.decode("utf-8", "replace").splitlines() for answer in (first, second)]
    lines += list(difflib.unified_diff(*texts, "archive", "twin", lineterm="", n=0))[:30]
    return "\n".join(line[:400] for line in lines)


# --- the crawl is not idle ---


def test_the_plan_hides_something_of_every_kind_by_every_means(town, tmp_path):
    with taken_back():
        levels = build(tmp_path, town).levels("visitor")
    for kind in {thing.kind for thing in PLAN}:
        met = {levels[thing.key] for thing in PLAN if thing.kind == kind}
        assert {Level.NOTHING, Level.DESCRIPTION} <= met, kind
        assert kind == "span" or {Level.NOTICE, Level.OPEN} <= met, kind
    for hiding in ("undecided", "audience", "season", "consent", "tied", "signed"):
        assert levels[next(thing.key for thing in PLAN if thing.hiding == hiding)] == Level.NOTHING, hiding


def test_every_address_answers_somebody(town, tmp_path):
    """An address that only ever says 404 would be crawled in vain."""
    with taken_back():
        archive = build(tmp_path, town)
        wanted = [ask for ask in asks(archive.refs) if ask.method == "GET" and not ask.headers]
        answered: set[str] = set()
        for viewer in ("family", "educator", "archivist", "council", "keeper"):
            asked = [ask for ask in wanted if ask.route not in answered]
            answered |= {ask.route for ask, answer in crawl(town, viewer, asked).items() if answer.status == 200}
    assert set(routes()) - answered <= {"sign_out"}


def test_an_open_archive_shows_its_canaries(town, tmp_path):
    """The family meets what is hidden from the others: then the words do come out, and the search for them works."""
    with taken_back():
        archive = build(tmp_path, town)
        answers = crawl(town, "family", asks(archive.refs))
    whole = b"\n".join(answer.body for answer in answers.values()).lower()
    for key in ("per-audience", "pla-audience", "fig-audience", "top-audience", "mir-audience", "seg-audience"):
        assert any(word.encode() in whole for word in canaries({key: Level.NOTHING}) if key), key


def test_folders_of_two_archives_lie_apart(town, tmp_path: Path):
    with taken_back():
        build(tmp_path, town, EVERYTHING)
    assert sorted(tmp_path.iterdir())
