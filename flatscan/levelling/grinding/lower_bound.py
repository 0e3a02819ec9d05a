"""What no plan of grinding and filling can cost less than, whatever it does."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.levelling.grinding.straight_lines import cells_of_lines, piece_numbers
from flatscan.measures.line_family import line_families

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.grinding.lattice import Lattice
    from flatscan.levelling.grinding.problem import FullProblem
    from flatscan.levelling.grinding.programme import Optimum
    from flatscan.levelling.grinding.straight_lines import Chords
    from flatscan.measures.line_family import LineFamily

#: Weights are scaled down this often at most; what is then still out of balance is paid for.
_MOST_ROUNDS = 40
#: Weights smaller than this share of the fill price are rounding.
_NO_WEIGHT = 1e-9


def bound_from(problem: FullProblem, lattice: Lattice, optimum: Optimum) -> float:
    """A lower bound of what the full problem's best plan costs, from the dual weights of a lattice's programme.

    The full problem has a row for every chord: ``lam y_i + (1 - lam) y_j - y_k <= t`` with y = z + f - g. Any
    weights w >= 0 of any of its rows give a lower bound (Lagrangian duality)::

        sum w (lam z_i + (1 - lam) z_j - z_k - t) + sum_cells min over f of (cf + a) f + min over g of (cg - a) g

    over 0 <= f, g within their bounds, a = what the weights load on a cell as contact less what they take from it as
    middle. Each lattice chord is laid through every cell of its middle's block, with as many cells between the contacts
    as the blocks have, along the full problem's own line; those that meet a wall, a hole or an unseen cell are dropped.
    Rows, columns and diagonals come out exactly shifted, so that their weights stay in balance away from borders and
    holes. Other lines land up to half a block aside, and cells there carry more or less than planned: weights are
    scaled down where more is taken from a middle than the fill price and its own load, and what is left is paid for.

    Fill without a bound: no best plan fills above M = max(z + least fill). Cutting the finished floor off at M keeps
    every chord (constant M does, and the lower of two floors that do does too), and is cheaper; and where something
    is ground, more than the least fill is never worth it. So f <= max(least fill, M - z).
    """
    use = optimum.weights > _NO_WEIGHT * problem.fill_price
    chords, weights = optimum.chords[use], optimum.weights[use]
    families = line_families(problem.inside.shape, cell_mm=problem.rule.cell_mm, directions=problem.rule.directions)
    parts = [_Rows.none()]
    for direction, target in np.unique(np.stack([chords.direction, chords.target]), axis=1).T:
        at = (chords.direction == direction) & (chords.target == target)
        parts.append(_laid(problem, lattice.step, lattice.shape, chords[at], weights[at], families[direction]))
    return _lagrangian(problem, _Rows.joined(parts))


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """Rows of the full problem: flat cells, share of the first contact, gap of the floor beyond the limit, weight."""

    first: NDArray[np.int64]
    second: NDArray[np.int64]
    middle: NDArray[np.int64]
    share: NDArray[np.float64]
    over_mm: NDArray[np.float64]
    weight: NDArray[np.float64]

    @classmethod
    def none(cls) -> _Rows:
        no, zero = np.zeros(0, dtype=np.int64), np.zeros(0)
        return cls(no, no, no, zero, zero, zero)

    @classmethod
    def joined(cls, parts: Sequence[_Rows]) -> _Rows:
        return cls(*(np.concatenate([getattr(part, name) for part in parts]) for name in cls.__slots__))


def _laid(
    problem: FullProblem,
    step: int,
    shape: tuple[int, int],
    chords: Chords,
    weights: NDArray[np.float64],
    family: LineFamily,
) -> _Rows:
    """The chords of one direction and target through every cell of their middles' blocks, if they are rows there."""
    grid = problem.inside.shape
    n_major, n_minor = grid[::-1] if family.columns_major else grid
    row, col = (
        block[:, None] * step + within
        for block, within in zip(np.divmod(chords.middle, shape[1]), np.divmod(np.arange(step**2), step), strict=True)
    )
    major, minor = (col, row) if family.columns_major else (row, col)
    ends = major - (chords.before * step)[:, None], major, major + (chords.after * step)[:, None]
    on = (ends[0] >= 0) & (ends[2] < n_major) & (minor < n_minor)
    bent = family.offsets[np.minimum(major, n_major - 1)]
    flat = []
    for end in ends:
        side = minor - bent + family.offsets[np.clip(end, 0, n_major - 1)]
        on &= (side >= 0) & (side < n_minor)
        flat.append(side * grid[1] + end if family.columns_major else end * grid[1] + side)
    edge_mm, limit_mm = problem.targets[chords.target[0]]
    seen = problem.seen
    if not seen.all():
        hole = family.most_hole(edge_mm, problem.rule.bridge_mm)
        cells = cells_of_lines(grid, family)
        piece = np.zeros(problem.inside.size, dtype=np.int64)
        piece[cells[cells >= 0]] = piece_numbers(cells, problem.inside.ravel(), seen.ravel(), hole)[cells >= 0]
        first, middle, second = (np.where(on, at, 0) for at in flat)
        on &= (piece[first] == piece[second]) & seen.flat[first] & seen.flat[middle] & seen.flat[second]
    first, middle, second = (at[on] for at in flat)
    share = np.broadcast_to(chords.share[:, None], on.shape)[on]
    floor = problem.height_mm.ravel()
    over = share * floor[first] + (1.0 - share) * floor[second] - floor[middle] - limit_mm
    return _Rows(first, second, middle, share, over, np.broadcast_to(weights[:, None], on.shape)[on])


def _lagrangian(problem: FullProblem, rows: _Rows) -> float:
    """The bound that the rows' weights prove, after bringing them into balance; 0 or the least fill at the least."""
    seen = problem.seen.ravel()
    least, grind = problem.least_fill_mm.ravel(), problem.most_grind_mm.ravel()
    floor = np.where(seen, problem.height_mm.ravel(), 0.0)
    highest = float((floor + least).max(initial=-np.inf, where=seen))
    most = np.where(seen, np.maximum(least, np.minimum(problem.most_fill_mm.ravel(), highest - floor)), 0.0)
    unbound = np.isinf(problem.most_fill_mm.ravel())
    weight = rows.weight
    load, taken = _loads(rows, weight, len(seen))
    for _ in range(_MOST_ROUNDS):
        allowed = problem.fill_price + load
        if not np.any(unbound & (taken > allowed * (1.0 + 1e-9))):
            break
        down = np.where(unbound & (taken > allowed), allowed / np.maximum(taken, allowed), 1.0)
        weight = weight * down[rows.middle]
        load, taken = _loads(rows, weight, len(seen))
    fill_left = problem.fill_price + load - taken
    grind_left = problem.grind_price - load + taken
    bound = float(weight @ rows.over_mm)
    bound += float(np.where(fill_left > 0.0, least * fill_left, most * fill_left).sum())
    bound += float((grind * np.minimum(grind_left, 0.0)).sum())
    return max(bound, problem.fill_price * float(least.sum()))


def _loads(rows: _Rows, weight: NDArray[np.float64], cells: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """What the weights load on each cell as contact, and what they take from it as middle; (cells,) float64."""
    load = np.bincount(rows.first, rows.share * weight, cells).astype(np.float64)
    load += np.bincount(rows.second, (1.0 - rows.share) * weight, cells)
    return load, np.bincount(rows.middle, weight, cells).astype(np.float64)
