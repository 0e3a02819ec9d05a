"""The compiled gathering of samples into cells either side of a piece of joint."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit


@njit(cache=True)
def gather(
    xyz: Any, start: int, end: int, ox: float, oy: float, ux: float, uy: float, half: float, reach: float,
    size: float, side: float,
) -> Any:  # fmt: skip
    """(k, 4) cells of one side: mean distance along from the middle, mean distance square to it, mean height, count.

    ``side`` is 1 to the left of the way and -1 to the right; only samples within ``half`` along and ``reach`` square
    to the joint count. The distance square to the joint keeps its sign.
    """
    along, across = int(np.ceil(2.0 * half / size)), int(np.ceil(reach / size))
    sums = np.zeros((along * across, 4))
    for i in range(start, end):
        z = np.float64(xyz[i, 2])
        if np.isnan(z):
            continue
        dx, dy = xyz[i, 0] - ox, xyz[i, 1] - oy
        u, v = dx * ux + dy * uy, dy * ux - dx * uy
        out = v * side
        if abs(u) >= half or out < 0.0 or out >= reach:
            continue
        cell = min(int((u + half) / size), along - 1) * across + min(int(out / size), across - 1)
        sums[cell, 0] += u
        sums[cell, 1] += v
        sums[cell, 2] += z
        sums[cell, 3] += 1.0
    kept = 0
    for k in range(len(sums)):
        if sums[k, 3] > 0.0:
            for c in range(3):
                sums[kept, c] = sums[k, c] / sums[k, 3]
            sums[kept, 3] = sums[k, 3]
            kept += 1
    return sums[:kept]
