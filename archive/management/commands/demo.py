"""`manage.py demo`: the whole archive running with the invented island's recordings, or empty for your own."""

from __future__ import annotations

import secrets
import socket
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _

from archive.access import founding
from archive.access.preparing import open_sound
from archive.exchange import demo
from archive.models import Account

SIGN_IN = ("tole", "hisul", "ishelu", "navor", "levash", "maqel", "guest")


class Command(BaseCommand):
    help = (
        "Open the demo archive on this machine: migrate, bring in the invented recordings, index, serve on the "
        "loopback address. Run it again as often as you like; what is there stays. With --empty, an archive with "
        "nothing in it and its first account."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--prepare", action="store_true", help="do everything but serve")
        parser.add_argument("--password", help="the demo people's password (else one is made and kept)")
        parser.add_argument("--empty", action="store_true", help="no demo data; makes the first account")
        parser.add_argument("--port", type=int, default=8000, help="first port to try (default 8000)")

    def handle(self, *args: Any, **options: Any) -> None:
        call_command("migrate", verbosity=0, interactive=False)
        if options["empty"]:
            people = self._empty(options["password"])
        else:
            people = self._demo(options["password"])
        call_command("reindex", verbosity=0)
        self._say(_("Sound is being made ready …"))
        self._say(_("%d files stand ready.") % open_sound())
        if not options["prepare"]:
            self._serve(options["port"], people)
        else:
            self._say("\n".join(people))

    def _say(self, words: str) -> None:
        self.stdout.write(words)
        self.stdout.flush()

    def _demo(self, password: str | None) -> list[str]:
        house = founding.house()
        if house is not None and not house.is_invented:
            raise CommandError(
                _("This archive (%(home)s) is “%(name)s” and not the demo. The demo is never mixed into it: set "
                  "UNDERSKY_HOME to another folder, or run `manage.py serve`.")
                % {"home": settings.HOME, "name": house.name}
            )
        secret = _kept_password(password)
        if house is None:
            self._say(_("Bringing in the invented island's recordings:"))
            demo.load(secret, self._say)
        elif password:
            for account in Account.objects.filter(username__in=SIGN_IN):
                account.set_password(secret)
                account.save(update_fields=["password"])
        return self._who(secret)

    def _who(self, secret: str) -> list[str]:
        roles = {one["username"]: one["about"] for one in demo.read("people")["accounts"]}
        lines = [_("Sign in as one of these invented people, password  %s") % secret]
        return lines + [f"  {name:<10} {roles[name]}" for name in SIGN_IN]

    def _empty(self, password: str | None) -> list[str]:
        house = founding.house()
        if house is not None:
            return [_("“%s” is there already; nothing was changed.") % house.name]
        secret = password or secrets.token_urlsafe(9)
        founding.found(name="Undersky")
        Account.objects.create_superuser(
            username="first", password=secret, is_archivist=True, is_council=True, is_keeper=True
        )
        return [
            _("An empty archive. Sign in as  first  with the password  %s") % secret,
            _("and change it on your account page."),
            _("Make further accounts under /system/. Roles say what people may do; audiences what they may meet."),
        ]

    def _serve(self, port: int, people: list[str]) -> None:
        free = _free_port(port)
        self._say("\n".join(["", *people, "", _("Open  http://127.0.0.1:%d/  (Ctrl-C stops it)") % free]))
        call_command("serve", port=free, quiet=True)


def _kept_password(given: str | None) -> str:
    """The password given, or the one made at the first run and kept in the archive's folder."""
    path = Path(settings.HOME) / "demo_password"
    if given is None and path.is_file():
        return path.read_text(encoding="utf-8")
    secret = given or secrets.token_urlsafe(9)
    path.touch(mode=0o600)
    path.write_text(secret, encoding="utf-8")
    return secret


def _free_port(first: int) -> int:
    for port in range(first, first + 50):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port
    raise CommandError(_("No free port from %(first)d on. Name one with --port.") % {"first": first})
