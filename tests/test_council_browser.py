"""The council's room in a real browser: read by axe-core, on a phone, with the keyboard alone, and on paper."""

from __future__ import annotations

from datetime import date

import pytest
from django.urls import reverse

from archive.access import asking, audiences, decisions, founding, resting, seasonal, writing
from archive.access.gate import Gate
from archive.models import Ask, Audience, Condition, Level

from .browser import DESKTOP, PHONE, fits, reads_well
from .conftest import LONG_AGO, MINUTE, bring, open_up, segment

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
TUFTS = [17702, 17499, 17847]  # Hipparcos numbers (ESA SP-1200, 1997)


@pytest.fixture
def room(cast, tmp_path) -> list[str]:
    """Something of everything that the council's pages can show; the paths of them all."""
    founding.found(language="en", home_name="Home", latitude_deg=46.0, longitude_deg=-38.0)
    by, family = cast["council"], Audience.objects.get(name="family")
    teller = writing.add_person(None, [writing.NameGiven("en", "Somebody who told", True)])
    figure = writing.add_figure(
        None, [writing.NameGiven("en", "The Tufts", True)], shape="group", stars=TUFTS, lines=[]
    )
    waiting = bring(None, tmp_path, "A talk that waits", hz=300, people=[teller.pk])
    shown = bring(None, tmp_path, "A talk that is described", people=[teller.pk])
    part = segment(shown, 0, 2000, "A part of it", speakers=[teller.pk], figures=[figure.pk])
    snow = seasonal.by_switch(by, "Snow is on the ground", "When the upper field is white.")
    tufts = seasonal.by_sky(by, "While the Tufts are seen", figure.pk, "year")
    seasonal.by_dates(by, "Winter", (11, 1), (2, 15))
    open_up(by, teller, figure)
    terms = decisions.Terms([family], season=snow, others_see=Level.DESCRIPTION, review_on=date(2020, 1, 1))
    open_up(by, shown, terms=terms)
    shown.refresh_from_db()
    both = audiences.add(by, "Both", "", "all", [family, Audience.objects.get(name="women")])
    asking.decline(by, asking.ask(Gate(cast["plain"]), part, "To sing it.").ref, "Come and ask at the house.")
    asked = asking.ask(Gate(cast["plain"]), shown, "My mother is heard in it.")
    audiences.wish(by, family, LONG_AGO, None)
    rests = resting.rest(by, MINUTE, resting.Wish(teller.pk, LONG_AGO, None, (("en", "the one who told"),)))
    decisions.state_consent(by, waiting, "limited", "the family", date(2020, 1, 1), "For the school alone.")
    decisions.entrust(by, cast["plain"], waiting, "to hear it through")
    named = {
        "audience": [both.ref], "season": [tufts.ref], "answer_request": [asked.ref],
        "consent": [waiting.ref], "lift_rest": [rests.ref],
    }
    plain = ("council", "audiences", "seasons", "names_at_rest", "rest_name", "council_requests", "ledger", "words",
             "see_as")
    of_things = ("decide", "close_now", "explain", "report", "entrust", "cautions")
    paths = [reverse(name) for name in plain] + [reverse(name, args=args) for name, args in named.items()]
    paths += [reverse(name, args=[kind, one.ref]) for name in of_things
              for kind, one in (("recording", shown), ("segment", part))]
    return [*paths, reverse("audience", args=[family.ref]), reverse("season", args=[snow.ref])]


@pytest.mark.parametrize("on", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_every_page_fits_and_reads_well(visit, cast, room, on):
    page = visit(room[0], cast["council"], on)
    for path in room:
        assert page.goto(path).status == 200, path
        assert fits(page), f"{path} is wider than the window"
        reads_well(page)
    asked = Ask.ungated.get(state="waiting").item
    own = visit(reverse("account"), cast["plain"], on)
    for path in (reverse("account"), reverse("requests"), reverse("ask_recording", args=[asked.ref])):
        assert own.goto(path).status == 200, path
        assert fits(own), f"{path} is wider than the window"
        reads_well(own)


def test_anything_is_closed_by_the_keyboard_alone(visit, cast):
    shown = writing.add_person(None, [writing.NameGiven("en", "To be closed", True)])
    open_up(cast["council"], shown)
    page = visit(reverse("person", args=[shown.ref]), cast["council"])
    tab_to(page, "Close now")
    page.keyboard.press("Enter")
    page.wait_for_url("**/council/close/**")
    tab_to(page, "Yes, close it now")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    held = Condition.ungated.get(target=shown.pk)
    assert (held.others_see, held.audiences.count()) == (Level.NOTHING, 0)


def test_a_whole_decision_by_the_keyboard_alone(visit, cast, tmp_path):
    waiting = bring(None, tmp_path, "A talk that waits")
    page = visit(reverse("council"), cast["council"])
    tab_to(page, "items")
    page.keyboard.press("Space")
    enter(page, "Decide about those marked")
    tab_to(page, "outcome")
    page.keyboard.press("Space")
    meeting = {"decided_on": "03082020", "minute": "2020/5", "present": "all", "reason": "It is asked."}
    for field, typed in meeting.items():
        tab_to(page, field)
        page.keyboard.type(typed)
    enter(page, "See what would change")
    reads_well(page)
    assert Gate(None).level(waiting.pk) == Level.NOTHING
    enter(page, "Yes, this was decided")
    assert Gate(None).level(waiting.pk) == Level.OPEN


def enter(page, words: str) -> None:
    """Press Enter on what says this, and wait for the page that it leads to."""
    tab_to(page, words)
    with page.expect_navigation():
        page.keyboard.press("Enter")


def tab_to(page, words: str) -> None:
    """Press Tab until what has the focus says this, or is the field of this name, and can be seen to have it."""
    for _ in range(150):
        page.keyboard.press("Tab")
        said = page.evaluate("document.activeElement.innerText || document.activeElement.name || ''")
        if said.strip().startswith(words):
            ring = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
            assert ring != "none", f"nothing shows that “{words}” has the focus"
            return
    raise AssertionError(f"“{words}” is not reached by the Tab key")


def test_the_report_and_the_seasons_print_without_what_is_pressed(visit, cast, room):
    page = visit(room[0], cast["council"])
    page.emulate_media(media="print")
    for path in (one for one in room if "/ledger/" in one or "/seasons/" in one):
        page.goto(path)
        pressed = page.locator("button:visible, nav:visible input")
        assert pressed.count() == 0, f"{path}: {pressed.all_inner_texts()}"
        assert page.locator("h1:visible").count() == 1, path
    page.emulate_media(media="screen")
    page.goto(next(path for path in room if "/ledger/recording/" in path))
    assert page.get_by_text("Back to the ledger").is_visible()
