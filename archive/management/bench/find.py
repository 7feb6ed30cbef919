"""How long finding takes over a made-up archive of 100,000 segments of 150 words, beside SQLite's own full-text search.

The peer answers the same queries from an FTS5 table of the same words (one row a segment), joined with the closure so
that what the viewer may not meet is left out. It does not do what ours must: its statistics and its matches count what
the viewer may not meet. For the pairs of words it gives its first twenty alone, while ours counts every facet as well;
for whole pages it gives the same total, first twenty and counts, and then draws the same page.
"""

from __future__ import annotations

import json
import statistics
import time
from collections.abc import Callable
from datetime import date
from typing import Any

from archive.management.bench import _apart, _building, _misheard, _pairs, _resident
from archive.management.bench._fts import Peer
from archive.management.bench._told import told

SEGMENTS = 100_000
ROUNDS = 3


def rows(segments: int = SEGMENTS) -> list[dict[str, Any]]:
    """Measure in a process of its own, over a database of its own that is thrown away; about six minutes."""
    return _apart.rows_of("find", segments)


def measure(segments: int) -> None:
    print(json.dumps(_Bench(_apart.world(segments=segments, words_in_cue=13, words_in_summary=16)).rows()))


class _Bench:
    def __init__(self, world: Any) -> None:
        from archive.access.gate import Gate
        from archive.search import engine

        self.world = world
        self.gate = Gate(None)
        self.secret = self._hide_words()
        began = time.perf_counter()
        self.atoms = engine.rebuild()
        self.built_s = time.perf_counter() - began
        self.gate = Gate(None)
        self.peer = Peer(self.gate)
        self.queries = self._queries()

    def _hide_words(self, count: int = 200, each: int = 40) -> list[str]:
        """Words of their own for the segments that a visitor meets nothing of; a fifth of these hold each word."""
        from django.db import connection

        words = [f"hidden{at}q" for at in range(count)]
        hidden = [number for number in self.world.numbers["segment"] if not self.gate.meets(number, 1)]
        with connection.cursor() as cursor:
            cursor.executemany(
                "UPDATE archive_segment SET summary = summary || %s WHERE item_ptr_id = %s",
                [
                    (" " + " ".join(words[(at * each + step) % count] for step in range(each)), number)
                    for at, number in enumerate(hidden)
                ],
            )
        return words

    def _queries(self) -> list[str]:
        """Words of every frequency, alone and together."""
        word = self.world._words
        alone = [word[at] for at in (0, 2, 9, 40, 150, 700, 3000, 12_000)]
        pairs = [f"{word[a]} {word[b]}" for a, b in ((0, 1), (3, 60), (20, 400), (5, 3000), (100, 101))]
        return [*alone, *pairs, f"{word[1]} {word[8]} {word[30]}", f'"{word[0]} {word[1]}"', "zuzuzuzuzu"]

    def rows(self) -> list[dict[str, Any]]:
        return [
            *_pairs.rows(self.gate, self.peer, self.world),
            *_resident.rows(),
            _building.row(self.world, self.built_s),
            self._row("find_page", self._page, self.peer.page, "ms, whole page"),
            self._row("find_answer", self._answer, self.peer.answer, "ms, answer only"),
            *_misheard.rows(self.gate, self.world),
            self._first(),
            self._decided(),
            self._kept_up(),
            self._hidden(),
        ]

    def _row(self, name: str, ours: Callable[[str], Any], peer: Callable[[str], Any], unit: str) -> dict[str, Any]:
        mine, theirs = _medians(self.queries, ours, peer)
        ratio = mine / theirs
        return told(name, mine * 1000, theirs * 1000, ratio, unit, "ours no slower", ratio <= 1)

    def _page(self, text: str) -> None:
        from django.test import Client

        client = Client(HTTP_HOST="localhost")
        assert client.get("/find/", {"q": text}).status_code == 200

    def _answer(self, text: str) -> None:
        from archive.search import finding, query

        finding.find(self.gate, finding.Wanted(query.read(text)))

    def _first(self) -> dict[str, Any]:
        """The first search of a process: all that is kept of policy, layout and viewer is made anew."""
        from archive.access import layout, policy
        from archive.access.gate import Gate
        from archive.search import finding, query

        def anew(text: str) -> None:
            policy.forget()
            gate = Gate(None)
            layout.current(gate.policy)
            finding.find(gate, finding.Wanted(query.read(text)))

        times = [_time(anew, text) for text in self.queries[:5]]
        return told("find_first_after_change", statistics.median(times) * 1000, None, None, "ms", "", None)

    def _decided(self) -> dict[str, Any]:
        """The busiest topics closed with all that is tied to them, one by one: a visitor's first search after each."""
        from archive.access import decisions
        from archive.access.gate import Gate
        from archive.models import Account, Audience
        from archive.search import finding, query

        council = Account.objects.create_user(username="measuring", is_council=True)
        terms = decisions.Terms([Audience.objects.get(name="family")], scope="tied")
        reached: list[int] = []
        times: list[float] = []

        def decide_and_ask(topic: int) -> None:
            minute = decisions.Minute(date(2020, 1, 1), "measured")
            before = Gate(None).count("segment")
            decisions.decide(council, minute, decisions.Act([topic], terms))
            began = time.perf_counter()
            gate = Gate(None)
            finding.find(gate, finding.Wanted(query.read(self.queries[0])))
            times.append(time.perf_counter() - began)
            reached.append(before - gate.count("segment"))

        for topic in self.world.numbers["topic"][:3]:
            decide_and_ask(topic)
        took_ms = max(times) * 1000
        unit = f"ms, the slowest of {len(times)}, when up to {max(reached)} segments go at once"
        return told("find_first_after_decision", took_ms, None, None, unit, "at most 2000", took_ms <= 2000)

    def _kept_up(self) -> dict[str, Any]:
        """A title written and committed, until a search by somebody else finds it: the index, the policy, the sight."""
        from django.db import connection, transaction

        from archive.access import writing
        from archive.access.gate import Gate
        from archive.search import finding, query

        numbers = Gate(None).numbers("segment", 3)

        def change(text: str) -> None:
            number = int(numbers[int(text.split()[1]) * 97])
            with transaction.atomic(), connection.cursor() as cursor:
                cursor.execute("UPDATE archive_segment SET title = %s WHERE item_ptr_id = %s", [text, number])
                writing.owe_index([number])
            found = finding.find(Gate(None), finding.Wanted(query.read(f'title:"{text}"')))
            assert [hit.number for hit in found.hits] == [number]

        times = [_time(change, f"changedq {at}") for at in range(9)]
        took_ms = statistics.median(times) * 1000
        unit = "ms, from the writing of a title to its being found"
        return told("find_index_one_change", took_ms, None, None, unit, "at most 200", took_ms <= 200)

    def _hidden(self) -> dict[str, Any]:
        """Pages for words that only hidden segments hold, against words that stand nowhere; each asked once, cold."""
        from archive.search import engine

        absent = [f"absent{at}q" for at in range(len(self.secret))]
        engine.forget()
        self._page("warm")
        pairs = [(_time(self._page, one), _time(self._page, two)) for one, two in zip(self.secret, absent, strict=True)]
        holding = len(engine.current().postings(self.secret[0]).atoms)
        ours, peer = (statistics.median(times) for times in zip(*pairs, strict=True))
        ratio = ours / peer
        unit = f"ms, words in {holding} hidden texts (ours) and words that stand nowhere"
        return told("find_hidden_or_absent", ours * 1000, peer * 1000, ratio, unit, "0.8 to 1.2", 0.8 < ratio < 1.2)


def _medians(queries: list[str], ours: Callable[[str], Any], peer: Callable[[str], Any]) -> tuple[float, float]:
    """Median seconds over the queries, each the least of its rounds; the two sides take turns."""
    mine: dict[str, list[float]] = {}
    theirs: dict[str, list[float]] = {}
    for _ in range(ROUNDS):
        for text in queries:
            mine.setdefault(text, []).append(_time(ours, text))
            theirs.setdefault(text, []).append(_time(peer, text))
    return (
        statistics.median(min(times) for times in mine.values()),
        statistics.median(min(times) for times in theirs.values()),
    )


def _time(work: Callable[[str], Any], text: str) -> float:
    began = time.perf_counter()
    work(text)
    return time.perf_counter() - began
