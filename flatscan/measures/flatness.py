"""Flatness parameters of ISO 12781-1:2011 about the least-squares and the minimum-zone plane."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.measurement import Flatness
from flatscan.measures.replicas import free
from flatscan.surface.plane_zone import minimum_zone
from flatscan.surface.planes import fit_least_squares

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.replicas import Moments

#: Order of the figures in arrays.
PARAMETERS = ("fltt", "fltp", "fltv", "fltq", "fltt_minimum_zone")


def flatness_parameters(height_mm: NDArray[np.floating], cell_mm: float) -> NDArray[np.float64]:
    """FLTt, FLTp, FLTv, FLTq about the LSPL and FLTt about the MZPL, mm, in the order of ``PARAMETERS``.

    FLTp is the highest point above the plane, FLTv the depth of the lowest below it, FLTt their sum, FLTq
    the root mean square (names and planes: ISO 12781-1:2011, from memory). The LSPL weighs all cells
    alike. Deviations are taken along the map's own z, within 0.02 % of the normal for slopes below 2 %.

    Parameters
    ----------
    height_mm : (rows, cols); NaN is not seen. Fewer than three cells, or cells on a line, have no plane:
        the mean height stands for it
    cell_mm : side of a cell
    """
    row, col = np.nonzero(np.isfinite(height_mm))
    z = height_mm[row, col].astype(np.float64)
    if len(z) == 0:
        return np.zeros(len(PARAMETERS))
    x, y = col * cell_mm, row * cell_mm
    try:
        plane = fit_least_squares(x, y, z).plane
        deviation = plane.vertical_mm(x, y, z)
        zone = 2.0 * minimum_zone(x, y, z)[1]
    except ValueError:
        deviation = z - z.mean()
        zone = float(np.ptp(z))
    peak, valley = float(deviation.max()), float(-deviation.min())
    return np.array([peak + valley, peak, valley, float(np.sqrt(np.mean(deviation**2))), zone])


def flatness(
    fine: NDArray[np.float64], measured: NDArray[np.float64], base: NDArray[np.float64], moments: Moments
) -> Flatness:
    """The parameters freed of noise, as quantities. Arrays in the order of ``PARAMETERS``.

    Parameters
    ----------
    fine : parameters of the smoothed heights on the surface's own cells
    measured, base : of the measured and the smoothed heights on the cells that were simulated
    moments : over the simulated captures
    """
    freed = free(fine, measured, base, moments)
    return Flatness(**dict(zip(PARAMETERS, freed, strict=True)))
