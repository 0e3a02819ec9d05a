"""A grid of places for the staff."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from flatscan.sheet.room import Room
    from flatscan.sources.hand.field_readings import Point

#: A plane and the twist are four unknowns; more readings than that make one of them a check.
_LEAST = 6
_HALVINGS = 4
#: Root mean square of x·y that a plane leaves over the places, both sides of the room being 1: 0.25 at four corners.
_LEAST_TWIST = 0.04


def staff_grid(room: Room, spacing_mm: float, *, clear_mm: float, step_mm: float) -> tuple[Point, ...]:
    """Places at most ``spacing_mm`` apart, ``clear_mm`` or more from the walls, up and down in lanes from corner 0."""
    from shapely import Polygon, contains_xy

    usable = Polygon(room.outline_mm).buffer(-clear_mm + 1e-6, join_style="mitre")
    for _ in range(_HALVINGS):
        left, low, right, high = usable.bounds
        columns = _ticks(left, right, spacing_mm, step_mm)
        rows = _ticks(low, high, spacing_mm, step_mm)
        found = [
            (x, y)
            for k, y in enumerate(rows)
            for x in (columns if k % 2 == 0 else columns[::-1])
            if contains_xy(usable, x, y)
        ]
        if len(found) >= _LEAST and _see_twist(found):
            break
        spacing_mm /= 2.0
    return tuple(found)


def _see_twist(places: list[Point]) -> bool:
    """Whether x·y over the places is no plane: one lane along each arm of an L-shaped room is not enough."""
    at = np.array(places)
    x, y = ((at - at.mean(axis=0)) / np.ptp(at, axis=0)).T
    plane = np.column_stack([np.ones_like(x), x, y])
    left = x * y - plane @ np.linalg.lstsq(plane, x * y, rcond=None)[0]
    return bool(np.sqrt(np.mean(left**2)) > _LEAST_TWIST)


def _ticks(low: float, high: float, spacing_mm: float, step_mm: float) -> list[float]:
    low, high = math.ceil(low / step_mm) * step_mm, math.floor(high / step_mm) * step_mm
    count = max(1, math.ceil((high - low) / spacing_mm - 1e-6)) + 1
    return [round(float(at) / step_mm) * step_mm for at in np.linspace(low, high, count)]
