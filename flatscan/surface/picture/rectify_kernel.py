"""The compiled pass of the rectification: where in a photo each pixel of the floor picture lies."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

#: Outside every photo.
NOWHERE = np.float32(-1.0e6)


@njit(cache=True)
def pixel_places(
    window: Any,
    x0: float,
    y0: float,
    pixel_mm: float,
    chosen: Any,
    number: int,
    per_cell: int,
    ground: Any,
    ground_x0: float,
    ground_y0: float,
    ground_cell: float,
    camera_from_floor: Any,
    intrinsics: Any,
    lens: Any,
    fold_r2: float,
) -> tuple[Any, Any]:
    """(2, rows, cols) float32 column and row in the photo at every pixel of the window; (4,) their bounds.

    Bounds: least column, greatest column, least row, greatest row; the least above the greatest where there are none.
    ``window``: first row, rows, first column, columns of the picture; ``chosen`` (r, c) the photo's number at each
    cell of ``per_cell`` pixels a side; ``ground`` heights at cell centres, bilinear in between.
    """
    row0, rows, col0, cols = window
    out = np.full((2, rows, cols), NOWHERE, dtype=np.float32)
    bounds = np.array([np.inf, -np.inf, np.inf, -np.inf])
    t = camera_from_floor
    fx, fy, cx, cy = intrinsics
    k1, k2, p1, p2 = lens
    last_row, last_col = ground.shape[0] - 1, ground.shape[1] - 1
    for i in range(rows):
        y = y0 + (row0 + i + 0.5) * pixel_mm
        v = min(max((y - ground_y0) / ground_cell - 0.5, 0.0), float(last_row))
        g0 = min(int(v), max(last_row - 1, 0))
        g1 = min(g0 + 1, last_row)
        fv = v - g0
        cell_row = (row0 + i) // per_cell
        for j in range(cols):
            if chosen[cell_row, (col0 + j) // per_cell] != number:
                continue
            x = x0 + (col0 + j + 0.5) * pixel_mm
            u = min(max((x - ground_x0) / ground_cell - 0.5, 0.0), float(last_col))
            h0 = min(int(u), max(last_col - 1, 0))
            h1 = min(h0 + 1, last_col)
            fu = u - h0
            near = ground[g0, h0] * (1.0 - fu) + ground[g0, h1] * fu
            far = ground[g1, h0] * (1.0 - fu) + ground[g1, h1] * fu
            z = near * (1.0 - fv) + far * fv
            depth = t[2, 0] * x + t[2, 1] * y + t[2, 2] * z + t[2, 3]
            if depth <= 1.0:
                continue
            a = (t[0, 0] * x + t[0, 1] * y + t[0, 2] * z + t[0, 3]) / depth
            b = (t[1, 0] * x + t[1, 1] * y + t[1, 2] * z + t[1, 3]) / depth
            r2 = a * a + b * b
            if not r2 < fold_r2:
                continue
            radial = 1.0 + r2 * (k1 + r2 * k2)
            along = fx * (a * radial + 2.0 * p1 * a * b + p2 * (r2 + 2.0 * a * a)) + cx
            down = fy * (b * radial + p1 * (r2 + 2.0 * b * b) + 2.0 * p2 * a * b) + cy
            out[0, i, j] = along
            out[1, i, j] = down
            bounds[0] = min(bounds[0], along)
            bounds[1] = max(bounds[1], along)
            bounds[2] = min(bounds[2], down)
            bounds[3] = max(bounds[3], down)
    return out, bounds


@njit(cache=True)
def lay(tone: Any, rgb: Any, light: Any, looks: Any, row0: int, col0: int) -> None:
    """Copy a drawn window into the picture where it shows something."""
    for i in range(light.shape[0]):
        for j in range(light.shape[1]):
            value = light[i, j]
            if np.isfinite(value):
                tone[row0 + i, col0 + j] = min(max(value, np.float32(0.0)), np.float32(1.0))
                for k in range(3):
                    rgb[row0 + i, col0 + j, k] = looks[i, j, k]
