"""Tilt and bow of whole tiles, apart from the lips at their joints."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import MM_PER_M
from flatscan.measures.joints.joints import MeasuredFace
from flatscan.quantity import Quantity

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.joints.network import Face, JointNetwork
    from flatscan.surface.surface import Surface

#: Where u is larger nothing useful is known.
_MOST_U_MM = 3.0
#: The large shape about a tile is the plane through the floor this many tile sizes about it.
_AROUND = 1.5
_LEAST_CELLS = 8
#: Cells so near a joint hold some of it, or of its smoothing.
_CLEAR_CELLS = 0.75


def measured_faces(surface: Surface, network: JointNetwork) -> tuple[MeasuredFace, ...]:
    """Tilt against the floor around each tile and the bow of its middle, from the height map's cells on it."""
    row, col = np.nonzero(surface.seen)
    xy = np.column_stack([col + 0.5, row + 0.5]) * surface.cell_mm + np.array(surface.origin_mm)
    height = surface.height_mm[row, col].astype(np.float64)
    white2 = np.square(surface.white_mm[row, col].astype(np.float64))
    order = np.argsort(xy[:, 0], kind="stable")
    cells = np.column_stack([xy, height, white2])[order]
    return tuple(_face(index, face, cells, surface) for index, face in enumerate(network.faces))


def _face(index: int, face: Face, cells: NDArray[np.float64], surface: Surface) -> MeasuredFace:
    """None for both where too few cells lie clear of the tile's joints."""
    low, high = face.ring.min(axis=0), face.ring.max(axis=0)
    middle, extent = (low + high) / 2.0, float(np.max(high - low))
    around = _within(cells, middle, (0.5 + _AROUND) * extent)
    own = around[_inside(face.ring, around[:, :2]) > _CLEAR_CELLS * surface.cell_mm]
    if len(own) < _LEAST_CELLS:
        return MeasuredFace(index, None, None)
    along = _long_side(face.ring)
    return MeasuredFace(
        index,
        _tilt(own, around, middle, extent, surface),
        _bow(own, face.ring, along, surface),
    )


def _tilt(
    own: NDArray[np.float64], around: NDArray[np.float64], middle: NDArray[np.float64], extent: float, surface: Surface
) -> Quantity | None:
    """Size of the tile's gradient less the surroundings', mm per m.

    A length is never negative: the noise's own mean square is taken off the square (zero where it is larger).
    """
    own_slope, own_cov = _gradient(own, middle, surface)
    large_slope, large_cov = _gradient(around, middle, surface)
    if own_slope is None or large_slope is None:
        return None
    difference = own_slope - large_slope
    noise2 = float(np.trace(own_cov + large_cov))
    size = float(np.sqrt(max(float(difference @ difference) - noise2, 0.0)))
    u = float(np.sqrt(noise2 / 2.0))
    if u * extent / 2.0 > _MOST_U_MM:
        return None
    return Quantity(size * MM_PER_M, u * MM_PER_M, "mm/m")


def _gradient(
    cells: NDArray[np.float64], middle: NDArray[np.float64], surface: Surface
) -> tuple[NDArray[np.float64] | None, NDArray[np.float64]]:
    """(2,) rise along x and y, mm per mm, and its covariance; None where the cells lie on a line."""
    at = cells[:, :2] - middle
    solution, covariance = _fitted(np.column_stack([np.ones(len(at)), at]), cells, surface)
    return (None if solution is None else solution[1:]), covariance[1:, 1:]


def _bow(
    own: NDArray[np.float64], ring: NDArray[np.float64], along: NDArray[np.float64], surface: Surface
) -> Quantity | None:
    """Height of the middle above the mean of the middles of the tile's sides, from a quadratic, + a crown."""
    across = np.array([-along[1], along[0]])
    middle = (ring.min(axis=0) + ring.max(axis=0)) / 2.0
    p, q = (own[:, :2] - middle) @ along, (own[:, :2] - middle) @ across
    long, short = (float(np.ptp((ring - middle) @ way)) for way in (along, across))
    design = np.column_stack([np.ones(len(p)), p, q, p * p, p * q, q * q])
    solution, covariance = _fitted(design, own, surface)
    if solution is None:
        return None
    reader = np.array([0.0, 0.0, 0.0, -(long**2) / 8.0, 0.0, -(short**2) / 8.0])
    u = float(np.sqrt(reader @ covariance @ reader))
    return None if u > _MOST_U_MM else Quantity(float(reader @ solution), u, "mm")


def _fitted(
    design: NDArray[np.float64], cells: NDArray[np.float64], surface: Surface
) -> tuple[NDArray[np.float64] | None, NDArray[np.float64]]:
    """Least squares and its covariance under the surface's own noise model (white and correlated)."""
    from scipy.spatial.distance import cdist

    size = design.shape[1]
    # The sandwich needs a square of the cells: a few hundred stand for all.
    keep = np.linspace(0, len(cells) - 1, min(len(cells), 300)).astype(np.int64)
    design, cells = design[keep], cells[keep]
    scale = np.linalg.norm(design, axis=0)
    if len(design) <= size or np.linalg.matrix_rank(design / scale) < size:
        return None, np.full((size, size), np.nan)
    reader = np.linalg.pinv(design / scale) / scale[:, None]
    noise = surface.noise
    total = noise.correlated_mm**2 * np.exp(-0.5 * np.square(cdist(cells[:, :2], cells[:, :2]) / noise.length_mm))
    total[np.diag_indices(len(cells))] += cells[:, 3]
    return reader @ cells[:, 2], reader @ total @ reader.T


def _within(cells: NDArray[np.float64], middle: NDArray[np.float64], reach_mm: float) -> NDArray[np.float64]:
    """Cells in the square of half side ``reach_mm``; ``cells`` sorted along x."""
    first, last = np.searchsorted(cells[:, 0], [middle[0] - reach_mm, middle[0] + reach_mm])
    strip = cells[first:last]
    near = np.abs(strip[:, 1] - middle[1]) < reach_mm
    return np.asarray(strip[near], dtype=np.float64)


def _inside(ring: NDArray[np.float64], xy: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) distance from the ring, mm, positive inside."""
    import shapely

    polygon = shapely.Polygon(ring)
    points = shapely.points(xy)
    distance = shapely.distance(polygon.exterior, points)
    signed = np.where(shapely.contains(polygon, points), distance, -distance)
    return np.asarray(signed, dtype=np.float64)


def _long_side(ring: NDArray[np.float64]) -> NDArray[np.float64]:
    """(2,) unit vector along the ring's longest side."""
    sides = np.roll(ring, -1, axis=0) - ring
    length = np.linalg.norm(sides, axis=1)
    return np.asarray(sides[np.argmax(length)] / length.max(), dtype=np.float64)
