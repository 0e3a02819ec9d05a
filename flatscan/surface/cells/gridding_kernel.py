"""The compiled pass of the gridding: count, place, then sort and trim each cell.

Reading order of the points does not matter to the result beyond the rounding of sums.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numba import njit

from flatscan.constants import SIGMA_PER_MAD
from flatscan.surface.cells.gridding import LEAST_TO_FLAG, ONE_SIDED_SHARE, SIGMA_PER_MEAN_DEVIATION, TRIM_SIGMAS

if TYPE_CHECKING:
    from numpy.typing import NDArray

_RANK_LIMIT = 64
_VECTOR = 16
_BLOCK = 1024


@njit(cache=True, inline="always")
def _key_and_height(
    p: Any, i: int, t: Any, x0: float, y0: float, cell: float, rows: int, cols: int, band: float
) -> tuple[int, float]:
    """Cell number of point ``i`` (-1: not on the grid, not near the floor, or NaN) and its height."""
    px, py, pz = np.float64(p[i, 0]), np.float64(p[i, 1]), np.float64(p[i, 2])
    z = t[2, 0] * px + t[2, 1] * py + t[2, 2] * pz + t[2, 3]
    if not abs(z) <= band:
        return -1, z
    # floor, not int(): int() rounds towards zero and would pull in points up to one cell outside the edge.
    col = np.floor((t[0, 0] * px + t[0, 1] * py + t[0, 2] * pz + t[0, 3] - x0) / cell)
    row = np.floor((t[1, 0] * px + t[1, 1] * py + t[1, 2] * pz + t[1, 3] - y0) / cell)
    if row >= 0.0 and row < rows and col >= 0.0 and col < cols:
        return int(row) * cols + int(col), z
    return -1, z


@njit(cache=True)
def _sort(z: Any, w: Any, weighted: bool, spare: Any) -> None:
    """Sort ``z`` upwards in place, ``w`` along with it.

    Few readings are placed by counting the smaller ones: no branches to guess, so it runs as vectors.
    """
    n = len(z)
    if n > _RANK_LIMIT:
        if weighted:
            order = np.argsort(z)
            z[:] = z[order]
            w[:] = w[order]
        else:
            z.sort()
        return
    # A whole number of vectors, filled up with values that are smaller than none.
    wide = (n + _VECTOR - 1) // _VECTOR * _VECTOR
    copy, placed = spare[2], spare[0]
    for i in range(wide):
        copy[i] = z[i] if i < n else np.inf
        placed[i] = np.nan
    for i in range(n):
        value = copy[i]
        rank = np.int32(0)
        for j in range(wide):
            rank += np.int32(copy[j] < value)
        while placed[rank] == value:  # equal readings queue up
            rank += 1
        placed[rank] = value
        if weighted:
            spare[1, rank] = w[i]
    z[:] = spare[0, :n]
    if weighted:
        w[:] = spare[1, :n]


@njit(cache=True)
def _median_deviation(z: Any, centre: float) -> float:
    """Median of |z - centre| of sorted ``z``: merges the two arms outwards from the centre, no second sort."""
    n = len(z)
    right = np.searchsorted(z, centre) if n > _RANK_LIMIT else n // 2
    while right > 0 and z[right - 1] >= centre:
        right -= 1
    while right < n and z[right] < centre:
        right += 1
    left = right - 1
    before, now = 0.0, 0.0
    for _ in range(n // 2 + 1):
        before = now
        if right >= n or (left >= 0 and centre - z[left] <= z[right] - centre):
            now = centre - z[left]
            left -= 1
        else:
            now = z[right] - centre
            right += 1
    return now if n % 2 else 0.5 * (before + now)


@njit(cache=True)
def _cell(z: Any, w: Any, weighted: bool) -> tuple[float, float, float, bool]:
    """Trimmed mean, variance, effective number kept and the flag of one cell's sorted readings."""
    n = len(z)
    centre = 0.5 * (np.float64(z[(n - 1) // 2]) + np.float64(z[n // 2]))
    scale = SIGMA_PER_MAD * _median_deviation(z, centre)
    if scale == 0.0:
        # More than half of the readings are equal (a coarse step): the MAD says nothing.
        total = 0.0
        for i in range(n):
            total += abs(z[i] - centre)
        scale = SIGMA_PER_MEAN_DEVIATION * total / n
    first, last = 0, n
    while centre - z[first] > TRIM_SIGMAS * scale:
        first += 1
    while z[last - 1] - centre > TRIM_SIGMAS * scale:
        last -= 1
    flagged = n >= LEAST_TO_FLAG and max(first, n - last) > ONE_SIDED_SHARE * n
    if flagged:
        first, last = 0, n
    sum_w, sum_w2, sum_z, sum_z2 = 0.0, 0.0, 0.0, 0.0
    for i in range(first, last):
        weight = np.float64(w[i]) if weighted else 1.0
        off = z[i] - centre
        sum_w += weight
        sum_w2 += weight * weight
        sum_z += weight * off
        sum_z2 += weight * off * off
    kept = sum_w * sum_w / sum_w2
    mean = sum_z / sum_w
    variance = np.nan
    if kept > 1.0 + 1e-9:
        variance = max(sum_z2 / sum_w - mean * mean, 0.0) * kept / (kept - 1.0)
    return centre + mean, variance, kept, flagged


@njit(cache=True, inline="always")
def _locate(
    points: Any,
    start: int,
    size: int,
    t: Any,
    x0: float,
    y0: float,
    cell: float,
    rows: int,
    cols: int,
    band: float,
    mask: Any,
    keys: Any,
    heights: Any,
) -> None:
    """Cell numbers and heights of a block of points.

    Blocks keep the arithmetic apart from the scattered reads and writes, so that many of those run at once.
    """
    for i in range(size):
        keys[i] = -1
        if len(mask) == 0 or mask[start + i]:
            keys[i], heights[i] = _key_and_height(points, start + i, t, x0, y0, cell, rows, cols, band)


@njit(cache=True, nogil=True)
def grid_raw(
    points: Any,
    t: Any,
    x0: float,
    y0: float,
    cell: float,
    rows: int,
    cols: int,
    band: float,
    weight: Any,
    mask: Any,
) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any], NDArray[Any], NDArray[Any]]:
    """Grid ``points`` (n, 3) float32; empty ``weight`` or ``mask``: none. Returns the fields of ``RawCells``, flat.

    ``t`` is the top (3, 4) of floor_from_points.
    """
    cells = rows * cols
    keys, heights = np.empty(_BLOCK, dtype=np.int32), np.empty(_BLOCK, dtype=np.float32)
    count = np.zeros(cells, dtype=np.int32)
    for start in range(0, len(points), _BLOCK):
        size = min(_BLOCK, len(points) - start)
        _locate(points, start, size, t, x0, y0, cell, rows, cols, band, mask, keys, heights)
        for i in range(size):
            if keys[i] >= 0:
                count[keys[i]] += 1
    end = np.empty(cells, dtype=np.int64)
    total = 0
    for k in range(cells):
        end[k] = total
        total += count[k]
    z = np.empty(total, dtype=np.float32)
    w = np.empty(total if len(weight) > 0 else 0, dtype=np.float32)
    for start in range(0, len(points), _BLOCK):
        size = min(_BLOCK, len(points) - start)
        _locate(points, start, size, t, x0, y0, cell, rows, cols, band, mask, keys, heights)
        for i in range(size):
            if keys[i] >= 0:
                place = end[keys[i]]
                z[place] = heights[i]
                if len(weight) > 0:
                    w[place] = weight[start + i]
                end[keys[i]] = place + 1
    mean, variance, kept, flagged = _cells(z, w, count, end)
    return mean, variance, kept, count, flagged


@njit(cache=True, nogil=True)
def _cells(z: Any, w: Any, count: Any, end: Any) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any], NDArray[Any]]:
    """Work out every cell from its run of readings, the ``count`` ones before ``end``."""
    cells, weighted = len(count), len(w) > 0
    mean = np.full(cells, np.nan, dtype=np.float32)
    variance = np.full(cells, np.nan, dtype=np.float32)
    kept = np.zeros(cells, dtype=np.float32)
    flagged = np.zeros(cells, dtype=np.bool_)
    spare = np.empty((3, _RANK_LIMIT), dtype=np.float32)
    for k in range(cells):
        if count[k] > 0:
            run = z[end[k] - count[k] : end[k]]
            run_w = w[end[k] - count[k] : end[k]] if weighted else w
            _sort(run, run_w, weighted, spare)
            mean[k], variance[k], kept[k], flagged[k] = _cell(run, run_w, weighted)
    return mean, variance, kept, flagged
