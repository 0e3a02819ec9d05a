"""Outlines of the places to level: one as the cells are, one that a person can mark out with two tapes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

#: An island in a fill smaller than 10 cm square is filled over: nobody trowels round it.
LEAST_ISLAND_MM2 = 10_000.0
#: Outlines are smoothed by less than a cell; the inner corners of a staircase lie 0.71 cells off its slope.
_SIMPLIFY_CELLS = 0.75
#: More corners than this in one area and nobody marks them all out; sides shorter than this on average are not worth
#: a chalk line either.
MOST_CORNERS = 24
_USUAL_SIDE_MM = 250.0
#: How far the corners are drawn together, and half the width of inlets that are closed, mm: the first that leaves few
#: enough. Beyond the fourth only where an area is large or ragged.
TOGETHER_MM = (
    (5.0, 0.0),
    (10.0, 0.0),
    (15.0, 0.0),
    (20.0, 0.0),
    (20.0, 50.0),
    (30.0, 80.0),
    (40.0, 120.0),
    (50.0, 200.0),
)
_USUAL_TOGETHER_MM = 30.0
#: A rectangle is always as plain as can be.
_LEAST_CORNERS = 4
#: A pointed corner is cut where it would reach further than this many times the distance.
_MITRE = 2.0
#: Arcs are drawn as sides that keep this near to them, mm.
_ARC_MM = 1.0
#: What binary rounding may leave outside, mm.
_ROUNDING_MM = 0.01


def rings_of(
    mask: NDArray[np.bool_], *, cell_mm: float, corner_mm: tuple[float, float]
) -> tuple[NDArray[np.float64], ...]:
    """Exterior and holes of one connected set of cells, closed rings (k, 2) in floor-frame mm.

    The union of the cells' own squares, row by row, smoothed by less than a cell; tiny islands are left out.
    """
    import shapely

    starts, ends = _runs(mask)
    rows = starts[:, 0]
    x0, y0 = corner_mm
    boxes = shapely.box(
        x0 + starts[:, 1] * cell_mm, y0 + rows * cell_mm, x0 + ends[:, 1] * cell_mm, y0 + (rows + 1) * cell_mm
    )
    whole = shapely.union_all(boxes)
    islands = [ring for ring in whole.interiors if shapely.Polygon(ring).area >= LEAST_ISLAND_MM2]
    smooth = shapely.Polygon(whole.exterior, islands).simplify(_SIMPLIFY_CELLS * cell_mm, preserve_topology=True)
    return tuple(np.asarray(ring.coords, dtype=np.float64) for ring in (smooth.exterior, *smooth.interiors))


def marking_rings(
    rings: Sequence[NDArray[np.float64]],
    outline: Sequence[NDArray[np.float64]],
) -> tuple[NDArray[np.float64], ...]:
    """An outline with few corners that holds the whole of the area, closed rings as ``Area.rings``.

    The area is widened by t and then simplified by t (Douglas and Peucker): every point of the widened edge lies t or
    more from the area and the simplified edge keeps within t of it, so it cannot come inside. It lies at most 2 t
    outside, pointed corners aside. Ragged areas have narrow inlets closed first. t is the least of ``TOGETHER_MM`` that
    leaves ``MOST_CORNERS`` or fewer and, up to 20 mm, sides that are not too short. Where the area keeps within the
    floor's ``outline``, so does what is marked.
    """
    import shapely

    area = shapely.Polygon(rings[0], list(rings[1:]))
    room = shapely.Polygon(outline[0], list(outline[1:])) if outline else None
    if room is not None and not (room.is_valid and room.covers(area)):
        room = None
    best = area
    for apart, inlet in TOGETHER_MM:
        found = _widened(area, room, apart, inlet)
        if found is None:
            continue
        if best is area or _corners(found) < _corners(best):
            best = found
        worth = best.length / _USUAL_SIDE_MM if apart < _USUAL_TOGETHER_MM else MOST_CORNERS
        if _corners(best) <= max(_LEAST_CORNERS, min(worth, MOST_CORNERS)):
            break
    return tuple(np.asarray(ring.coords, dtype=np.float64) for ring in (best.exterior, *best.interiors))


def _widened(area: Any, room: Any, apart: float, inlet: float) -> Any:
    """The widened and simplified polygon, or None where it falls apart or lets some of the area out."""
    import shapely

    # Arcs of the closing leave corners so near each other that the pointed join between them divides by nothing: GEOS
    # copes, and numpy must not tell.
    with np.errstate(divide="ignore", invalid="ignore"):
        closed = area.buffer(inlet).buffer(-inlet).simplify(_ARC_MM).union(area) if inlet else area
        wide = closed.buffer(apart, join_style="mitre", mitre_limit=_MITRE).simplify(apart, preserve_topology=True)
    if room is not None:
        wide = wide.intersection(room)
    if not isinstance(wide, shapely.Polygon):
        return None
    islands = [ring for ring in wide.interiors if shapely.Polygon(ring).area >= LEAST_ISLAND_MM2]
    found = shapely.Polygon(wide.exterior, islands)
    return found if found.is_valid and found.buffer(_ROUNDING_MM).covers(area) else None


def _corners(polygon: Any) -> int:
    return sum(len(ring.coords) - 1 for ring in (polygon.exterior, *polygon.interiors))


def _runs(mask: NDArray[np.bool_]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """(row, first column) and (row, column past the end) of every horizontal run of True."""
    padded = np.pad(mask.astype(np.int8), ((0, 0), (1, 1)))
    change = np.diff(padded, axis=1)
    return np.argwhere(change == 1), np.argwhere(change == -1)
