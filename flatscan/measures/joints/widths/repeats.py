"""Noise of a width: what the residuals say, held against how parts of the same stretch repeat."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Degrees of freedom given to the residuals' figure beside the few that the parts have.
_RESIDUAL_FREEDOM = 4.0
#: Median of chi² with two degrees of freedom, over two (exact: ln 2).
_MEDIAN_OF_TWO = float(np.log(2.0))


def noise_of(fit_u_mm: NDArray[np.float64], part_widths_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """(k,) standard uncertainty of the mean over each stretch.

    Three parts alone say little of their scatter. So the residuals' figure is first scaled by how the parts of all
    stations in the photo scatter against it (median, never below 1), and then pooled with the station's own parts as
    variances with their degrees of freedom.

    Parameters
    ----------
    fit_u_mm : (k,) from the residuals of the whole stretch
    part_widths_mm : (k, p) widths of its parts
    """
    if not len(fit_u_mm):
        return np.empty(0)
    parts = part_widths_mm.shape[1]
    of_parts = part_widths_mm.var(axis=1, ddof=1) / parts
    of_fit = np.maximum(fit_u_mm**2, 1e-12)
    ratio = max(1.0, float(np.median(of_parts / of_fit)) / _MEDIAN_OF_TWO)
    freedom = parts - 1.0
    pooled = (_RESIDUAL_FREEDOM * ratio * of_fit + freedom * of_parts) / (_RESIDUAL_FREEDOM + freedom)
    return np.asarray(np.sqrt(pooled), dtype=np.float64)
