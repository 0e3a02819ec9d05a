"""The compiled part of reading the noise: heights freed of planes and bow, their covariance made tridiagonal.

Plain loops on purpose: on matrices this small the threads of a linear algebra library wait for each other longer than
the work takes.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit


@njit(cache=True)
def _reflect(v: Any, first: int, field: Any, height: Any) -> None:
    """Both sides of ``field`` and ``height`` through H = 1 - 2 v v' / v'v; v is zero before ``first``."""
    n = len(height)
    square = 0.0
    for i in range(first, n):
        square += v[i] * v[i]
    if square == 0.0:
        return
    along = 0.0
    for i in range(first, n):
        along += v[i] * height[i]
    for i in range(first, n):
        height[i] -= 2.0 * along / square * v[i]
    w = np.zeros(n)
    for i in range(n):
        total = 0.0
        for j in range(first, n):
            total += field[i, j] * v[j]
        w[i] = 2.0 * total / square
    along = 0.0
    for i in range(first, n):
        along += v[i] * w[i]
    for i in range(first, n):
        w[i] -= along / square * v[i]
    # H F H = F - v w' - w v'; rows and columns before ``first`` have one of the two.
    for i in range(n):
        vi = v[i] if i >= first else 0.0
        for j in range(n):
            vj = v[j] if j >= first else 0.0
            field[i, j] -= vi * w[j] + w[i] * vj


@njit(cache=True)
def _mirror(x: Any, first: int) -> Any:
    """Vector whose reflection turns ``x`` from ``first`` on into a multiple of the first unit vector there."""
    v = np.zeros(len(x))
    length = 0.0
    for i in range(first, len(x)):
        v[i] = x[i]
        length += x[i] * x[i]
    v[first] += np.sqrt(length) if x[first] >= 0.0 else -np.sqrt(length)
    return v


@njit(cache=True)
def tridiagonal(design: Any, field: Any, height: Any) -> Any:
    """(3, k - p) diagonal and next diagonal of the field's covariance, and the heights, in contrasts free of design.

    Householder's reflections, first those that clear the ``p`` columns of ``design`` (k, p), whose rows are then
    left out, then those that make the covariance tridiagonal. The arguments are used up.
    """
    n, p = design.shape
    for c in range(p):
        v = _mirror(design[:, c], c)
        square = (v * v).sum()
        for d in range(c, p):
            along = (v * design[:, d]).sum()
            for i in range(c, n):
                design[i, d] -= 2.0 * along / square * v[i]
        _reflect(v, c, field, height)
    rest, seen = field[p:, p:].copy(), height[p:].copy()
    m = n - p
    for k in range(m - 2):
        _reflect(_mirror(rest[:, k], k + 1), k + 1, rest, seen)
    out = np.zeros((3, m))
    for k in range(m):
        out[0, k] = rest[k, k]
        out[1, k] = rest[k, k + 1] if k + 1 < m else 0.0
        out[2, k] = seen[k]
    return out


@njit(cache=True)
def weighed(rows: Any, ratio: float) -> tuple[float, float]:
    """Log determinant of 1 + ratio · T and the square of the heights in it, T tridiagonal (see ``tridiagonal``)."""
    log, square, before, carried = 0.0, 0.0, 1.0, 0.0
    for k in range(rows.shape[1]):
        step = ratio * rows[1, k - 1] if k > 0 else 0.0
        share = step / before
        # Rounding may leave a covariance a little less than positive.
        pivot = max(1.0 + ratio * rows[0, k] - share * step, 1e-9)
        value = rows[2, k] - share * carried
        log += np.log(pivot)
        square += value * value / pivot
        before, carried = pivot, value
    return log, square
