"""Both floors on one grid of the map after."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.comparing.laying import Grid, Weights, laid_on, weights_for
from flatscan.comparing.pose import SAME

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.comparing.measured import Measured
    from flatscan.comparing.pose import Pose
    from flatscan.surface.surface import Surface

#: Smaller cells than this tell nothing about compound; more than so many would only take longer.
_CELL_MM, _MOST_CELLS = 25.0, 30_000


@dataclass(frozen=True, slots=True, eq=False)
class Overlaid:
    """``before`` and ``after`` on ``grid``; ``both`` (rows, cols) bool where both were seen."""

    before: Surface
    after: Surface
    grid: Grid
    both: NDArray[np.bool_]
    #: What each cell takes from the floor before as it was measured, and the white noise there.
    taken: Weights
    white_mm: NDArray[np.float32]

    @property
    def xy_mm(self) -> NDArray[np.float64]:
        """(n, 2) centres of the cells that both saw."""
        return self.grid.centres()[self.both]

    @property
    def d_mm(self) -> NDArray[np.float64]:
        """(n,) after minus before there, each about its own reference plane."""
        return np.asarray(heights(self.after)[self.both].astype(np.float64) - heights(self.before)[self.both])


def overlaid(before: Measured, after: Measured, pose: Pose) -> Overlaid:
    """Lay both on blocks of cells of the map after."""
    one, two = before.surface, after.surface
    rows, cols = two.height_mm.shape
    fewest = math.sqrt(rows * cols / _MOST_CELLS)
    step = max(1, math.ceil(max(max(one.cell_mm, _CELL_MM) / two.cell_mm, fewest) - 1e-6))
    grid = Grid((-(-rows // step), -(-cols // step)), step * two.cell_mm, two.origin_mm)
    taken = weights_for(one, grid, pose)
    first, second = laid_on(one, grid, pose, taken), laid_on(two, grid, SAME)
    return Overlaid(first, second, grid, first.seen & second.seen, taken, one.white_mm)


def heights(surface: Surface) -> NDArray[np.float32]:
    """What was measured, with its noise; of a floor read by hand the floor that agrees with the readings."""
    return surface.height_mm if surface.realisations_mm is None else surface.estimate_mm
