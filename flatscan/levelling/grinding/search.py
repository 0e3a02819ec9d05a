"""Rounds between the lattice, which plans, and the full grid, which tells what the plan is worth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.levelling.filling.least_fill import least_fill
from flatscan.levelling.grinding.depths import depths_of, without_refilled
from flatscan.levelling.grinding.problem import programme_on
from flatscan.levelling.grinding.programme import solve

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.levelling.grinding.lattice import Lattice
    from flatscan.levelling.grinding.problem import FullProblem
    from flatscan.levelling.grinding.programme import Optimum
    from flatscan.progress import Progress

#: How often the lattice is told what the full grid could not keep to.
_MOST_ROUNDS = 5
#: What the full grid lacks is asked for with this much on top, so that few rounds do.
_ASKED_MORE = 1.2
#: Fill beyond the most allowed by less than this is rounding of the least fill.
_NO_EXCESS_MM = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class Trial:
    """A grinding tried at full resolution: its depths, how far the least fill then exceeds its bound, and the cost."""

    grind_mm: NDArray[np.float64]
    excess_mm: NDArray[np.float64]
    cost: float

    @property
    def worth(self) -> tuple[float, float]:
        """The smaller the better: first what is beyond the bounds, then what it costs."""
        return float(self.excess_mm.sum()), self.cost


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """The best grinding tried, filling alone, the lattice's first optimum, rounds of all, rows of the last."""

    best: Trial
    fill_only: Trial
    optimum: Optimum
    rounds: int
    rows: int


def search(problem: FullProblem, lattice: Lattice, progress: Progress) -> Found:
    """Plan on the lattice, try at full resolution, and ask for more where cells are filled beyond their bound."""
    alone = tried(problem, np.where(problem.seen, 0.0, np.nan))
    best, optima = alone, []
    more, excess = np.zeros(lattice.shape), np.inf
    for _ in progress.track(range(_MOST_ROUNDS), label="Planning the grinding"):
        optimum = solve(programme_on(problem, lattice, more))
        optima.append(optimum)
        depths = depths_of(problem, lattice, optimum.grind_mm.reshape(lattice.shape))
        trials = [tried(problem, grind) for grind in depths if np.nansum(grind) > 0.0]
        trial = min(trials, key=lambda t: t.worth, default=alone)
        best = min(best, trial, key=lambda t: t.worth)
        if not 0.0 < trial.worth[0] < excess or np.nansum(optimum.beyond_mm) > _NO_EXCESS_MM:
            # Kept to, or no nearer, or not to be kept to by any grinding that is allowed.
            break
        excess = trial.worth[0]
        more += _ASKED_MORE * lattice.blocks(trial.excess_mm, 0.0).max(axis=2)
    return Found(best, alone, optima[0], sum(o.rounds for o in optima), len(optima[-1].chords))


def tried(problem: FullProblem, grind_mm: NDArray[np.float64]) -> Trial:
    """The least fill after a grinding, and what both cost."""
    fill = least_fill(
        problem.height_mm - grind_mm,
        problem.inside,
        problem.targets,
        problem.rule,
        least_mm=problem.least_fill_mm,
        most_mm=problem.most_fill_mm,
    ).fill_mm
    grind, fill = without_refilled(grind_mm, fill, problem.least_fill_mm)
    excess = np.where(problem.seen, fill - problem.most_fill_mm, 0.0)
    return Trial(grind, np.where(excess > _NO_EXCESS_MM, excess, 0.0), problem.cost(fill, grind))
