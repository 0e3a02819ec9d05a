"""Views of one floor laid on each other: every view may stand a little high or tilted, and their overlaps tell.

Stations are joined to a millimetre or so, and a walked camera loses height by and by. Where two views saw the same
floor, their difference is that error and noise, never the floor. Each view gets the height and the two tilts (a plane
over x and y) that make all of them agree best; only differences between views count, so no bend that all share can
come in or go. Least squares with the floor's own heights eliminated, Huber's weights against things that moved between
views, and a weak prior about zero, which also settles what the overlaps cannot tell (Tikhonov).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.constants import MM_PER_M, SIGMA_PER_MAD
from flatscan.surface.cells.gridding import GridSpec, grid_points

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Cells in which views are compared: large against the noise's range, small against a view.
_CELL_MM = 100.0
#: Points of one view that make a cell's height worth comparing.
_LEAST_POINTS = 4
#: More views than this are taken in groups of neighbours (a video's frames move little from one to the next).
MOST_GROUPS = 300
#: Prior standard deviations of a view's height and tilt (assumption: generous to a walked phone).
_HEIGHT_MM, _TILT_MM_PER_M = 10.0, 5.0
_ROUNDS = 4
_HUBER = 1.5
#: Overlap of less than this says nothing.
_LEAST_CELLS = 20


@dataclass(frozen=True, slots=True, eq=False)
class Alignment:
    """``planes`` (groups, 3): height (mm) and rise along x and y (mm per m) of each group of views over the floor.

    ``group_of_view`` (views,) int: row of each view number, -1 for numbers that did not occur.
    """

    planes: NDArray[np.float64]
    group_of_view: NDArray[np.int64]

    def sentence(self) -> str:
        """What was done, for the list of inferences."""
        height = float(np.abs(self.planes[:, 0]).max())
        tilt = float(np.hypot(self.planes[:, 1], self.planes[:, 2]).max())
        return (
            f"views were laid on each other where they overlap: up to {said.about(height)} up or down, "
            f"{said.fall(tilt, 2)} of tilt"
        )


def align_views(
    points_mm: NDArray[np.float32],
    view_of_point: NDArray[np.integer],
    floor_from_points: NDArray[np.float64],
    size_mm: tuple[float, float],
    *,
    band_mm: float,
    tilts: bool,
) -> Alignment | None:
    """Find how much each view stands high or tilted against the others; None where they do not overlap.

    Parameters
    ----------
    points_mm : (n, 3) float32, mm
    view_of_point : (n,) which view saw each point
    floor_from_points : (4, 4) to the floor frame, the floor near z = 0
    size_mm : extent of the floor along x and y
    tilts : let views tilt too. A station sees the whole floor and may; of a camera's frames, which its own lens bends
        all alike, free tilts would make a dome (each frame set on the rim of the last), and its poses know gravity
    """
    numbers = np.flatnonzero(np.bincount(view_of_point))
    if len(numbers) < 2:  # noqa: PLR2004 - a view has nothing to be laid on
        return None
    groups = min(len(numbers), MOST_GROUPS)
    group_of_view = np.full(int(numbers[-1]) + 1, -1, dtype=np.int64)
    group_of_view[numbers] = np.arange(len(numbers)) * groups // len(numbers)
    cols, rows = (max(1, int(np.ceil(length / _CELL_MM))) for length in size_mm)
    grid = GridSpec((0.0, 0.0), (rows, cols), _CELL_MM)
    group, cell, height = _heights(points_mm, group_of_view[view_of_point], floor_from_points, grid, band_mm)
    shared = np.bincount(cell, minlength=rows * cols)[cell] > 1
    if len(np.unique(cell[shared])) < _LEAST_CELLS:
        return None
    xy_m = np.stack([cell % cols + 0.5, cell // cols + 0.5], axis=1) * (_CELL_MM / MM_PER_M)
    return Alignment(
        _planes(group[shared], cell[shared], height[shared], xy_m[shared], groups, tilts=tilts), group_of_view
    )


def aligned(
    points_mm: NDArray[np.float32],
    view_of_point: NDArray[np.integer],
    floor_from_points: NDArray[np.float64],
    alignment: Alignment,
) -> NDArray[np.float32]:
    """(n, 3) float32, a copy of the points, each view moved along the floor's normal by its plane."""
    t = floor_from_points
    moved = points_mm.copy()
    group = alignment.group_of_view[view_of_point].astype(np.int32)
    lift = np.zeros(len(points_mm), dtype=np.float32)
    for axis in (0, 1):
        along_m = (points_mm @ t[axis, :3].astype(np.float32) + np.float32(t[axis, 3])) / np.float32(MM_PER_M)
        lift += alignment.planes[group, 1 + axis].astype(np.float32) * along_m
    lift += alignment.planes[group, 0].astype(np.float32)
    for axis in range(3):
        moved[:, axis] -= lift * np.float32(t[2, axis])
    return moved


