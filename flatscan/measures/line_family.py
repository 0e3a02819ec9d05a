"""Straight lines of cells: every cell lies on exactly one line of each direction."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True)
class LineFamily:
    """All lines of one direction across a grid.

    The major axis is the one the line follows more closely. Reading k of a line lies at major index k,
    minor ``b + offsets[k]``; ``b`` tells parallel lines apart. Lines other than rows, columns and diagonals
    take the nearest cell; their readings are treated as evenly spaced, which a sloping reference plane would
    turn into a bias: remove it first.

    Attributes
    ----------
    angle_rad : direction from the column axis (floor-frame x), anticlockwise, 0 <= angle < pi
    columns_major : the major axis runs along columns (array axis 1)
    offsets : (readings,) int64, monotone
    spacing_mm : distance between readings along the line
    """

    angle_rad: float
    columns_major: bool
    offsets: NDArray[np.int64]
    spacing_mm: float

    def window(self, edge_mm: float) -> int:
        """Most steps between the contacts of an edge of that length."""
        return math.floor(edge_mm / self.spacing_mm + 1e-6)

    def most_hole(self, edge_mm: float, bridge_mm: float) -> int:
        """Most unseen readings in a row that the edge bridges: up to ``bridge_mm`` and a quarter of the edge."""
        return math.floor(min(bridge_mm, edge_mm / 4.0) / self.spacing_mm + 1e-6)

    @cached_property
    def offset_range(self) -> tuple[int, int]:
        """Least and greatest offset."""
        return int(self.offsets.min()), int(self.offsets.max())

    def through(self, row: int, col: int, shape: tuple[int, int]) -> tuple[NDArray[np.int64], NDArray[np.int64], int]:
        """Cells of the line through a cell.

        Returns
        -------
        rows, cols : (n,) int64, the readings in order
        at : index of the given cell among them
        """
        major, minor = (col, row) if self.columns_major else (row, col)
        n_minor = shape[0] if self.columns_major else shape[1]
        n_major = shape[1] if self.columns_major else shape[0]
        x = np.arange(len(self.offsets))
        m = minor - self.offsets[major] + self.offsets
        on = (m >= 0) & (m < n_minor) & (x < n_major)
        at = int(np.count_nonzero(on[:major]))
        x, m = x[on], m[on]
        return (m, x, at) if self.columns_major else (x, m, at)


def line_families(shape: tuple[int, int], *, cell_mm: float, directions: int) -> tuple[LineFamily, ...]:
    """Directions evenly spread over half a turn.

    Parameters
    ----------
    shape : (rows, cols) of the grid
    cell_mm : side of a cell
    directions : how many
    """
    return tuple(_nearest_family(shape, math.pi * k / directions, cell_mm) for k in range(directions))


def _nearest_family(shape: tuple[int, int], angle: float, cell_mm: float) -> LineFamily:
    rows, cols = shape
    columns_major = abs(math.sin(angle)) <= abs(math.cos(angle)) + 1e-12
    tan = math.tan(angle) if columns_major else 1.0 / math.tan(angle)
    k = np.arange(cols if columns_major else rows)
    # The small addition keeps exact halves on one side whatever the last bit of tan.
    offsets = np.floor(k * tan + 0.5 + 1e-9).astype(np.int64)
    return LineFamily(angle, columns_major, offsets, cell_mm * math.hypot(1.0, tan))
