"""A level pour over the whole floor."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import MM_PER_M

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.surface.surface import Surface


def flood_fill(level_height_mm: NDArray[np.floating], *, least_layer_mm: float) -> NDArray[np.float64]:
    """Thickness of a pour that stands level, the least layer over the highest place.

    ``level_height_mm``: (rows, cols) heights above a level plane; NaN is not seen and stays so.
    """
    height = np.asarray(level_height_mm, dtype=np.float64)
    if not np.isfinite(height).any():
        return height.copy()
    fill: NDArray[np.float64] = np.nanmax(height) + least_layer_mm - height
    return fill


def above_level(
    height_mm: NDArray[np.floating], surface: Surface, *, fall_mm_per_m: float | None = None
) -> NDArray[np.float64]:
    """Heights above a level plane: heights about the reference plane, with its fall put back.

    Compound finds its level by gravity, not by the floor's own plane. Without gravity the heights are returned
    as they are, as if the reference plane were level. ``fall_mm_per_m``: in place of the surface's own.
    """
    height = np.asarray(height_mm, dtype=np.float64)
    if surface.slope is None:
        return height
    fall = surface.slope.fall.value if fall_mm_per_m is None else fall_mm_per_m
    rows, cols = height.shape
    x_m = (np.arange(cols) + 0.5) * surface.cell_mm / MM_PER_M
    y_m = (np.arange(rows) + 0.5) * surface.cell_mm / MM_PER_M
    way = surface.slope.direction_rad
    down_m = math.cos(way) * x_m[None, :] + math.sin(way) * y_m[:, None]
    level: NDArray[np.float64] = height - fall * down_m
    return level