def _heights(
    points_mm: NDArray[np.float32],
    group: NDArray[np.int64],
    floor_from_points: NDArray[np.float64],
    grid: GridSpec,
    band_mm: float,
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Group, cell and height of every cell that a group of views saw well enough."""
    ordered = bool(np.all(group[1:] >= group[:-1]))
    order = None if ordered else np.argsort(group, kind="stable")
    ends = np.cumsum(np.bincount(group))
    found = []
    for k, (start, end) in enumerate(zip(np.concatenate([[0], ends[:-1]]), ends, strict=True)):
        own = points_mm[start:end] if order is None else points_mm[order[start:end]]
        stats = grid_points(own, floor_from_points, grid, band_mm=band_mm)
        cell = np.flatnonzero((stats.count >= _LEAST_POINTS) & ~stats.flagged)
        found.append((np.full(len(cell), k), cell, stats.height_mm.ravel()[cell].astype(np.float64)))
    group_of, cell_of, height_of = (np.concatenate(part) for part in zip(*found, strict=True))
    return group_of, cell_of, height_of


def _planes(
    group: NDArray[np.int64],
    cell: NDArray[np.int64],
    height: NDArray[np.float64],
    xy_m: NDArray[np.float64],
    groups: int,
    *,
    tilts: bool,
) -> NDArray[np.float64]:
    """(groups, 3) planes, by iteratively reweighted least squares; tilts turn about each group's own middle."""
    count = np.maximum(np.bincount(group, minlength=groups), 1)
    middle = np.stack([np.bincount(group, xy, groups) / count for xy in xy_m.T], axis=1)
    terms = np.column_stack([np.ones(len(height)), (xy_m - middle[group]) * tilts])
    _, cell = np.unique(cell, return_inverse=True)
    weight = np.ones(len(height))
    planes = np.zeros((groups, 3))
    for _ in range(_ROUNDS):
        rest = height - np.einsum("ij,ij->i", terms, planes[group])
        rest -= _cell_means(rest, weight, cell)[cell]
        sigma = max(SIGMA_PER_MAD * float(np.median(np.abs(rest))), 1e-3)
        weight = np.minimum(1.0, _HUBER * sigma / np.maximum(np.abs(rest), 1e-9))
        planes = _solve(group, cell, height, terms, weight, sigma, groups)
    planes[:, 0] -= np.einsum("ij,ij->i", planes[:, 1:], middle)
    return planes


def _cell_means(
    values: NDArray[np.float64], weight: NDArray[np.float64], cell: NDArray[np.int64]
) -> NDArray[np.float64]:
    return np.asarray(np.bincount(cell, weight * values) / np.bincount(cell, weight))


def _solve(
    group: NDArray[np.int64],
    cell: NDArray[np.int64],
    height: NDArray[np.float64],
    terms: NDArray[np.float64],
    weight: NDArray[np.float64],
    sigma: float,
    groups: int,
) -> NDArray[np.float64]:
    """Minimise Σ w (h - H(cell) - t·p)² / σ² + |p/prior|² over the planes p, the cells' heights H eliminated."""
    from scipy.sparse import csr_matrix, diags

    n = len(height)
    design = csr_matrix(
        (terms.ravel(), (np.repeat(np.arange(n), 3), (3 * group[:, None] + np.arange(3)).ravel())), (n, 3 * groups)
    )
    belongs = csr_matrix((np.ones(n), (np.arange(n), cell)))
    weighted = diags(weight)
    total = np.asarray(belongs.T @ weight)
    cross = belongs.T @ weighted @ design
    normal = design.T @ weighted @ design - cross.T @ diags(1.0 / total) @ cross
    right = design.T @ (weight * (height - _cell_means(height, weight, cell)[cell]))
    prior = np.tile(np.square(sigma / np.array([_HEIGHT_MM, _TILT_MM_PER_M, _TILT_MM_PER_M])), groups)
    return np.asarray(np.linalg.solve(normal.toarray() + np.diag(prior), right).reshape(groups, 3))
