"""What every page's template knows."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

from ..access import showing


def house(request: HttpRequest) -> dict[str, Any]:
    held = showing.house()
    return {"archive_name": held.name, "home_place": held.home_name, "is_invented": held.is_invented}
