"""No bar goes below the floor: answers moved the shortest way to where that holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from scipy.sparse import csr_matrix

    from flatscan.surface.readings.normal import Normal

#: A floor this far above a bar's edge is still not beneath it: grit, and bumps smaller than a cell, twice as much as a
#: contact is sure to. Held to the hair, hundreds of bounds at once would take bars that nearly touch for a proof of
#: more than was read: intervals then hold 89 % of floors read with bars, not 95 %.
GIVE_MM = 0.2
#: A floor this far above that is rounding.
_TOUCH_MM = 1e-6
#: Two bars on the same place say the same: this share of their variance keeps the equations solvable.
_RIDGE = 1e-10


def kept_above(x_mm: NDArray[np.float64], equations: Normal, bounds: csr_matrix) -> NDArray[np.float64]:
    """Answers (n + k, d) moved to where ``bounds`` @ answer >= −``GIVE_MM``, as little as can be for ``equations``.

    min (y − x)' N (y − x) subject to G y >= −g is reached at y = x + N⁻¹ G' λ with λ >= 0 that solves the dual
    min ½ λ' S λ + λ' (G x + g), S = G N⁻¹ G' (Lawson & Hanson, Solving least squares problems, ch. 23, from memory).
    Only rows that some answer breaks are taken in, until none is broken.
    """
    slack = bounds @ x_mm + GIVE_MM
    held = np.any(slack < -_TOUCH_MM, axis=1)
    moved = x_mm
    while True:
        broken = np.any(bounds @ moved < -GIVE_MM - _TOUCH_MM, axis=1)
        if not np.any(broken & ~held) and moved is not x_mm:
            return moved
        held |= broken
        if not held.any():
            return x_mm
        rows = bounds[held]
        push = equations.solve(rows.T.toarray())
        moved = x_mm + push @ _forces(np.asarray(rows @ push), slack[held])


def _forces(stiffness: NDArray[np.float64], slack: NDArray[np.float64]) -> NDArray[np.float64]:
    """(r, d) λ >= 0 of the dual for each answer (column): least squares of the stiffness' root, λ kept from below 0."""
    from scipy.linalg import cholesky, solve_triangular
    from scipy.optimize import nnls

    root = cholesky(stiffness + _RIDGE * np.diag(stiffness.diagonal()))
    target = -solve_triangular(root, slack, trans="T")
    return np.stack([nnls(root, one)[0] for one in target.T], axis=1)
