"""Which index is searched: files kept by Whoosh, or tables of the database (settings.SEARCH). Both behind one gate.

Either gives a Stock (archive.search.stock): all that is ranked, counted and shown is made from that, for one viewer.
"""

from __future__ import annotations

from types import ModuleType

from django.conf import settings

from . import index, tables
from .index import NotReady, Progress
from .stock import Stock


def chosen() -> ModuleType:
    return tables if settings.SEARCH == "postgres" else index


def current() -> Stock:
    """The index as it stands, with all that is owed paid. Raises NotReady while a large one is being built."""
    found: Stock = chosen().current()
    return found


def forget() -> None:
    """Drop what is kept in this process."""
    chosen().forget()


def found_damaged() -> None:
    """Called where what was read cannot be: the next search mends it."""
    chosen().found_damaged()


def pay() -> None:
    """Index what is owed."""
    chosen().pay()


def rebuild(progress: Progress | None = None) -> int:
    """Build a new index beside the one in use, put it in use when it is whole, and say how many texts it holds."""
    made: int = chosen().rebuild(progress)
    return made


__all__ = ["NotReady", "current", "forget", "found_damaged", "pay", "rebuild"]
