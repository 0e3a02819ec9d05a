"""A plane through differences of height, whatever part of them the work has changed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Tukey's biweight: 95 % efficient for normal errors; a median deviation times this is a standard deviation.
_TUKEY, _ROBUST = 4.685, 1.4826
_ROUNDS = 30
_LEAST_MM = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class PlaneFit:
    """z = a + b (x - x0) + c (y - y0); ``weights`` (n,) 0 to 1 that the points had in the end.

    ``solve`` (3, n): the fit as a linear map of the points' heights, those weights held; ``from_tilt`` (3, 3): likewise
    of a tilt that was known before; None: none was.
    """

    coefficients: NDArray[np.float64]
    middle_mm: NDArray[np.float64]
    weights: NDArray[np.float64]
    solve: NDArray[np.float64]
    from_tilt: NDArray[np.float64] | None = None

    def at(self, xy_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) heights of the plane."""
        return np.asarray(terms(xy_mm, self.middle_mm) @ self.coefficients)


def terms(xy_mm: NDArray[np.float64], middle_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 3): 1, and x and y in metres from the middle."""
    away = (xy_mm - middle_mm) / 1000.0
    return np.column_stack([np.ones(len(away)), away])


def robust_plane(xy_mm: NDArray[np.float64], z_mm: NDArray[np.float64], *, least_scale_mm: float = 0.0) -> PlaneFit:
    """The plane that most of the points lie on (iterated weights, from least absolute deviations to Tukey's biweight).

    ``xy_mm`` (n, 2) and ``z_mm`` (n,), n >= 3; ``least_scale_mm``: the points' own scatter is never taken for less.
    Of points that all agree the plane is exact.
    """
    middle = xy_mm.mean(axis=0)
    a = terms(xy_mm, middle)
    weights = np.ones(len(z_mm))
    coefficients, solve = _weighted(a, z_mm, weights)
    for number in range(_ROUNDS):
        rest = z_mm - a @ coefficients
        scale = max(_ROBUST * float(np.median(np.abs(rest))), least_scale_mm, _LEAST_MM)
        if number < _ROUNDS // 2:
            new = 1.0 / np.maximum(np.abs(rest), 0.1 * scale) * scale
        else:
            new = np.square(np.maximum(0.0, 1.0 - np.square(rest / (_TUKEY * scale))))
        if new.sum() < 3:  # noqa: PLR2004 - three unknowns
            break
        before, weights = coefficients, new
        coefficients, solve = _weighted(a, z_mm, weights)
        if number > _ROUNDS // 2 and np.abs(coefficients - before).max() < 1e-9:  # noqa: PLR2004
            break
    return PlaneFit(coefficients, middle, weights, solve)


@dataclass(frozen=True, slots=True, eq=False)
class Tilt:
    """A tilt known otherwise: ``mm_per_m`` (2,) along x and y, each with standard uncertainty ``u_mm_per_m``."""

    mm_per_m: NDArray[np.float64]
    u_mm_per_m: float


def tilted_plane(xy_mm: NDArray[np.float64], z_mm: NDArray[np.float64], variance_mm2: float, tilt: Tilt) -> PlaneFit:
    """The plane through points of one variance whose tilt is known before (linear least squares with a prior)."""
    middle = xy_mm.mean(axis=0)
    a = terms(xy_mm, middle)
    trust = np.diag([0.0, *(2 * [max(tilt.u_mm_per_m, 1e-6) ** -2])])
    inverse = np.linalg.inv(a.T @ a / variance_mm2 + trust)
    solve = inverse @ a.T / variance_mm2
    coefficients = solve @ z_mm + inverse @ trust @ np.array([0.0, *tilt.mm_per_m])
    return PlaneFit(coefficients, middle, np.ones(len(z_mm)), solve, np.asarray(inverse @ trust))


def _weighted(
    a: NDArray[np.float64], z_mm: NDArray[np.float64], weights: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    solve = np.linalg.pinv(a.T @ (weights[:, None] * a)) @ (a.T * weights)
    return solve @ z_mm, solve
