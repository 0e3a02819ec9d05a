"""What no plan of grinding and filling can cost less than, whatever it does."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.levelling.grinding.full_rows import FullRows, full_rows, joined_rows

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.grinding.lattice import Lattice
    from flatscan.levelling.grinding.problem import FullProblem
    from flatscan.levelling.grinding.programme import Optimum

#: Chords that the lattice's optimum keeps with less than this to spare are laid too: their weights may grow.
_NEARLY_TIGHT_MM = 0.05
#: Rows that are not tight are left out beyond this number in all, for memory.
_MOST_ROWS = 3_000_000
#: Steps of ascent after which the mean weights since the last such step are tried.
_TRIED_AT = (25, 50, 100)
#: Steps in floor and weights have this ratio, in mm per fill price: any is right, this is quick.
_STEP_RATIO = 2.0
#: Weights are scaled down this often at most, until what is out of balance costs less than this share of the bound.
_MOST_ROUNDS, _IN_BALANCE = 30, 1e-5


def bound_from(problem: FullProblem, solved: Sequence[tuple[Lattice, Optimum]]) -> float:
    """A lower bound of what the full problem's best plan costs, from the optima of lattices that part the floor anew.

    The full problem has a row for every chord: ``lam y_i + (1 - lam) y_j - y_k <= t`` with y = z + f - g. Any
    weights w >= 0 of any of its rows prove a lower bound (Lagrangian duality)::

        sum w (lam z_i + (1 - lam) z_j - z_k - t) + sum_cells min over f of (cf + a) f + min over g of (cg - a) g

    over f and g within their bounds, a = what the weights load on a cell as contact less what they take from it as
    middle. Lattice chords are laid over all cells with their dual weights (``full_rows``), averaged over the lattices.
    That would be exact for block means and straight shifts; roughness and lines that do not shift straight make cells
    carry more or less than planned. So the weights are improved by primal-dual steps (Chambolle and Pock 2011, with the
    diagonal steps of Pock and Chambolle 2011; from memory) on these rows alone, and the best bound met is returned.
    """
    rows = joined_rows([_rows_of(problem, *pair, len(solved)) for pair in solved])
    least, most = _fill_bounds(problem)
    best = max(problem.fill_price * float(least.sum()), _proven(problem, rows, rows.weight, least, most))
    if len(rows) == 0 or all(lattice.step == 1 for lattice, _ in solved):
        return best
    return max([best, *(_proven(problem, rows, weight, least, most) for weight in _ascent(problem, rows, least, most))])


def _rows_of(problem: FullProblem, lattice: Lattice, optimum: Optimum, lattices: int) -> FullRows:
    """The tight chords' rows, and those of chords nearly tight as far as there is room."""
    spare = optimum.chords.limit_mm - optimum.chords.gap_mm(optimum.finished_mm)
    spare[optimum.weights > 0.0] = -np.inf
    room = _MOST_ROWS // (lattices * lattice.step**2)
    order = np.argsort(spare, kind="stable")
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    use = np.isneginf(spare) | ((spare < _NEARLY_TIGHT_MM) & (rank < room))
    return full_rows(problem, lattice, optimum.chords[use], optimum.weights[use])


def _fill_bounds(problem: FullProblem) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Least fill, and a most fill that no best plan goes beyond; (cells,) float64.

    No best plan fills above M = max(z + least fill). Cutting the finished floor off at M keeps every chord (constant
    M does, and the lower of two floors that do does too) and costs less; and where something is ground, more than
    the least fill is never worth it. So f <= max(least fill, M - z).
    """
    seen, least = problem.seen.ravel(), problem.least_fill_mm.ravel()
    floor = np.where(seen, problem.height_mm.ravel(), 0.0)
    highest = float((floor + least).max(initial=-np.inf, where=seen))
    most = np.maximum(least, np.minimum(problem.most_fill_mm.ravel(), highest - floor))
    return least, np.where(seen, most, 0.0)


def _proven(
    problem: FullProblem,
    rows: FullRows,
    weight: NDArray[np.float64],
    least: NDArray[np.float64],
    most: NDArray[np.float64],
) -> float:
    """The bound that weights prove.

    Where nothing binds the fill and more is taken from a middle than the fill price and its own load, the weights of
    its rows are scaled down first: to pay for that much fill would cost more. What is then left is paid for.
    """
    unbound = np.isinf(problem.most_fill_mm.ravel())
    cells = len(least)
    for _ in range(_MOST_ROUNDS):
        load, taken = _loads(rows, weight, cells)
        allowed = problem.fill_price + load
        lacking = np.where(unbound, np.maximum(taken - allowed, 0.0), 0.0)
        if float(lacking @ most) <= _IN_BALANCE * abs(float(weight @ rows.over_mm)):
            break
        down = np.where(lacking > 0.0, allowed / np.maximum(taken, allowed), 1.0)
        weight = weight * down[rows.cells[:, 2]]
    load, taken = _loads(rows, weight, cells)
    fill_left = problem.fill_price + load - taken
    grind_left = problem.grind_price - load + taken
    bound = float(weight @ rows.over_mm)
    bound += float(np.where(fill_left > 0.0, least * fill_left, most * fill_left).sum())
    return bound + float((problem.most_grind_mm.ravel() * np.minimum(grind_left, 0.0)).sum())


def _loads(rows: FullRows, weight: NDArray[np.float64], cells: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """What the weights load on each cell as contact, and what they take from it as middle; (cells,) float64."""
    load = np.bincount(rows.cells[:, 0], rows.share * weight, cells).astype(np.float64)
    load += np.bincount(rows.cells[:, 1], (1.0 - rows.share) * weight, cells)
    return load, np.bincount(rows.cells[:, 2], weight, cells).astype(np.float64)


def _ascent(
    problem: FullProblem, rows: FullRows, least: NDArray[np.float64], most: NDArray[np.float64]
) -> list[NDArray[np.float64]]:
    """Better weights, (rows,) float64 each: means over stretches of the primal-dual iteration."""
    from scipy import sparse

    values = np.stack([rows.share, 1.0 - rows.share, np.full(len(rows), -1.0)], axis=1)
    starts = np.arange(0, 3 * len(rows) + 1, 3, dtype=np.int32)
    # A copy of the cells: the matrix may sort its entries in place.
    matrix: Any = sparse.csr_array((values.ravel(), rows.cells.flatten(), starts), shape=(len(rows), len(least)))
    turned = matrix.T
    #: Each row's entries add up to 2, in fill and again in grinding.
    up = 1.0 / (4.0 * _STEP_RATIO)
    along = _STEP_RATIO / np.maximum(abs(matrix).sum(axis=0), 1e-9)
    price = problem.grind_price / problem.fill_price
    weight, grind_most = rows.weight / problem.fill_price, problem.most_grind_mm.ravel()
    fill, grind = least.copy(), np.zeros(len(least))
    total, since, means = np.zeros(len(rows)), 0, []
    for step in range(1, _TRIED_AT[-1] + 1):
        pull = turned @ weight
        next_fill = np.clip(fill - along * (1.0 + pull), least, most)
        next_grind = np.clip(grind - along * (price - pull), 0.0, grind_most)
        ahead = 2.0 * (next_fill - next_grind) - (fill - grind)
        fill, grind = next_fill, next_grind
        weight = np.maximum(weight + up * (matrix @ ahead + rows.over_mm), 0.0)
        total += weight
        since += 1
        if step in _TRIED_AT:
            means.append(total / since * problem.fill_price)
            total, since = np.zeros(len(rows)), 0
    return means
