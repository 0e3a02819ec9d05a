"""The coarse grid that grinding is planned on, and the way back to the floor's own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.levelling.grinding.straight_lines import StraightLines, cells_of_lines, piece_numbers
from flatscan.measures.line_family import line_families

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.filling.least_fill import EdgeRule
    from flatscan.levelling.targets import Target


@dataclass(frozen=True, slots=True, eq=False)
class Lattice:
    """Blocks of ``step`` times ``step`` cells.

    Attributes
    ----------
    step : cells along a block's side
    start : (row, col) of the grid's cell where the first block begins; cells before it are in none
    shape : (rows, cols) of blocks
    full_shape : (rows, cols) of the floor's grid
    height_mm : (rows, cols) float64, mean of what was seen of each block; NaN where most of it was not
    lines : where the edge is laid
    """

    step: int
    start: tuple[int, int]
    shape: tuple[int, int]
    full_shape: tuple[int, int]
    height_mm: NDArray[np.float64]
    lines: tuple[StraightLines, ...]

    def blocks(self, grid: NDArray[np.generic], outside: float) -> NDArray[np.float64]:
        """(rows, cols, step * step) float64, the cells of each block; ``outside`` beyond the grid."""
        rows, cols = self.shape
        full = np.full((rows * self.step, cols * self.step), outside)
        part = grid[self.start[0] :, self.start[1] :]
        full[: part.shape[0], : part.shape[1]] = part
        split = full.reshape(rows, self.step, cols, self.step).transpose(0, 2, 1, 3)
        return split.reshape(rows, cols, self.step**2)

    def to_full(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Bilinear between the blocks' centres, level beyond the outermost.

        ``values``: (rows, cols) float64; what is NaN takes the value of the nearest block that is not, so that nothing
        fades out towards walls and holes. Returns a grid of ``full_shape``.
        """
        from scipy import ndimage

        unseen = np.isnan(values)
        if unseen.all():
            return np.zeros(self.full_shape)
        nearest = ndimage.distance_transform_edt(unseen, return_distances=False, return_indices=True)
        whole = values[tuple(nearest)]
        at = [
            (np.arange(n) - first + 0.5) / self.step - 0.5 for n, first in zip(self.full_shape, self.start, strict=True)
        ]
        down = _between(whole, at[0])
        full: NDArray[np.float64] = _between(down.T, at[1]).T
        return full


def _between(values: NDArray[np.float64], at: NDArray[np.float64]) -> NDArray[np.float64]:
    """Linear along the first axis, at positions in its index, level beyond its ends."""
    at = np.clip(at, 0.0, len(values) - 1.0)
    low = np.minimum(at.astype(np.int64), max(len(values) - 2, 0))
    high = np.minimum(low + 1, len(values) - 1)
    share = (at - low)[:, None]
    between: NDArray[np.float64] = values[low] * (1.0 - share) + values[high] * share
    return between


def lattice_of(
    height_mm: NDArray[np.floating],
    inside: NDArray[np.bool_],
    targets: Sequence[Target],
    rule: EdgeRule,
    *,
    step: int,
    directions: int,
    start: tuple[int, int] = (0, 0),
) -> Lattice:
    """Block means and where the edge can be laid over them.

    A block counts if most of it lies inside the walls and most of that was seen. Means rather than every ``step``-th
    cell: a single cell's roughness says nothing of its block, and grinding is planned for the block. Walls thinner
    than a block (a line of cells round a zone) are kept: the edge does not pass between two blocks if the straight way
    between their centres meets one.

    ``directions``: a divisor of the rule's.
    """
    rows, cols = (max(1, -(-(n - first) // step)) for n, first in zip(inside.shape, start, strict=True))
    bare = Lattice(step, start, (rows, cols), inside.shape, np.zeros((rows, cols)), ())
    seen = inside & np.isfinite(height_mm)
    total = bare.blocks(np.where(seen, height_mm, 0.0), 0.0).sum(axis=2)
    count, within = bare.blocks(seen, 0.0).sum(axis=2), bare.blocks(inside, 0.0).sum(axis=2)
    inner = within * 2.0 > step**2
    known = inner & (count * 2.0 > within)
    height = np.where(known, total / np.maximum(count, 1.0), np.nan)
    lines = []
    fine = line_families(inside.shape, cell_mm=rule.cell_mm, directions=directions)
    coarse = line_families((rows, cols), cell_mm=rule.cell_mm * step, directions=directions)
    for n, (narrow, wide) in enumerate(zip(fine, coarse, strict=True)):
        cells = cells_of_lines((rows, cols), wide)
        walls = np.cumsum(_walls_between(bare, cells, inside), axis=1)
        holes = [wide.most_hole(edge, rule.bridge_mm) for edge, _ in targets]
        of_hole = {hole: piece_numbers(cells, inner.ravel(), known.ravel(), hole) for hole in set(holes)}
        for piece in of_hole.values():
            piece[:, 1:] += walls
        # Never longer than the floor's own grid allows.
        windows = tuple(narrow.window(edge) // step for edge, _ in targets)
        lines.append(
            StraightLines(n * (rule.directions // directions), cells, tuple(of_hole[h] for h in holes), windows)
        )
    return Lattice(step, start, (rows, cols), inside.shape, height, tuple(lines))


def _walls_between(lattice: Lattice, cells: NDArray[np.int64], inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(lines, readings - 1) bool, a wall lies on the straight way between one reading's block centre and the next."""
    step = lattice.step
    at = [
        np.minimum(first + n * step + step // 2, most - 1)
        for first, n, most in zip(
            lattice.start, np.divmod(np.maximum(cells, 0), lattice.shape[1]), inside.shape, strict=True
        )
    ]
    broken = np.zeros((cells.shape[0], cells.shape[1] - 1), dtype=bool)
    for n in range(step + 1):
        share = n / step
        r, c = (np.rint(a[:, :-1] * (1.0 - share) + a[:, 1:] * share).astype(np.int64) for a in at)
        broken |= ~inside[r, c]
    return broken
