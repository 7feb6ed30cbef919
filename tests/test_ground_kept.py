"""What was read of the ground serves again only where nothing that decides over it has changed.

Kept are committed reads alone, so these tests commit.
"""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import transaction
from django.utils import timezone, translation

from archive.access import decisions, ground, policy, resting, showing, writing
from archive.access.gate import AudienceGate, Gate
from archive.access.ground import Ground, Wanted
from archive.models import Audience, Name

from .conftest import LONG_AGO, MINUTE, make_cast, open_up

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def people():
    return make_cast()


@pytest.fixture
def cove(people):
    names = [writing.NameGiven("en", "Cove", True)]
    made = writing.add_place(None, names, latitude_deg=46.012345, longitude_deg=-38.023456, nature="cove")
    open_up(people["council"], made)
    return made


def met(gate: Gate) -> list[tuple[str, bool]]:
    """The names of the places on the map, and whether the spot is told."""
    return [(one.place.label.text, one.place.at is not None) for one in Ground(gate).counted(Wanted())]


def reads(monkeypatch) -> list[int]:
    found: list[int] = []
    own = showing.places
    monkeypatch.setattr(showing, "places", lambda gate, numbers: found.append(1) or own(gate, numbers))
    return found


def test_a_map_is_read_once_for_its_three_questions(cove, monkeypatch):
    found = reads(monkeypatch)
    assert [met(Gate()) for _ in range(3)] == [[("Cove", True)]] * 3
    assert len(found) == 1


def test_a_decision_is_in_force_at_the_next_question(people, cove):
    assert met(Gate()) == [("Cove", True)]
    terms = decisions.Terms([Audience.objects.get(name="family")], others_see=2)
    open_up(people["council"], cove, terms=terms)
    assert (met(Gate()), met(Gate(people["family"]))) == ([("Cove", False)], [("Cove", True)])
    assert (met(Gate()), met(Gate(people["plain"]))) == ([("Cove", False)], [("Cove", False)])


def test_a_condition_that_ends_by_time_alone_needs_no_write(people, cove):
    soon = timezone.now() + timedelta(days=2)
    open_up(people["council"], cove, terms=decisions.Terms([], others_see=0, ends_at=soon))
    assert met(Gate()) == []
    assert met(Gate(None, soon + timedelta(seconds=1))) == [("Cove", True)]
    assert met(Gate()) == []


def test_a_new_name_is_said_at_once(cove):
    assert met(Gate()) == [("Cove", True)]
    name = Name.ungated.get(item=cove)
    name.text = "Bay"
    name.save()
    assert met(Gate()) == [("Bay", True)]


def test_a_name_put_to_rest_is_replaced_and_comes_back_by_time_alone(people, cove):
    who = writing.add_person(None, [writing.NameGiven("en", "Cove", True)])
    assert met(Gate()) == [("Cove", True)]
    end = timezone.now() + timedelta(days=2)
    resting.rest(people["council"], MINUTE, resting.Wish(who.pk, LONG_AGO, end, (("en", "one of ours"),)))
    assert met(Gate()) == [("one of ours", True)]
    assert met(Gate(None, end + timedelta(seconds=1))) == [("Cove", True)]


def test_each_language_has_its_own(cove, monkeypatch):
    found = reads(monkeypatch)
    for language in ("en", "de", "en"):
        with translation.override(language):
            Ground(Gate())
    assert len(found) == 2


def test_looking_as_an_audience_is_read_for_itself(people, cove, monkeypatch):
    Ground(Gate())
    found, kept = reads(monkeypatch), list(ground._kept)
    Ground(AudienceGate(Audience.objects.get(name="family"), people["council"]))
    assert len(found) == 1
    assert ground._kept == kept


def test_nothing_is_kept_of_what_may_be_taken_back(cove):
    policy.forget()
    ground._kept.clear()
    with transaction.atomic():
        assert met(Gate()) == [("Cove", True)]
    assert ground._kept == []
