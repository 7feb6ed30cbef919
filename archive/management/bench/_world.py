"""A made-up archive of any size, written straight into the tables of a fresh database, for measuring only."""

from __future__ import annotations

import itertools
import random
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from django.core.management.color import no_style
from django.db import connection, models, transaction

from archive import models as kept
from archive.access import closure, founding, triggers

MOMENT = datetime(2020, 1, 1, tzinfo=UTC)
SEGMENT_MS = 60_000


@dataclass(frozen=True)
class Size:
    segments: int = 20_000
    segments_in_recording: int = 40
    cues_in_segment: int = 10
    words_in_cue: int = 12
    words_in_summary: int = 12
    people: int = 200
    places: int = 300
    figures: int = 150
    topics: int = 200
    conditions: int = 200
    words: int = 20_000


def word(number: int) -> str:
    """The n-th made-up word: syllables by the digits of n, so that all differ."""
    made, number = "", number + 1
    while number:
        number, digit = divmod(number, 60)
        made += "bdfghjklmnprstvz"[digit % 15] + "aeiou"[digit // 12]
    return made


def spot(number: int) -> dict[str, float]:
    """Where the n-th thing would stand: spread over two degrees, no two at one spot."""
    north, east = number * 7919 % 20_011 / 10_005, number * 6007 % 20_021 / 10_010
    return {"latitude_deg": 45 + north, "longitude_deg": -39 + east}


class World:
    """Writes the archive; `numbers` are the items of each kind, in the order they were made."""

    def __init__(self, size: Size, seed: int = 1) -> None:
        self.size = size
        self.random = random.Random(seed)
        self.numbers: dict[str, list[int]] = {}
        self._next = 1
        self.decision = 1
        self._weights = list(itertools.accumulate(1 / (at + 3) for at in range(size.words)))
        self._words = [word(at) for at in range(size.words)]
        self._drawn: list[str] = []

    @transaction.atomic
    def write(self) -> World:
        founding.found(name="Measured", language="en")
        _let_go_of_versions()
        insert(kept.Decision, [{"id": self.decision, "decided_on": date(2020, 1, 1), "minute": "1", "ref": "made"}])
        self._things()
        self._recordings()
        self._conditions()
        closure.rebuild()
        triggers.install()
        _count_on()
        return self

    def text(self, words: int) -> str:
        """Words drawn as words are in talk: few often, most seldom (Zipf 1949)."""
        if len(self._drawn) < words:
            self._drawn = self.random.choices(self._words, cum_weights=self._weights, k=200_000)
        return " ".join(self._drawn.pop() for _ in range(words))

    # --- what there is ---

    def _items(self, kind: str, count: int) -> list[int]:
        made = list(range(self._next, self._next + count))
        self._next += count
        refs = [f"{kind[:3]}{number:09d}" for number in made]
        insert(
            kept.Item,
            [
                {"id": number, "kind": kind, "ref": ref, "decision": None if kind == "segment" else self.decision}
                for number, ref in zip(made, refs, strict=True)
            ],
        )
        self.numbers[kind] = made
        return made

    def _things(self) -> None:
        size = self.size
        for kind, count, model in (
            ("person", size.people, kept.Person),
            ("place", size.places, kept.Place),
            ("figure", size.figures, kept.Figure),
            ("topic", size.topics, kept.Topic),
        ):
            numbers = self._items(kind, count)
            given = [{"item_ptr": number, "about": self.text(10), "name": f"T{number}"} for number in numbers]
            insert(model, [row | {"slug": f"t{row['item_ptr']}"} | spot(row["item_ptr"]) for row in given])
            insert(kept.Name, [self._name(number) for number in numbers])

    def _name(self, number: int) -> dict[str, Any]:
        text = f"{word(number * 7 + 40_000)} {word(number * 11 + 50_000)}"
        return {"item": number, "language": "en", "text": text, "is_preferred": True}

    def _recordings(self) -> None:
        size = self.size
        inside = size.segments_in_recording
        recordings = self._items("recording", -(-size.segments // inside))
        length = inside * SEGMENT_MS
        insert(
            kept.Recording,
            [
                {"item_ptr": number, "title": self.text(5), "recorded_on": str(1950 + number % 70)}
                for number in recordings
            ],
        )
        insert(
            kept.Master,
            [{"recording": number, "sha256": f"{number:064d}", "duration_ms": length} for number in recordings],
        )
        insert(kept.Transcript, [{"id": at, "recording": at, "language": "en"} for at in recordings])
        self._segments(recordings)
        for number in recordings:
            self._cues(number, length)

    def _segments(self, recordings: list[int]) -> None:
        segments = self._items("segment", self.size.segments)
        rows, ties, topics = [], [], []
        for at, number in enumerate(segments):
            place_in = at % self.size.segments_in_recording
            rows.append(
                {
                    "item_ptr": number,
                    "recording": recordings[at // self.size.segments_in_recording],
                    "start_ms": place_in * SEGMENT_MS,
                    "end_ms": (place_in + 1) * SEGMENT_MS,
                    "title": self.text(4),
                    "summary": self.text(self.size.words_in_summary),
                }
            )
            for tie, kind in (("told_by", "person"), ("belongs_to", "place"), ("names_figure", "figure")):
                ties.append({"source": number, "target": self._one(kind), "kind": tie})
            topics.append({"content_object": number, "tag": self._one("topic")})
        insert(kept.Segment, rows)
        insert(kept.Tie, ties)
        insert(kept.TopicTie, topics)

    def _one(self, kind: str) -> int:
        """One of the kind, a few of them far more often than the others."""
        numbers = self.numbers[kind]
        return numbers[int(len(numbers) * self.random.random() ** 2)]

    def _cues(self, recording: int, length: int) -> None:
        step = SEGMENT_MS // self.size.cues_in_segment
        insert(
            kept.Cue,
            [
                {
                    "transcript": recording,
                    "start_ms": start,
                    "end_ms": start + step - 200,
                    "text": self.text(self.size.words_in_cue),
                }
                for start in range(0, length, step)
            ],
        )

    def _conditions(self) -> None:
        """Half of them on topics, places and people with all that is tied to them, half on single segments."""
        audience = founding.audience("family").pk
        kinds = ("topic", "place", "person", "segment", "segment", "segment")
        targets = [self._one(kinds[at * len(kinds) // self.size.conditions]) for at in range(self.size.conditions)]
        rows = [
            {
                "id": at,
                "target": target,
                "scope": "tied" if at % 3 == 0 else "itself",
                "others_see": at % 4 // 2 * 2,
                "decision": self.decision,
                "lifted_by": None,
            }
            for at, target in enumerate(targets, start=1)
        ]
        insert(kept.Condition, rows)
        through = kept.Condition.audiences.through
        insert(through, [{"condition": row["id"], "audience": audience} for row in rows])


def _let_go_of_versions() -> None:
    """Nobody reads while a million rows are written: the policy version may stand still until the triggers are back."""
    on_table = connection.vendor == "postgresql"
    with connection.cursor() as cursor:
        for table in triggers.MOVES_VERSION:
            for verb in ("insert", "update", "delete"):
                cursor.execute(f"DROP TRIGGER IF EXISTS {table}_moves_{verb}" + (f" ON {table}" if on_table else ""))


# --- rows ---


def _count_on() -> None:
    """PostgreSQL counts row numbers on from those that were given."""
    tables = [kept.Item, kept.Decision, kept.Condition, kept.Transcript]
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), tables):
            cursor.execute(statement)


def insert(model: type[models.Model], rows: list[dict[str, Any]]) -> None:
    """Rows of one table; what is not given is the column's default, or else empty."""
    fields = [
        field
        for field in model._meta.local_concrete_fields
        if not field.primary_key or field.is_relation or any(field.name in row for row in rows[:1])
    ]
    columns = ", ".join(connection.ops.quote_name(field.column) for field in fields)
    marks = ", ".join(["%s"] * len(fields))
    table = connection.ops.quote_name(model._meta.db_table)
    with connection.cursor() as cursor:
        cursor.executemany(
            f"INSERT INTO {table} ({columns}) VALUES ({marks})",  # noqa: S608 (names from the models)
            [[_value(field, row) for field in fields] for row in rows],
        )


def _value(field: Any, row: dict[str, Any]) -> Any:
    if field.name in row:
        value = row[field.name]
    elif isinstance(field, models.DateTimeField) and not field.null:
        value = MOMENT
    elif field.has_default():
        value = field.get_default()
    elif field.null:
        value = None
    elif isinstance(field, models.BinaryField):
        value = b""
    else:
        value = 1 if isinstance(field, (models.FloatField, models.IntegerField)) else ""
    return field.get_db_prep_save(value, connection)
