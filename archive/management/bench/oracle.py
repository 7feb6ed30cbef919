"""The gate against a second reading of the rules, over random worlds: `manage.py bench oracle --worlds N`.

All of them by the gate's judgement alone, a part on each processor; then one in fifty through the database, by every
reading.
"""

from __future__ import annotations

import os
from typing import Any

from archive.management.bench import _checked

FED = "tests/test_access_fed.py::test_ten_thousand_worlds"
STORED = "tests/test_access_oracle.py::test_two_thousand_worlds"
STORED_SHARE = 50


def rows(worlds: int = 1_000_000) -> list[dict[str, Any]]:
    count = os.cpu_count() or 1
    parts = [{"UNDERSKY_WORLDS": str(worlds), "UNDERSKY_PART": f"{part}/{count}"} for part in range(1, count + 1)]
    return [
        _checked.run_parts("oracle", FED, worlds, parts),
        *_checked.run("oracle_stored", STORED, -(-worlds // STORED_SHARE), "UNDERSKY_STORED"),
    ]
