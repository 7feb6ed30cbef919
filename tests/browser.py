"""A real Chromium for tests: one for the whole run, and a new visitor with nothing kept for each page that is opened.

    def test_…(visit, cast):
        page = visit(reverse("home"), cast["family"], on=PHONE)     # a playwright Page, on that address
        press(page, "text=Find")
        reads_well(page)                                            # axe, WCAG 2.2 A and AA

When the test ends, it fails if any page that `visit` opened asked another host for anything, threw, or wrote an error
to its console. Answers of 4xx and 5xx that a test means to get are named before: `visit.expects(503)`.
"""

from __future__ import annotations

import asyncio
import re
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.test import Client

from archive.models import Account

CHROMIUM = shutil.which("chromium")
ARGUMENTS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--mute-audio",
)
PHONE = {"viewport": {"width": 360, "height": 780}, "has_touch": True, "is_mobile": True}
DESKTOP = {"viewport": {"width": 1280, "height": 900}}
PATIENCE_MS, STEP_MS = 15_000, 50

# Success criteria of levels A and AA in every version up to 2.2: axe-core's names of rule sets (API.md of axe-core).
WCAG = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa")
FAILED_ANSWER = re.compile(r"Failed to load resource: the server responded with a status of (\d+)")


class Visits:
    """Opens pages of the running site, and remembers what they did that no page of ours may do."""

    def __init__(self, browser: Any, site: str) -> None:
        self.browser, self.site = browser, site
        self.contexts: list[Any] = []
        self.wrong: list[str] = []
        self.expected: set[int] = set()

    def __call__(self, path: str = "/", account: Account | None = None, on: dict[str, Any] = DESKTOP) -> Any:
        """A page on this path, for this account, in a browser that has kept nothing."""
        page = self.context(account, on).new_page()
        page.goto(path)
        return page

    def context(self, account: Account | None = None, on: dict[str, Any] = DESKTOP) -> Any:
        """A visitor's browser, signed in: several pages of it share what it keeps."""
        made = self.browser.new_context(base_url=self.site, accept_downloads=True, **on)
        made.set_default_timeout(PATIENCE_MS)
        made.on("request", self._asked)
        made.on("console", self._said)
        made.on("weberror", lambda error: self.wrong.append(f"threw: {error.error}"))
        if account is not None:
            client = Client()
            client.force_login(account)
            made.add_cookies([{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": self.site}])
        self.contexts.append(made)
        return made

    def expects(self, *statuses: int) -> None:
        """These answers are part of what is tested: the browser's word about them is no fault."""
        self.expected.update(statuses)

    def _asked(self, request: Any) -> None:
        parts = urlsplit(request.url)
        if parts.scheme not in {"data", "blob", "about"} and parts.netloc != urlsplit(self.site).netloc:
            self.wrong.append(f"asked another host: {request.url}")

    def _said(self, message: Any) -> None:
        if message.type != "error":
            return
        answer = FAILED_ANSWER.match(message.text)
        if not (answer and int(answer[1]) in self.expected):
            self.wrong.append(f"wrote to the console: {message.text} ({message.location.get('url')})")

    def close(self) -> None:
        for context in self.contexts:
            context.close()


@contextmanager
def loop_shown(loop: asyncio.AbstractEventLoop) -> Iterator[None]:
    """The browser's event loop counts as running only in here.

    Playwright leaves it marked as running in this thread, which would refuse `asyncio.run` and every database call
    to all tests that come after the first that used a browser.
    """
    asyncio._set_running_loop(loop)
    try:
        yield
    finally:
        asyncio._set_running_loop(None)


@pytest.fixture(scope="session")
def chromium() -> Iterator[tuple[Any, asyncio.AbstractEventLoop]]:
    """The one Chromium of this run, and the event loop that it is driven by."""
    if CHROMIUM is None:
        pytest.skip("Chromium is not installed")
    play = pytest.importorskip("playwright.sync_api").sync_playwright().start()
    loop = asyncio.get_running_loop()
    with loop_shown(loop):
        browser = play.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))
    yield browser, loop
    with loop_shown(loop):
        browser.close()
        play.stop()


@pytest.fixture
def visit(chromium, live_server, monkeypatch) -> Iterator[Visits]:
    """Opens pages of the running site: see the top of this file."""
    browser, loop = chromium
    # The database has a connection a thread, and no loop of ours waits on it.
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "yes")
    with loop_shown(loop):
        visits = Visits(browser, live_server.url)
        yield visits
        visits.close()
    assert not visits.wrong, "\n".join(visits.wrong)


def until(page: Any, is_so: str, given: Any = None) -> None:
    """Wait until this JavaScript expression is true; in it, `given` is what was given.

    A bare expression would be evaluated as a string again and again, which our pages' policy forbids.
    """
    page.wait_for_function(f"(given) => {is_so}", arg=given)


def till(page: Any, is_so: Callable[[], Any]) -> None:
    """Wait until this is true here, as what the page did comes in by its events."""
    for _again in range(PATIENCE_MS // STEP_MS):
        if is_so():
            return
        page.wait_for_timeout(STEP_MS)
    raise AssertionError("what was waited for did not come in")


def press(page: Any, what: str) -> None:
    """Click, as a person would, what stands in the middle of the window and no longer moves.

    Left to itself the browser scrolls no further than it must, and may leave the thing under a line that sticks.
    """
    place = page.locator(what)
    place.evaluate("(element) => element.scrollIntoView({ block: 'center', behavior: 'instant' })")
    place.click()


def fits(page: Any) -> bool:
    """Whether nothing on the page is wider than the window."""
    return page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


def reads_well(page: Any, but: tuple[str, ...] = ()) -> None:
    """Fail with a list of what axe-core finds wrong by WCAG 2.2, levels A and AA; `but`: rules to leave out."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    rules = {rule: {"enabled": False} for rule in but}
    options = {"runOnly": {"type": "tag", "values": list(WCAG)}, "rules": rules, "resultTypes": ["violations"]}
    found = axe.run(page, options=options)
    assert found.violations_count == 0, found.generate_report()
