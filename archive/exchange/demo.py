"""The demo archive: the invented island of Senneth, brought in by the same doors as any real recording.

Everything in `fixtures/senneth` is invented. It is loaded in one transaction: all of it, or nothing.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction

from ..access import bringing, decisions, founding, resting, writing
from ..access.writing import NameGiven, SegmentGiven
from ..models import Account, Audience, Item, Level, NoticePages, Scope, Season
from . import geojson_in

Json = dict[str, Any]
ZONE = ZoneInfo("Etc/GMT+3")
Say = Callable[[str], None]
SHAPES = {"group": "group", "single": "light", "shape": "lines", "path": "path", "region": "region"}
CAUTIONS = {"remedy": "remedy", "cliff": "site", "sea": "site", None: ""}


def source() -> Path:
    return Path(settings.FIXTURES) / "senneth"


def read(name: str) -> Json:
    found: Json = json.loads((source() / f"{name}.json").read_text(encoding="utf-8"))
    return found


@dataclass
class Loaded:
    """What has been made so far, by the scenario's own keys."""

    say: Say
    accounts: dict[str, Account] = field(default_factory=dict)
    audiences: dict[str, Audience] = field(default_factory=dict)
    seasons: dict[str, Season] = field(default_factory=dict)
    items: dict[tuple[str, str], Item] = field(default_factory=dict)
    conditions: dict[str, int] = field(default_factory=dict)

    def item(self, kind: str, key: str) -> Item:
        return self.items[KINDS.get(kind, kind), key]

    def numbers(self, kind: str, keys: Sequence[str]) -> list[int]:
        return [self.item(kind, key).pk for key in keys]


KINDS = {"closed_span": "span", "speaker": "person"}


@transaction.atomic
def load(password: str, say: Say) -> Loaded:
    """Bring the whole scenario in. Raises before anything is kept if a file does not fit."""
    founding.found(
        name="The Senneth Sky House",
        welcome="What the island's elders told of the sky, in their own voices. Everything here is invented.",
        language="qse-x-senneth",
        home_name="Ḍorë, Senneth",
        latitude_deg=46.02121,
        longitude_deg=-38.02411,
        time_zone=ZONE.key,
        is_invented=True,
    )
    loaded = Loaded(say)
    _accounts(loaded, password)
    _audiences(loaded)
    _people(loaded)
    _places(loaded)
    _topics(loaded)
    _figures(loaded)
    _mirrors(loaded)
    _layers(loaded)
    _recordings(loaded)
    _segments(loaded)
    _decisions(loaded)
    _names_at_rest(loaded)
    _consents(loaded)
    return loaded


def _names(given: Sequence[Json]) -> list[NameGiven]:
    """The first name of each language leads it."""
    seen: set[str] = set()
    names = []
    for one in given:
        names.append(NameGiven(one["lang"], one["text"], one["lang"] not in seen))
        seen.add(one["lang"])
    return names


def _accounts(loaded: Loaded, password: str) -> None:
    for one in read("people")["accounts"]:
        roles: Json = {f"is_{role}": True for role in one["roles"]}
        loaded.accounts[one["username"]] = Account.objects.create_user(
            username=one["username"], password=password, display_name=one["name"], **roles
        )


def _audiences(loaded: Loaded) -> None:
    given = read("access")
    loaded.audiences = {"everyone": founding.everyone(), "signed-in": founding.signed_in()}
    for one in given["audiences"]:
        audience = founding.audience(_spelled(one["names"]), one["about"])
        loaded.audiences[one["key"]] = audience
        for member in one["members"]:
            decisions.join(
                loaded.accounts[member["granted_by"]],
                audience,
                loaded.accounts[member["account"]],
                _moment(member["since"]),
                _moment(member["until"]),
            )
    for one in given["seasons"]:
        first, last = (tuple(map(int, one[end].split("-"))) for end in ("from", "to"))
        loaded.seasons[one["key"]] = founding.season(_spelled(one["names"]), first, last)


def _spelled(names: Sequence[Json]) -> str:
    """Both languages in one line, for lists that have no languages of their own."""
    leading = [name.text for name in _names(names) if name.is_preferred]
    return " · ".join(leading)


def _moment(day: str | None) -> datetime | None:
    """The day's beginning, by the clock of the home place."""
    return datetime.combine(date.fromisoformat(day), time(), ZONE) if day else None


def _people(loaded: Loaded) -> None:
    given = read("people")
    families = {one["key"]: one["names"][0]["text"] for one in given["families"]}
    for one in given["people"]:
        loaded.items["person", one["key"]] = writing.add_person(
            None,
            _names(one["names"]),
            about=one["about"],
            family=families.get(one["family"], ""),
            born=one["born"] or "",
            died=one["died"] or "",
        )
    for one in given["people"]:
        for position, teacher in enumerate(one["learned_from"]):
            writing.tie(loaded.item("person", one["key"]), "learned_from", loaded.item("person", teacher), position)


