"""Highs ground where that is cheaper than filling beside them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from flatscan.levelling.grinding.lattice import lattice_of
from flatscan.levelling.grinding.lower_bound import bound_from
from flatscan.levelling.grinding.problem import full_problem, programme_on
from flatscan.levelling.grinding.programme import solve
from flatscan.levelling.grinding.search import search
from flatscan.progress import SILENT

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray

    from flatscan.levelling.grinding.lattice import Lattice
    from flatscan.levelling.grinding.problem import FullProblem
    from flatscan.levelling.grinding.programme import Optimum
    from flatscan.levelling.least_fill import EdgeRule
    from flatscan.levelling.targets import Target
    from flatscan.progress import Progress

#: The lattice has at most this many blocks: in a room of 50 m² they are 120 mm wide, and the programme takes seconds.
MOST_BLOCKS = 3500
#: Most directions on the lattice; where the rule has more, every second or third of them is taken.
_MOST_DIRECTIONS = 12


@dataclass(frozen=True, slots=True, eq=False)
class Grinding:
    """The grinding that makes grinding and filling together cheap.

    Attributes
    ----------
    grind_mm : (rows, cols) float64 on the floor's own grid; 0: nothing, NaN: not seen
    planning_cell_mm : side of the lattice's blocks
    rounds, rows : how often the lattice's programme was solved, and how many chords it holds
    coarse_cost : cost of the lattice's optimum. The lattice does not see what is smaller than a block: too low
    cost : of the grinding and the least fill after it, at full resolution
    fill_only_cost : of the least fill alone, at full resolution
    lower_bound_cost : no plan that meets the same limits within the same bounds costs less
    unmet : (rows, cols) bool, cells that the least fill after the grinding lifts more than they may take
    """

    grind_mm: NDArray[np.float64]
    planning_cell_mm: float
    rounds: int
    rows: int
    coarse_cost: float
    cost: float
    fill_only_cost: float
    lower_bound_cost: float
    unmet: NDArray[np.bool_]


def plan_grinding(
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
    planning_cell_mm: float | None = None,
    progress: Progress = SILENT,
) -> Grinding:
    """Plan the grinding on block means, carry it to the full grid, and keep it if it is cheaper than filling alone.

    A finished floor y = z + f - g keeps its limits if for every chord ``lam y_i + (1 - lam) y_j - y_k <= t``: the rows
    of a linear programme whose cost is fill and grinding. It is solved exactly on a lattice (``programme``); at full
    resolution the least fill after the grinding always exists, and its true cost decides. Where a cell may not take
    the fill it needs (a drain in a dip), the lattice is asked for more there and solved again (``search``).

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
    planning_cell_mm : side of the lattice's blocks, rounded to whole cells; None: as fine as is solved in seconds, and
        the floor's own cell where that is coarse enough
    """
    problem = full_problem(
        height_mm,
        inside,
        targets,
        rule,
        fill_price_per_l=fill_price_per_l,
        grind_price_per_l=grind_price_per_l,
        most_fill_mm=most_fill_mm,
        most_grind_mm=most_grind_mm,
        least_mm=least_mm,
    )
    lattice = _lattice(problem, planning_cell_mm)
    found = search(problem, lattice, progress)
    return Grinding(
        grind_mm=found.best.grind_mm,
        planning_cell_mm=lattice.step * rule.cell_mm,
        rounds=found.rounds,
        rows=found.rows,
        coarse_cost=found.optimum.cost * lattice.step**2,
        cost=found.best.cost,
        fill_only_cost=found.fill_only.cost,
        lower_bound_cost=min(_bound(problem, lattice, found.optimum), found.best.cost),
        unmet=found.best.excess_mm > 0.0,
    )


def lower_bound(
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
    planning_cell_mm: float | None = None,
) -> float:
    """What no plan can cost less than; parameters as for :func:`plan_grinding`, proof in ``bound_from``."""
    problem = full_problem(
        height_mm,
        inside,
        targets,
        rule,
        fill_price_per_l=fill_price_per_l,
        grind_price_per_l=grind_price_per_l,
        most_fill_mm=most_fill_mm,
        most_grind_mm=most_grind_mm,
        least_mm=least_mm,
    )
    lattice = _lattice(problem, planning_cell_mm)
    return _bound(problem, lattice, solve(programme_on(problem, lattice)))


def _bound(problem: FullProblem, lattice: Lattice, optimum: Optimum) -> float:
    """The better of two: from all directions, and from those whose lines run through the blocks' centres."""
    if lattice.step == 1:
        return bound_from(problem, lattice, optimum)
    straight = solve(programme_on(problem, lattice.straight(problem.rule.directions)))
    return max(bound_from(problem, lattice, one) for one in (optimum, straight))


def _lattice(problem: FullProblem, planning_cell_mm: float | None) -> Lattice:
    """The lattice to plan on."""
    rule = problem.rule
    if planning_cell_mm is None:
        step = max(1, math.ceil(math.sqrt(int(problem.seen.sum()) / MOST_BLOCKS)))
    else:
        step = max(1, round(planning_cell_mm / rule.cell_mm))
    directions = max(n for n in range(1, _MOST_DIRECTIONS + 1) if rule.directions % n == 0)
    return lattice_of(problem.height_mm, problem.inside, problem.targets, rule, step=step, directions=directions)
