"""Factors of sparse symmetric positive definite matrices, and what is read off them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix, spmatrix

#: Anchors for counting what a prior leaves free, as shares of its stiffest node: a room's softest bend has 1e-7 of it.
_WEAK = (1e-13, 1e-11)


def factored(matrix: spmatrix) -> Any:
    """Factor by SuperLU, rows and columns swapped alike and pivots taken from the diagonal, as a Cholesky factor is."""
    from scipy.sparse.linalg import splu

    return splu(matrix.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})


def log_determinant_of(factor: Any) -> float:
    """The pivots stand on the diagonal of U, and L has ones there."""
    return float(np.sum(np.log(np.abs(factor.U.diagonal()))))


def log_determinant(matrix: spmatrix) -> float:
    """Of a positive definite matrix."""
    return log_determinant_of(factored(matrix))


def rank_of(rows: csr_matrix) -> int:
    """Rank of a prior's rows: n less what they leave free (a plane for each piece of floor, more on narrow strips).

    Two anchors far weaker than the softest bend: the determinants of rows' · rows + anchor differ by the anchors'
    ratio once for each direction that is left free.
    """
    from scipy.sparse import diags_array

    size = rows.shape[1]
    energy = rows.T @ rows
    scale = float(energy.diagonal().max())
    low, high = (log_determinant(energy + diags_array(np.full(size, weak * scale))) for weak in _WEAK)
    return int(size - round((high - low) / math.log(_WEAK[1] / _WEAK[0])))
