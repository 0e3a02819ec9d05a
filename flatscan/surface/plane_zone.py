"""Exact planes that touch the floor: the minimum zone (two parallel planes) and the rest plane (one, on top).

Both are linear programmes in (a, b, c, t). The active set is exact and needs few rows: the optimum over some of
the points bounds that over all from below, a scan over all residuals bounds it from above, and when the two meet
the plane is proved. Distances are vertical (see ``planes``).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.planes import Plane, fit_least_squares

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

#: Bounds closer than this share of the half width count as met (rounding of the linear programme).
PROOF_RELATIVE = 1e-9
_MOST_ROUNDS = 200
#: First bound on the rest plane's slopes (residuals and floor are of size 1), and its growth where it binds.
_FIRST_STEEPEST = 4.0
_STEEPER = 16.0
_BLOCKS = 16


def minimum_zone(x: ArrayLike, y: ArrayLike, z: ArrayLike) -> tuple[Plane, float]:
    """Return the plane midway between the two closest parallel planes enclosing all points, and half their distance.

    The MZPL of ISO 12781-1; twice the half width is FLTt about it (vertical). Points are (n,) mm, finite, three
    of them not on a line. It hangs on single points: clean the heights first.
    """
    scaled = _Scaled(x, y, z)
    if scaled.size == 0.0:
        return scaled.plane(0.0, 0.0, 0.0), 0.0
    working = _extremes(scaled.x, scaled.y, scaled.r)
    for _ in range(_MOST_ROUNDS):
        a, b, c, half = _zone_programme(scaled.x[working], scaled.y[working], scaled.r[working])
        residual = scaled.residual(a, b, c)
        top, bottom = int(residual.argmax()), int(residual.argmin())
        widest = 0.5 * float(residual[top] - residual[bottom])
        if widest <= half + PROOF_RELATIVE or (top in working and bottom in working):
            middle = 0.5 * float(residual[top] + residual[bottom])
            return scaled.plane(a, b, c + middle), widest * scaled.size
        working = np.union1d(working, _worst(residual))
    raise ArithmeticError("the minimum zone did not settle")


def rest_plane(x: ArrayLike, y: ArrayLike, z: ArrayLike) -> Plane:
    """Return the lowest plane that no point pokes through: a rigid sheet laid on the floor.

    Lowest in the mean over the points, so it stands on three of them around their centroid, and the volume
    between it and the floor is the least of all planes above. Points as in :func:`minimum_zone`.
    """
    scaled = _Scaled(x, y, z)
    if scaled.size == 0.0:
        return scaled.plane(0.0, 0.0, 0.0)
    working = _extremes(scaled.x, scaled.y, scaled.r)
    steepest = _FIRST_STEEPEST
    for _ in range(_MOST_ROUNDS):
        a, b, c = _rest_programme(scaled.x[working], scaled.y[working], scaled.r[working], steepest)
        residual = scaled.residual(a, b, c)
        top = int(residual.argmax())
        if residual[top] <= PROOF_RELATIVE or top in working:
            if max(abs(a), abs(b)) < steepest:
                return scaled.plane(a, b, c + max(0.0, float(residual[top])))
            steepest *= _STEEPER
        working = np.union1d(working, _worst(residual, one_sided=True))
    raise ArithmeticError("the rest plane did not settle")


class _Scaled:
    """Points about the least-squares plane, brought to the unit square so that tolerances are relative."""

    def __init__(self, x: ArrayLike, y: ArrayLike, z: ArrayLike) -> None:
        xs, ys, zs = (np.ravel(np.asarray(v, dtype=np.float64)) for v in (x, y, z))
        fit = fit_least_squares(xs, ys, zs)
        self.base, self.centre = fit.plane, fit.centre_mm
        self.x, self.y = xs - self.centre[0], ys - self.centre[1]
        self.reach = max(float(np.abs(self.x).max()), float(np.abs(self.y).max()))
        self.x /= self.reach
        self.y /= self.reach
        self.at_centre = float(fit.plane.height_mm(*self.centre))
        # About the centroid, not the origin: with map coordinates a x + b y + c would lose digits.
        self.r = (zs - self.at_centre) - fit.plane.a * (self.x * self.reach) - fit.plane.b * (self.y * self.reach)
        self.size = float(np.abs(self.r).max())
        if self.size > 0.0:
            self.r /= self.size

    def residual(self, a: float, b: float, c: float) -> NDArray[np.float64]:
        return self.r - (a * self.x + b * self.y + c)

    def plane(self, a: float, b: float, c: float) -> Plane:
        """The plane in the points' own coordinates."""
        slope_x, slope_y = self.base.a + a * self.size / self.reach, self.base.b + b * self.size / self.reach
        height = self.at_centre + c * self.size
        return Plane(slope_x, slope_y, height - slope_x * self.centre[0] - slope_y * self.centre[1])


