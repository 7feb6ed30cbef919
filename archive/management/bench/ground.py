"""A mirror of nine pairs: its page, every one of its pairings, and its fit in 201 years.

The page is measured with nothing of the fit kept from before, as the first to open it finds it. In a process and a
database of their own.
"""

from __future__ import annotations

import json
import statistics
import time
from collections.abc import Callable
from typing import Any

from archive.management.bench import _apart

ROUNDS = 9
PAIRS = 9


def rows() -> list[dict[str, Any]]:
    return _apart.rows_of("ground", 400)


def measure(segments: int) -> None:
    _apart.world(segments=segments, words=2000, conditions=20)
    print(json.dumps(_measured()))


def _median_ms(act: Callable[[], Any]) -> float:
    act()
    times = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        act()
        times.append((time.perf_counter() - began) * 1000)
    return statistics.median(times)


def _measured() -> list[dict[str, Any]]:
    from archive.sky import chance_of_pairing, lay_mirror, through_years

    spots, hips = _pairs()
    latitudes, longitudes = zip(*spots, strict=True)
    laid = lay_mirror(latitudes, longitudes, hips)
    page = _page(spots, hips)
    return [
        _row("mirror_page", _median_ms(page), 100.0, "opened for the first time"),
        _row("permutation_9", _median_ms(lambda: chance_of_pairing(laid.stars_deg, laid.places_km)), 2000.0,
             "362,880 pairings, both ways round"),
        _row("epochs_201", _median_ms(lambda: through_years(latitudes, longitudes, hips, False)), 300.0,
             "-10000 to 10000 by centuries"),
    ]


def _pairs() -> tuple[list[tuple[float, float]], list[int]]:
    """Nine stars near one another, and nine places that lie nearly so."""
    import numpy as np

    from archive.sky import load_catalogue, stars_on_chart

    stars = load_catalogue()
    rows = stars.brighter(4.5)
    near = rows[np.argsort(-(stars.position[rows] @ stars.position[rows[10]]), kind="stable")[:PAIRS]]
    hips = [int(hip) for hip in stars.hip[near]]
    off = stars_on_chart(hips) / 100 + np.random.default_rng(1).normal(scale=0.005, size=(PAIRS, 2))
    return [(46 + up, -38 - right) for right, up in off.tolist()], hips


def _page(spots: list[tuple[float, float]], hips: list[int]) -> Callable[[], Any]:
    """What opens the page of a mirror that nobody has opened before, as a visitor."""
    from datetime import date

    from django.conf import settings
    from django.test import Client
    from django.urls import reverse

    from archive.access import decisions
    from archive.models import Account

    settings.ALLOWED_HOSTS = ["*"]
    made = [_mirror([(latitude + at / 1000, longitude) for latitude, longitude in spots], hips)
            for at in range(ROUNDS + 1)]
    minute = decisions.Minute(date(2020, 1, 2), "minute 1", "two of us", "to be measured")
    council = Account.objects.create_user(username="council", is_council=True)
    decisions.decide(council, minute, decisions.Act([one.pk for items in made for one in items], None))
    client, fresh = Client(), iter([reverse("mirror", args=[items[-1].ref]) for items in made])

    def page() -> None:
        answer = client.get(next(fresh))
        if answer.status_code != 200 or b"362,880" not in answer.content:
            raise RuntimeError("the mirror's page is not what was to be measured")

    return page


def _mirror(spots: list[tuple[float, float]], hips: list[int]) -> list[Any]:
    """Places, a figure and the mirror of them, the mirror last."""
    from archive.access import writing
    from archive.access.writing import NameGiven

    places = [
        writing.add_place(None, [NameGiven("en", f"Place {at}", True)], latitude_deg=latitude, longitude_deg=longitude)
        for at, (latitude, longitude) in enumerate(spots)
    ]
    figure = writing.add_figure(None, [NameGiven("en", "Figure", True)], stars=hips, lines=[hips])
    return [*places, figure, writing.add_mirror(None, figure, list(zip(places, hips, strict=True)), title="Nine")]


def _row(name: str, ours_ms: float, most_ms: float, what: str) -> dict[str, Any]:
    return {
        "name": name, "ours": ours_ms, "peer": None, "ratio": ours_ms / most_ms,
        "unit": f"share of the goal (ms, median of {ROUNDS}; {what})", "goal": f"<= {most_ms:g} ms",
        "holds": ours_ms <= most_ms,
    }
