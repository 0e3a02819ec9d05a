"""The cheapest grinding and filling of a grid, as a linear programme solved by cutting planes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.levelling.grinding.straight_lines import broken_chords, joined

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.grinding.straight_lines import Chords, StraightLines

#: Chords that exceed their limit by less than this are left out of the programme.
SETTLED_MM = 1e-4
#: Fill beyond the most allowed costs this many times what fill and grinding cost: only where nothing else helps.
_BEYOND_PRICE = 1000.0


@dataclass(frozen=True, slots=True, eq=False)
class Programme:
    """What is to be solved, all arrays flat, (cells,) float64.

    Attributes
    ----------
    floor_mm : heights; NaN where there is no reading
    lines : where the edge is laid
    limits_mm : (targets, cells), the gap allowed over each cell
    least_fill_mm, most_fill_mm, most_grind_mm : bounds
    fill_price, grind_price : of a millimetre in a cell, in any unit
    """

    floor_mm: NDArray[np.float64]
    lines: Sequence[StraightLines]
    limits_mm: NDArray[np.float64]
    least_fill_mm: NDArray[np.float64]
    most_fill_mm: NDArray[np.float64]
    most_grind_mm: NDArray[np.float64]
    fill_price: float
    grind_price: float


@dataclass(frozen=True, slots=True, eq=False)
class Optimum:
    """The cheapest work on the grid.

    Attributes
    ----------
    fill_mm, grind_mm : (cells,) float64; NaN where there is no reading
    finished_mm : (cells,) float64, the floor after the work
    beyond_mm : (cells,) float64, fill above the most allowed, which no grinding could save
    cost : price of ``fill_mm`` and ``grind_mm``
    chords : those of the programme
    weights : (chords,) float64, at least 0, the dual value of each: what a millimetre less allowed gap would cost
    rounds : how often it was solved
    """

    fill_mm: NDArray[np.float64]
    grind_mm: NDArray[np.float64]
    finished_mm: NDArray[np.float64]
    beyond_mm: NDArray[np.float64]
    cost: float
    chords: Chords
    weights: NDArray[np.float64]
    rounds: int


#: Steps of the simplex method after which the programme is left as it stands: a lower bound still, and a plan to try.
#: Bounds that nothing can keep to need so many, and floors 4 mm rms and more uneven: there it costs 0.1 % (measured).
MOST_STEPS = 20_000


def solve(programme: Programme, start: Sequence[Chords] = ()) -> Optimum:
    """Solve, find the worst chord over every cell, add those that are broken, and repeat.

    Every round's programme holds a part of all chords, so its cost never exceeds the true optimum's; when no chord
    of all is broken by more than ``SETTLED_MM`` it is the optimum; ``MOST_STEPS`` may end it a little before. The
    simplex method starts each round from the last one's basis, which stays dual feasible when rows are added. (One
    chord a cell, not one for each direction: more rounds, but half the rows, and a third of the time on a lattice of
    5,000 cells.)

    Parameters
    ----------
    programme : what is to be solved
    start : chords to begin with, from a programme much like this one
    """
    model = _Model(programme)
    chords = list(start)
    for part in chords:
        model.add(part)
    rounds = steps = 0
    while True:
        rounds += 1
        surface = model.solved()
        new_steps = model.steps
        steps += new_steps
        part = broken_chords(surface, programme.lines, programme.limits_mm, more_than_mm=SETTLED_MM)
        stuck = rounds > 1 and new_steps == 0
        if len(part) == 0 or stuck or steps > MOST_STEPS:
            return model.optimum(joined(chords), rounds)
        part = part.worst_of_each_cell(surface)
        model.add(part)
        chords.append(part)


class _Model:
    """The programme inside the solver. Columns: fill of every cell read, then grinding, then fill beyond the most."""

    def __init__(self, programme: Programme) -> None:
        import highspy

        self.programme = programme
        cells = len(programme.floor_mm)
        seen = np.isfinite(programme.floor_mm)
        self.filled = np.flatnonzero(seen)
        self.ground = np.flatnonzero(seen & (programme.most_grind_mm > 0))
        self.over = np.flatnonzero(seen & np.isfinite(programme.most_fill_mm))
        counts = np.cumsum([len(self.filled), len(self.ground), len(self.over)])
        #: Column of each cell's fill, grinding and fill beyond; -1 where it has none.
        self.columns = np.full((3, cells), -1, dtype=np.int32)
        for n, at in enumerate((self.filled, self.ground, self.over)):
            self.columns[n, at] = np.arange(counts[n] - len(at), counts[n])
        self.scale = max(programme.fill_price, programme.grind_price)
        # The class beneath the Python one: the latter writes a banner to standard output before it can be told not to.
        base: Any = highspy.Highs.__base__
        self.solver: Any = base()
        for option, value in (("output_flag", False), ("threads", 1), ("presolve", "off")):
            self.solver.setOptionValue(option, value)
        beyond = _BEYOND_PRICE * (programme.fill_price + programme.grind_price)
        cost = np.repeat([programme.fill_price, programme.grind_price, beyond], np.diff(counts, prepend=0)) / self.scale
        least = np.zeros(counts[-1])
        least[: counts[0]] = programme.least_fill_mm[self.filled]
        most = np.full(counts[-1], np.inf)
        most[: counts[0]] = np.maximum(programme.most_fill_mm[self.filled], least[: counts[0]])
        most[counts[0] : counts[1]] = programme.most_grind_mm[self.ground]
        none = np.zeros(0)
        self.solver.addCols(
            int(counts[-1]), cost, least, most, 0, np.zeros(counts[-1], np.int32), none.astype(np.int32), none
        )

    def add(self, chords: Chords) -> None:
        """One row for each chord: what the work adds to its gap is at most what the floor leaves of the limit."""
        columns, values = [], []
        for at, weight in (
            (chords.first, chords.share),
            (chords.second, 1.0 - chords.share),
            (chords.middle, np.full(len(chords), -1.0)),
        ):
            for n, sign in enumerate((1.0, -1.0, 1.0)):
                columns.append(self.columns[n, at])
                values.append(sign * weight)
        index, value = np.stack(columns, axis=1), np.stack(values, axis=1)
        used = index >= 0
        starts = np.append(0, np.cumsum(used.sum(axis=1))[:-1]).astype(np.int32)
        most = chords.limit_mm - chords.gap_mm(self.programme.floor_mm)
        least = np.full(len(chords), -np.inf)
        self.solver.addRows(len(chords), least, most, int(used.sum()), starts, index[used], value[used])

    def solved(self) -> NDArray[np.float64]:
        """The finished floor of the programme as it stands, (cells,) float64."""
        self.solver.run()
        status = self.solver.modelStatusToString(self.solver.getModelStatus())
        # It has a solution, since fill knows no end but its price, and costs no less than nothing.
        if status not in {"Optimal", "Empty"}:
            raise RuntimeError(f"the grinding programme ended as: {status}")
        self.values = np.asarray(self.solver.getSolution().col_value)
        fill, grind, beyond = (self._on_cells(n) for n in range(3))
        surface: NDArray[np.float64] = self.programme.floor_mm + fill + beyond - grind
        return surface

    @property
    def steps(self) -> int:
        """Steps that the simplex method took for the last solution."""
        return int(self.solver.getInfo().simplex_iteration_count)

    def _on_cells(self, n: int) -> NDArray[np.float64]:
        at = self.columns[n]
        values = np.zeros(len(at))
        values[at >= 0] = self.values[at[at >= 0]]
        return values

    def optimum(self, chords: Chords, rounds: int) -> Optimum:
        """What the solver found, back on the cells."""
        unseen = np.where(np.isfinite(self.programme.floor_mm), 0.0, np.nan)
        fill, grind, beyond = (self._on_cells(n) + unseen for n in range(3))
        dual: Any = self.solver.getSolution().row_dual
        return Optimum(
            fill_mm=fill,
            grind_mm=grind,
            finished_mm=self.programme.floor_mm + fill + beyond - grind,
            beyond_mm=beyond,
            cost=float(self.programme.fill_price * np.nansum(fill) + self.programme.grind_price * np.nansum(grind)),
            chords=chords,
            weights=np.maximum(-np.asarray(dual, dtype=np.float64), 0.0) * self.scale,
            rounds=rounds,
        )
