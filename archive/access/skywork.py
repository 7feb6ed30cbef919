"""What the sky's pages take out of the house: figures on paper, and the stars that an editor starts from."""

from __future__ import annotations

from collections.abc import Sequence

from ..models import Item
from . import ground, met
from .gate import Gate
from .showing import FigureShown


def figures_to_print(gate: Gate) -> Sequence[FigureShown]:
    """The figures whose stars the viewer may see, written down as met where they are not simply open to everyone."""
    shown = ground.figures_to_draw(gate)
    rows = Item.ungated.in_bulk([one.label.number for one in shown])
    for one in shown:
        met.note(gate, rows[one.label.number], "print")
    return shown
