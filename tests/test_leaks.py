"""Nothing of what a viewer does not meet comes out of any address: the archive and its twin answer alike.

Method: access decided as non-interference (Goguen and Meseguer, "Security policies and security models", 1982): a
viewer's answers equal those of an archive from which everything hidden from that viewer is gone.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.db import transaction
from django.test import override_settings

from archive.models import Level

from .crawl import ROUTES, Answer, Ask, asks, crawl, crawl_open_doors, routes
from .twin import PLAN, canaries, canaries_in
from .twin_making import build, forget
from .twin_town import Archive, Town, View, settle

pytestmark = pytest.mark.django_db

VIEWERS = ("visitor", "family", "archivist", "council")
QUICK = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@contextmanager
def taken_back() -> Iterator[None]:
    """Whatever is written inside is gone afterwards."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)
    forget()


@dataclass(frozen=True)
class Crawls:
    """The archive with everything in it, as each viewer met it."""

    wanted: list[Ask]
    views: dict[str, View]
    answers: dict[str, dict[Ask, Answer]]


@pytest.fixture(scope="module")
def crawls(django_db_setup, django_db_blocker, tmp_path_factory) -> Crawls:
    """Made once: crawling is what takes time."""
    home = tmp_path_factory.mktemp("crawls")
    ours = override_settings(HOME=home, SOUND_AT_ONCE=True, PASSWORD_HASHERS=QUICK)
    with django_db_blocker.unblock(), ours, taken_back():
        town = settle()
        archive = build(home, town)
        wanted = asks(archive.refs)
        views = {viewer: archive.view(viewer) for viewer in VIEWERS}
        return Crawls(wanted, views, {viewer: prepared_crawl(archive, viewer, wanted) for viewer in VIEWERS})


def prepared_crawl(archive: Archive, viewer: str, wanted: list[Ask]) -> dict[Ask, Answer]:
    archive.prepare(viewer)
    return crawl_open_doors(archive.town, viewer, wanted)


def test_every_address_is_crawled():
    """A page that is not in the table of tests/crawl.py has not been looked at: put it there."""
    missing = set(routes()) - set(ROUTES)
    assert not missing, f"add to ROUTES in tests/crawl.py: {sorted(missing)}"
    assert not set(ROUTES) - set(routes()), "ROUTES lists addresses that are gone"


@pytest.mark.parametrize("viewer", VIEWERS)
def test_the_twin_answers_alike(crawls, tmp_path, viewer):
    view, first = crawls.views[viewer], crawls.answers[viewer]
    town = settle()
    with taken_back():
        twin = build(tmp_path, town, view)
        left = {key: level for key, level in view.levels.items() if level > Level.NOTHING}
        assert twin.levels(viewer) == left, "the plan of the twin gives other levels"
        twin.prepare(viewer)
        second = crawl(town, viewer, list(first))
    differing = [ask for ask in first if first[ask] != second[ask]]
    assert not differing, f"{len(differing)} differ\n\n" + "\n\n".join(
        told(ask, first[ask], second[ask]) for ask in one_of_each_route(differing)
    )


def one_of_each_route(found: list[Ask]) -> list[Ask]:
    return list({ask.route: ask for ask in reversed(found)}.values())


@pytest.mark.parametrize("viewer", VIEWERS)
def test_no_canary_comes_out(crawls, viewer):
    """No canary in any byte, but for a question that holds it itself and is answered with its own words."""
    held_back = canaries(crawls.views[viewer].levels)
    for ask, answer in crawls.answers[viewer].items():
        typed = (ask.path + ask.data).lower()
        found = {word: held_back[word] for word in canaries_in(answer.everything()) if word in held_back}
        assert not {word: key for word, key in found.items() if word not in typed}, ask


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


def test_the_plan_hides_something_of_every_kind_by_every_means(crawls):
    levels = crawls.views["visitor"].levels
    for kind in {thing.kind for thing in PLAN.things}:
        met = {levels[thing.key] for thing in PLAN.things if thing.kind == kind}
        assert {Level.NOTHING, Level.DESCRIPTION} <= met, kind
        assert kind == "span" or {Level.NOTICE, Level.OPEN} <= met, kind
    for hiding in ("undecided", "audience", "season", "consent", "tied", "signed"):
        assert levels[next(thing.key for thing in PLAN.things if thing.hiding == hiding)] == Level.NOTHING, hiding


def test_every_address_answers_somebody(crawls):
    """An address that only ever says 404 would be crawled in vain."""
    answered = {
        ask.route for answers in crawls.answers.values() for ask, answer in answers.items() if answer.status == 200
    }
    silent = set(routes()) - answered
    assert silent <= NEED_MORE, f"never answered: {sorted(silent - NEED_MORE)}"


# Answered by 200 only after something else was done, or by another address; their own tests cover them.
NEED_MORE = {
    "sign_out", "leave_seeing", "end_member", "answer_wish", "consent_paper", "season", "switch_season",
    "answer_request", "take_back_request", "decide_many", "edit", "lift_rest", "begin_upload", "upload",
    "drop_upload", "restore_version", "map_tile", "keep_search", "kept_seen", "drop_kept",
    "star_tapped",
}


def test_an_open_archive_shows_its_canaries(crawls):
    """The family meets what is hidden from the others: then the words do come out, and the search for them works."""
    found = {word for answer in crawls.answers["family"].values() for word in canaries_in(answer.body)}
    for kind in ("per", "pla", "fig", "top", "mir", "seg"):
        assert found & set(canaries({f"{kind}-audience": Level.NOTHING})), kind


def test_a_server_error_is_nobodys_answer(crawls):
    failed = [
        (viewer, ask) for viewer, answers in crawls.answers.items() for ask, answer in answers.items()
        if answer.status >= 500
    ]
    assert not failed


def test_the_keepers_own_pages_tell_of_accounts_alone(tmp_path: Path, client):
    """The framework's pages for accounts and system tables: whoever may use them all meets nothing by it."""
    town: Town = settle()
    keeper = town.cast["keeper"]
    keeper.is_superuser = True
    keeper.save()
    with taken_back():
        archive = build(tmp_path, town)
        held_back = canaries(archive.levels("keeper"))
        client.force_login(keeper)
        ahead, seen = ["/system/"], set()
        while ahead:
            path = ahead.pop()
            seen.add(path)
            body = client.get(path).content
            assert not canaries_in(body) & set(held_back), path
            links = set(re.findall(r'href="(/system/[^"?#]*)"', body.decode()))
            ahead += sorted(link for link in links if link not in seen and "logout" not in link and link not in ahead)
    assert len(seen) > 4
