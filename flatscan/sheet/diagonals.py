"""Lays of the bar aslant, which show the twist that rows along the walls cannot."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from shapely import Polygon

    from flatscan.sheet.room import Room
    from flatscan.sheet.rows import Lay, Row
    from flatscan.sources.hand.field_readings import Point

#: Angles to x that are tried, the best first: what a bar sees of twist goes with sin·cos of its angle.
_ANGLES_DEG = (45.0, 35.0, 55.0, 25.0, 65.0, 17.5, 72.5, 10.0, 80.0)
#: Shifts tried for a lay that does not fit in the middle of its part of the room, in shares of that part.
_SHIFTS = (0.0, 0.15, -0.15, 0.3, -0.3)

#: Twist known from four lays is known half as well as all else in a room of 5 x 5 m; from eight nearly as well.
_FEW_PARTS = 6


def diagonals(room: Room, edge_mm: float, *, clear_mm: float, step_mm: float) -> tuple[Row, ...]:
    """One lay aslant for each part of the room about as large as the bar is long, neighbours leaning opposite ways.

    A room of few parts gets lays both ways in each. Parts in which the bar cannot lie aslant get none. Each lay is a
    row of its own.
    """
    from shapely import Polygon

    usable = Polygon(room.outline_mm).buffer(-clear_mm, join_style="mitre")
    found: list[Lay] = []
    parts = list(_parts(room, edge_mm))
    for k, (middle, size) in enumerate(parts):
        leaning = (1.0, -1.0) if k % 2 == 0 else (-1.0, 1.0)
        for lean in leaning if len(parts) <= _FEW_PARTS else leaning[:1]:
            lay = _fitting(usable, middle, size, edge_mm, step_mm, leaning=lean)
            if lay is not None and lay not in found:
                found.append(lay)
    return tuple((lay,) for lay in found)


def _parts(room: Room, edge_mm: float) -> Iterator[tuple[Point, Point]]:
    """Middle and size of equal rectangles that tile the room's bounds; neighbours differ in turn."""
    low, size = room.outline_mm.min(axis=0), np.ptp(room.outline_mm, axis=0)
    columns, rows = (max(1, round(float(length) / edge_mm)) for length in size)
    part = size / (columns, rows)
    for row in range(rows):
        order = range(columns) if row % 2 == 0 else range(columns - 1, -1, -1)
        for column in order:
            middle = low + part * (column + 0.5, row + 0.5)
            yield (float(middle[0]), float(middle[1])), (float(part[0]), float(part[1]))


def _fitting(
    usable: Polygon, middle: Point, size: Point, edge_mm: float, step_mm: float, *, leaning: float
) -> Lay | None:
    from shapely import LineString, prepare

    prepare(usable)
    for degrees in _ANGLES_DEG:
        along = edge_mm * np.array([math.cos(math.radians(degrees)), leaning * math.sin(math.radians(degrees))])
        for up in _SHIFTS:
            for right in _SHIFTS:
                start = np.array(middle) + np.array(size) * (right, up) - along / 2.0
                start = np.round(start / step_mm) * step_mm
                end = start + along
                if usable.covers(LineString([start, end])):
                    return (float(start[0]), float(start[1])), (float(end[0]), float(end[1]))
    return None
