"""Signing in and out, and a person's own page."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from archive.access import decisions
from archive.models import Audience

from .conftest import bring, open_up, without_token

pytestmark = pytest.mark.django_db

WORD = "a long enough word"


def sign_in(client, name: str, word: str = WORD, **more):
    return client.post(reverse("sign_in"), {"username": name, "password": word, **more})


def test_signing_in_leads_home_or_on(cast, client):
    assert sign_in(client, "plain").headers["Location"] == reverse("home")
    assert sign_in(client, "plain", next="/recordings/").headers["Location"] == "/recordings/"


def test_signing_in_never_leads_to_another_site(cast, client):
    assert sign_in(client, "plain", next="https://elsewhere.example/").headers["Location"] == reverse("home")


def test_a_wrong_word_a_wrong_name_and_a_switched_off_account_read_the_same(cast, client):
    cast["family"].is_active = False
    cast["family"].save()
    pages = {
        without_token(sign_in(client, name, word).content).replace(name.encode(), b"NAME")
        for name, word in (("plain", "not the word"), ("nobody", WORD), ("family", WORD))
    }
    assert len(pages) == 1
    assert b"do not go together" in pages.pop()


def test_what_was_typed_as_name_is_kept_and_the_password_is_not(cast, client):
    page = sign_in(client, "plain", "not the word").content.decode()
    assert 'value="plain"' in page
    assert "not the word" not in page


def test_signing_out_takes_a_post(cast, client):
    client.force_login(cast["plain"])
    assert client.get(reverse("sign_out")).status_code == 405
    assert client.post(reverse("sign_out")).headers["Location"] == reverse("home")
    assert client.get(reverse("account")).status_code == 302


def test_the_own_page_asks_to_sign_in(db, client):
    answer = client.get(reverse("account"))
    assert answer.headers["Location"] == f"{reverse('sign_in')}?next={reverse('account')}"


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("archivist", "You bring recordings in"),
        ("council", "decide who may meet what"),
        ("educator", "into lessons"),
        ("keeper", "That opens nothing to you by itself"),
        ("plain", "You have no other task here"),
    ],
)
def test_the_own_page_says_what_each_role_may_do(cast, client, name, words):
    client.force_login(cast[name])
    page = client.get(reverse("account")).content.decode()
    assert words in page


def test_the_own_page_lists_own_audiences_with_their_dates_and_nobody_elses(cast, client):
    women = Audience.objects.get(name="women")
    now = timezone.now()
    decisions.join(cast["council"], women, cast["plain"], now - timedelta(days=9), now - timedelta(days=2))
    client.force_login(cast["plain"])
    page = client.get(reverse("account")).content.decode()
    assert "women" in page
    assert "ended" in page
    assert ">family<" not in page
    client.force_login(cast["family"])
    page = client.get(reverse("account")).content.decode()
    assert "from 1 January 2000, with no end set" in page
    assert ">women<" not in page


def test_the_own_page_lists_an_audience_that_is_made_of_own_ones(cast, client):
    both = Audience.objects.create(name="kin of any house", combining="any")
    both.parts.set(Audience.objects.filter(name__in=["family", "women"]))
    client.force_login(cast["family"])
    assert "by the other audiences you belong to" in client.get(reverse("account")).content.decode()
    client.force_login(cast["plain"])
    assert "kin of any house" not in client.get(reverse("account")).content.decode()


def test_the_own_page_lists_what_one_is_entrusted_with(cast, client, tmp_path):
    recording = bring(None, tmp_path, "A talk by the water")
    decisions.entrust(cast["council"], cast["plain"], recording, "her own voice")
    client.force_login(cast["plain"])
    page = client.get(reverse("account")).content.decode()
    assert "A talk by the water" in page
    assert "her own voice" in page
    client.force_login(cast["educator"])
    assert "A talk by the water" not in client.get(reverse("account")).content.decode()


def test_what_consent_has_closed_is_missing_from_the_own_page(cast, client, tmp_path):
    recording = bring(None, tmp_path, "A talk by the water")
    open_up(cast["council"], recording)
    decisions.entrust(cast["council"], cast["plain"], recording)
    decisions.state_consent(None, recording, "withdrawn", "the speaker", timezone.localdate())
    client.force_login(cast["plain"])
    assert "A talk by the water" not in client.get(reverse("account")).content.decode()


def test_a_password_is_changed_and_the_person_stays_signed_in(cast, client):
    client.force_login(cast["plain"])
    new = "another long enough word"
    given = {"old_password": WORD, "new_password1": new, "new_password2": new}
    answer = client.post(reverse("change_password"), given, follow=True)
    assert b"Your password is changed" in answer.content
    client.logout()
    assert sign_in(client, "plain", new).status_code == 302


def test_a_bad_new_password_says_so_at_its_field(cast, client):
    client.force_login(cast["plain"])
    given = {"old_password": "not the word", "new_password1": "short", "new_password2": "short"}
    answer = client.post(reverse("change_password"), given)
    assert answer.status_code == 200
    page = answer.content.decode()
    assert "Nothing was saved" in page
    assert 'id="id_old_password_error"' in page
    assert sign_in(client, "plain").status_code == 302
