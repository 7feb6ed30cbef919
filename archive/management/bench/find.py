"""How long a results page takes over a made-up archive of 20,000 segments, beside SQLite's own full-text search.

The peer answers the same queries from an FTS5 table of the same words (one row a segment), joined with the closure so
that what the viewer may not meet is left out, with the same total, first twenty and counts beside them; it then draws
the same page. It does not do what ours must: its statistics and its matches count what the viewer may not meet.
"""

from __future__ import annotations

import json
import statistics
import time
from collections.abc import Callable
from typing import Any

from archive.management.bench import _apart

SEGMENTS = 20_000
ROUNDS = 7


def rows(segments: int = SEGMENTS) -> list[dict[str, Any]]:
    """Measure in a process of its own, over a database of its own that is thrown away; about two minutes."""
    return _apart.rows_of("find", segments)


def measure(segments: int) -> None:
    print(json.dumps(_Bench(_apart.world(segments=segments)).rows()))


class _Bench:
    def __init__(self, world: Any) -> None:
        from archive.access.gate import Gate
        from archive.search import index

        self.world = world
        self.gate = Gate(None)
        self.secret = self._hide_words()
        began = time.perf_counter()
        self.atoms = index.rebuild()
        self.built_s = time.perf_counter() - began
        self.gate = Gate(None)
        self.peer = _Peer(self.gate)
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
            self._row("find_page", self._page, self.peer.page, "ms, whole page"),
            self._row("find_answer", self._answer, self.peer.answer, "ms, answer only"),
            self._first(),
            self._kept_up(),
            self._hidden(),
            {
                "name": "find_index",
                "ours": round(self.atoms / self.built_s),
                "peer": None,
                "ratio": None,
                "unit": "texts a second, built anew",
                "goal": "",
                "holds": None,
            },
        ]

    def _row(self, name: str, ours: Callable[[str], Any], peer: Callable[[str], Any], unit: str) -> dict[str, Any]:
        mine, theirs = _medians(self.queries, ours, peer)
        ratio = mine / theirs
        return _told(name, mine * 1000, theirs * 1000, ratio, unit, "ours no slower", ratio <= 1)

    def _page(self, text: str) -> None:
        from django.test import Client

        client = Client(HTTP_HOST="localhost")
        assert client.get("/find/", {"q": text}).status_code == 200

    def _answer(self, text: str) -> None:
        from archive.search import finding, query

        finding.find(self.gate, finding.Wanted(query.read(text)))

    def _first(self) -> dict[str, Any]:
        """The first search after every change of the policy: everything that is kept for a viewer is made anew."""
        from archive.access import layout, policy
        from archive.access.gate import Gate
        from archive.search import finding, query

        def anew(text: str) -> None:
            policy.forget()
            gate = Gate(None)
            layout.current(gate.policy)
            finding.find(gate, finding.Wanted(query.read(text)))

        times = [_time(anew, text) for text in self.queries[:5]]
        return _told("find_first_after_change", statistics.median(times) * 1000, None, None, "ms", "", None)

    def _kept_up(self) -> dict[str, Any]:
        """One recording with all its cues owed to the index and paid, none of its words changed, then one title."""
        from archive.access import writing
        from archive.search import index

        number = self.world.numbers["segment"][5]

        def change(text: str) -> None:
            from django.db import connection

            with connection.cursor() as cursor:
                cursor.execute("UPDATE archive_segment SET title = %s WHERE item_ptr_id = %s", [text, number])
            writing.owe_index([number])

        times = [_time(change, f"changed {at}") for at in range(5)]
        index.current()
        return _told("find_index_one_change", statistics.median(times) * 1000, None, None, "ms", "", None)

    def _hidden(self) -> dict[str, Any]:
        """Pages for words that only hidden segments hold, against words that stand nowhere; each asked once, cold."""
        from archive.search import index

        absent = [f"absent{at}q" for at in range(len(self.secret))]
        index.forget()
        self._page("warm")
        pairs = [(_time(self._page, one), _time(self._page, two)) for one, two in zip(self.secret, absent, strict=True)]
        holding = len(index.current().postings(self.secret[0]).atoms)
        ours, peer = (statistics.median(times) for times in zip(*pairs, strict=True))
        ratio = ours / peer
        unit = f"ms, words in {holding} hidden texts (ours) and words that stand nowhere"
        return _told("find_hidden_or_absent", ours * 1000, peer * 1000, ratio, unit, "0.8 to 1.2", 0.8 < ratio < 1.2)


