"""Reference planes z = a x + b y + c: least squares and its robust form.

Residuals are vertical distances. The normal distance is smaller by 1/sqrt(1 + a² + b²): 2e-4 of it at a fall
of 2 %, nothing in the floor frame, whose z axis is the plane's normal. Fitting vertical distances gives a plane
that differs from total least squares (the LSPL of ISO 12781-1) in the same order.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import SIGMA_PER_MAD

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

#: Tukey's biweight constant for 95 % efficiency on normal residuals (Holland & Welsch 1977).
TUKEY_C = 4.685
#: Robust fits look at this many points at most; more add nothing to a plane but time.
ROBUST_POINTS = 50_000
LEAST_POINTS = 3
_GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0
_CHUNK = 1 << 15
#: Spread across over spread along, squared, below which the points lie on a line.
_ON_A_LINE = 1e-12


@dataclass(frozen=True, slots=True)
class Plane:
    """z = a x + b y + c, in mm; ``a`` and ``b`` are slopes (mm/mm), ``c`` the height at (0, 0)."""

    a: float
    b: float
    c: float

    @property
    def normal(self) -> NDArray[np.float64]:
        """(3,) unit normal, pointing up."""
        n = np.array([-self.a, -self.b, 1.0])
        return n / self._steepness

    @property
    def offset_mm(self) -> float:
        """Distance of the origin below the plane along the normal: normal · p = offset for p on it."""
        return self.c / self._steepness

    @property
    def _steepness(self) -> float:
        return math.sqrt(1.0 + self.a**2 + self.b**2)

    def height_mm(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """Height of the plane at (x, y)."""
        return self.a * np.asarray(x, dtype=np.float64) + self.b * np.asarray(y, dtype=np.float64) + self.c

    def vertical_mm(self, x: ArrayLike, y: ArrayLike, z: ArrayLike) -> NDArray[np.float64]:
        """Height of the points above the plane, measured along z."""
        return np.asarray(z, dtype=np.float64) - self.height_mm(x, y)

    def normal_mm(self, x: ArrayLike, y: ArrayLike, z: ArrayLike) -> NDArray[np.float64]:
        """Distance of the points from the plane along its normal, + above (ISO 12781-1, local deviation)."""
        return self.vertical_mm(x, y, z) / self._steepness


@dataclass(frozen=True, slots=True, eq=False)
class PlaneFit:
    """A fitted plane with its doubt.

    ``covariance`` is (3, 3) of (a, b, height at ``centre_mm``), for independent readings whose scatter is
    ``rms_mm``: a floor's own bends are not independent, so this is its least. ``weight`` (n,) is the trust
    each point was given in the end (None: all alike).
    """

    plane: Plane
    covariance: NDArray[np.float64]
    centre_mm: tuple[float, float]
    rms_mm: float
    weight: NDArray[np.float64] | None = None


def fit_least_squares(x: ArrayLike, y: ArrayLike, z: ArrayLike, weight: ArrayLike | None = None) -> PlaneFit:
    """Fit by least squares of vertical distances: normal equations about the centroid, two passes.

    Parameters
    ----------
    x, y, z : (n,) mm, finite; at least three points not on a line
    weight : (n,) >= 0, relative weights 1/σ²; None: all alike
    """
    xs, ys, zs = (np.ravel(np.asarray(v)) for v in (x, y, z))
    w = None if weight is None else np.ravel(np.asarray(weight, dtype=np.float64))
    moments, centre, total = _central_moments(xs, ys, zs, w)
    sxx, sxy, syy = moments[0, 0], moments[0, 1], moments[1, 1]
    determinant = sxx * syy - sxy * sxy
    effective = len(xs) if w is None else int(np.count_nonzero(w))
    if effective < LEAST_POINTS or determinant <= _ON_A_LINE * (sxx + syy) ** 2:
        raise ValueError("a plane needs three points that are not on a line")
    inverse = np.array([[syy, -sxy], [-sxy, sxx]]) / determinant
    a, b = inverse @ moments[:2, 2]
    square = max(moments[2, 2] - a * moments[0, 2] - b * moments[1, 2], 0.0) / total
    # Weights are relative: sigma is the scatter of a reading of mean weight.
    variance = square * effective / max(effective - LEAST_POINTS, 1)
    covariance = np.zeros((3, 3))
    covariance[:2, :2] = inverse * total / effective * variance
    covariance[2, 2] = variance / effective
    plane = Plane(float(a), float(b), float(centre[2] - a * centre[0] - b * centre[1]))
    return PlaneFit(plane, covariance, (float(centre[0]), float(centre[1])), math.sqrt(square), w)


def _central_moments(
    x: NDArray[np.float64], y: NDArray[np.float64], z: NDArray[np.float64], w: NDArray[np.float64] | None
) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """(3, 3) sums of products about the centroid, the (3,) centroid and the sum of weights.

    Chunks that fit the cache; a first shift by one of the points keeps map coordinates from eating the digits.
    """
    if not len(x):
        raise ValueError("a plane needs three points that are not on a line")
    shift = np.array([float(x[0]), float(y[0]), float(z[0])])
    first, products, total = np.zeros(3), np.zeros((3, 3)), 0.0
    buffer = np.empty((3, min(_CHUNK, len(x))))
    for start in range(0, len(x), _CHUNK):
        part = slice(start, start + _CHUNK)
        block = buffer[:, : len(x[part])]
        for k, values in enumerate((x, y, z)):
            np.subtract(values[part], shift[k], out=block[k])
        if w is None:
            total += block.shape[1]
            first += block.sum(axis=1)
            products += block @ block.T
        else:
            total += float(w[part].sum())
            first += block @ w[part]
            products += (block * w[part]) @ block.T
    if total <= 0.0:
        raise ValueError("a plane needs three points that are not on a line")
    mean = first / total
    if float(np.abs(mean).max()) ** 2 * total > 1e3 * float(np.trace(products) - total * (mean @ mean)):
        return _central_moments_shifted(x, y, z, w, shift + mean, total)
    return products - total * np.outer(mean, mean), shift + mean, total


def _central_moments_shifted(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    z: NDArray[np.float64],
    w: NDArray[np.float64] | None,
    centre: NDArray[np.float64],
    total: float,
) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """Second look about the true centroid, for the rare case that the first point lay far from all others."""
    block = np.stack([x - centre[0], y - centre[1], z - centre[2]])
    return (block if w is None else block * w) @ block.T, centre, total


def fit_robust(x: ArrayLike, y: ArrayLike, z: ArrayLike, weight: ArrayLike | None = None) -> PlaneFit:
    """Tukey biweight by reweighted least squares, started from a least-trimmed-squares plane.

    The start (the half of the points nearest to the plane, refitted until it settles; Rousseeuw & Van Driessen
    2006) keeps one-sided clutter, objects and rubble on the floor, from dragging the fit; the biweight then
    uses every floor point. Above ``ROBUST_POINTS`` points an evenly spread subset of them is used.
    ``weight`` of the result is relative to that subset only where no subset was taken, else None.
    """
    xs, ys, zs = (np.ravel(np.asarray(v, dtype=np.float64)) for v in (x, y, z))
    trust = np.ones(len(xs)) if weight is None else np.ravel(np.asarray(weight, dtype=np.float64))
    whole = len(xs) <= ROBUST_POINTS
    if not whole:
        chosen = spread_subset(len(xs), ROBUST_POINTS)
        xs, ys, zs, trust = xs[chosen], ys[chosen], zs[chosen], trust[chosen]
    fit = _trimmed_start(xs, ys, zs, trust)
    for _ in range(50):
        residual = fit.plane.vertical_mm(xs, ys, zs)
        scale = _scale_about_zero(residual)
        if scale == 0.0:
            break
        u = residual / (TUKEY_C * scale)
        biweight = np.where(np.abs(u) < 1.0, (1.0 - u * u) ** 2, 0.0)
        new = fit_least_squares(xs, ys, zs, trust * biweight)
        moved = float(np.max(np.abs(new.plane.height_mm(xs, ys) - fit.plane.height_mm(xs, ys))))
        fit = new
        if moved < 1e-6 * scale:
            break
    return fit if whole else PlaneFit(fit.plane, fit.covariance, fit.centre_mm, fit.rms_mm)


def spread_subset(n: int, size: int) -> NDArray[np.int64]:
    """``size`` of ``n`` positions, evenly spread by the golden section: no step that could fall in with a scan line."""
    return np.unique((np.mod(np.arange(size) * _GOLDEN, 1.0) * n).astype(np.int64))


def _trimmed_start(
    x: NDArray[np.float64], y: NDArray[np.float64], z: NDArray[np.float64], trust: NDArray[np.float64]
) -> PlaneFit:
    fit = fit_least_squares(x, y, z, trust)
    half = max(LEAST_POINTS, (len(x) + 3 + 1) // 2)
    last = math.inf
    for _ in range(30):
        residual = fit.plane.vertical_mm(x, y, z)
        near = np.argpartition(np.abs(residual), half - 1)[:half]
        try:
            new = fit_least_squares(x[near], y[near], z[near], trust[near])
        except ValueError:
            return fit
        if new.rms_mm >= last * (1.0 - 1e-9):
            return new
        fit, last = new, new.rms_mm
    return fit


def _scale_about_zero(residual: NDArray[np.float64]) -> float:
    return float(SIGMA_PER_MAD * np.median(np.abs(residual)))
