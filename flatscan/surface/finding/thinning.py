"""A few points that stand for all of them: even in space, so that a dense spot has no more say than a sparse one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

MOST_POINTS = 200_000
_FIRST_CUT = 1_000_000
_TRIAL_VOXEL_MM = 40.0
_VOXEL_RANGE_MM = (8.0, 400.0)
_KEY_BITS = 21


def thin(points_mm: NDArray[np.float32], rng: np.random.Generator, *, most: int = MOST_POINTS) -> NDArray[np.int64]:
    """Rows of at most ``most`` points, one for each occupied voxel.

    Parameters
    ----------
    points_mm : (n, 3) float32, mm, finite
    rng : source of chance
    most : the most rows returned

    Returns
    -------
    rows : (k,) int64, ascending
    """
    rows = _jittered_stride(len(points_mm), rng, _FIRST_CUT)
    points = points_mm[rows]
    trial = len(np.unique(_voxel_keys(points, _TRIAL_VOXEL_MM)))
    # What is scanned is surfaces, so the number of voxels goes with the inverse square of their side.
    voxel_mm = float(np.clip(_TRIAL_VOXEL_MM * (trial / most) ** 0.5, *_VOXEL_RANGE_MM))
    _, first = np.unique(_voxel_keys(points, voxel_mm), return_index=True)
    if len(first) > most:
        first = rng.choice(first, most, replace=False)
    return np.sort(rows[first])


def _jittered_stride(n: int, rng: np.random.Generator, most: int) -> NDArray[np.int64]:
    """One row out of each run of ``n / most``: ascending, so that reading them is quick, and without aliasing."""
    if n <= most:
        return np.arange(n, dtype=np.int64)
    edges = np.linspace(0, n, most + 1).astype(np.int64)
    return edges[:-1] + (rng.random(most) * np.diff(edges)).astype(np.int64)


def _voxel_keys(points_mm: NDArray[np.float32], voxel_mm: float) -> NDArray[np.int64]:
    """One integer for each voxel; voxels 2²¹ apart along an axis share it, which is kilometres."""
    index = np.floor(points_mm / np.float32(voxel_mm)).astype(np.int64) & ((1 << _KEY_BITS) - 1)
    keys: NDArray[np.int64] = (index[:, 0] << (2 * _KEY_BITS)) | (index[:, 1] << _KEY_BITS) | index[:, 2]
    return keys
