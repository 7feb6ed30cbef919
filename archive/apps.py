"""The one Django app: what is kept, the gate before it, and the pages in front."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class ArchiveConfig(AppConfig):
    name = "archive"
    verbose_name = "Undersky"

    def ready(self) -> None:
        from .access import triggers
        from .search import upkeep

        post_migrate.connect(triggers.install_after_migrate, sender=self)
        upkeep.listen()
