"""The system's pages: accounts alone, for superusers alone."""

from __future__ import annotations

import pytest

from archive.admin import system
from archive.models import Account

pytestmark = pytest.mark.django_db


def test_nothing_of_the_archive_is_there():
    assert set(system._registry) == {Account}


def test_only_superusers_come_in(client, cast):
    for account in cast.values():
        client.force_login(account)
        assert client.get("/system/").status_code == 302


def test_a_superuser_gives_roles_and_deletes_nobody(client, cast):
    Account.objects.create_superuser(username="root", password="a long enough word")
    client.force_login(Account.objects.get(username="root"))
    page = client.get(f"/system/archive/account/{cast['plain'].pk}/change/")
    assert page.status_code == 200
    assert "is_archivist" in page.content.decode()
    assert client.get(f"/system/archive/account/{cast['plain'].pk}/delete/").status_code == 403
