"""Chords of a lattice, laid over the floor's own cells."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.levelling.grinding.straight_lines import cells_of_lines, piece_numbers
from flatscan.measures.line_family import line_families

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.grinding.lattice import Lattice
    from flatscan.levelling.grinding.problem import FullProblem
    from flatscan.levelling.grinding.straight_lines import Chords
    from flatscan.measures.line_family import LineFamily


@dataclass(frozen=True, slots=True, eq=False)
class FullRows:
    """Rows of the full problem, ``share y_first + (1 - share) y_second - y_middle <= limit``, with a weight each.

    Attributes
    ----------
    cells : (n, 3) int32, flat index of first, second, middle
    share : (n,) float64
    over_mm : (n,) float64, how far the untouched floor exceeds the limit
    weight : (n,) float64, at least 0
    """

    cells: NDArray[np.int32]
    share: NDArray[np.float64]
    over_mm: NDArray[np.float64]
    weight: NDArray[np.float64]

    def __post_init__(self) -> None:
        for array in (self.cells, self.share, self.over_mm, self.weight):
            array.setflags(write=False)

    def __len__(self) -> int:
        return len(self.share)


def joined_rows(parts: Sequence[FullRows]) -> FullRows:
    """Several sets as one, weights divided by their number: an average."""
    if not parts:
        return FullRows(np.zeros((0, 3), dtype=np.int32), np.zeros(0), np.zeros(0), np.zeros(0))
    return FullRows(
        np.concatenate([part.cells for part in parts]),
        np.concatenate([part.share for part in parts]),
        np.concatenate([part.over_mm for part in parts]),
        np.concatenate([part.weight for part in parts]) / len(parts),
    )


def full_rows(problem: FullProblem, lattice: Lattice, chords: Chords, weights: NDArray[np.float64]) -> FullRows:
    """Every chord through every cell of its middle's block, as long as the blocks have it, if it is a row there.

    The chord follows the full problem's own line through the cell. Along rows, columns and diagonals that is the
    lattice's chord exactly shifted; other lines meet the contacts' blocks up to half a block aside. What meets a
    wall, a long hole or an unseen cell, or leaves the grid, is left out.
    """
    families = line_families(problem.inside.shape, cell_mm=problem.rule.cell_mm, directions=problem.rule.directions)
    parts = []
    for direction, target in np.unique(np.stack([chords.direction, chords.target]), axis=1).T:
        at = (chords.direction == direction) & (chords.target == target)
        parts.append(_laid(problem, lattice, chords[at], weights[at], families[direction]))
    rows = joined_rows(parts)
    return FullRows(rows.cells, rows.share, rows.over_mm, rows.weight * max(len(parts), 1))


def _laid(
    problem: FullProblem, lattice: Lattice, chords: Chords, weights: NDArray[np.float64], family: LineFamily
) -> FullRows:
    """The same for chords of one direction and target."""
    on, flat = _shifted(problem, lattice, chords, family)
    edge_mm, limit_mm = problem.targets[chords.target[0]]
    seen = problem.seen
    if not seen.all():
        cells = cells_of_lines(seen.shape, family)
        numbers = piece_numbers(
            cells, problem.inside.ravel(), seen.ravel(), family.most_hole(edge_mm, problem.rule.bridge_mm)
        )
        piece = np.zeros(seen.size, dtype=np.int64)
        piece[cells[cells >= 0]] = numbers[cells >= 0]
        first, second, _ = (np.where(on, at, 0) for at in flat)
        on &= piece[first] == piece[second]
        for at in flat:
            on &= seen.ravel()[np.where(on, at, 0)]
    first, second, middle = (at[on].astype(np.int32) for at in flat)
    share, weight = (np.broadcast_to(each[:, None], on.shape)[on] for each in (chords.share, weights))
    floor = problem.height_mm.ravel()
    over = share * floor[first] + (1.0 - share) * floor[second] - floor[middle] - limit_mm
    return FullRows(np.stack([first, second, middle], axis=1), share, over, weight)


def _shifted(
    problem: FullProblem, lattice: Lattice, chords: Chords, family: LineFamily
) -> tuple[NDArray[np.bool_], list[NDArray[np.int64]]]:
    """Whether each shifted chord lies on the grid, and its cells: first, second, middle; all (chords, step * step)."""
    rows, cols = problem.inside.shape
    n_major, n_minor = (cols, rows) if family.columns_major else (rows, cols)
    step = lattice.step
    row, col = (
        start + block[:, None] * step + within
        for start, block, within in zip(
            lattice.start,
            np.divmod(chords.middle, lattice.shape[1]),
            np.divmod(np.arange(step**2), step),
            strict=True,
        )
    )
    major, minor = (col, row) if family.columns_major else (row, col)
    on = (major < n_major) & (minor < n_minor)
    line = minor - family.offsets[np.minimum(major, n_major - 1)]
    flat = []
    for along in (major - (chords.before * step)[:, None], major + (chords.after * step)[:, None], major):
        side = line + family.offsets[np.clip(along, 0, n_major - 1)]
        on &= (along >= 0) & (along < n_major) & (side >= 0) & (side < n_minor)
        flat.append(side * cols + along if family.columns_major else along * cols + side)
    return on, flat
