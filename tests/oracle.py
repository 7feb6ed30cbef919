"""A second reading of the rules of access, in plain Python over plain dictionaries.

It is slow and knows no database. It was written from the words of the rules, not from `archive.access`: where the two
differ, one of them is wrong. A world holds

    items       name -> {"kind", "decided", "recording", "start", "end", "offering", "length"}
    ties        [(source, kind, target)]; a segment's topic is a tie of kind "topic"
    conditions  [{"target", "scope", "audiences", "season", "starts", "ends", "others", "consent", "lifted"}]
    trusts      [{"account", "item", "starts", "ends"}]
    accounts    name -> {"council", "active"}
    members     [{"account", "audience", "starts", "ends"}]
    audiences   name -> None, "everyone", "signed_in", or ("any" | "all", [names]) where it is made of others
    zone        the home place's time zone
    rests       [{"person", "starts", "ends", "voice"}]: names at rest, and whether the voice rests too

Stretches are integer milliseconds, half-open. Moments are aware datetimes; every stretch of time is half-open too.
"""

from __future__ import annotations

from datetime import datetime
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from . import oracle_sky

World = dict[str, Any]

NOTHING, NOTICE, DESCRIPTION, OPEN = 0, 1, 2, 3


# --- who ---


def runs(row: dict[str, Any], moment: datetime) -> bool:
    """From its start on, and until just before its end."""
    begun = row["starts"] is None or row["starts"] <= moment
    over = row["ends"] is not None and row["ends"] <= moment
    return begun and not over


def signed_in(world: World, account: str | None) -> bool:
    return account is not None and world["accounts"][account]["active"]


def belongs(world: World, account: str | None, audience: str, moment: datetime) -> bool:
    builtin = world["audiences"][audience]
    if builtin == "everyone":
        return True
    if isinstance(builtin, tuple):
        combining, parts = builtin
        inside = [belongs(world, account, part, moment) for part in parts]
        return bool(inside) and (all(inside) if combining == "all" else any(inside))
    if not signed_in(world, account):
        return False
    if builtin == "signed_in":
        return True
    return any(
        row["account"] == account and row["audience"] == audience and runs(row, moment) for row in world["members"]
    )


def entrusted(world: World, account: str | None, item: str, moment: datetime) -> bool:
    """Entrusted with the item; whoever is entrusted with a recording is so with all that lies in it."""
    if not signed_in(world, account):
        return False
    meant = {item, world["items"][item]["recording"]}
    return any(row["account"] == account and row["item"] in meant and runs(row, moment) for row in world["trusts"])


# --- when ---


def season_open(season: Any, moment: datetime, zone: str) -> bool:
    """Walks the year's days, both ends included, starting over at New Year where it must."""
    if season is None:
        return True
    if season[0] == "switch":  # opened and closed by hand
        return bool(season[1])
    local = moment.astimezone(ZoneInfo(zone))
    if season[0] == "sky":
        return oracle_sky.holds(*season[1:], local.date())
    return (local.month, local.day) in days_between(*season)


@lru_cache
def days_between(first: tuple[int, int], last: tuple[int, int]) -> set[tuple[int, int]]:
    days = [(month, day) for month in range(1, 13) for day in range(1, 32)]
    at, found = days.index(first), set()
    while True:
        found.add(days[at])
        if days[at] == last:
            return found
        at = (at + 1) % len(days)


# --- reach ---


def ends_at(world: World, target: str, *kinds: str) -> set[str]:
    """What is tied to the target by one of these kinds, as source."""
    return {source for source, kind, end in world["ties"] if end == target and kind in kinds}


def lies_in(world: World, recording: str) -> set[str]:
    return {name for name, item in world["items"].items() if item["recording"] == recording}


def reach(world: World, target: str, scope: str) -> set[str]:
    """Everything that a condition on the target reaches."""
    kind = world["items"][target]["kind"]
    found = {target}
    if kind == "recording":
        found |= lies_in(world, target)
    if kind == "figure":
        found |= ends_at(world, target, "mirrors")
    if scope == "tied":
        found |= _tied(world, target, kind)
    return found


def _tied(world: World, target: str, kind: str) -> set[str]:
    if kind == "person":
        return _with_contents(world, ends_at(world, target, "told_by", "tells_of", "had_from"))
    if kind == "place":
        return _with_contents(world, ends_at(world, target, "belongs_to", "recorded_at", "stands_at"))
    if kind == "figure":
        found = set()
        for figure in _down(world, target, "part_of"):
            found |= {figure} | ends_at(world, figure, "names_figure", "mirrors")
        return found
    if kind == "topic":
        found = set()
        for topic in _down(world, target, "narrower_than"):
            found |= {topic} | ends_at(world, topic, "topic")
        return found
    return set()


def _with_contents(world: World, items: set[str]) -> set[str]:
    return items.union(*(lies_in(world, item) for item in items))


