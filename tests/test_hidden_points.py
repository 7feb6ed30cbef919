"""Trying to recover a spot that is not for everyone from all that is public together.

The spot is moved about its cell, into corners and along edges, and everything that a visitor can ask is asked again:
lists, pages, files, the map and its bounds, searches near many points within many distances, mirrors and their fits,
bearings. Where no byte of any answer tells one spot of the cell from another, whatever is worked out from the answers
together holds for the whole cell. Method: non-interference (Goguen and Meseguer, "Security policies and security
models", 1982), with the spot as the secret.
"""

from __future__ import annotations

import itertools

import pytest
from django.test import Client
from django.urls import reverse

from archive.access import decisions, policy, writing
from archive.access.cells import cell_of
from archive.models import Audience, Level, Place
from archive.search import index, sight

from .conftest import bring, open_up, segment
from .crawl import normal, parameters_of, routes
from .twin_worlds import SLOW

pytestmark = pytest.mark.django_db

STARS = (80816, 81693, 83207, 84380, 84379)  # beta, zeta, epsilon, pi, delta Herculis (ESA SP-1200, 1997)
SIZE_DEG = 0.1
WORDS = ("Hidden", "Hidden spring", "near:Hidden", "near:Open0", "at:Hidden")
# Distances from the corners and the middle that would cut the cell in every direction.
NEAR = [
    f"near:{latitude},{longitude} within {km} km"
    for latitude, longitude in itertools.product((45.95, 46.05, 46.15), (-38.25, -38.15, -38.05))
    for km in (1, 3, 6)
]
AWAY = 0.0007
SELDOM_EACH = 7  # slow pages of the sky, and those that say that there is nothing, are asked at every seventh spot


def spots() -> list[tuple[float, float]]:
    """In the middle of the cell, in its corners, along its edges, and here and there."""
    steps = (46.0 + AWAY, 46.0271828, 46.05, 46.0912345, 46.1 - AWAY)
    return list(itertools.product(steps, (-38.2 + AWAY, -38.1618034, -38.15, -38.1 - AWAY)))


@pytest.fixture
def secret(cast, tmp_path) -> dict[str, object]:
    """A spring whose area alone is public, in a mirror with four open places, told of and recorded at."""
    places = [
        writing.add_place(None, [writing.NameGiven("en", f"Open{at}", True)], latitude_deg=46.0 + at / 17,
                          longitude_deg=-38.1 + at / 23)
        for at in range(4)
    ]
    hidden = writing.add_place(None, [writing.NameGiven("en", "Hidden spring", True)], nature="spring",
                               latitude_deg=46.05, longitude_deg=-38.15, cell_deg=SIZE_DEG)
    figure = writing.add_figure(None, [writing.NameGiven("en", "Kiln", True)], shape="lines", stars=list(STARS),
                                lines=[list(STARS)])
    pairs = list(zip([*places[:2], hidden, *places[2:]], STARS, strict=True))
    mirror = writing.add_mirror(None, figure, pairs, title="As above")
    talk = bring(None, tmp_path, "A talk", people=[], places=[hidden.pk])
    part = segment(talk, 0, 1000, "Of the spring", places=[hidden.pk, places[0].pk], figures=[figure.pk])
    open_up(cast["council"], talk, figure, mirror, *places)
    terms = decisions.Terms([Audience.objects.get(name="family")], others_see=Level.DESCRIPTION)
    open_up(cast["council"], hidden, terms=terms)
    index.rebuild()
    return {"place": hidden, "mirror": mirror, "figure": figure, "recording": talk, "segment": part}


def addresses(secret: dict[str, object]) -> list[str]:
    """Every address of the site that takes nothing, or the address of one thing; and the questions."""
    found = []
    for name, pattern in routes().items():
        parameters = parameters_of(pattern)
        if "sound" in name or "captions" in name or name in ("star_wheel", "sign_out"):
            continue
        if not parameters:
            found.append(reverse(name))
        elif parameters == ["ref"]:
            found += [reverse(name, args=[one.ref]) for one in secret.values()]
    place = secret["place"].ref  # type: ignore[attr-defined]
    found += [f"{reverse(name)}?about={place}" for name in ("map", "map_frame", "map_places", "places_geojson")]
    found += [f"{reverse('find')}?{query}" for query in (f"place={place}", "q=spring&sort=near", "kind=place")]
    asked = [*WORDS, *NEAR]
    found += [f"{reverse('find')}?q={words.replace(' ', '+')}" for words in asked]
    return found


def answers(client: Client, wanted: list[str]) -> dict[str, bytes]:
    return {address: normal(client.get(address).content) for address in wanted}


def move(place: Place, spot: tuple[float, float]) -> None:
    assert cell_of(*spot, SIZE_DEG) == (46.0, -38.2, 46.1, -38.1)
    Place.ungated.filter(pk=place.pk).update(latitude_deg=spot[0], longitude_deg=spot[1])
    policy.forget()
    sight.forget()


def test_nothing_public_tells_one_spot_of_the_cell_from_another(client, secret):
    wanted = addresses(secret)
    first = answers(client, wanted)
    assert sum(b"Hidden spring" in body for body in first.values()) > 8, "the attack would be idle"
    seldom = {reverse(name) for name in SLOW if not parameters_of(routes()[name])}
    seldom |= {address for address in wanted if client.get(address).status_code != 200}
    for at, spot in enumerate(spots()):
        move(secret["place"], spot)
        asked = [address for address in wanted if at % SELDOM_EACH == 0 or address not in seldom]
        told = [address for address, body in answers(client, asked).items() if body != first[address]]
        assert not told, f"{spot} differs from the middle of the cell at {told[:5]}"


def test_the_attack_does_find_a_spot_that_leaks(client, secret, cast):
    """The same questions, asked by one who may know it: some answers move with the spot."""
    client.force_login(cast["family"])
    wanted = [reverse("places_csv"), reverse("map_places"), f"{reverse('find')}?q={NEAR[14].replace(' ', '+')}"]
    seen = set()
    for spot in spots()[:6]:
        move(secret["place"], spot)
        seen.add(tuple(answers(client, wanted).values()))
    assert len(seen) > 3


def test_the_cell_is_said_whole_and_is_no_smaller_than_chosen(client, secret):
    """All boxes that are given of it are one box: to lay them over one another leaves the whole cell."""
    body = client.get(reverse("map_places")).json()
    at = body["at"][body["names"].index("Hidden spring")]
    assert at == [46.0, -38.2, 46.1, -38.1]
    feature = next(one for one in client.get(reverse("places_geojson")).json()["features"]
                   if one["properties"]["name"] == "Hidden spring")
    assert feature["geometry"]["coordinates"][0][0] == [-38.2, 46.0]
    assert feature["geometry"]["coordinates"][0][2] == [-38.1, 46.1]
