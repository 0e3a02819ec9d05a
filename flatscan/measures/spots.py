"""Places worth naming on a map: local maxima far enough apart to be different places."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


#: Places nearer than this share of the edge are one place.
PLACES_APART = 0.5


def peaks(field: NDArray[np.float32], *, most: int, apart_cells: float) -> list[tuple[int, int]]:
    """Cells (row, col) of the greatest values, greatest first, at least ``apart_cells`` from each other.

    The first is named even when it is 0 (a floor without a gap still has its worst place); later ones only
    above 0. No cell where the map is all NaN.

    Parameters
    ----------
    field : (rows, cols), NaN is not seen
    most : how many at most
    """
    left = np.where(np.isfinite(field), field, -np.inf)
    rows, cols = field.shape
    found: list[tuple[int, int]] = []
    while len(found) < most:
        row, col = np.unravel_index(int(np.argmax(left)), left.shape) if left.size else (0, 0)
        if not left.size or not np.isfinite(left[row, col]) or (found and left[row, col] <= 0.0):
            break
        found.append((int(row), int(col)))
        near = int(min(apart_cells, rows + cols))
        r = np.arange(max(0, row - near), min(rows, row + near + 1))
        c = np.arange(max(0, col - near), min(cols, col + near + 1))
        distance2 = np.square(r - row)[:, None] + np.square(c - col)[None, :]
        left[r[0] : r[-1] + 1, c[0] : c[-1] + 1][distance2 < apart_cells**2] = -np.inf
    return found


def is_summit(field: NDArray[np.float32], cell: tuple[int, int], apart_cells: float) -> bool:
    """Nothing within half of ``apart_cells`` is greater: the flank of a worse place is no place of its own."""
    near = int(min(0.5 * apart_cells, sum(field.shape)))
    r = np.arange(max(0, cell[0] - near), min(field.shape[0], cell[0] + near + 1))
    c = np.arange(max(0, cell[1] - near), min(field.shape[1], cell[1] + near + 1))
    within = np.square(r - cell[0])[:, None] + np.square(c - cell[1])[None, :] <= (0.5 * apart_cells) ** 2
    around = field[r[0] : r[-1] + 1, c[0] : c[-1] + 1][within]
    return not bool(np.any(around > field[cell]))
