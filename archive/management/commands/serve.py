"""`manage.py serve`: the archive on a real WSGI server, on the loopback address unless told otherwise."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from config.wsgi import application


class Command(BaseCommand):
    help = "Serve the archive (waitress). Put a front server with HTTPS before it for anybody but yourself."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default="127.0.0.1")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--threads", type=int, default=8)
        parser.add_argument("--quiet", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        import waitress

        if not options["quiet"]:
            self.stdout.write(f"http://{options['host']}:{options['port']}/")
        waitress.serve(
            application, host=options["host"], port=options["port"], threads=options["threads"], ident=None
        )
