"""Where to draw a straightedge that rests on two contacts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.measures.measurement import Point

#: Shifts of the edge along its line that are tried, the middle one first.
_SHIFTS = 41


def edge_line(
    contacts: tuple[Point, Point], edge_mm: float, outline: Sequence[NDArray[np.float64]], *, slack_mm: float
) -> tuple[Point, Point]:
    """Ends of the edge, in floor-frame mm: full length over both contacts, on the floor.

    Centred on the contacts where the room allows (an edge so laid rests without rocking), else slid along its
    own line. Where the full length fits nowhere, only the part on the floor is drawn.
    """
    a, b = np.asarray(contacts[0], dtype=np.float64), np.asarray(contacts[1], dtype=np.float64)
    span = float(np.hypot(*(b - a)))
    if span == 0.0 or span >= edge_mm or not outline:
        return contacts
    along = (b - a) / span
    middle, spare = (a + b) / 2.0, max(0.0, (edge_mm - span) / 2.0)
    shifts = np.linspace(-spare, spare, _SHIFTS)
    for shift in shifts[np.argsort(np.abs(shifts), kind="stable")]:
        ends = _ends(middle + shift * along, along, edge_mm)
        if _on_floor(ends, outline, slack_mm):
            return ends
    return _part_on_floor(_ends(middle, along, edge_mm), contacts, outline, slack_mm)


def _ends(centre: NDArray[np.float64], along: NDArray[np.float64], edge_mm: float) -> tuple[Point, Point]:
    start, end = centre - along * edge_mm / 2.0, centre + along * edge_mm / 2.0
    return (float(start[0]), float(start[1])), (float(end[0]), float(end[1]))


def _on_floor(ends: tuple[Point, Point], outline: Sequence[NDArray[np.float64]], slack_mm: float) -> bool:
    from shapely import LineString, Polygon

    return bool(Polygon(outline[0], outline[1:]).buffer(slack_mm).covers(LineString(ends)))


def _part_on_floor(
    ends: tuple[Point, Point], contacts: tuple[Point, Point], outline: Sequence[NDArray[np.float64]], slack_mm: float
) -> tuple[Point, Point]:
    from shapely import LineString, Point, Polygon

    cut = LineString(ends).intersection(Polygon(outline[0], outline[1:]))
    middle = Point(np.mean(contacts, axis=0))
    pieces = [piece for piece in getattr(cut, "geoms", [cut]) if piece.distance(middle) <= slack_mm]
    if not pieces or pieces[0].length < float(np.hypot(*np.subtract(*contacts))):
        return contacts
    start, *_, end = pieces[0].coords
    return (float(start[0]), float(start[1])), (float(end[0]), float(end[1]))
