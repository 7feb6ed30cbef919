"""A made-up archive with known answers: figures over real stars, parts and mirrors, names said rightly and misheard.

Everything that a question should find is reckoned here in plain Python over the rows, apart from `archive.search`.
"""

from __future__ import annotations

import json
import random
from dataclasses import dataclass, field
from typing import Any

from django.db import connection

from archive.management.bench._world import Size, World, insert, word

STARS_IN_FIGURE = 5
# How a transcriber who does not know a name writes it (common practice, no source): one such slip in each name.
SLIPS = (
    ("b", "p"), ("d", "t"), ("g", "k"), ("v", "f"), ("z", "s"), ("p", "b"), ("t", "d"), ("k", "g"),
    ("a", "e"), ("e", "i"), ("i", "ee"), ("o", "u"), ("u", "oo"), ("a", "ah"), ("e", "a"), ("l", "ll"), ("n", "nn"),
    ("r", "rr"), ("m", "mm"), ("k", "ck"), ("h", ""), ("j", "ch"), ("s", "z"), ("f", "ph"),
)


@dataclass
class Judged:
    """By figure: its own name, as it was misheard, and the cues that hold each; stars, parts, mirrored places."""

    numbers: dict[str, list[int]]  # of all items, by kind
    names: dict[int, str] = field(default_factory=dict)
    stars: dict[int, set[int]] = field(default_factory=dict)
    part_of: set[tuple[int, int]] = field(default_factory=set)
    mirrors: list[tuple[int, int, list[tuple[int, int]]]] = field(default_factory=list)
    told: dict[int, set[int]] = field(default_factory=dict)  # segments by what they are tied to
    misheard: dict[int, set[int]] = field(default_factory=dict)  # segments by the figure misheard in them
    holder: dict[int, int] = field(default_factory=dict)


def misheard(name: str, rng: random.Random) -> str:
    """The name with one slip, or two where it is long; sometimes taken for two words."""
    heard = name
    for _ in range(2 if len(name) > 9 else 1):
        able = [(one, other) for one, other in SLIPS if one in heard[1:]]
        one, other = rng.choice(able)
        at = heard.index(one, 1)
        heard = heard[:at] + other + heard[at + len(one) :]
    if rng.random() < 0.25 and len(heard) > 6:
        middle = len(heard) // 2
        return f"{heard[:middle].capitalize()} {heard[middle:].capitalize()}"
    return heard.capitalize()


