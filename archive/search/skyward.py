"""sky: a figure's name in any language, a star's name, designation or Hipparcos number; and all that is tied to it.

Asked for are figures (by name) and stars. The answer closes over what the viewer meets: figures that hold the stars,
their parts and wholes, figures that share stars with them, places that mirror them, passages tied to any of these, and
passages that speak of them by name without being tied.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

import numpy as np

from ..access import skyties
from ..access.layout import Numbers
from ..models import Kind, TieKind
from ..sky.catalogue import load_catalogue
from ..sky.starnames import called
from . import spoken
from .aims import ASKED, HOLDS, MIRRORS, OVERLAPS, PART, WHOLE, Aim, Ask, Role, along, met_ties, named, nothing
from .query import Clause

SEVERAL = re.compile(r"\s*[,;]\s*")
MOST_STARS = 40
NUMBER = re.compile(r"(?:hip\s*)?\d+", re.IGNORECASE)


def aim(ask: Ask, clause: Clause) -> Aim:
    hips = stars_called(clause.value)
    figures = named(ask, clause, Kind.FIGURE)
    if not hips and not figures:
        return nothing(ask.sight, "star" if NUMBER.fullmatch(clause.value.strip()) else "sky")
    roles = _roles(ask, figures, hips)
    kinds = (TieKind.NAMES_FIGURE.value, TieKind.BELONGS_TO.value)
    spoken_of = [number for number, role in roles.items() if role.role in (ASKED, HOLDS, PART)]
    names = [*spoken.names_of(ask, spoken_of), *_star_names(hips)]
    return spoken.with_words(ask, Aim(nothing(ask.sight).plain, along(ask.sight, kinds, roles), roles), names)


def stars_called(text: str) -> tuple[int, ...]:
    """The stars meant by one handle, or by several with commas between; ascending."""
    parts = [part for part in SEVERAL.split(text) if part][:MOST_STARS]
    return tuple(sorted({hip for part in parts for hip in called(part)}))


def _star_names(hips: tuple[int, ...]) -> list[str]:
    known = load_catalogue().names
    return [name for hip in hips if hip in known for name in (known[hip].name, *known[hip].others) if name]


# --- things ---


def _roles(ask: Ask, figures: list[int], hips: tuple[int, ...]) -> dict[int, Role]:
    """Everything that the question takes in, by number. What has two roles keeps the more direct one."""
    stars = skyties.stars(ask.gate)
    asked_stars = np.union1d(stars.hips[np.isin(stars.figures, figures)], hips).astype(np.int64)
    shares = _shares(stars, asked_stars)
    holding = [number for number in _holding(stars, hips) if number not in figures]
    core = [*figures, *holding]
    roles = {number: Role(ASKED) for number in figures}
    _add(roles, HOLDS, holding, shares)
    _add(roles, PART, _step(ask, core, downward=True), shares)
    _add(roles, WHOLE, _step(ask, core, downward=False), shares)
    if figures:
        _add(roles, OVERLAPS, shares, shares)
    _add_places(ask, roles, figures, asked_stars)
    return roles


def _add(roles: dict[int, Role], role: str, numbers: Iterable[int], shares: dict[int, float]) -> None:
    for number in numbers:
        roles.setdefault(number, Role(role, shares.get(number, 0.0)))


def _holding(stars: skyties.Stars, hips: tuple[int, ...]) -> list[int]:
    return [int(number) for number in np.unique(stars.figures[np.isin(stars.hips, hips)])]


def _shares(stars: skyties.Stars, asked: Numbers) -> dict[int, float]:
    """For each figure that holds some of these stars: how much of them."""
    numbers, counts = np.unique(stars.figures[np.isin(stars.hips, asked)], return_counts=True)
    return {int(number): int(count) / len(asked) for number, count in zip(numbers, counts, strict=True)}


def _step(ask: Ask, core: list[int], *, downward: bool) -> list[int]:
    """All parts of these figures, or all wholes that they are parts of, however many steps away; without themselves."""
    parts, wholes = met_ties(ask.sight, TieKind.PART_OF)
    here, there = (wholes, parts) if downward else (parts, wholes)
    found: set[int] = set(core)
    edge = set(core)
    while edge:
        edge = set(there[np.isin(here, list(edge))].tolist()) - found
        found |= edge
    return sorted(found - set(core))


def _add_places(ask: Ask, roles: dict[int, Role], figures: list[int], asked_stars: Numbers) -> None:
    """Places that are said to be one of the stars, or that stand in a mirror of a figure asked for."""
    pairs = skyties.pairs(ask.gate)
    held = np.isin(pairs.hips, asked_stars) | np.isin(pairs.figures, figures)
    each = 1 / max(1, len(asked_stars))
    for place in np.unique(pairs.places[held]).tolist():
        own = np.unique(pairs.hips[(pairs.places == place) & np.isin(pairs.hips, asked_stars)])
        roles.setdefault(place, Role(MIRRORS, len(own) * each))
