"""Random plans for twin archives, and some of all the requests that a crawl of each could make.

A world is small (some twenty things) and its crawl short (a request or two to most addresses), so that many are
crawled: what one world does not ask, the next does. All together ask every address.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from django.urls import reverse
from hypothesis import strategies as st

from archive.models import Audience, Level, Season

from .crawl import HTMX, NEVER, PARAMETERS, ROUTES, Ask, Route, filled, pages_of_others, parameters_of, routes
from .twin import LANGUAGE, LONG_AGO, STARS, Plan, Resting, Ruling, Run, Thing, kind_of
from .twin_town import LOOKING, Town, settle

LENGTH_MS = 1000
STEP_MS = 50
TICK = timedelta(microseconds=1)
DAY = timedelta(days=1)
# Midsummer; the edges of the winter by dates, in the town's zone (UTC); a leap day.
MOMENTS = tuple(
    edge + off
    for edge in (datetime(2024, 6, 21, 12, tzinfo=UTC), datetime(2024, 12, 1, tzinfo=UTC),
                 datetime(2025, 2, 11, tzinfo=UTC), datetime(2024, 2, 29, tzinfo=UTC))
    for off in (-TICK, timedelta(0))
)
AUDIENCES = ((), ("family",), ("crew",), ("family", "crew"), ("signed in",), ("everyone",), ("both",), ("either",))
SEASONS = ("", "", "", "winter", "snow", "thaw", "by the sky")
VIEWERS = (
    *("visitor", "plain") * 3, "archivist", "archivist", "council", LOOKING + "family", LOOKING + "everyone",
)
HOW_MANY = (("per", 3), ("pla", 3), ("fig", 3), ("top", 3), ("mir", 2), ("lay", 2), ("rec", 3), ("seg", 6), ("spa", 3))
# What each kind is tied to, by short names: the kind of tie, the kind of thing, at most how many.
TIES: dict[str, tuple[tuple[str, str, int], ...]] = {
    "per": (("learned_from", "per", 1),),
    "fig": (("part_of", "fig", 1),),
    "top": (("narrower_than", "top", 1),),
    "mir": (("mirrors", "fig", 1), ("stands_at", "pla", 3)),
    "rec": (("told_by", "per", 2), ("recorded_at", "pla", 1)),
    "seg": (("told_by", "per", 2), ("belongs_to", "pla", 2), ("names_figure", "fig", 2), ("topic", "top", 2),
            ("tells_of", "per", 1), ("had_from", "per", 1)),
}


@dataclass(frozen=True)
class World:
    plan: Plan
    viewer: str
    seed: int  # of the choice of requests


def settle_worlds() -> Town:
    """The town of the twins, with audiences made of others and a season of every kind."""
    town = settle()
    town.audiences["crew"] = Audience.objects.create(name="crew", ref="refcrew")
    for name, combining in (("both", "all"), ("either", "any")):
        town.audiences[name] = Audience.objects.create(name=name, ref=f"ref{name}", combining=combining)
        town.audiences[name].parts.set([town.audiences["family"], town.audiences["crew"]])
    for name, given in (
        ("snow", {"kind": "switch", "is_on": True}), ("thaw", {"kind": "switch", "is_on": False}),
        ("by the sky", {"kind": "sky", "sky_rule": "dusk", "stars": STARS[:3], "latitude_deg": 46.0,
                        "longitude_deg": -38.0}),
    ):
        town.seasons[name] = Season.objects.create(name=name, ref=f"ref{name[:4].strip()}", **given)
    return town


# --- drawing ---


@st.composite
def worlds(draw: st.DrawFn) -> World:
    moment = draw(st.sampled_from(MOMENTS))
    viewer = draw(st.sampled_from(VIEWERS))
    things: list[Thing] = []
    for short, most in HOW_MANY:
        for at in range(draw(st.integers(min(most, 1), most))):
            thing = _thing(draw, short, f"{short}-r{'abcdefgh'[at]}", things)
            things += [thing] if thing else []
    plan = Plan(tuple(things), moment=moment)
    runs = _runs(moment)
    account = "plain" if viewer in ("visitor", "plain") else viewer
    people = [account] if account in ("plain", "archivist", "council") else []
    plan = replace(
        plan,
        rulings=tuple(_rulings(draw, things, runs)),
        rests=tuple(_rests(draw, things, runs)),
        members=tuple(
            Run(one, name, *draw(runs)) for one in people for name in ("family", "crew") if draw(st.booleans())
        ),
        trusts=tuple(
            Run(one, draw(st.sampled_from(things)).key, *draw(runs)) for one in people if draw(st.integers(0, 2)) == 0
        ),
    )
    return World(plan, viewer, draw(st.integers(0, 2**16)))


def _runs(moment: datetime) -> st.SearchStrategy[tuple[datetime, datetime | None]]:
    """A start and perhaps an end, often at the very moment that is asked about, or just beside it."""
    starts = st.sampled_from((LONG_AGO, LONG_AGO, moment - DAY, moment - TICK, moment, moment + TICK))
    ends = st.sampled_from((None, None, moment + DAY, moment + 2 * TICK, moment, moment - TICK))
    return st.tuples(starts, ends).map(lambda run: (run[0], run[1] if run[1] and run[1] > run[0] else None))


def _thing(draw: st.DrawFn, short: str, key: str, before: list[Thing]) -> Thing | None:
    kind = kind_of(key)
    people = [one.key for one in before if one.kind == "person"]
    made = Thing(
        key, kind, "undecided" if kind != "segment" and draw(st.integers(0, 4)) == 0 else "open",
        tuple(_ties(draw, short, before)),
        says=tuple(draw(st.lists(st.sampled_from(people), max_size=1))) if people and kind != "person" else (),
    )
    if kind == "recording":
        offering = draw(st.sampled_from(("quiet", "quiet", "clips")))
        return replace(made, end_ms=LENGTH_MS, offering=offering,
                       brought_by=draw(st.sampled_from(("", "", "archivist"))))
    if kind in ("segment", "span"):
        start, end = sorted(draw(st.lists(st.integers(0, LENGTH_MS // STEP_MS), min_size=2, max_size=2, unique=True)))
        recording = draw(st.sampled_from([one.key for one in before if one.kind == "recording"]))
        return replace(made, recording=recording, start_ms=start * STEP_MS, end_ms=end * STEP_MS)
    if kind == "mirror" and not any(tie.startswith("mirrors ") for tie in made.ties):
        return None
    return made


def _ties(draw: st.DrawFn, short: str, before: list[Thing]) -> Iterator[str]:
    for tie, other, most in TIES.get(short, ()):
        ends = [one.key for one in before if one.key.startswith(other)]
        least = 1 if tie == "mirrors" else 0
        if ends:
            chosen = draw(st.lists(st.sampled_from(ends), min_size=least, max_size=most, unique=True))
            yield from (f"{tie} {end}" for end in chosen)


def _rulings(draw: st.DrawFn, things: list[Thing], runs: Any) -> Iterator[Ruling]:
    withdrawn: set[str] = set()
    for _each in range(draw(st.integers(1, 6))):
        key = draw(st.sampled_from(things)).key
        if kind_of(key) == "recording" and draw(st.integers(0, 3)) == 0:
            if key not in withdrawn:
                withdrawn.add(key)
                yield Ruling(key, from_consent=True)
            continue
        starts_at, ends_at = draw(runs) if draw(st.integers(0, 2)) == 0 else (None, None)
        yield Ruling(
            key, draw(st.sampled_from(AUDIENCES)),
            draw(st.sampled_from((Level.NOTHING, Level.NOTHING, Level.NOTICE, Level.DESCRIPTION))),
            draw(st.sampled_from(("itself", "tied"))), draw(st.sampled_from(SEASONS)), starts_at, ends_at,
            draw(st.sampled_from(("own", "tied"))),
        )


def _rests(draw: st.DrawFn, things: list[Thing], runs: Any) -> Iterator[Resting]:
    for thing in things:
        if thing.kind == "person" and draw(st.integers(0, 3)) == 0:
            instead = (("en", f"somebody {thing.key[-1]}"), (LANGUAGE, f"aweh {thing.key[-1]}"))
            yield Resting(thing.key, instead, *draw(runs), draw(st.booleans()))


# --- asking ---

# A world asks two of these pages of each kind, the sound and the lines of as many, and most other addresses once.
PAGES = ("recording", "segment", "person", "place", "figure", "mirror", "topic", "layer")
TIMES = {
    **dict.fromkeys(PAGES, 2), "find": 4, "suggest": 2, "recording_sound": 2, "segment_sound": 2,
    "recording_captions": 2, "segment_captions": 2, "home": 1,
}
OFTEN = 0.75
# Slow, and much the same from world to world; as seldom are the pages of roles asked of those who lack them.
SLOW = ("star_wheel", "tonight", "sky", "sky_chart", "sky_horizon", "sky_year", "star_list", "map_frame", "draw_figure")
SELDOM = 0.12


def some_asks(refs: dict[str, str], viewer: str, seed: int) -> list[Ask]:
    """Requests to most addresses that may answer this viewer, chosen by the seed alone."""
    rng = random.Random(seed)
    asked: list[Ask] = []
    seldom = {*SLOW, *pages_of_others(viewer)}
    for name, pattern in routes().items():
        if name in TIMES or rng.random() < (SELDOM if name in seldom else OFTEN):
            asked += [_some_ask(name, pattern, refs, rng) for _each in range(TIMES.get(name, 1))]
    return list(dict.fromkeys(asked))


def _some_ask(name: str, pattern: str, refs: dict[str, str], rng: random.Random) -> Ask:
    route = ROUTES.get(name, Route())
    about, kwargs = _some_address(route, parameters_of(pattern), refs, rng)
    path, way = reverse(name, kwargs=kwargs), rng.random()

    def other(key: str) -> str:
        """A key of this world for one of the fixed plan's, of the same kind."""
        return rng.choice([one for one in refs if one[:3] == key[:3]] or [key])

    if way < (0.05 if name in PAGES else 0.2):
        return Ask("POST", path, data=filled(rng.choice(route.posts), refs, other), route=name, about=about)
    if 0.2 <= way < 0.25:
        return Ask("HEAD", path, route=name, about=about)
    headers = rng.choice((*route.headers, *({}, HTMX)[: way < 0.5]))
    question = filled(rng.choice(route.asks), refs, other)
    return Ask("GET", path + question, tuple(headers.items()), route=name, about=about)


def _some_address(
    route: Route, parameters: list[str], refs: dict[str, str], rng: random.Random
) -> tuple[str, dict[str, str]]:
    about, kwargs = "", {}
    for parameter in parameters:
        if parameter == "ref":
            about = _some_key(route.of, refs, rng)
            kwargs["ref"] = refs.get(about, NEVER[0])
        elif parameter == "kind":
            kwargs["kind"] = rng.choice(("person", "recording", "cue"))
        else:
            kwargs[parameter] = rng.choice(PARAMETERS.get(parameter, ("x", "1")))
    if parameters == ["kind", "ref"] and about and rng.random() < 0.9:
        kwargs["kind"] = kind_of(about)
    return about, kwargs


def _some_key(kind: str, refs: dict[str, str], rng: random.Random) -> str:
    """A thing of the kind; seldom of another, or one that never was."""
    of_kind = [key for key in refs if kind_of(key) == kind]
    if of_kind and rng.random() < 0.9:
        return rng.choice(of_kind)
    return rng.choice((*refs, ""))
