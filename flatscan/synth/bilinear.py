"""Values of a periodic image between its pixels, as a compiled loop."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit

if TYPE_CHECKING:
    from numpy.typing import NDArray


@njit(cache=True)
def between(values: NDArray[np.float32], col: NDArray[np.float64], row: NDArray[np.float64]) -> NDArray[np.float32]:
    """Bilinear values (n,) at places (n,) of an image that repeats; pixel [0, 0] is at (0, 0)."""
    rows, cols = values.shape
    result = np.empty(len(col), np.float32)
    for k in range(len(col)):
        left, low = np.floor(col[k]), np.floor(row[k])
        a, b = col[k] - left, row[k] - low
        i, j = int(left) % cols, int(low) % rows
        right, high = (i + 1) % cols, (j + 1) % rows
        lower = values[j, i] * (1.0 - a) + values[j, right] * a
        upper = values[high, i] * (1.0 - a) + values[high, right] * a
        result[k] = lower * (1.0 - b) + upper * b
    return result
