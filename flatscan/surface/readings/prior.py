"""What is assumed of a floor between its readings: it bends no more than it must (a thin plate)."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.readings.nodes import crosses

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from scipy.sparse import csr_matrix

    from flatscan.sources.hand.field_readings import StepLine
    from flatscan.surface.readings.nodes import Nodes

#: (row, column, weight) of each difference: curvature along x, along y, and twist.
_ALONG_X = ((0, -1, 1.0), (0, 0, -2.0), (0, 1, 1.0))
_ALONG_Y = ((-1, 0, 1.0), (0, 0, -2.0), (1, 0, 1.0))
_TWIST = ((0, 0, 2**0.5), (0, 1, -(2**0.5)), (1, 0, -(2**0.5)), (1, 1, 2**0.5))
#: Third differences: along x, along y, and the two mixed ones.
_JERK_X = ((0, -1, -1.0), (0, 0, 3.0), (0, 1, -3.0), (0, 2, 1.0))
_JERK_Y = ((-1, 0, -1.0), (0, 0, 3.0), (1, 0, -3.0), (2, 0, 1.0))
_JERK_XXY = tuple((row, col, 3**0.5 * up * w) for row, up in ((0, -1.0), (1, 1.0)) for _, col, w in _ALONG_X)
_JERK_XYY = tuple((row, col, w) for col, row, w in _JERK_XXY)
_RISE_X = ((0, 0, -1.0), (0, 1, 1.0))
_RISE_Y = ((0, 0, -1.0), (1, 0, 1.0))


def thin_plate(nodes: Nodes, steps: Sequence[StepLine] = ()) -> csr_matrix:
    """(p, n) rows whose sum of squares is the thin plate's bending energy, ∫ u_xx² + 2 u_xy² + u_yy² dA.

    Each difference is divided by h² and multiplied by h, the root of a cell's area, so that the sum does not depend on
    the cell (Duchon 1977; Wahba, Spline models for observational data, 1990, 2.4: from memory). A difference that
    would reach out of the floor or across a step is left out: a step's two sides know nothing of each other.
    """
    from scipy.sparse import vstack

    bends = [_differences(nodes, stencil, steps) for stencil in (_ALONG_X, _ALONG_Y, _TWIST)]
    return vstack(bends).tocsr() / nodes.spacing_mm


def slopes(nodes: Nodes, steps: Sequence[StepLine] = ()) -> csr_matrix:
    """(p, n) rows whose sum of squares is ∫ |∇u|² dA: each difference over h, times the root of a cell's area."""
    from scipy.sparse import vstack

    return vstack([_differences(nodes, stencil, steps) for stencil in (_RISE_X, _RISE_Y)]).tocsr()


def bend_changes(nodes: Nodes, steps: Sequence[StepLine] = ()) -> csr_matrix:
    """(p, n) rows whose sum of squares is ∫ u_xxx² + 3 u_xxy² + 3 u_xyy² + u_yyy² dA: how much the bend changes."""
    from scipy.sparse import vstack

    changes = [_differences(nodes, stencil, steps) for stencil in (_JERK_X, _JERK_Y, _JERK_XXY, _JERK_XYY)]
    return vstack(changes).tocsr() / nodes.spacing_mm**2


def _differences(nodes: Nodes, stencil: tuple[tuple[int, int, float], ...], steps: Sequence[StepLine]) -> csr_matrix:
    """One kind of difference, wherever all of its nodes are floor and none lies across a step from another."""
    from scipy.sparse import csr_matrix

    offsets = np.array([(row, col) for row, col, _ in stencil])
    at = np.argwhere(nodes.inside)[:, None, :] + offsets
    rows, cols = nodes.inside.shape
    within = np.all((at >= 0) & (at < (rows, cols)), axis=(1, 2))
    at = at[within]
    number: NDArray[np.int64] = nodes.index[at[..., 0], at[..., 1]]
    whole = np.all(number >= 0, axis=1)
    at, number = at[whole], number[whole]
    if steps:
        xy = nodes.xy_mm[number]
        cut = np.zeros(len(number), dtype=bool)
        for i in range(len(stencil)):
            for j in range(i):
                cut |= crosses(xy[:, j], xy[:, i], steps)
        number = number[~cut]
    weight = np.array([value for _, _, value in stencil])
    line = np.repeat(np.arange(len(number)), len(stencil))
    values = np.tile(weight, len(number))
    return csr_matrix((values, (line, number.ravel())), shape=(len(number), nodes.count))
