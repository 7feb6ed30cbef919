"""Accounts: who signs in, and what they may do. What they may hear is never said here."""

from __future__ import annotations

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.utils.translation import gettext_lazy as _

from .items import new_ref


class Account(AbstractUser):
    """A person who signs in. The four roles say what they may *do*; audiences say what they may *meet*."""

    ref = models.CharField(max_length=16, unique=True, default=new_ref, editable=False)
    display_name = models.CharField(_("name shown"), max_length=120, blank=True)
    is_archivist = models.BooleanField(_("archivist"), default=False)
    is_council = models.BooleanField(_("council member"), default=False)
    is_educator = models.BooleanField(_("educator"), default=False)
    is_keeper = models.BooleanField(_("keeper of the system"), default=False)

    def __str__(self) -> str:
        return self.display_name or self.username