def _places(loaded: Loaded) -> None:
    for one in read("places")["places"]:
        loaded.items["place", one["key"]] = writing.add_place(
            None,
            _names(one["names"]),
            nature=one["kind"],
            about=one["about"],
            latitude_deg=one["lat_deg"],
            longitude_deg=one["lon_deg"],
            caution=CAUTIONS[one["caution"]],
            cell_deg=0.1,
        )


def _topics(loaded: Loaded) -> None:
    topics = read("topics")["topics"]
    for one in topics:
        loaded.items["topic", one["key"]] = writing.add_topic(
            None, _names(one["names"]), about=one["about"], caution=CAUTIONS[one["caution"]]
        )
    for one in topics:
        for broader in one["broader"]:
            writing.tie(loaded.item("topic", one["key"]), "narrower_than", loaded.item("topic", broader))


def _figures(loaded: Loaded) -> None:
    figures = read("figures")["figures"]
    for one in figures:
        loaded.items["figure", one["key"]] = writing.add_figure(
            None,
            _names(one["names"]),
            shape=SHAPES[one["kind"]],
            about=" ".join([one["description"], one["best_seen"]]),
            stars=one["stars"],
            lines=one["lines"],
        )
    for one in figures:
        if one["part_of"]:
            writing.tie(loaded.item("figure", one["key"]), "part_of", loaded.item("figure", one["part_of"]))


def _mirrors(loaded: Loaded) -> None:
    for one in read("mirrors")["mirrors"]:
        tellers = ", ".join(_name_of(key) for key in one["told_by"])
        loaded.items["mirror", one["key"]] = writing.add_mirror(
            None,
            loaded.item("figure", one["figure"]),
            [(loaded.item("place", pair["place"]), pair["hip"]) for pair in one["pairs"]],
            title=_spelled(one["names"]),
            about=f"{one['description']} ({tellers})",
        )


def _layers(loaded: Loaded) -> None:
    features = geojson_in.read((source() / "paths.geojson").read_bytes()).text()
    words = {"about": "Where people and goats go. Walk there only with leave.", "rights": "Senneth's families; CC0"}
    loaded.items["layer", "paths"] = writing.add_layer(None, [], title="Paths and grazing", features=features, **words)


def _name_of(key: str) -> str:
    given = next(one for one in read("people")["people"] if one["key"] == key)
    return str(given["names"][0]["text"])


def _recordings(loaded: Loaded) -> None:
    for one in read("recordings")["recordings"]:
        path = source() / one["files"]["audio"]
        loaded.say(f"  {path.name}")
        transcripts = [_transcript(each) for each in one["files"]["transcripts"]]
        brought = bringing.add_recording(
            None,
            bringing.file_blocks(path),
            path.name,
            bringing.RecordingGiven(
                title=one["title"],
                recorded_on=one["recorded_on"],
                language=one["languages"][0],
                circumstances=one["circumstances"],
                places=loaded.numbers("place", [one["place"]]),
                people=loaded.numbers("person", one["speakers"]),
                transcripts=transcripts,
            ),
        )
        loaded.items["recording", one["key"]] = brought.recording


def _transcript(given: Json) -> bringing.TranscriptGiven:
    path = source() / given["file"]
    kind = "verbatim" if given["lang"] == "en" else "translation"
    return bringing.TranscriptGiven(path.read_bytes(), path.name, given["lang"], kind)


def _segments(loaded: Loaded) -> None:
    for one in read("segments")["segments"]:
        loaded.items["segment", one["key"]] = writing.add_segment(
            None,
            bringing.recording(loaded.item("recording", one["recording"]).pk),
            SegmentGiven(
                one["start_ms"],
                one["end_ms"],
                one["title"],
                one["summary"],
                speakers=loaded.numbers("person", one["speakers"]),
                topics=loaded.numbers("topic", one["topics"]),
                places=loaded.numbers("place", one["places"]),
                figures=loaded.numbers("figure", one["figures"]),
                had_from=loaded.numbers("person", one.get("had_from", [])),
            ),
        )
    for one in read("access")["closed_spans"]:
        loaded.items["span", one["key"]] = writing.close_span(
            None,
            bringing.recording(loaded.item("recording", one["recording"]).pk),
            one["start_ms"],
            one["end_ms"],
            one["why"],
        )


def _decisions(loaded: Loaded) -> None:
    given = read("access")
    _open_what_all_know(loaded, given)
    for one in given["decisions"]:
        lifts = [loaded.conditions[key] for key in one["lifts"]]
        acts = [_act(loaded, condition, given, lifts) for condition in one["conditions"]]
        minute = decisions.Minute(
            date.fromisoformat(one["met_on"]),
            one["minute"],
            ", ".join(_name_of(key) for key in one["present"]),
            f"{one['title']}. {one['reason']}",
        )
        council = loaded.accounts[given["council"][0]]
        made = decisions.decide(council, minute, *acts)
        for condition, number in zip(
            (each for each in one["conditions"] if _needs_condition(each)), decisions.made_by(made), strict=True
        ):
            loaded.conditions[condition["key"]] = number
    for trust in given["entrusted"]:
        decisions.entrust(
            loaded.accounts[trust["granted_by"]],
            loaded.accounts[trust["account"]],
            loaded.item("recording", trust["recording"]),
            trust["why"],
            _moment(trust["since"]),
        )