def make(segments: int, seed: int = 7) -> Judged:
    """Write the archive into the (empty) database of this process."""
    from archive import models as kept

    figures = max(12, segments // 50)
    size = Size(segments=segments, figures=figures, conditions=max(10, segments // 10), places=figures * 2)
    world = World(size, seed).write()
    judged = Judged(world.numbers)
    rng = random.Random(seed)
    _give_stars(judged, rng, kept)
    _give_names(judged, rng, kept)
    _give_mirrors(judged, rng, world)
    _read_ties(judged)
    _plant(judged, rng)
    return judged


def as_it_is() -> Judged:
    """The archive that this process's database holds, with the first of each figure's names, and nothing planted."""
    numbers: dict[str, list[int]] = {}
    for number, kind in rows("SELECT id, kind FROM archive_item ORDER BY id"):
        numbers.setdefault(kind, []).append(number)
    judged = Judged(numbers)
    for figure, stars in rows("SELECT item_ptr_id, stars FROM archive_figure"):
        judged.stars[figure] = set(json.loads(stars) if isinstance(stars, str) else stars)
    named = "SELECT item_id, text FROM archive_name WHERE item_id IN (SELECT item_ptr_id FROM archive_figure)"
    for figure, text in rows(f"{named} ORDER BY position DESC, id DESC"):
        judged.names[figure] = text
    judged.part_of = set(rows("SELECT source_id, target_id FROM archive_tie WHERE kind = 'part_of'"))
    for mirror, figure in rows("SELECT source_id, target_id FROM archive_tie WHERE kind = 'mirrors'"):
        pairs = rows("SELECT target_id, hip FROM archive_tie WHERE kind = 'stands_at' AND source_id = %s", mirror)
        judged.mirrors.append((mirror, figure, pairs))
    _read_ties(judged)
    return judged


def _give_stars(judged: Judged, rng: random.Random, kept: Any) -> None:
    from archive.sky.catalogue import load_catalogue

    bright = load_catalogue().hip[load_catalogue().brighter(3.5)].tolist()
    figures = judged.numbers["figure"]
    for figure in figures:
        stars = sorted(rng.sample(bright, STARS_IN_FIGURE))
        judged.stars[figure] = set(stars)
        rows("UPDATE archive_figure SET stars = %s WHERE item_ptr_id = %s", json.dumps(stars), figure)
    for at in range(0, len(figures) - 3, 6):
        judged.part_of |= {(figures[at + 1], figures[at]), (figures[at + 2], figures[at + 1])}
    insert(kept.Tie, [
        {"source": part, "target": whole, "kind": "part_of"} for part, whole in sorted(judged.part_of)
    ])


def _give_names(judged: Judged, rng: random.Random, kept: Any) -> None:
    """A name of three to five syllables for each, in a language that is not the transcript's."""
    taken: set[str] = set()
    for figure in judged.numbers["figure"]:
        name = ""
        while not name or name in taken:
            name = "".join(rng.choice("bdghklmnprstvz") + rng.choice("aeiou") for _ in range(rng.randint(3, 5)))
        taken.add(name)
        judged.names[figure] = name
    insert(kept.Name, [
        {"item": figure, "language": "qse-x-senneth", "text": name.capitalize(), "position": 1}
        for figure, name in judged.names.items()
    ])


def _give_mirrors(judged: Judged, rng: random.Random, world: World) -> None:
    """Every third figure is mirrored by three places; some of the mirrors are not decided on, so nobody meets them."""
    from archive import models as kept

    figures = judged.numbers["figure"][::3]
    mirrors = world._items("mirror", len(figures))
    insert(kept.Mirror, [{"item_ptr": mirror, "title": f"M{mirror}"} for mirror in mirrors])
    for mirror, figure in zip(mirrors, figures, strict=True):
        hips = rng.sample(sorted(judged.stars[figure]), 3)
        places = rng.sample(judged.numbers["place"], 3)
        judged.mirrors.append((mirror, figure, list(zip(places, hips, strict=True))))
        insert(kept.Tie, [{"source": mirror, "target": figure, "kind": "mirrors"}])
        insert(kept.Tie, [
            {"source": mirror, "target": place, "kind": "stands_at", "hip": hip}
            for place, hip in zip(places, hips, strict=True)
        ])
    for mirror in mirrors[::4]:
        rows("UPDATE archive_item SET decision_id = NULL WHERE id = %s", mirror)


def _read_ties(judged: Judged) -> None:
    ties = "SELECT source_id, target_id FROM archive_tie WHERE kind IN (%s, %s)"
    for source, target in rows(ties, "names_figure", "belongs_to"):
        judged.told.setdefault(target, set()).add(source)


def _plant(judged: Judged, rng: random.Random) -> None:
    """Say each figure's name in two cues as it is misheard; other cues get capitalised words that are no name."""
    segments = rows("SELECT item_ptr_id, recording_id, start_ms FROM archive_segment ORDER BY item_ptr_id")
    judged.holder = {number: holder for number, holder, _ in segments}
    chosen = rng.sample(segments, min(len(segments), 2 * len(judged.names)))
    for at, (number, holder, start_ms) in enumerate(chosen):
        figure = list(judged.names)[at // 2]
        _say(holder, start_ms, misheard(judged.names[figure], rng))
        judged.misheard.setdefault(figure, set()).add(number)
    rest = [row for row in segments if row not in chosen]
    for number, holder, start_ms in rng.sample(rest, min(len(rest), len(judged.names) * 4)):
        _say(holder, start_ms, word(number * 31 + 7_000).capitalize())


def _say(holder: int, start_ms: int, said: str) -> None:
    """Put these words into the first line from there on (a recording's transcript has its number)."""
    first = "SELECT id, text FROM archive_cue WHERE transcript_id = %s AND start_ms >= %s ORDER BY start_ms LIMIT 1"
    [(cue, text)] = rows(first, holder, start_ms)
    rows("UPDATE archive_cue SET text = %s WHERE id = %s", f"And {said} they called it, {text}", cue)


def rows(sql: str, *given: Any) -> list[tuple[Any, ...]]:
    """What a statement answers; nothing for one that only writes."""
    with connection.cursor() as cursor:
        cursor.execute(sql, given)
        return list(cursor.fetchall()) if cursor.description else []


# --- what should answer ---


def expected(judged: Judged, gate: Any, figure: int = 0, hip: int = 0) -> set[int]:
    """The segments tied to what is asked, over what the viewer meets: sets of numbers, one step at a time."""
    met = {number for numbers in judged.numbers.values() for number in numbers if gate.level(number) >= 2}
    whole = {number for number in met if gate.level(number) >= 3}
    asked = {figure} & met
    stars = {hip} if hip else set().union(*(judged.stars[one] for one in asked & whole))
    core = asked | {one for one in judged.stars if one in whole and hip in judged.stars[one]}
    ties = {(part, of) for part, of in judged.part_of if part in met and of in met}
    things = core | _walk(core, ties) | _walk(core, {(of, part) for part, of in ties})
    if asked:
        things |= {one for one in judged.stars if one in whole and judged.stars[one] & stars}
    for mirror, of, pairs in judged.mirrors:
        if mirror in whole and of in met:
            tells = not any(place in met - whole for place, _ in pairs)  # a star left over would lead to an area's spot
            things |= {place for place, star in pairs if place in whole and ((tells and star in stars) or of in asked)}
    return {segment for thing in things & met for segment in judged.told.get(thing, ()) if segment in met}


def _walk(begin: set[int], ties: set[tuple[int, int]]) -> set[int]:
    found, edge = set(begin), set(begin)
    while edge:
        edge = {end for start, end in ties if start in edge} - found
        found |= edge
    return found