def _down(world: World, top: str, kind: str) -> set[str]:
    found, ahead = set(), [top]
    while ahead:
        here = ahead.pop()
        if here not in found:
            found.add(here)
            ahead.extend(ends_at(world, here, kind))
    return found


# --- levels ---


def satisfied(world: World, condition: dict[str, Any], account: str | None, moment: datetime) -> bool:
    """In one of its audiences, and in season. No audience named: nobody."""
    in_audience = any(belongs(world, account, audience, moment) for audience in condition["audiences"])
    return in_audience and season_open(condition["season"], moment, world["zone"])


def unmet(world: World, account: str | None, moment: datetime) -> list[tuple[dict[str, Any], set[str]]]:
    """The conditions that run and that the viewer does not satisfy, each with all that it reaches."""
    return [
        (condition, reach(world, condition["target"], condition["scope"]))
        for condition in [*world["conditions"], *resting_voices(world)]
        if not condition["lifted"] and runs(condition, moment) and not satisfied(world, condition, account, moment)
    ]


def resting_voices(world: World) -> list[dict[str, Any]]:
    """A voice at rest is closed to everybody with all that it tells, and described."""
    return [
        {"target": rest["person"], "scope": "tied", "audiences": [], "season": None, "starts": rest["starts"],
         "ends": rest["ends"], "others": DESCRIPTION, "consent": False, "lifted": False}
        for rest in world["rests"] if rest["voice"]
    ]


def unsaid(world: World, moment: datetime) -> set[str]:
    """Whose names are replaced at this moment, for everybody."""
    return {rest["person"] for rest in world["rests"] if runs(rest, moment)}


def decided(world: World, item: str) -> bool:
    """A segment stands under its recording's decision; a closed span waits for its own and its recording's, a mirror
    for its own and its figure's."""
    here = world["items"][item]
    if here["kind"] == "segment":
        return bool(world["items"][here["recording"]]["decided"])
    if here["kind"] == "span":
        return bool(here["decided"] and world["items"][here["recording"]]["decided"])
    figures = {end for source, kind, end in world["ties"] if source == item and kind == "mirrors"}
    return bool(here["decided"] and all(world["items"][one]["decided"] for one in figures))


def level(world: World, account: str | None, item: str, moment: datetime) -> int:
    return levels(world, account, moment, [item])[item]


def levels(world: World, account: str | None, moment: datetime, items: list[str] | None = None) -> dict[str, int]:
    """The level of each of these items, or of all."""
    closing = unmet(world, account, moment)
    is_council = signed_in(world, account) and account is not None and world["accounts"][account]["council"]
    found = {}
    for item in world["items"] if items is None else items:
        reaching = [condition for condition, reached in closing if item in reached]
        if entrusted(world, account, item, moment):
            left = min([OPEN, *(condition["others"] for condition in reaching if condition["consent"])])
        elif not decided(world, item):
            left = NOTHING
        else:
            left = min([OPEN, *(condition["others"] for condition in reaching)])
        found[item] = max(left, DESCRIPTION) if is_council else left
    return found


def levels_looking(world: World, looker: str, audience: str, moment: datetime) -> dict[str, int]:
    """What a council member sees who looks as an audience: what somebody meets who belongs to it and to nothing else,
    and never more than the council member does."""
    theirs = levels(world, None, moment)
    if world["audiences"][audience] != "everyone":
        joined = {"account": "guest", "audience": audience, "starts": None, "ends": None}
        with_guest = {
            **world,
            "accounts": {**world["accounts"], "guest": {"council": False, "active": True}},
            "audiences": {**world["audiences"], audience: _plain(world["audiences"][audience])},
            "members": [joined],
        }
        theirs = levels(with_guest, "guest", moment)
    own = levels(world, looker, moment)
    return {item: min(theirs[item], own[item]) for item in own}


def _plain(made_of: Any) -> Any:
    """An audience made of others, as one that somebody can belong to."""
    return None if isinstance(made_of, tuple) else made_of


# --- seconds ---


def closed_ms(world: World, account: str | None, recording: str, moment: datetime) -> set[int]:
    """Every closed millisecond of the recording, one by one."""
    here = world["items"][recording]
    opened: set[int] = set()
    closed: set[int] = set()
    met = levels(world, account, moment)
    for name in lies_in(world, recording):
        item = world["items"][name]
        seconds = set(range(item["start"], item["end"]))
        if met[name] < OPEN:
            closed |= seconds
        elif item["kind"] == "segment":
            opened |= seconds
    if not whole_is_offered(world, account, recording, moment):
        closed |= set(range(here["length"])) - opened
    return closed


def whole_is_offered(world: World, account: str | None, recording: str, moment: datetime) -> bool:
    if level(world, account, recording, moment) < OPEN:
        return False
    quiet = world["items"][recording]["offering"] == "quiet"
    return quiet or entrusted(world, account, recording, moment)
