"""The places whose heights are sought: centres of the cells that tile the floor."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from scipy.sparse import csr_matrix

    from flatscan.sources.hand.field_readings import StepLine

#: Side of a cell: a wave of 1 m is drawn through 10 nodes, and straight lines between them miss 1/80 of its height.
CELL_MM = 100.0
#: Cells grow rather than be more than this: solving takes time.
MOST_NODES = 8000
#: The narrowest room still has this many cells across, for a bend takes three.
_LEAST_ACROSS = 4
#: Cells from this much smaller to this much larger than asked are tried, the best tiling of the room kept.
_TRIED_CELLS = np.linspace(0.9, 1.1, 41)
#: Neighbouring squares of nodes tried for a place whose own square a step cuts.
_TRIED_SQUARES = 12


@dataclass(frozen=True, slots=True, eq=False)
class Nodes:
    """Cell centres within the floor. Rows run along floor y, columns along x.

    ``inside`` (rows, cols) bool; ``index`` (rows, cols) int64, number of the node, -1 outside; ``spacing_mm`` side of
    a cell; ``origin_mm`` floor position of the outer corner of cell [0, 0].
    """

    inside: NDArray[np.bool_]
    index: NDArray[np.int64]
    spacing_mm: float
    origin_mm: tuple[float, float]

    @property
    def count(self) -> int:
        """How many nodes there are."""
        return int(self.inside.sum())

    @property
    def xy_mm(self) -> NDArray[np.float64]:
        """(n, 2) float64 floor positions, in the order of ``index``."""
        row, col = np.nonzero(self.inside)
        return np.asarray(np.column_stack([col, row]) + 0.5, dtype=np.float64) * self.spacing_mm + self.origin_mm

    def weights(self, xy_mm: NDArray[np.float64], steps: Sequence[StepLine] = ()) -> csr_matrix:
        """(m, n) weights that make heights at any places of the nodes' heights: bilinear.

        Near the walls the nearest square of four nodes is carried on, so that a plane stays a plane. No square that a
        step cuts, or that lies across a step, has a say.
        """
        from scipy.sparse import csr_matrix
        from scipy.spatial import cKDTree

        xy = np.asarray(xy_mm, dtype=np.float64).reshape(-1, 2)
        square = self._squares(steps)
        tried = 1 if not steps else min(_TRIED_SQUARES, len(square))
        low = self._centre_mm(square)
        middle = low + 0.5 * self.spacing_mm
        _, near = cKDTree(middle).query(xy, k=tried, p=np.inf)
        near = near.reshape(len(xy), tried)
        pick = near[:, 0]
        if steps:
            hidden = np.stack([crosses(xy, middle[near[:, k]], steps) for k in range(tried)], axis=1)
            pick = near[np.arange(len(xy)), np.argmin(hidden, axis=1)]
        right, up = ((xy - low[pick]) / self.spacing_mm).T
        row, col = square[pick].T
        corner = np.stack([self.index[row + j, col + i] for j in (0, 1) for i in (0, 1)], axis=1)
        share = np.stack([(1 - right) * (1 - up), right * (1 - up), (1 - right) * up, right * up], axis=1)
        at = np.repeat(np.arange(len(xy)), 4)
        return csr_matrix((share.ravel(), (at, corner.ravel())), shape=(len(xy), self.count))

    def _squares(self, steps: Sequence[StepLine]) -> NDArray[np.int64]:
        """(s, 2) row and column of the lower left node of each square of four nodes that no step cuts."""
        whole = self.inside[:-1, :-1] & self.inside[1:, :-1] & self.inside[:-1, 1:] & self.inside[1:, 1:]
        square = np.argwhere(whole)
        if steps:
            cut = np.zeros(len(square), dtype=bool)
            for a, b in (((0, 0), (1, 1)), ((0, 1), (1, 0)), ((0, 0), (0, 1)), ((1, 0), (1, 1))):
                cut |= crosses(self._centre_mm(square + a), self._centre_mm(square + b), steps)
            square = square[~cut]
        if len(square) == 0:
            raise ValueError("the floor holds no square of four nodes")
        return np.asarray(square, dtype=np.int64)

    def _centre_mm(self, row_col: NDArray[np.int64]) -> NDArray[np.float64]:
        return np.asarray((row_col[:, ::-1] + 0.5) * self.spacing_mm + self.origin_mm, dtype=np.float64)


def lay_nodes(outline_mm: NDArray[np.float64], *, cell_mm: float | None = None) -> Nodes:
    """Tile a room.

    Parameters
    ----------
    outline_mm : (k, 2) corners of the room, floor mm, closed or not
    cell_mm : side of a cell; None: about 100 mm, a little more or less so that cells end at the walls, larger where
        there would be more than ``MOST_NODES`` of them
    """
    from shapely import contains_xy, prepare
    from shapely.geometry import Polygon

    room = Polygon(outline_mm)
    left, low, right, high = room.bounds
    size = np.array([right - left, high - low])
    if min(size) <= 0 or room.area <= 0:
        raise ValueError("the room has no area")
    cell = _cell(size, room.area) if cell_mm is None else cell_mm
    cols, rows = (max(1, round(float(length) / cell)) for length in size)
    origin = (left + 0.5 * (size[0] - cols * cell), low + 0.5 * (size[1] - rows * cell))
    y, x = np.meshgrid(
        origin[1] + (np.arange(rows) + 0.5) * cell, origin[0] + (np.arange(cols) + 0.5) * cell, indexing="ij"
    )
    prepare(room)
    inside = np.asarray(contains_xy(room, x, y), dtype=bool)
    index = np.full(inside.shape, -1, dtype=np.int64)
    index[inside] = np.arange(inside.sum())
    return Nodes(inside, index, float(cell), (float(origin[0]), float(origin[1])))


def _cell(size_mm: NDArray[np.float64], area_mm2: float) -> float:
    """Cell near 100 mm whose whole number comes nearest to filling the room both ways."""
    usual = max(CELL_MM, float(np.sqrt(area_mm2 / MOST_NODES)))
    usual = min(usual, float(size_mm.min()) / _LEAST_ACROSS)
    tried = usual * _TRIED_CELLS
    over = size_mm[:, None] / tried
    left_mm = np.abs(over - np.round(over)).max(axis=0) * tried
    # Of equal tilings the one nearest to what was asked: a hundredth of a cell is worth a percent of its size.
    return float(tried[np.argmin(left_mm / usual + np.abs(_TRIED_CELLS - 1.0))])


def crosses(a_mm: NDArray[np.float64], b_mm: NDArray[np.float64], steps: Sequence[StepLine]) -> NDArray[np.bool_]:
    """(m,) whether the straight line from each ``a_mm`` (m, 2) to its ``b_mm`` crosses any step."""
    cut = np.zeros(len(a_mm), dtype=bool)
    for step in steps:
        start, along = np.asarray(step.start), np.subtract(step.end, step.start)
        side_a, side_b = (_cross(along, p - start) for p in (a_mm, b_mm))
        way = b_mm - a_mm
        side_start, side_end = (_cross(way, np.asarray(p) - a_mm) for p in (step.start, step.end))
        cut |= ((side_a >= 0) != (side_b >= 0)) & (side_start * side_end <= 0)
    return cut


def _cross(u: NDArray[np.float64], v: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0], dtype=np.float64)
