"""No bar goes below the floor: answers moved the shortest way to where that holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from scipy.sparse import csr_matrix

    from flatscan.surface.readings.normal import Normal

#: A floor this far above a bar's edge is not above it: less than anybody reads, more than rounding.
_TOUCH_MM = 1e-6
#: Two bars on the same place say the same: this share of their variance keeps the equations solvable.
_RIDGE = 1e-10


def kept_above(x_mm: NDArray[np.float64], equations: Normal, bounds: csr_matrix) -> NDArray[np.float64]:
    """Answers (n + k, d) moved to where ``bounds`` @ answer >= 0, as little as can be in the metric of ``equations``.

    min (y − x)' N (y − x) subject to G y >= 0 is reached at y = x + N⁻¹ G' λ with λ >= 0 that solves the dual
    min ½ λ' S λ + λ' G x, S = G N⁻¹ G' (Lawson & Hanson, Solving least squares problems, chapter 23: from memory).
    Only rows that some answer breaks are taken in, until none is broken.
    """
    slack = bounds @ x_mm
    held = np.any(slack < -_TOUCH_MM, axis=1)
    moved = x_mm
    while True:
        broken = np.any(bounds @ moved < -_TOUCH_MM, axis=1)
        if not np.any(broken & ~held) and moved is not x_mm:
            return moved
        held |= broken
        if not held.any():
            return x_mm
        rows = bounds[held]
        push = equations.solve(rows.T.toarray())
        stiffness = np.asarray(rows @ push)
        force = np.stack([_forces(stiffness, s) for s in slack[held].T], axis=1)
        moved = x_mm + push @ force


def _forces(stiffness: NDArray[np.float64], slack: NDArray[np.float64]) -> NDArray[np.float64]:
    """(r,) λ >= 0 of the dual for one answer, rows taken in as they are broken."""
    from scipy.linalg import cholesky, solve_triangular
    from scipy.optimize import nnls

    force = np.zeros(len(slack))
    active = slack < -_TOUCH_MM
    while active.any():
        s = stiffness[np.ix_(active, active)]
        s = s + _RIDGE * np.diag(s.diagonal())
        root = cholesky(s)
        force[:] = 0.0
        force[active] = nnls(root, -solve_triangular(root, slack[active], trans="T"))[0]
        broken = (slack + stiffness @ force < -_TOUCH_MM) & ~active
        if not broken.any():
            break
        active |= broken
    return force