def _zone_programme(
    x: NDArray[np.float64], y: NDArray[np.float64], r: NDArray[np.float64]
) -> tuple[float, float, float, float]:
    """Least t with |r - a x - b y - c| <= t."""
    one = np.ones(len(x))
    rows = np.block([[np.stack([-x, -y, -one, -one], axis=1)], [np.stack([x, y, one, -one], axis=1)]])
    a, b, c, t = _solve(np.array([0.0, 0.0, 0.0, 1.0]), rows, np.concatenate([-r, r]), [(None, None)] * 4)
    return a, b, c, t


def _rest_programme(
    x: NDArray[np.float64], y: NDArray[np.float64], r: NDArray[np.float64], steepest: float
) -> tuple[float, float, float]:
    """Least height at the centroid (0, 0) with a x + b y + c >= r and slopes up to ``steepest``.

    Without that bound the first programmes, whose points need not lie all round the centroid, have no least.
    """
    rows = -np.stack([x, y, np.ones(len(x))], axis=1)
    slopes = (-steepest, steepest)
    a, b, c = _solve(np.array([0.0, 0.0, 1.0]), rows, -r, [slopes, slopes, (None, None)])
    return a, b, c


def _solve(
    cost: NDArray[np.float64],
    rows: NDArray[np.float64],
    bound: NDArray[np.float64],
    bounds: list[tuple[float | None, float | None]],
) -> tuple[float, ...]:
    """Minimise ``cost`` subject to ``rows`` v <= ``bound``, then sharpen the corner to rounding."""
    from scipy.optimize import linprog

    found = linprog(
        cost,
        A_ub=rows,
        b_ub=bound,
        bounds=bounds,
        method="highs",
        options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
    )
    if found.status != 0:
        raise ArithmeticError(f"the linear programme failed: {found.message}")
    v = np.asarray(found.x)
    # The solver meets its rows to 1e-10; solving the touching rows as equations gives the corner to rounding.
    touching = np.flatnonzero(np.abs(found.ineqlin.marginals) > 1e-12)  # noqa: PLR2004
    if len(touching) == len(cost):
        matrix = rows[touching]
        if np.linalg.cond(matrix) < 1e8:  # noqa: PLR2004
            v = np.linalg.solve(matrix, bound[touching])
    return tuple(float(value) for value in v)


def _extremes(x: NDArray[np.float64], y: NDArray[np.float64], r: NDArray[np.float64]) -> NDArray[np.int64]:
    """A first working set: the four corners of the floor and the highest and lowest points."""
    corners = [int((sx * x + sy * y).argmax()) for sx in (1, -1) for sy in (1, -1)]
    return np.unique(np.array([*corners, int(r.argmax()), int(r.argmin())], dtype=np.int64))


def _worst(residual: NDArray[np.float64], *, one_sided: bool = False) -> NDArray[np.int64]:
    """Highest and (two-sided) lowest residual of each of some blocks of points; the overall ones are among them.

    Several rows a round settle a plane in fewer rounds, and each round reads every point.
    """
    length = -(-len(residual) // _BLOCKS)
    picked = []
    for start in range(0, len(residual), length):
        block = residual[start : start + length]
        picked.append(start + int(block.argmax()))
        if not one_sided:
            picked.append(start + int(block.argmin()))
    return np.array(picked, dtype=np.int64)
