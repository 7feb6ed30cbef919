"""The peer of finding: SQLite's own full-text search (FTS5) over the same words, with the access join."""

from __future__ import annotations

from typing import Any

ALLOWED = """NOT EXISTS (SELECT 1 FROM archive_reach r
  WHERE r.item_id = peer.rowid AND r.condition_id IN (SELECT id FROM unmet))"""
FIRST_TWENTY = f"SELECT rowid, rank FROM peer WHERE peer MATCH %s AND {ALLOWED} ORDER BY rank LIMIT 20"  # noqa: S608


class Peer:
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
        self._unmet()

    def first_twenty(self, asked: str) -> list[tuple[int, float]]:
        """The best twenty that the viewer may meet, and nothing counted."""
        self.cursor.execute(FIRST_TWENTY, [asked])
        found: list[tuple[int, float]] = self.cursor.fetchall()
        return found

    def open_anew(self) -> None:
        """A fresh connection, with nothing of the table in its own cache yet."""
        from django.db import connections

        connections["default"].close()
        self.cursor = connections["default"].cursor()
        self._unmet()
        self.cursor.execute("SELECT count(*) FROM peer_config")

    def _unmet(self) -> None:
        self.cursor.execute("CREATE TEMP TABLE unmet (id INTEGER PRIMARY KEY)")
        unmet = [(rule.number,) for rule in self.gate.policy.rules if rule.others_see < 2 and self.gate._unmet(rule)]
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