def _names_at_rest(loaded: Loaded) -> None:
    """Whoever is `resting` in the scenario: the council's newest decision on that person is the one that says so."""
    access = read("access")
    for one in read("people")["people"]:
        given = one.get("resting")
        if not given:
            continue
        person = loaded.item("person", one["key"])
        said = next(each for each in access["decisions"] if _speaks_of(each, one["key"]))
        present = ", ".join(map(_name_of, said["present"]))
        minute = decisions.Minute(date.fromisoformat(said["met_on"]), said["minute"], present, said["reason"])
        resting.rest(loaded.accounts[access["council"][0]], minute, _rest_wish(person, given))


def _rest_wish(person: Item, given: Json) -> resting.Wish:
    starts_at = _moment(given["since"])
    if starts_at is None:
        raise ValueError("a resting name needs a first day")
    instead = tuple((each["lang"], each["text"]) for each in given["instead"])
    spellings = tuple(given.get("also_rests", ()))
    return resting.Wish(person.pk, starts_at, _moment(given["until"]), instead, spellings)


def _speaks_of(decision: Json, person: str) -> bool:
    return any(each["target"] == {"kind": "speaker", "key": person} for each in decision["conditions"])


def _open_what_all_know(loaded: Loaded, given: Json) -> None:
    """People, places, figures, mirrors and topics that no later decision speaks of are common knowledge."""
    spoken_of = {
        loaded.item(each["target"]["kind"], each["target"]["key"]).pk
        for one in given["decisions"]
        for each in one["conditions"]
    }
    kinds = ("person", "place", "figure", "mirror", "topic", "layer")
    open_to_all = [item.pk for (kind, _), item in loaded.items.items() if kind in kinds and item.pk not in spoken_of]
    withdrawn = [
        loaded.item("recording", one["key"]).pk
        for one in read("recordings")["recordings"]
        if one["consent"]["state"] == "withdrawn"
    ]
    minute = decisions.Minute(
        date(2025, 9, 1), "2025/2", "the whole council", "Names, places and figures that everybody on the island knows."
    )
    council = loaded.accounts[given["council"][0]]
    decisions.decide(council, minute, decisions.Act(open_to_all + withdrawn, None))


def _needs_condition(given: Json) -> bool:
    """A condition that everyone satisfies at all times is no condition: the thing is open."""
    return given["audiences"] != ["everyone"] or bool(given["season"] or given["starts_on"] or given["ends_on"])


def _act(loaded: Loaded, given: Json, access: Json, lifts: Sequence[int]) -> decisions.Act:
    target = loaded.item(given["target"]["kind"], given["target"]["key"])
    on_target = decisions.conditions_on(target.pk)
    offering = next(
        (one["mode"] for one in access["closed_stretches"] if _is_target(given, "recording", one["recording"])), ""
    )
    return decisions.Act(
        [target.pk],
        _terms(loaded, given) if _needs_condition(given) else None,
        lift=[each.pk for each in on_target if each.pk in lifts],
        offering=offering,
    )


def _is_target(given: Json, kind: str, key: str) -> bool:
    return bool(given["target"] == {"kind": kind, "key": key})


def _terms(loaded: Loaded, given: Json) -> decisions.Terms:
    notice = given["notice"] or {}
    return decisions.Terms(
        audiences=[loaded.audiences[key] for key in given["audiences"]],
        scope=Scope(given["scope"]),
        season=loaded.seasons[given["season"]] if given["season"] else None,
        starts_at=_moment(given["starts_on"]),
        ends_at=_moment(given["ends_on"]),
        review_on=date.fromisoformat(given["review_on"]) if given["review_on"] else None,
        others_see=Level[given["others_see"].upper()],
        notice_words="\n".join(words["text"] for words in notice.get("words", [])),
        whom_to_ask=notice.get("ask", ""),
        notice_pages=NoticePages.TIED if "recordings" in notice.get("pages", []) else NoticePages.OWN,
    )


def _consents(loaded: Loaded) -> None:
    for one in read("recordings")["recordings"]:
        recording = bringing.recording(loaded.item("recording", one["key"]).pk)
        consent = one["consent"]
        given_by = ", ".join(_name_of(key.strip()) for key in consent["given_by"].split(","))
        day = date.fromisoformat(consent["given_on"])
        decisions.state_consent(None, recording, "given", given_by, day, f"{consent['how']}. {one['wanted']}")
        if consent["state"] == "withdrawn":
            day = date.fromisoformat(consent["withdrawn_on"])
            decisions.state_consent(None, recording, "withdrawn", given_by, day, consent["why"])

