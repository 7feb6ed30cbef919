"""The demo archive: the invented scenario comes in whole, twice over unharmed, and is met as its council decided."""

from __future__ import annotations

import pytest
from django.core.management import CommandError, call_command

from archive.access import founding, showing
from archive.access.gate import Gate
from archive.management.commands import demo as command
from archive.models import Account, Kind, Level, Recording

pytestmark = pytest.mark.django_db


@pytest.fixture
def prepared(monkeypatch, capsys):
    """`demo --prepare` without the minute it takes to make the sound ready."""
    monkeypatch.setattr(command, "open_sound", lambda: 0)
    call_command("demo", prepare=True, password="sky over senneth")
    return capsys.readouterr().out


def test_it_names_its_people_and_their_password(prepared):
    assert "sky over senneth" in prepared
    for name in command.SIGN_IN:
        assert name in prepared
        assert Account.objects.get(username=name).check_password("sky over senneth")


def test_it_may_be_run_again(prepared):
    before = {kind: Gate().count(kind) for kind in Kind.values}
    call_command("demo", prepare=True)
    assert {kind: Gate().count(kind) for kind in Kind.values} == before


def test_the_council_of_the_island_is_obeyed(prepared):
    visitor, family = Gate(), Gate(Account.objects.get(username="levash"))
    by_title = {row.title: row for row in Recording.ungated.all()}
    assert len(by_title) == 8
    withdrawn = by_title["Ruvek Ruꞌen on the gate and the lamp"]
    waiting = by_title["Maꞌel Tavëlin at the pans"]
    of_the_family = by_title["The last trimmer of the Landing Lamp"]
    assert visitor.level(withdrawn.pk) == family.level(withdrawn.pk) == Level.NOTHING
    assert visitor.level(waiting.pk) == Level.NOTHING
    assert visitor.level(of_the_family.pk) == Level.NOTICE
    assert family.level(of_the_family.pk) == Level.OPEN
    spots = showing.places(visitor, [int(number) for number in visitor.numbers(Kind.PLACE)])
    assert len([one for one in spots if one.at is None]) == 1


def test_it_is_never_mixed_into_another_archive(db, monkeypatch):
    founding.found(name="Our own")
    with pytest.raises(CommandError, match="Our own"):
        call_command("demo", prepare=True)


def test_an_empty_archive_has_its_first_account(db, monkeypatch, capsys):
    monkeypatch.setattr(command, "open_sound", lambda: 0)
    call_command("demo", prepare=True, empty=True, password="a long enough word")
    account = Account.objects.get()
    assert account.check_password("a long enough word")
    assert (account.is_council, account.is_archivist) == (True, True)
    assert Gate().count(Kind.RECORDING) == 0