class _Peer:
    """FTS5 over the same words, with the access join."""

    def __init__(self, gate: Any) -> None:
        from django.db import connection

        self.gate = gate
        self.cursor = connection.cursor()
        self.cursor.execute("CREATE VIRTUAL TABLE peer USING fts5(words, content='')")
        self.cursor.execute(
            """INSERT INTO peer (rowid, words) SELECT s.item_ptr_id, s.title || ' ' || s.summary || ' ' || (
                 SELECT group_concat(c.text, ' ') FROM archive_cue c JOIN archive_transcript t ON t.id = c.transcript_id
                 WHERE t.recording_id = s.recording_id AND c.start_ms >= s.start_ms AND c.end_ms <= s.end_ms)
               FROM archive_segment s"""
        )
        self.cursor.execute("CREATE TEMP TABLE unmet (id INTEGER PRIMARY KEY)")
        unmet = [(rule.number,) for rule in gate.policy.rules if rule.others_see < 2 and gate._unmet(rule)]
        self.cursor.executemany("INSERT INTO unmet VALUES (%s)", unmet)
        self.cursor.execute("CREATE TEMP TABLE hit (id INTEGER PRIMARY KEY, fit REAL)")

    def answer(self, text: str) -> Any:
        """Matches are found once and kept in a table for the time of the query; all counts are made from there."""
        from archive.search.finding import Found, Hit

        asked = text if '"' in text else " AND ".join(text.split())
        self.cursor.execute("DELETE FROM hit")
        self.cursor.execute(
            """INSERT INTO hit SELECT peer.rowid, bm25(peer) FROM peer WHERE peer MATCH %s AND NOT EXISTS (
                 SELECT 1 FROM archive_reach r
                 WHERE r.item_id = peer.rowid AND r.condition_id IN (SELECT id FROM unmet))""",
            [asked],
        )
        self.cursor.execute("SELECT id, fit FROM hit ORDER BY fit LIMIT 20")
        hits = [Hit(number, -score, 0, ()) for number, score in self.cursor.fetchall()]
        self.cursor.execute("SELECT count(*) FROM hit")
        total = self.cursor.fetchone()[0]
        facets = {"person": [], "place": [], "figure": []}
        self.cursor.execute(
            """SELECT k.kind, k.target_id, count(*) FROM hit JOIN archive_tie k ON k.source_id = hit.id
               GROUP BY 1, 2 ORDER BY 3 DESC"""
        )
        for kind, number, count in self.cursor.fetchall():
            facets[{"told_by": "person", "belongs_to": "place", "names_figure": "figure"}[kind]].append((number, count))
        self.cursor.execute(
            """SELECT k.tag_id, count(*) FROM hit JOIN archive_topictie k ON k.content_object_id = hit.id
               GROUP BY 1 ORDER BY 2 DESC"""
        )
        facets["topic"] = self.cursor.fetchall()
        return Found(total, 1, 1, hits, [], facets, [("segment", total)], [], 0)

    def page(self, text: str) -> None:
        from unittest import mock

        from django.test import Client

        client = Client(HTTP_HOST="localhost")
        with mock.patch("archive.search.finding.find", side_effect=lambda *given: self.answer(text)):
            assert client.get("/find/", {"q": text}).status_code == 200


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


def _told(
    name: str, ours: float, peer: float | None, ratio: float | None, unit: str, goal: str, holds: bool | None
) -> dict[str, Any]:
    return {
        "name": name,
        "ours": round(ours, 3),
        "peer": None if peer is None else round(peer, 3),
        "ratio": None if ratio is None else round(ratio, 3),
        "unit": unit,
        "goal": goal,
        "holds": holds,
    }
