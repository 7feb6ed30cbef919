"""The browser that the tests drive sees what it is there to see; and the pages that everybody meets first read well."""

from __future__ import annotations

import asyncio

import pytest
from django.urls import reverse

from archive.models import Account

from .browser import DESKTOP, PHONE, fits, reads_well

pytestmark = [
    pytest.mark.browser, pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("house"),
]


@pytest.mark.parametrize("on", [PHONE, DESKTOP], ids=["phone", "desktop"])
@pytest.mark.parametrize("name", ["home", "sign_in", "find", "recordings", "figures"])
def test_first_pages_read_well_and_fit(visit, on, name):
    page = visit(reverse(name), on=on)
    reads_well(page)
    assert fits(page)


def test_a_visitor_is_who_the_test_says(visit, cast):
    assert "archivist" in visit(reverse("account"), cast["archivist"]).inner_text("main")
    assert reverse("sign_in") in visit(reverse("account")).url
    assert Account.objects.filter(username="archivist").exists()  # the database answers while a page is open


@pytest.mark.parametrize(("script", "words"), [
    ("fetch('https://elsewhere.invalid/').catch(() => 0)", "https://elsewhere.invalid/"),
    ("location = 'http://elsewhere.invalid/'", "asked another host: http://elsewhere.invalid/"),
    ("console.error('a planted fault')", "a planted fault"),
    ("setTimeout(() => { throw new Error('thrown'); })", "thrown"),
    ("fetch('/no-such-page/')", "404"),
])
def test_what_no_page_may_do_is_seen(visit, script, words):
    page = visit(reverse("home"))
    page.evaluate(f"() => {{ {script} }}")
    page.wait_for_timeout(300)
    seen = list(visit.wrong)
    visit.wrong.clear()
    assert any(words in line for line in seen), seen


def test_a_fault_that_a_reader_would_meet_is_seen(visit):
    page = visit(reverse("home"))
    page.evaluate("document.querySelector('main').append(document.createElement('button'))")
    with pytest.raises(AssertionError, match="button-name"):
        reads_well(page)


def test_later_tests_have_no_loop_running(chromium):
    assert asyncio.run(asyncio.sleep(0, "ran")) == "ran"
