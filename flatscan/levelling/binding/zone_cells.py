"""Which cells of the grid a zone or a line over the floor takes."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from shapely import Geometry

    from flatscan.measures.measurement import Point
    from flatscan.surface.surface import Surface

#: A line that ends this near to a wall is meant to reach it: it was measured with a tape.
_SHORT_OF_WALL_MM = 100.0
#: Share of a cell that a thin zone must take to have it, above what rounding makes of a shared side.
_LEAST_SHARE = 1e-6


def cells_of_zone(surface: Surface, zone: Geometry) -> NDArray[np.bool_]:
    """(rows, cols) bool, the cells whose centre lies in a polygon (floor-frame mm).

    Where the polygon is narrower than a cell's diagonal it may hold no centre, so there every cell that it touches
    belongs to it: a threshold must not slip through the grid.
    """
    import shapely

    mask = np.zeros(surface.inside.shape, dtype=bool)
    rows, cols = _window(surface, zone)
    if rows.size == 0 or cols.size == 0:
        return mask
    x0, y0 = surface.origin_mm
    x, y = np.meshgrid(x0 + (cols + 0.5) * surface.cell_mm, y0 + (rows + 0.5) * surface.cell_mm)
    found = shapely.contains_xy(zone, x, y)
    thin = _narrow_parts(zone, np.sqrt(2.0) * surface.cell_mm)
    if not thin.is_empty:
        half = 0.5 * surface.cell_mm
        shared = shapely.intersection(shapely.box(x - half, y - half, x + half, y + half), thin)
        found |= shapely.area(shared) > _LEAST_SHARE * surface.cell_mm**2
    mask[np.ix_(rows, cols)] = found
    return mask


def cells_of_line(surface: Surface, places: Sequence[Point]) -> NDArray[np.bool_]:
    """(rows, cols) bool, cells along a line through ``places`` (floor-frame mm), each sharing a side with the next.

    Nothing passes between them, cornerwise neither. An end a little short of the floor's edge is carried on to it.
    """
    from skimage.draw import line

    mask = np.zeros(surface.inside.shape, dtype=bool)
    ends = list(places)
    ends[0], ends[-1] = _to_the_edge(surface, ends[1], ends[0]), _to_the_edge(surface, ends[-2], ends[-1])
    height, width = surface.inside.shape
    for start, end in pairwise(ends):
        rows, cols = line(*_cell_at(surface, start), *_cell_at(surface, end))  # type: ignore[no-untyped-call]
        corner = np.nonzero((np.diff(rows) != 0) & (np.diff(cols) != 0))[0]
        rows, cols = np.concatenate([rows, rows[corner]]), np.concatenate([cols, cols[corner + 1]])
        keep = (rows >= 0) & (rows < height) & (cols >= 0) & (cols < width)
        mask[rows[keep], cols[keep]] = True
    return mask


def _window(surface: Surface, zone: Geometry) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rows and columns of the grid that the polygon's bounding box meets."""
    low_x, low_y, high_x, high_y = zone.bounds
    first_row, first_col = _cell_at(surface, (low_x, low_y))
    last_row, last_col = _cell_at(surface, (high_x, high_y))
    rows, cols = surface.inside.shape
    return np.arange(max(0, first_row), min(rows, last_row + 1)), np.arange(max(0, first_col), min(cols, last_col + 1))


def _narrow_parts(zone: Geometry, width_mm: float) -> Geometry:
    """What of the polygon no square of this width reaches: what shrinking and growing again does not bring back."""
    shrunk = zone.buffer(-0.5 * width_mm, join_style="mitre")
    # Grown a little more, so that rounding leaves no hair along the sides.
    return zone.difference(shrunk.buffer(0.5 * width_mm * 1.001, join_style="mitre"))


def _cell_at(surface: Surface, at: Point) -> tuple[int, int]:
    """Row and column of the cell that holds a place, beyond the grid too."""
    x0, y0 = surface.origin_mm
    return int(np.floor((at[1] - y0) / surface.cell_mm)), int(np.floor((at[0] - x0) / surface.cell_mm))


def _to_the_edge(surface: Surface, before: Point, end: Point) -> Point:
    """The end, carried on by so much that it leaves the floor, if it is that near to its edge."""
    way = np.subtract(end, before)
    further = np.asarray(end) + way * (_SHORT_OF_WALL_MM / np.hypot(*way))
    row, col = _cell_at(surface, (float(further[0]), float(further[1])))
    rows, cols = surface.inside.shape
    on_floor = 0 <= row < rows and 0 <= col < cols and bool(surface.inside[row, col])
    return end if on_floor else (float(further[0]), float(further[1]))
