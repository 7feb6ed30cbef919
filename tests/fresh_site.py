"""A small site for several worker processes: `python -m tests.fresh_site make`, `… serve PORT OFFSET_S`.

Each process is told by how many seconds its clock is ahead, so that a midnight can be made to come soon.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

import django

django.setup()

from django.conf import settings  # noqa: E402 (only once Django is set up)
from django.core.management import call_command  # noqa: E402 (only once Django is set up)
from django.utils import timezone  # noqa: E402 (only once Django is set up)


def make() -> None:
    from archive.access import bringing, decisions, founding
    from archive.models import Audience

    from .conftest import MINUTE, bring, make_cast, segment

    call_command("migrate", verbosity=0)
    founding.found(language="en", time_zone="UTC")
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.PBKDF2PasswordHasher"]
    cast = make_cast()
    text = b"WEBVTT\n\n00:00.000 --> 00:01.000\nheronword is said here\n"
    with tempfile.TemporaryDirectory() as folder:
        recording = bring(None, Path(folder), "Heronword", transcripts=[bringing.TranscriptGiven(text, "a.vtt", "en")])
        seasonal = bring(None, Path(folder), "Winterword", hz=300)
    part = segment(recording, 0, 2000, "A heronword part")
    today = timezone.now()
    season = founding.season("Now", (1, 1), (today.month, today.day))
    decisions.decide(cast["council"], MINUTE, decisions.Act([recording.pk], None))
    terms = decisions.Terms([Audience.objects.get(builtin="everyone")], season=season)
    decisions.decide(cast["council"], MINUTE, decisions.Act([seasonal.pk], terms))
    call_command("reindex", verbosity=0)
    print(json.dumps({"recording": recording.ref, "segment": part.ref, "seasonal": seasonal.ref}))


def close(ref: str) -> None:
    """Decide, in this process: closed to all. It is committed when this returns."""
    from archive.access import closing
    from archive.models import Account, Item

    closing.close_now(Account.objects.get(username="council"), Item.ungated.get(ref=ref).pk)


def sign_in(name: str) -> None:
    """Print a session that belongs to this account."""
    from django.test import Client

    from archive.models import Account

    client = Client()
    client.force_login(Account.objects.get(username=name))
    print(client.cookies["sessionid"].value)


def serve(port: int, offset_s: float) -> None:
    from waitress import serve as waitress_serve

    from config.wsgi import application

    timezone.now = lambda: datetime.now(UTC) + timedelta(seconds=offset_s)
    settings.SOUND_AT_ONCE = True
    waitress_serve(application, listen=f"127.0.0.1:{port}", threads=2, _quiet=True)


if __name__ == "__main__":
    verb, *given = sys.argv[1:]
    if verb == "make":
        make()
    elif verb == "close":
        close(given[0])
    elif verb == "sign_in":
        sign_in(given[0])
    else:
        serve(int(given[0]), float(given[1]))
