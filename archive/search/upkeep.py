"""The index kept up after every committed change."""

from __future__ import annotations

import logging

from ..access import writing

log = logging.getLogger(__name__)


def listen() -> None:
    """Have changes indexed as soon as they are committed (called once, when the app starts)."""
    writing.after_commit(_pay)


def _pay(numbers: list[int]) -> None:
    """The change stands whatever happens here: what cannot be indexed now stays owed until the next search."""
    from . import engine

    try:
        engine.pay()
    except Exception as error:
        log.warning("the search index is behind and will catch up at the next search (%s)", repr(error))
