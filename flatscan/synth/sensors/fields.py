"""Random fields that the sensor models share."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


def correlated_field(shape: tuple[int, int], sigma_px: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Gaussian-filtered white noise of unit standard deviation, (rows, cols) float64.

    The filter's standard deviation is ``sigma_px``, so the correlation at distance d is
    exp(−d² / (4 sigma_px²)). Opposite borders are neighbours: the variance is the same everywhere.
    """
    from scipy.ndimage import gaussian_filter

    white = rng.standard_normal(shape)
    if sigma_px <= 0:
        return white
    kernel = gaussian_filter(_impulse(sigma_px), sigma_px, mode="wrap")
    smooth = gaussian_filter(white, sigma_px, mode="wrap")
    return np.asarray(smooth / np.sqrt(np.sum(kernel**2)), dtype=np.float64)


def _impulse(sigma_px: float) -> NDArray[np.float64]:
    size = 2 * int(np.ceil(5 * sigma_px)) + 1
    impulse = np.zeros((size, size))
    impulse[size // 2, size // 2] = 1.0
    return impulse


def clusters(shape: tuple[int, int], share: float, sigma_px: float, rng: np.random.Generator) -> NDArray[np.bool_]:
    """Blobs that cover ``share`` of the image on average over many images, some ``sigma_px`` across."""
    from statistics import NormalDist

    if share <= 0:
        return np.zeros(shape, dtype=bool)
    return correlated_field(shape, sigma_px, rng) > NormalDist().inv_cdf(1.0 - share)


def blur_off_plane(values: NDArray[np.float64], sigma_px: float, seen: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Gaussian blur of what departs from the best plane over (row, column); planes pass unchanged to the border.

    Pixels not ``seen`` count for nothing and are returned as they came.
    """
    from scipy.ndimage import gaussian_filter

    if sigma_px <= 0 or not seen.any():
        return values.copy()
    rows, cols = np.indices(values.shape, dtype=np.float64)
    design = np.stack([np.ones(values.size), rows.ravel(), cols.ravel()], axis=1)
    known = seen.ravel()
    plane = design @ np.linalg.lstsq(design[known], values.ravel()[known], rcond=None)[0]
    plane = plane.reshape(values.shape)
    rest = np.where(seen, values - plane, 0.0)
    weight = gaussian_filter(seen.astype(np.float64), sigma_px, mode="nearest")
    smooth = gaussian_filter(rest, sigma_px, mode="nearest") / np.maximum(weight, 1e-12)
    return np.where(seen, plane + smooth, values)
