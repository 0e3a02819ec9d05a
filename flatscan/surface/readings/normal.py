"""The normal equations of readings and prior, factored once for each strength of the prior."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from scipy.sparse import csc_matrix, csr_matrix

    from flatscan.surface.readings.observations import Observations

#: Heights, and unknowns of which nothing is assumed, are held this weakly to where they first came to lie: only what
#: no reading tells (the plane of a floor read with straightedges alone) feels it, and nothing that is told hangs on it.
ANCHOR_MM = 1000.0
#: Passes of moving the anchor to the last answer. A plane that readings do tell is pulled by less than a millionth.
_ANCHOR_PASSES = 3
#: Anchors for counting what a prior leaves free, as shares of its stiffest node: a room's softest bend has 1e-7 of it.
_WEAK = (1e-13, 1e-11)


@dataclass(frozen=True, slots=True, eq=False)
class Normal:
    """``readings`` (m, n + k) and ``assumed`` (p, n + k) over their standard uncertainties, and their factor.

    The matrix is readings' · readings + assumed' · assumed + anchor.
    """

    readings: csr_matrix
    assumed: csr_matrix
    anchor: NDArray[np.float64]
    matrix: csr_matrix
    factor: Any

    @property
    def log_determinant(self) -> float:
        """Of the matrix. The factor's pivots stand on the diagonal of U, for rows and columns are swapped alike."""
        return float(np.sum(np.log(np.abs(self.factor.U.diagonal()))))

    def solve(self, right: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n + k, …) solution of matrix @ x = right."""
        return np.asarray(self.factor.solve(np.ascontiguousarray(right)), dtype=np.float64)

    def mean(self, scaled_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n + k, …) unknowns that readings over their uncertainty (m, …) make most likely."""
        pull = self.readings.T @ scaled_mm
        x = self.solve(pull)
        for _ in range(_ANCHOR_PASSES):
            x = self.solve(pull + (self.anchor * x.T).T)
        return x

    def scatter(self, draws: int, rng: np.random.Generator) -> NDArray[np.float64]:
        """(n + k, draws) departures from the mean: readings and prior shaken by their own uncertainty, solved again."""
        shaken = self.readings.T @ rng.standard_normal((self.readings.shape[0], draws))
        return self.solve(shaken + self.assumed.T @ rng.standard_normal((self.assumed.shape[0], draws)))


def rank_of(prior: csr_matrix) -> int:
    """Rank of a prior's rows: n less what they leave free (a plane for each piece of floor, more on narrow strips).

    Two anchors far weaker than the softest bend: the determinants of prior' · prior + anchor differ by their ratio once
    for each direction that is left free.
    """
    from scipy.sparse import diags_array

    size = prior.shape[1]
    energy = (prior.T @ prior).tocsc()
    scale = float(energy.diagonal().max())
    low, high = (_log_determinant(energy + diags_array(np.full(size, weak * scale)).tocsc()) for weak in _WEAK)
    free = (high - low) / math.log(_WEAK[1] / _WEAK[0])
    return int(size - round(free))


def _factor(matrix: csc_matrix) -> Any:
    from scipy.sparse.linalg import splu

    return splu(matrix.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})


def _log_determinant(matrix: csc_matrix) -> float:
    """Of a positive definite matrix: its pivots stand on the diagonal of U, for rows and columns are swapped alike."""
    return float(np.sum(np.log(np.abs(_factor(matrix).U.diagonal()))))


def normal(observations: Observations, prior: csr_matrix, kappa: float) -> Normal:
    """Factor the normal equations for one strength of the prior.

    ``prior`` (p, n) for the heights, or (p, n + k) where it holds others of the unknowns too (bends of room size).
    """
    from scipy.sparse import csr_matrix, diags_array, hstack, vstack

    sigma = observations.nuisance_sigma_mm
    bounded = np.isfinite(sigma)
    own = diags_array(np.where(bounded, 1.0 / sigma, 0.0)).tocsr()[bounded]
    readings = (diags_array(1.0 / observations.sigma_mm) @ observations.design).tocsr()
    unknowns, floor = readings.shape[1], readings.shape[1] - len(sigma)
    # A prior of the heights alone says nothing of the others.
    wide = hstack([prior, csr_matrix((prior.shape[0], unknowns - prior.shape[1]))])
    assumed = vstack([wide / kappa, hstack([csr_matrix((own.shape[0], floor)), own])]).tocsr()
    anchor = np.full(readings.shape[1], ANCHOR_MM**-2)
    matrix = (readings.T @ readings + assumed.T @ assumed + diags_array(anchor)).tocsc()
    return Normal(readings, assumed, anchor, matrix, _factor(matrix))
