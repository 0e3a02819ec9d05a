"""Two free planes either side of a joint by generalised least squares, and the lip between them.

The height of a cell at u along the joint and v square to it (+ to the left) is

    h = (a_L + b_L u + c_L v  or  a_R + b_R u + c_R v) + bow + noise,

and the lip at u is (a_L - a_R) + (b_L - b_R) u: the two planes carried on to the middle line v = 0. The planes are
free: tiles tilt. Bow is a random effect of known spread, for every side its own (the tile's) and one both share (the
floor's large shape, the camera's own bend): a shared bow lifts both intercepts of like bands alike and so cancels, and
where the bands differ the weights see to it (a Bayesian would call it a prior on the three curvatures). Noise is white
noise over the cell's number of samples plus a field with covariance C² exp(-d²/2L²), averaged over the cells: a square
of side s has the second moment s²/12 each way, and for the Gaussian covariance the mean over two such cells is close to
C² L²/(L² + s²/6) exp(-d²/2(L² + s²/6)). The estimate is Aitken's (best linear unbiased for that covariance); its
covariance is the sum of the parts' own, kept apart for the budget.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

#: Rounding and surface texture of a face (assumption): no cell is trusted further.
_FLOOR_MM2 = 0.01**2
_FAR_OFF = 3.5
_PLANES = 6


@njit(cache=True)
def shared_noise(cells: Any, size: float, length: float) -> Any:
    """(k, k) covariance of the unit correlated field, averaged over the cells."""
    n = len(cells)
    wide2 = length * length + size * size / 6.0
    top = length * length / wide2
    out = np.empty((n, n))
    for i in range(n):
        out[i, i] = top
        for j in range(i):
            du, dv = cells[i, 0] - cells[j, 0], cells[i, 1] - cells[j, 1]
            out[i, j] = out[j, i] = top * np.exp(-0.5 * (du * du + dv * dv) / wide2)
    return out


@njit(cache=True)
def bows(cells: Any, left: int) -> tuple[Any, Any]:
    """(k, 3) shapes u²/2, uv, v²/2 of a bow both sides share, and (k, 6) of each side's own."""
    n = len(cells)
    shared, own = np.zeros((n, 3)), np.zeros((n, 6))
    for i in range(n):
        u, v = cells[i, 0], cells[i, 1]
        shared[i, 0], shared[i, 1], shared[i, 2] = u * u / 2.0, u * v, v * v / 2.0
        offset = 0 if i < left else 3
        for k in range(3):
            own[i, offset + k] = shared[i, k]
    return shared, own


@njit(cache=True)
def planes_of(cells: Any, left: int) -> Any:
    """(k, 6) design of the two planes; the first ``left`` cells lie to the left."""
    n = len(cells)
    design = np.zeros((n, _PLANES))
    for i in range(n):
        offset = 0 if i < left else 3
        design[i, offset] = 1.0
        design[i, offset + 1] = cells[i, 0]
        design[i, offset + 2] = cells[i, 1]
    return design


@njit(cache=True)
def fit_pair(
    cells: Any, left: int, size: float, white2: float, correlated2: float, length: float, bow2: float, own2: float
) -> Any:
    """Row of 15: what the pair says.

    Lip at the middle and slope; covariances (middle, middle · slope, slope) from white noise, correlated noise, shared
    bow and own bow; the whitened square of the residuals over its expectation.

    Parameters
    ----------
    cells : (k, 4) see ``cells_kernel.gather``, those to the left first
    white2 : variance of one sample's white noise; correlated2, length : of the field
    bow2, own2 : variance of the curvatures (1/mm²) of the shared and of each side's own bow
    """
    n = len(cells)
    design = planes_of(cells, left)
    shared, own = bows(cells, left)
    field = correlated2 * shared_noise(cells, size, length)
    bow = bow2 * (shared @ shared.T)
    warp = own2 * (own @ own.T)
    white = _FLOOR_MM2 + white2 / np.ascontiguousarray(cells[:, 3])
    result = np.zeros(15)
    right = np.empty((n, _PLANES + 1))
    right[:, :_PLANES] = design
    height = np.ascontiguousarray(cells[:, 2])
    right[:, _PLANES] = height
    for turn in range(2):
        total = field + bow + warp
        for i in range(n):
            total[i, i] += white[i]
        solved = np.linalg.solve(total, right)
        against = np.ascontiguousarray(solved[:, :_PLANES])
        reader = np.ascontiguousarray(np.linalg.inv(design.T @ against) @ against.T)
        planes = reader @ height
        rest = height - design @ planes
        square = rest @ (solved[:, _PLANES] - against @ planes)
        scale2 = max(square / max(n - _PLANES, 1), 1e-12)
        strays = 0
        if turn == 0:
            for i in range(n):
                if rest[i] * rest[i] > _FAR_OFF * _FAR_OFF * scale2 * total[i, i]:
                    white[i] += rest[i] * rest[i]
                    strays += 1
        if strays == 0:
            break
    lip = reader[:2] - reader[3:5]
    result[0], result[1] = lip[0] @ height, lip[1] @ height
    for k in range(4):
        part = np.diag(white) if k == 0 else (field if k == 1 else (bow if k == 2 else warp))  # noqa: PLR2004
        spread = lip @ part @ lip.T
        result[2 + 3 * k] = spread[0, 0]
        result[3 + 3 * k] = spread[0, 1]
        result[4 + 3 * k] = spread[1, 1]
    result[14] = scale2
    return result
