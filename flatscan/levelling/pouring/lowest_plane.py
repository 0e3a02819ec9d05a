"""The plane of least volume over a floor, below what may lie on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.plane_zone import rest_plane
from flatscan.surface.planes import Plane

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Rows met to this share of the heights' spread are met (rounding of the linear programme).
_MET = 1e-9
_MOST_ROUNDS = 100
#: Cells from each of as many blocks join the working rows in a round.
_BLOCKS = 16
#: Bound on the slopes, heights over plan both brought to size 1: without it the first programmes have no least.
_STEEPEST = 1e3


class NoPlaneError(ValueError):
    """Fewer than three points, or all on a line."""


def lowest_plane(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    *,
    counted: int | None = None,
) -> tuple[Plane, float]:
    """Plane through or above all of ``low``, with the least volume, and as little above ``high`` as can be.

    A linear programme in the plane's three numbers and the excess over ``high``; the volume over the floor is, but for
    a constant, the plane's height at the centroid. Where nothing but ``low`` binds that is the rest plane. Else an
    active set: the programme of some rows bounds that of all from below, and is the answer once no row of all is
    missed by it.

    Parameters
    ----------
    x, y, low, high : (n,) mm, low <= high; ``high`` inf where nothing binds; three points or more, not on a line
    counted : the first so many points are the floor whose volume counts; None: all

    Returns
    -------
    the plane, and the excess: how far above ``high`` it must stand somewhere, 0 where it need not

    Raises
    ------
    NoPlaneError
        for fewer than three points of floor, or all on a line
    """
    floor = slice(counted)
    try:
        plane = rest_plane(x[floor], y[floor], low[floor])
    except ValueError as error:
        raise NoPlaneError(str(error)) from error
    height = plane.height_mm(x, y)
    if (height >= low - _MET).all() and (height <= high).all():
        return plane, 0.0
    rows = _Rows(x, y, low, high, counted)
    lowest_excess = rows.solve(excess_counts=True)[3]
    excess = lowest_excess if lowest_excess > _MET else 0.0
    a, b, c, _ = rows.solve(excess_counts=False, most_excess=lowest_excess + _MET)
    return rows.plane(a, b, c), excess * rows.size


class _Rows:
    """The rows, brought to the unit square and to heights of size 1, and those of them worked with so far."""

    def __init__(
        self,
        x: NDArray[np.float64],
        y: NDArray[np.float64],
        low: NDArray[np.float64],
        high: NDArray[np.float64],
        counted: int | None,
    ) -> None:
        self.centre = float(x[:counted].mean()), float(y[:counted].mean())
        self.x, self.y = x - self.centre[0], y - self.centre[1]
        self.reach = max(float(np.abs(self.x).max()), float(np.abs(self.y).max()))
        self.x /= self.reach
        self.y /= self.reach
        self.base = float(low.mean())
        self.size = max(float(np.abs(low - self.base).max()), 1.0)
        self.low, self.high = (low - self.base) / self.size, (high - self.base) / self.size
        self.capped = np.flatnonzero(np.isfinite(self.high))
        corners = [int((sx * self.x + sy * self.y).argmax()) for sx in (1, -1) for sy in (1, -1)]
        self.below = np.unique(np.array([*corners, int(self.low.argmax())], dtype=np.int64))
        self.above = self._lowest_cap() if self.capped.size else np.zeros(0, dtype=np.int64)

    def _lowest_cap(self) -> NDArray[np.int64]:
        return self.capped[[int(self.high[self.capped].argmin())]]

    def plane(self, a: float, b: float, c: float) -> Plane:
        """The plane in the points' own coordinates."""
        slope_x, slope_y = a * self.size / self.reach, b * self.size / self.reach
        return Plane(slope_x, slope_y, self.base + c * self.size - slope_x * self.centre[0] - slope_y * self.centre[1])

    def solve(self, *, excess_counts: bool, most_excess: float | None = None) -> tuple[float, float, float, float]:
        """Least excess, or least height at the centroid: (a, b, c, excess) in the rows' own sizes."""
        for _ in range(_MOST_ROUNDS):
            a, b, c, s = self._programme(excess_counts=excess_counts, most_excess=most_excess)
            height = a * self.x + b * self.y + c
            short = self.low - height
            over = height[self.capped] - self.high[self.capped] - s
            if max(short.max(), over.max(initial=-np.inf)) <= _MET:
                return a, b, c, s
            missed = _worst(short), self.capped[_worst(over)]
            fewer = len(self.below) + len(self.above)
            self.below = np.union1d(self.below, missed[0][short[missed[0]] > _MET])
            beyond = height[missed[1]] - self.high[missed[1]] - s
            self.above = np.union1d(self.above, missed[1][beyond > _MET])
            if len(self.below) + len(self.above) == fewer:
                return a, b, c + max(0.0, float(short.max())), s
        raise ArithmeticError("the plane did not settle")

    def _programme(self, *, excess_counts: bool, most_excess: float | None) -> tuple[float, float, float, float]:
        from scipy.optimize import linprog

        i, j = self.below, self.above
        lower = -np.stack([self.x[i], self.y[i], np.ones(len(i)), np.zeros(len(i))], axis=1)
        upper = np.stack([self.x[j], self.y[j], np.ones(len(j)), -np.ones(len(j))], axis=1)
        slope = (-_STEEPEST, _STEEPEST)
        found = linprog(
            [0.0, 0.0, 0.0, 1.0] if excess_counts else [0.0, 0.0, 1.0, 0.0],
            A_ub=np.concatenate([lower, upper]),
            b_ub=np.concatenate([-self.low[i], self.high[j]]),
            bounds=[slope, slope, (None, None), (0.0, most_excess)],
            method="highs",
            options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
        )
        if found.status != 0:
            raise ArithmeticError(f"the linear programme failed: {found.message}")
        a, b, c, s = (float(v) for v in found.x)
        return a, b, c, s


def _worst(missed: NDArray[np.float64]) -> NDArray[np.int64]:
    """Where the largest of each of some blocks are."""
    length = max(1, -(-len(missed) // _BLOCKS))
    starts = range(0, len(missed), length)
    return np.array([k + int(missed[k : k + length].argmax()) for k in starts], dtype=np.int64)
