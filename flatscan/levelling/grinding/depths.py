"""From the lattice's plan to depths of grinding on the floor's own grid."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from flatscan.levelling.grinding.lattice import Lattice
    from flatscan.levelling.grinding.problem import FullProblem

#: The floor is ground down to this much above the lattice's finished surface: what is smaller than a block stays. On
#: invented floors with 0.06 to 0.2 mm of roughness within blocks the cheapest was 0.1 to 0.2 mm.
_LEFT_MM = (0.1, 0.2)
#: A patch ground nowhere deeper than this is noise: nobody sets a machine to it.
LEAST_DEPTH_MM = 0.05


def depths_of(problem: FullProblem, lattice: Lattice, grind_mm: NDArray[np.float64]) -> Iterator[NDArray[np.float64]]:
    """Ways to carry a plan over, each (rows, cols) float64, within the bounds; NaN where not seen.

    Where the lattice grinds, the full grid is ground to the lattice's finished surface, bilinear between blocks, and a
    little above: a machine takes peaks first, and it is peaks that the edge rests on. (Taking the lattice's depth
    off everywhere alike leaves the peaks on what is ground, and cost 0.2 to 0.9 % more on invented floors.)

    ``grind_mm``: (rows, cols) of the lattice, NaN where it was not seen.
    """
    unseen = np.where(problem.seen, 0.0, np.nan)
    if lattice.step == 1:
        yield without_noise(np.clip(np.nan_to_num(grind_mm), 0.0, problem.most_grind_mm)) + unseen
        return
    touched = lattice.to_full(grind_mm) > 0.0
    finished = lattice.to_full(lattice.height_mm - grind_mm)
    above = np.where(touched & problem.seen, problem.height_mm - finished, 0.0)
    for left in _LEFT_MM:
        yield without_noise(np.clip(above - left, 0.0, problem.most_grind_mm)) + unseen


def without_noise(grind_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same without patches that are nowhere deeper than ``LEAST_DEPTH_MM``; cells may touch at a corner."""
    from scipy import ndimage

    patch, count = ndimage.label(grind_mm > 0.0, np.ones((3, 3)))
    deepest = np.zeros(count + 1)
    np.maximum.at(deepest, patch.ravel(), grind_mm.ravel())
    kept: NDArray[np.float64] = np.where(deepest[patch] >= LEAST_DEPTH_MM, grind_mm, 0.0)
    return kept


def without_refilled(
    grind_mm: NDArray[np.float64], fill_mm: NDArray[np.float64], least_mm: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Grinding and fill less what is ground only to be filled again: the finished floor is the same, and cheaper."""
    both = np.minimum(grind_mm, np.maximum(fill_mm - least_mm, 0.0))
    return grind_mm - both, fill_mm - both
