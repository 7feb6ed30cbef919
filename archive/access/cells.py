"""The fixed grid that stands for spots which are not for everyone: one cell to a spot, always the same, no jitter.

Rows are `size_deg` high and counted from the equator. Columns are counted from the prime meridian and are as wide as
rows are high up to 60 degrees; from there on they widen by doubling, so that a cell is never much narrower on the
ground than it is high, and the rows at the poles are one cell all round. What would be left over at a pole or at the
date line, less than a whole row or column, belongs to its neighbour: no cell is ever smaller than what was chosen.
"""

from __future__ import annotations

import math

Cell = tuple[float, float, float, float]
WIDEST_AT_DEG = 60.0


def cell_of(latitude_deg: float, longitude_deg: float, size_deg: float) -> Cell:
    """South, west, north, east (degrees, WGS 84) of the cell that holds the point."""
    south, north = _stretch(latitude_deg, size_deg, 90.0)
    width_deg = _width(max(abs(south), abs(north)), size_deg)
    west, east = (-180.0, 180.0) if width_deg > 180.0 else _stretch(longitude_deg, width_deg, 180.0)
    return round(south, 6), round(west, 6), round(north, 6), round(east, 6)


def _stretch(degrees: float, size_deg: float, limit_deg: float) -> tuple[float, float]:
    """The part of [-limit, limit] that holds `degrees`: parts of one size from 0, the outermost taking what is left."""
    most = max(1, math.floor(limit_deg / size_deg + 1e-9))
    at = min(max(math.floor(degrees / size_deg), -most), most - 1)
    start = -limit_deg if at == -most else at * size_deg
    return start, limit_deg if at == most - 1 else (at + 1) * size_deg


def _width(farthest_deg: float, size_deg: float) -> float:
    """How wide the cells of a row are whose edge farther from the equator lies at this latitude."""
    shrunk = math.cos(math.radians(farthest_deg)) / math.cos(math.radians(WIDEST_AT_DEG))
    doublings = 0 if shrunk >= 1.0 - 1e-9 else math.ceil(-math.log2(max(shrunk, 1e-9)))
    return size_deg * 2.0**doublings
