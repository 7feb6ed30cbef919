"""The gate against a second reading of the rules, over random worlds: `manage.py bench oracle --worlds N`."""

from __future__ import annotations

from typing import Any

from archive.management.bench import _checked

TEST = "tests/test_access_oracle.py::test_ten_thousand_worlds"


def rows(worlds: int = 1_000_000) -> list[dict[str, Any]]:
    return _checked.run("oracle", TEST, worlds, "UNDERSKY_WORLDS")
