"""The compiled pass of the occupancy: one look at each point, nothing stored but the cells."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

from flatscan.surface.finding.occupancy import LOWEST_MM, SLICE_MM, SLICES


@njit(cache=True)
def count_and_slice(
    p: Any, t: Any, x0: float, y0: float, rows: int, cols: int, cell: float, band: float
) -> tuple[Any, Any, Any]:
    """(rows · cols,) int32 floor points, (…, 2) float32 sums of heights and squares, (…) uint16 slices as bits."""
    floor = np.zeros(rows * cols, dtype=np.int32)
    sums = np.zeros((rows * cols, 2), dtype=np.float32)
    filled = np.zeros(rows * cols, dtype=np.uint16)
    for i in range(p.shape[0]):
        px, py, pz = np.float64(p[i, 0]), np.float64(p[i, 1]), np.float64(p[i, 2])
        z = t[2, 0] * px + t[2, 1] * py + t[2, 2] * pz + t[2, 3]
        level = np.floor((z - LOWEST_MM) / SLICE_MM)
        near = abs(z) <= band
        if not near and not (level >= 0.0 and level < SLICES):
            continue
        col = np.floor((t[0, 0] * px + t[0, 1] * py + t[0, 2] * pz + t[0, 3] - x0) / cell)
        row = np.floor((t[1, 0] * px + t[1, 1] * py + t[1, 2] * pz + t[1, 3] - y0) / cell)
        if not (row >= 0.0 and row < rows and col >= 0.0 and col < cols):
            continue
        key = int(row) * cols + int(col)
        if near:
            floor[key] += 1
            sums[key, 0] += np.float32(z)
            sums[key, 1] += np.float32(z * z)
        if level >= 0.0 and level < SLICES:
            filled[key] |= np.uint16(1 << int(level))
    return floor, sums, filled
