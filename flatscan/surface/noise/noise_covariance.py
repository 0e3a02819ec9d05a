"""Covariance of a patchy field against distance, and the noise model fitted to it."""

from __future__ import annotations

from dataclasses import dataclass
from math import comb, pi
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Rings are half a cell wide: near lags matter most and are few.
_RINGS_PER_CELL = 2
#: How much more the fit minds the covariance at distance zero, which alone knows the white part.
_ZERO_WEIGHT = 10.0
_LENGTHS_TRIED = 30


@dataclass(frozen=True, slots=True, eq=False)
class RingCovariance:
    """Covariance by distance: ``distance`` (k,) in cells, ascending from 0; ``covariance`` (k,) mm²; ``pairs`` (k,)."""

    distance: NDArray[np.float64]
    covariance: NDArray[np.float64]
    pairs: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class NoiseParts:
    """Variances (mm²) of the white and the correlated part and the latter's length in cells.

    ``rest`` is the covariance that does not fade within the distances looked at.
    """

    white: float
    correlated: float
    length: float
    rest: float = 0.0


def ring_covariance(field: NDArray[np.floating], reach: int) -> RingCovariance:
    """Average product of values at each distance up to ``reach`` cells, NaN cells left out.

    Sums of products and of pairs for all lags at once by FFT (Wiener-Khinchin; Marcotte 1996 for fields with
    holes). The field's mean is not removed.
    """
    from scipy.fft import irfft2, next_fast_len, rfft2

    seen = np.isfinite(field)
    rows, cols = field.shape
    down, across = min(reach, rows - 1), min(reach, cols - 1)
    size = (next_fast_len(rows + down, real=True), next_fast_len(cols + across, real=True))
    spectrum = rfft2(np.where(seen, field, 0.0).astype(np.float64), size)
    windows = rfft2(seen.astype(np.float64), size)
    lag_y = np.concatenate([np.arange(down + 1), np.arange(-down, 0)])

    def at_lags(power: NDArray[np.complex128]) -> NDArray[np.float64]:
        inverse: NDArray[np.float64] = irfft2(power, size)
        return np.asarray(inverse[lag_y][:, : across + 1])

    products = at_lags(spectrum * np.conj(spectrum))
    pairs = np.rint(at_lags(windows * np.conj(windows)))
    distance = np.hypot(lag_y[:, None], np.arange(across + 1)[None, :])
    ring = np.rint(distance * _RINGS_PER_CELL).astype(np.int64)
    use = (distance <= reach) & (pairs > 0)
    use[down + 1 :, 0] = False  # straight up is straight down again: every pair once

    def total(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.bincount(ring[use], weights=values[use]).astype(np.float64, copy=False)

    sums = total(pairs)
    kept = sums > 0
    return RingCovariance(total(distance * pairs)[kept] / sums[kept], total(products)[kept] / sums[kept], sums[kept])


def fit_direct(rings: RingCovariance) -> NoiseParts:
    """White + correlated + never-fading rest, fitted to the covariance of a field that holds noise alone."""
    away = rings.distance > 0

    def columns(length: float) -> NDArray[np.float64]:
        gauss = np.exp(-0.5 * (rings.distance[away] / length) ** 2)
        return np.stack([gauss, np.ones_like(gauss)], axis=1)

    longest = max(float(rings.distance[-1]) / 2.0, 1.0)
    correlated, length, rest = 0.0, 1.0, 0.0
    best = np.inf
    target = rings.covariance[away]
    # Near lags decide how much is left for the white part; far ones wander with the few patches there are.
    trust = 1.0 / np.sqrt(1.0 + rings.distance[away])
    if len(target) > 3:  # noqa: PLR2004 - three unknowns
        for trial in np.geomspace(1.0, longest, _LENGTHS_TRIED):
            solution = np.linalg.lstsq(columns(trial) * trust[:, None], target * trust, rcond=None)[0]
            if solution[0] <= 0.0:
                continue
            error = float(np.square(trust * (columns(trial) @ solution - target)).sum())
            if error < best:
                best, (correlated, rest), length = error, solution, float(trial)
    white = float(rings.covariance[0]) - correlated - rest
    return NoiseParts(max(white, 0.0), float(correlated), length, max(float(rest), 0.0))


def fit_detrended(rings: RingCovariance, width: float) -> NoiseParts:
    """White + correlated noise behind a field that went through :func:`detrend` of this ``width`` (cells).

    Two passes of (1 - Gaussian) multiply a field's covariance spectrum by (1 - G)⁴, whose five terms keep
    Gaussian covariances Gaussian: the templates are exact but for the grid.
    """
    from scipy.optimize import nnls

    weight = np.where(rings.distance == 0.0, _ZERO_WEIGHT, 1.0)
    target = rings.covariance * weight
    best, found = np.inf, NoiseParts(max(float(rings.covariance[0]), 0.0), 0.0, 1.0)
    white = _white_template(rings.distance, width)
    for length in np.geomspace(1.0, max(width, 1.0), _LENGTHS_TRIED):
        columns = np.stack([white, _gauss_template(rings.distance, width, float(length))], axis=1)
        solution, error = nnls(columns * weight[:, None], target)
        if error < best:
            best, found = error, NoiseParts(float(solution[0]), float(solution[1]), float(length))
    return found


def _gauss_template(distance: NDArray[np.float64], width: float, length: float) -> NDArray[np.float64]:
    total = np.zeros_like(distance)
    for j in range(5):
        wide = length**2 + j * width**2
        total += comb(4, j) * (-1) ** j * length**2 / wide * np.exp(-0.5 * distance**2 / wide)
    return total


def _white_template(distance: NDArray[np.float64], width: float) -> NDArray[np.float64]:
    total = np.where(distance == 0.0, 1.0, 0.0)
    for j in range(1, 5):
        wide = j * width**2
        total += comb(4, j) * (-1) ** j / (2.0 * pi * wide) * np.exp(-0.5 * distance**2 / wide)
    return total


def detrend(field: NDArray[np.floating], width: float) -> NDArray[np.float64]:
    """Take the floor's own slow shape away: twice the field minus its Gaussian mean of ``width`` cells.

    Twice, because once leaves a tenth of a 2 m wave and twice a hundredth. Cells whose surroundings
    are mostly unseen become NaN.
    """
    values = np.asarray(field, dtype=np.float64)
    for _ in range(2):
        smooth, share = gaussian_mean(values, width)
        values = np.where(np.isfinite(values) & (share > 0.7), values - smooth, np.nan)  # noqa: PLR2004
    return values


def gaussian_mean(values: NDArray[np.float64], width: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Gaussian-weighted mean of the seen cells around each cell, and the share of the weight that was seen."""
    from scipy.ndimage import gaussian_filter

    seen = np.isfinite(values)
    share = np.asarray(gaussian_filter(seen.astype(np.float64), width, mode="constant"))
    total = np.asarray(gaussian_filter(np.where(seen, values, 0.0), width, mode="constant"))
    return np.where(share > 1e-6, total / np.maximum(share, 1e-6), np.nan), share  # noqa: PLR2004
