"""Two tellings beside one another."""

from __future__ import annotations

from archive.timecode.alike import Piece, compare, likeness

LEFT = ["The girl burnt her thumbs on the bowl", "It rained", "Every pot cracked because the wind came in"]
RIGHT = ["A boy sat by the door of the kiln", "The girl burnt both her hands on the bowl",
         "Every pot cracked when the wind came in"]


def test_like_lines_stand_in_one_row_and_their_own_words_are_marked() -> None:
    rows = compare(LEFT, RIGHT)
    assert [(row.left, row.right, row.is_alike) for row in rows] == [
        (None, 0, False), (0, 1, True), (1, None, False), (2, 2, True)]
    assert rows[3].left_pieces == (
        Piece("Every pot cracked", False), Piece("because", True), Piece("the wind came in", False))
    assert Piece("when", True) in rows[3].right_pieces


def test_every_line_stands_in_just_one_row_and_in_order() -> None:
    rows = compare(LEFT * 3, RIGHT * 2)
    assert [row.left for row in rows if row.left is not None] == list(range(9))
    assert [row.right for row in rows if row.right is not None] == list(range(6))


def test_marks_and_case_do_not_tell_lines_apart() -> None:
    assert likeness(["ngol", "telu", "dore"], ["ngol", "telu", "dore"]) == 1
    rows = compare(["Ŋol Telu Ḍorë said"], ["ŋol telu dore said"])
    assert (rows[0].left, rows[0].right) == (0, 0)
    assert not any(piece.is_own for piece in rows[0].left_pieces)


def test_short_lines_and_nothing_are_not_compared() -> None:
    assert likeness(["yes"], ["yes"]) == 0
    assert compare([], []) == []
    assert [(row.left, row.right, row.is_alike) for row in compare(["Yes."], ["Yes."])] == [(0, 0, False)]
