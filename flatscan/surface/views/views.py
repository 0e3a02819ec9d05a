"""What is gained from knowing which view saw which point: views laid on each other, and how many saw each cell."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface import doubts
from flatscan.surface.views.alignment import align_views, aligned

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.sources.scan import Scan
    from flatscan.surface.cells.gridding import GridSpec
    from flatscan.surface.finding.room import Room

#: Points looked at to count views; a view has dozens in each of its cells.
_MOST_POINTS = 5_000_000
#: Noise of a cell is taken to be between these times the usual, however many views saw it.
_LEAST_SCALE, _MOST_SCALE = 0.4, 2.5


def views_aligned(scan: Scan, room: Room, *, band_mm: float) -> Scan:
    """The scan with its views laid on each other, and a sentence about it."""
    if scan.view_of_point is None or doubts.view_count(scan) == 1:
        return scan
    found = align_views(
        scan.points_mm,
        scan.view_of_point,
        room.floor_from_points,
        room.size_mm,
        band_mm=band_mm,
        tilts=not scan.frames,
    )
    if found is None:
        return scan
    return replace(
        scan,
        points_mm=aligned(scan.points_mm, scan.view_of_point, room.floor_from_points, found),
        inferences=(*scan.inferences, found.sentence()),
    )


def correlated_scale(
    scan: Scan, floor_from_points: NDArray[np.float64], grid: GridSpec, seen: NDArray[np.bool_], *, band_mm: float
) -> NDArray[np.float32] | None:
    """(rows, cols) float32 size of the correlated noise in each cell over its root mean square; None where unknown.

    Points of one view share their errors, those of several views average: the noise goes with the root of one over
    the number of views (invented rooms, typical phone: 2.1, 1.55, 1.2 and 1.05 mm for one to four).
    """
    if scan.view_of_point is None or doubts.view_count(scan) == 1 or not seen.any():
        return None
    views = views_per_cell(scan.points_mm, scan.view_of_point, floor_from_points, grid, band_mm=band_mm)
    if views.max() < 2:  # noqa: PLR2004 - all cells alike
        return None
    variance = 1.0 / np.maximum(views, 1.0)
    scale = np.sqrt(variance / variance[seen].mean())
    return np.where(seen, np.clip(scale, _LEAST_SCALE, _MOST_SCALE), np.nan).astype(np.float32)


def views_per_cell(
    points_mm: NDArray[np.float32],
    view_of_point: NDArray[np.integer],
    floor_from_points: NDArray[np.float64],
    grid: GridSpec,
    *,
    band_mm: float,
) -> NDArray[np.int32]:
    """(rows, cols) int32 number of views that saw floor in each cell (of some five million points)."""
    stride = -(-len(points_mm) // _MOST_POINTS)
    points, view = points_mm[::stride], view_of_point[::stride].astype(np.int64)
    t = floor_from_points.astype(np.float32)
    x, y, z = (points @ t[k, :3] + t[k, 3] for k in range(3))
    col = np.floor((x - grid.origin_mm[0]) / grid.cell_mm)
    row = np.floor((y - grid.origin_mm[1]) / grid.cell_mm)
    rows, cols = grid.shape
    use = (row >= 0) & (row < rows) & (col >= 0) & (col < cols) & (np.abs(z) <= band_mm)
    cell = (row[use] * cols + col[use]).astype(np.int64)
    pairs = np.unique(view[use] * (rows * cols) + cell)
    return np.bincount(pairs % (rows * cols), minlength=rows * cols).reshape(rows, cols).astype(np.int32)
