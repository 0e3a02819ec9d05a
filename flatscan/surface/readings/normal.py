"""The normal equations of readings and prior, factored once for each strength of the prior."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.surface.readings.factors import factored, log_determinant_of

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from scipy.sparse import csr_matrix

    from flatscan.surface.readings.observations import Observations

#: Unknowns of which nothing is assumed are held this weakly to where they first came to lie: only what no reading tells
#: (the plane of a floor read with straightedges alone) feels it, and nothing that is told hangs on it.
ANCHOR_MM = 1000.0
#: Passes of moving the anchor to the last answer. A plane that readings do tell is pulled by less than a millionth.
_ANCHOR_PASSES = 3


@dataclass(frozen=True, slots=True, eq=False)
class Normal:
    """Readings and assumptions on n heights and k other unknowns, factored.

    ``readings`` (m, n + k) and ``assumed`` (p, n + k) csr, each row over its standard uncertainty; ``anchor`` (n + k,)
    1/mm². ``factor`` is that of readings' · readings + assumed' · assumed + anchor.
    """

    readings: csr_matrix
    assumed: csr_matrix
    anchor: NDArray[np.float64]
    factor: Any

    @property
    def log_determinant(self) -> float:
        """Of the matrix factored."""
        return log_determinant_of(self.factor)

    def solve(self, right: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n + k, …) solution of matrix @ x = right."""
        return np.asarray(self.factor.solve(np.ascontiguousarray(right)), dtype=np.float64)

    def mean(self, scaled_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n + k,) unknowns that readings over their uncertainty (m,) make most likely."""
        pull = self.readings.T @ scaled_mm
        x = self.solve(pull)
        for _ in range(_ANCHOR_PASSES):
            x = self.solve(pull + self.anchor * x)
        return x

    def scatter(self, draws: int, rng: np.random.Generator) -> NDArray[np.float64]:
        """(n + k, draws) departures from the mean: readings and prior shaken by their uncertainty, solved again."""
        shaken = self.readings.T @ rng.standard_normal((self.readings.shape[0], draws))
        return self.solve(shaken + self.assumed.T @ rng.standard_normal((self.assumed.shape[0], draws)))


def normal(observations: Observations, prior: csr_matrix, kappa: float, *, proper: bool = False) -> Normal:
    """Factor the normal equations for one strength of the prior.

    ``prior`` (p, n) for the heights, or (p, n + k) where it holds others of the unknowns too (bends of room size).
    ``proper``: it leaves no shape of the heights free, so that they need no anchor.
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
    free = np.concatenate([np.full(floor, not proper), ~bounded])
    anchor = np.where(free, ANCHOR_MM**-2, 0.0)
    return Normal(
        readings, assumed, anchor, factored(readings.T @ readings + assumed.T @ assumed + diags_array(anchor))
    )
