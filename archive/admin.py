"""The system's own pages: accounts and their roles, and nothing that the archive holds."""

from __future__ import annotations

from typing import Any

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from .models import Account


class SystemSite(admin.AdminSite):
    """A site of our own, so that no installed package adds its tables to it."""

    site_header = _("Accounts and roles")
    site_title = _("System")
    index_title = _("Nothing of the archive is here")


system = SystemSite(name="admin")


@admin.register(Account, site=system)
class AccountAdmin(UserAdmin):  # type: ignore[type-arg]
    """Accounts are switched off, not deleted: the ledger and decisions name them."""

    list_display = ("username", "display_name", "is_archivist", "is_council", "is_educator", "is_keeper", "is_active")
    list_filter = ("is_archivist", "is_council", "is_educator", "is_keeper", "is_active")
    search_fields = ("username", "display_name")
    fieldsets = (
        (None, {"fields": ("username", "password")}),
        (_("Who it is"), {"fields": ("display_name", "email")}),
        (
            _("What they may do (what they may hear is the council's to say)"),
            {"fields": ("is_archivist", "is_council", "is_educator", "is_keeper")},
        ),
        (_("The system"), {"fields": ("is_active", "is_staff", "is_superuser")}),
    )
    filter_horizontal = ()

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False
