"""Cells that few or poor readings fell in take in the readings of the cells around them.

A worst gap is a maximum, and a hundred cells known to 0.2 mm say nothing beside one known to 1.5 mm: at the rim of
what a scanner saw a handful of such cells hid every gap of the floor. The readings to help them lie next door.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: A cell this many times as uncertain as the usual one is helped.
POOR_TIMES = 2.0
_SIDE = 3


def poor_cells(white_mm: NDArray[np.float32]) -> NDArray[np.bool_]:
    """(rows, cols) bool: cells more than twice as uncertain as the median one."""
    known = np.isfinite(white_mm)
    if not known.any():
        return known
    return known & (np.nan_to_num(white_mm) > POOR_TIMES * float(np.median(white_mm[known])))


def pooled(
    height_mm: NDArray[np.float32], white_mm: NDArray[np.float32], estimate_mm: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Heights and white uncertainties with poor cells averaged over the 3 x 3 cells around them.

    Parameters
    ----------
    height_mm, white_mm : (rows, cols) float32, NaN where not seen
    estimate_mm : (rows, cols) float32, the floor's shape as far as it is known: what is averaged is the rest, so that
        slope and curvature bring no error in

    Returns
    -------
    height_mm, white_mm : where poor, the mean weighted by 1/white² and the standard uncertainty of that mean; elsewhere
        as they came. Neighbours' figures are used as they came, so the order does not matter
    """
    from scipy.ndimage import uniform_filter

    poor = poor_cells(white_mm)
    if not poor.any():
        return height_mm, white_mm
    known = np.isfinite(height_mm) & (np.nan_to_num(white_mm) > 0)
    weight = np.where(known, 1.0 / np.square(np.where(known, white_mm, 1.0).astype(np.float64)), 0.0)
    rest = np.where(known, height_mm.astype(np.float64) - estimate_mm, 0.0)
    # Rounding of running sums is far below a poor cell's own weight.
    total = np.maximum(uniform_filter(weight, _SIDE, mode="constant") * _SIDE**2, weight)
    mean = uniform_filter(weight * rest, _SIDE, mode="constant") * _SIDE**2 / np.where(total > 0, total, 1.0)
    return (
        np.where(poor, estimate_mm + mean, height_mm).astype(np.float32),
        np.where(poor, 1.0 / np.sqrt(np.where(total > 0, total, 1.0)), white_mm).astype(np.float32),
    )
