"""The measured floor as the ground that photos are laid on, and where on it a picture may be drawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.surface.surface import Surface

#: Holes are bridged for the geometry this far from what was seen; further in nothing is drawn.
BRIDGE_MM = 150.0
_SMOOTH_CELLS = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class MapGrid:
    """Square cells of ``cell_mm`` from the corner ``origin_mm``: the maps beside the picture."""

    origin_mm: tuple[float, float]
    shape: tuple[int, int]
    cell_mm: float

    def centres(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """(cols,) x and (rows,) y of the cells' centres, floor-frame mm."""
        rows, cols = self.shape
        x0, y0 = self.origin_mm
        x = x0 + (np.arange(cols, dtype=np.float64) + 0.5) * self.cell_mm
        y = y0 + (np.arange(rows, dtype=np.float64) + 0.5) * self.cell_mm
        return x, y


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """Heights without holes, for geometry only: (rows, cols) float64, mm, at the centres of the surface's cells."""

    height_mm: NDArray[np.float64]
    origin_mm: tuple[float, float]
    cell_mm: float

    def at(self, x_mm: NDArray[Any], y_mm: NDArray[Any]) -> NDArray[np.float64]:
        """Height at places (any shape), between cells bilinear, beyond the border as on it."""
        from scipy.ndimage import map_coordinates

        col = (np.asarray(x_mm) - self.origin_mm[0]) / self.cell_mm - 0.5
        row = (np.asarray(y_mm) - self.origin_mm[1]) / self.cell_mm - 0.5
        return np.asarray(map_coordinates(self.height_mm, [row, col], order=1, mode="nearest"), dtype=np.float64)


def ground_of(surface: Surface) -> Ground:
    """The best estimate of the heights; holes take the nearest height, smoothed so that no edge is invented."""
    from scipy.ndimage import distance_transform_edt, gaussian_filter

    height = surface.estimate_mm.astype(np.float64)
    empty = np.isnan(height)
    if empty.all():
        return Ground(np.zeros_like(height), surface.origin_mm, surface.cell_mm)
    if empty.any():
        row, col = distance_transform_edt(empty, return_distances=False, return_indices=True)
        filled = height[row, col]
        height = np.where(empty, gaussian_filter(filled, _SMOOTH_CELLS, mode="nearest"), filled)
    return Ground(height, surface.origin_mm, surface.cell_mm)


def map_grid(surface: Surface, cell_mm: float) -> MapGrid:
    """Cells of ``cell_mm`` that cover the surface's grid from the same corner."""
    rows, cols = (int(np.ceil(n * surface.cell_mm / cell_mm - 1e-9)) for n in surface.height_mm.shape)
    return MapGrid(surface.origin_mm, (max(1, rows), max(1, cols)), cell_mm)


def drawable(surface: Surface, covered: NDArray[np.bool_], grid: MapGrid) -> NDArray[np.bool_]:
    """(rows, cols) bool of the map: floor and skirting strip, near what was seen, not under a thing.

    Parameters
    ----------
    covered : (rows, cols) bool of the surface: cells under a thing
    """
    from scipy.ndimage import distance_transform_edt

    x, y = grid.centres()
    col = np.clip(((x - surface.origin_mm[0]) / surface.cell_mm).astype(int), 0, surface.height_mm.shape[1] - 1)
    row = np.clip(((y - surface.origin_mm[1]) / surface.cell_mm).astype(int), 0, surface.height_mm.shape[0] - 1)
    away_mm = distance_transform_edt(~surface.seen) * surface.cell_mm
    # The strip lies between the judged floor and the outline, so its cells are never seen ones.
    beyond_mm = np.where(surface.inside, 0.0, surface.strip_mm + surface.cell_mm)
    near = (away_mm <= BRIDGE_MM + beyond_mm) & ~covered
    return np.asarray(near[np.ix_(row, col)] & _within_outline(surface, grid))


def _within_outline(surface: Surface, grid: MapGrid) -> NDArray[np.bool_]:
    """Cells whose centre lies within the outline and in none of its holes."""
    from skimage.draw import polygon2mask

    if not surface.outline:
        return np.ones(grid.shape, dtype=bool)

    def filled(ring: NDArray[np.float64]) -> NDArray[np.bool_]:
        corners = ((ring - np.asarray(grid.origin_mm)) / grid.cell_mm - 0.5)[:, ::-1]
        mask: NDArray[np.bool_] = polygon2mask(grid.shape, corners)  # type: ignore[no-untyped-call]
        return mask

    exterior, *holes = surface.outline
    mask = filled(exterior)
    for hole in holes:
        mask &= ~filled(hole)
    return mask
