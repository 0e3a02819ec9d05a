"""Rows of a bar along the walls, each laid end over end across the room."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.sheet.room import Room
    from flatscan.sources.hand.field_readings import Point

Lay = tuple["Point", "Point"]
#: The lays of one row, in order.
Row = tuple[Lay, ...]
#: A row longer than the bar by less than this share of it is read with one lay in its middle.
_LITTLE_MORE = 0.25
#: Lengths that differ by less are the same.
_ROUNDING_MM = 1e-6


def rows_along(room: Room, edge_mm: float, spacing_mm: float, *, clear_mm: float, step_mm: float) -> tuple[Row, ...]:
    """Rows along x, from low y to high.

    Parameters
    ----------
    room : where
    edge_mm : length of the bar
    spacing_mm : most that neighbouring rows lie apart
    clear_mm : the bar's ends stay this far from walls
    step_mm : places are whole multiples of it
    """
    return _rows(room.outline_mm, edge_mm, spacing_mm, clear_mm, step_mm)


def rows_across(room: Room, edge_mm: float, spacing_mm: float, *, clear_mm: float, step_mm: float) -> tuple[Row, ...]:
    """Rows along y, from low x to high; as ``rows_along``."""
    turned = _rows(room.outline_mm[:, ::-1], edge_mm, spacing_mm, clear_mm, step_mm)
    return tuple(tuple((start[::-1], end[::-1]) for start, end in row) for row in turned)


def row_positions_mm(walls_mm: NDArray[np.float64], spacing_mm: float, step_mm: float) -> list[float]:
    """Where rows lie between walls at these distances: at most ``spacing_mm`` apart, half of that from each wall.

    Walls nearer to the one before than ``spacing_mm`` do not count: a pier needs no row of its own.

    >>> row_positions_mm(np.array([0.0, 4000.0]), 1000.0, 10.0)
    [500.0, 1500.0, 2500.0, 3500.0]
    """
    levels = np.unique(walls_mm)
    kept = [float(levels[0])]
    for level in levels[1:-1]:
        if level - kept[-1] >= spacing_mm and levels[-1] - level >= spacing_mm:
            kept.append(float(level))
    kept.append(float(levels[-1]))
    found = []
    for low, high in itertools.pairwise(kept):
        count = max(1, math.ceil((high - low) / spacing_mm - 1e-6))
        found += [low + (k + 0.5) * (high - low) / count for k in range(count)]
    return [round(place / step_mm) * step_mm for place in found]


def lay_starts_mm(low_mm: float, high_mm: float, edge_mm: float, step_mm: float) -> list[float]:
    """Starts of a bar laid from ``low_mm`` to ``high_mm``, advanced by at most half its length each time.

    >>> lay_starts_mm(50.0, 4950.0, 2000.0, 10.0)
    [50.0, 1020.0, 1980.0, 2950.0]
    """
    low = math.ceil(low_mm / step_mm - 1e-6) * step_mm
    room = high_mm + _ROUNDING_MM - edge_mm - low
    if room < 0.0:
        return []
    if room < _LITTLE_MORE * edge_mm:
        return [low + room / 2.0 // step_mm * step_mm]
    room = room // step_mm * step_mm
    count = math.ceil(room / (edge_mm / 2.0) - 1e-6) + 1
    return [low + round(k * room / (count - 1) / step_mm) * step_mm for k in range(count)]


def _rows(
    outline_mm: NDArray[np.float64], edge_mm: float, spacing_mm: float, clear_mm: float, step_mm: float
) -> tuple[Row, ...]:
    from shapely import LineString, Polygon

    usable = Polygon(outline_mm).buffer(-clear_mm, join_style="mitre")
    left, _, right, _ = Polygon(outline_mm).bounds
    rows = []
    for y in row_positions_mm(outline_mm[:, 1], spacing_mm, step_mm):
        cut = usable.intersection(LineString([(left, y), (right, y)]))
        pieces = (piece.bounds for piece in getattr(cut, "geoms", [cut]) if piece.length >= edge_mm)
        for low, _, high, _ in sorted(pieces):
            lays = tuple(((x, y), (x + edge_mm, y)) for x in lay_starts_mm(low, high, edge_mm, step_mm))
            rows += [lays] if lays else []
    return tuple(rows)
