"""Grinding and filling at the floor's own resolution, and the same on a lattice."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import MM3_PER_LITRE
from flatscan.levelling.grinding.programme import Programme

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.filling.least_fill import EdgeRule
    from flatscan.levelling.grinding.lattice import Lattice
    from flatscan.levelling.targets import Target


@dataclass(frozen=True, slots=True, eq=False)
class FullProblem:
    """What is asked: the cheapest ``fill`` and ``grind`` so that height + fill - grind keeps every target.

    Grids (rows, cols): heights float64, NaN where not seen; where the edge can pass; bounds float64, mm.
    ``fill_price``, ``grind_price``: of a millimetre in one cell.
    """

    height_mm: NDArray[np.float64]
    inside: NDArray[np.bool_]
    targets: Sequence[Target]
    rule: EdgeRule
    least_fill_mm: NDArray[np.float64]
    most_fill_mm: NDArray[np.float64]
    most_grind_mm: NDArray[np.float64]
    fill_price: float
    grind_price: float

    @property
    def seen(self) -> NDArray[np.bool_]:
        """(rows, cols) bool, cells that take part."""
        seen: NDArray[np.bool_] = self.inside & np.isfinite(self.height_mm)
        return seen

    def cost(self, fill_mm: NDArray[np.float64], grind_mm: NDArray[np.float64]) -> float:
        """Price of the work; unseen cells (NaN) left out."""
        return self.fill_price * float(np.nansum(fill_mm)) + self.grind_price * float(np.nansum(grind_mm))


def full_problem(
    height_mm: NDArray[np.floating],
    inside: NDArray[np.bool_],
    targets: Sequence[Target],
    rule: EdgeRule,
    *,
    fill_price_per_l: float,
    grind_price_per_l: float,
    most_fill_mm: NDArray[np.floating],
    most_grind_mm: NDArray[np.floating],
    least_mm: NDArray[np.floating] | None = None,
) -> FullProblem:
    """From prices per litre; where the floor was not seen nothing is filled or ground.

    Parameters
    ----------
    height_mm : (rows, cols) float, mm, about the reference plane; NaN is not seen
    inside : (rows, cols) bool, where the edge can pass
    targets : (edge_mm, limit_mm) pairs
    rule : how the edge is laid
    fill_price_per_l, grind_price_per_l : cost of a litre filled and of a litre ground, more than 0, else ValueError
    most_fill_mm : (rows, cols), inf where nothing binds
    most_grind_mm : (rows, cols), 0 where nothing may be ground
    least_mm : (rows, cols), fill that must be there; None: none
    """
    if not (fill_price_per_l > 0 and grind_price_per_l > 0):
        raise ValueError("prices must be more than 0")
    litres_per_mm = rule.cell_mm**2 / MM3_PER_LITRE
    seen = inside & np.isfinite(height_mm)
    least = np.zeros(seen.shape) if least_mm is None else np.where(seen, least_mm, 0.0)
    return FullProblem(
        height_mm=np.asarray(height_mm, dtype=np.float64),
        inside=inside,
        targets=targets,
        rule=rule,
        least_fill_mm=np.asarray(least, dtype=np.float64),
        most_fill_mm=np.where(seen, np.asarray(most_fill_mm, dtype=np.float64), np.inf),
        most_grind_mm=np.where(seen, np.asarray(most_grind_mm, dtype=np.float64), 0.0),
        fill_price=fill_price_per_l * litres_per_mm,
        grind_price=grind_price_per_l * litres_per_mm,
    )


def programme_on(problem: FullProblem, lattice: Lattice, more_mm: NDArray[np.float64] | None = None) -> Programme:
    """The problem on a lattice, at the prices of one cell of the full grid.

    What the whole block may take is the least that any of its cells may; what may be ground is their mean.
    ``more_mm``: (rows, cols) of the lattice, how much less gap than the limit is allowed over each block.
    """
    seen = lattice.blocks(problem.seen, 0.0)
    count = np.maximum(seen.sum(axis=2), 1.0)
    least = (lattice.blocks(problem.least_fill_mm, 0.0) * seen).sum(axis=2) / count
    limits = np.tile(np.asarray([[limit] for _, limit in problem.targets]).reshape(-1, 1), (1, least.size))
    return Programme(
        floor_mm=lattice.height_mm.ravel(),
        lines=lattice.lines,
        limits_mm=limits if more_mm is None else limits - more_mm.ravel(),
        least_fill_mm=least.ravel(),
        most_fill_mm=lattice.blocks(problem.most_fill_mm, np.inf).min(axis=2).ravel(),
        most_grind_mm=(lattice.blocks(problem.most_grind_mm, 0.0).sum(axis=2) / count).ravel(),
        fill_price=problem.fill_price,
        grind_price=problem.grind_price,
    )
