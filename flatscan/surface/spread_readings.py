"""Readings off any grid, spread onto one: linear between neighbours, with the doubt that adds."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Neighbours further apart than this many spacings are not neighbours: the corner of an L is not floor.
_FAR = 2.6


def interpolated_nodes(
    xyz_mm: NDArray[np.float64], corner_mm: NDArray[np.float64], step_mm: float, sigma_mm: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int32]]:
    """Heights, their standard uncertainties and the readings in reach on nodes ``corner + (index + ½) step``.

    A node is the mean of its triangle's three readings with barycentric weights w (Delaunay triangles).
    With σ of a reading and m the root mean square by which the same rule misses readings left out,
    u² = σ² Σw² + m² (1 − Σw²): σ on a reading, growing to the middle of a triangle. Triangles with a side
    longer than 2.6 steps are empty, so that the corner of an L is not filled.

    Returns
    -------
    height, sigma : (rows, cols) float64, NaN beyond the readings
    count : (rows, cols) int32, readings the node rests on (0 or 3)
    """
    cols, rows = (np.floor((xyz_mm[:, :2].max(axis=0) - corner_mm) / step_mm + 0.51)).astype(int)
    col, row = np.meshgrid(np.arange(cols), np.arange(rows))
    at = np.stack([corner_mm[0] + (col.ravel() + 0.5) * step_mm, corner_mm[1] + (row.ravel() + 0.5) * step_mm], axis=1)
    height, squares = _linear(xyz_mm, at, _FAR * step_mm)
    missed = _missed_mm(xyz_mm, _FAR * step_mm, sigma_mm)
    sigma = np.sqrt(sigma_mm**2 * squares + missed**2 * (1.0 - squares))
    count = np.where(np.isfinite(height), 3, 0).astype(np.int32)
    return height.reshape(rows, cols), sigma.reshape(rows, cols), count.reshape(rows, cols)


def _linear(
    xyz_mm: NDArray[np.float64], at_mm: NDArray[np.float64], far_mm: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Height at each place and the sum of its squared weights; NaN outside near triangles."""
    from scipy.spatial import Delaunay

    mesh = Delaunay(xyz_mm[:, :2])
    # A place on the hull's border counts as within it in spite of rounding.
    found = mesh.find_simplex(at_mm, tol=1e-6)
    corners = mesh.simplices[found]
    frames = mesh.transform[found]
    first = np.einsum("nij,nj->ni", frames[:, :2], at_mm - frames[:, 2])
    weights = np.column_stack([first, 1.0 - first.sum(axis=1)])
    places = xyz_mm[corners, :2]
    longest = np.linalg.norm(places - np.roll(places, 1, axis=1), axis=2).max(axis=1)
    # A place on a reading is known whatever the triangle is like.
    ok = (found >= 0) & ((longest <= far_mm) | (weights.max(axis=1) > 1.0 - 1e-6))
    height = np.where(ok, np.einsum("ni,ni->n", weights, xyz_mm[corners, 2]), np.nan)
    return height, np.where(ok, np.square(weights).sum(axis=1), np.nan)


def _missed_mm(xyz_mm: NDArray[np.float64], far_mm: float, sigma_mm: float) -> float:
    """Root mean square by which the rule misses readings left out one by one, never less than a reading's sigma.

    A left-out reading leaves a gap twice as wide as the readings' own, so this errs on the careful side.
    """
    misses = []
    chosen = np.unique(np.linspace(0, len(xyz_mm) - 1, 200).astype(int))
    for k in chosen if len(xyz_mm) > 4 else ():  # noqa: PLR2004 - three must be left for a triangle and one to miss
        height, _ = _linear(np.delete(xyz_mm, k, axis=0), xyz_mm[k : k + 1, :2], 2.0 * far_mm)
        if np.isfinite(height[0]):
            misses.append(float(height[0] - xyz_mm[k, 2]))
    return max(sigma_mm, float(np.sqrt(np.mean(np.square(misses)))) if misses else sigma_mm)
