"""Highs ground where that is cheaper than filling beside them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from flatscan.levelling.grinding.lattice import lattice_of
from flatscan.levelling.grinding.lower_bound import bound_from
from flatscan.levelling.grinding.problem import programme_on
from flatscan.levelling.grinding.programme import solve
from flatscan.levelling.grinding.search import search
from flatscan.measures.line_family import line_families
from flatscan.progress import SILENT

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from flatscan.levelling.filling.least_fill import EdgeRule
    from flatscan.levelling.grinding.lattice import Lattice
    from flatscan.levelling.grinding.problem import FullProblem
    from flatscan.levelling.grinding.programme import Optimum
    from flatscan.progress import Progress

#: The lattice has at most this many blocks: in a room of 50 m² they are 100 mm wide, and the programme takes seconds.
MOST_BLOCKS = 5000
#: Most directions on the lattice; where the rule has more, every second or third of them is taken.
_MOST_DIRECTIONS = 12
#: Blocks may be coarser than they must by this factor, where that fits the edge better: gaps grow with length squared.
_COARSER = 1.25


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
    problem: FullProblem, *, planning_cell_mm: float | None = None, progress: Progress = SILENT
) -> Grinding:
    """Plan the grinding on block means, carry it to the full grid, and keep it if it is cheaper than filling alone.

    A finished floor y = z + f - g keeps its limits if for every chord ``lam y_i + (1 - lam) y_j - y_k <= t``: the rows
    of a linear programme whose cost is fill and grinding. It is solved exactly on a lattice (``programme``); at full
    resolution the least fill after the grinding always exists, and its true cost decides. Where a cell may not take
    the fill it needs (a drain in a dip), the lattice is asked for more there and solved again (``search``).

    Parameters
    ----------
    problem : the floor, its targets, bounds and prices (``full_problem``)
    planning_cell_mm : side of the lattice's blocks, rounded to whole cells; None: as fine as is solved in seconds, and
        the floor's own cell where that is coarse enough
    """
    lattice = _lattice(problem, planning_cell_mm)
    found = search(problem, lattice, progress)
    return Grinding(
        grind_mm=found.best.grind_mm,
        planning_cell_mm=lattice.step * problem.rule.cell_mm,
        rounds=found.rounds,
        rows=found.rows,
        coarse_cost=found.optimum.cost * lattice.step**2,
        cost=found.best.cost,
        fill_only_cost=found.fill_only.cost,
        lower_bound_cost=min(_bound(problem, lattice, found.optimum), found.best.cost),
        unmet=found.best.excess_mm > 0.0,
    )


def lower_bound(problem: FullProblem, *, planning_cell_mm: float | None = None) -> float:
    """What no plan can cost less than; parameters as for :func:`plan_grinding`, proof in ``bound_from``."""
    lattice = _lattice(problem, planning_cell_mm)
    return _bound(problem, lattice, solve(programme_on(problem, lattice)))


def _bound(problem: FullProblem, lattice: Lattice, optimum: Optimum) -> float:
    """From the lattice and, where its blocks are more than a cell, from another whose blocks meet in their middles."""
    solved = [(lattice, optimum)]
    if lattice.step > 1:
        half = lattice.step // 2
        other = _lattice_at(problem, lattice.step, (half, half))
        solved.append((other, solve(programme_on(problem, other))))
    return bound_from(problem, solved)


def _lattice(problem: FullProblem, planning_cell_mm: float | None) -> Lattice:
    """The lattice to plan on."""
    if planning_cell_mm is None:
        finest = max(1, math.ceil(math.sqrt(int(problem.seen.sum()) / MOST_BLOCKS)))
        coarser = range(finest, math.floor(_COARSER * finest) + 1)
        step = min(coarser, key=lambda n: _length_lost(problem, n))
    else:
        step = max(1, round(planning_cell_mm / problem.rule.cell_mm))
    return _lattice_at(problem, step, (0, 0))


def _lattice_at(problem: FullProblem, step: int, start: tuple[int, int]) -> Lattice:
    return lattice_of(
        problem.height_mm,
        problem.inside,
        problem.targets,
        problem.rule,
        step=step,
        directions=_directions(problem.rule),
        start=start,
    )


def _directions(rule: EdgeRule) -> int:
    """As many of the rule's directions as the lattice takes, evenly spread."""
    return max(n for n in range(1, _MOST_DIRECTIONS + 1) if rule.directions % n == 0)


def _length_lost(problem: FullProblem, step: int) -> float:
    """How much of the edges' length the lattice loses, because whole blocks make less of it: a sum of shares."""
    families = line_families(problem.inside.shape, cell_mm=problem.rule.cell_mm, directions=_directions(problem.rule))
    windows = [family.window(edge) for edge, _ in problem.targets for family in families]
    return sum(window % step / window for window in windows if window > 0)
