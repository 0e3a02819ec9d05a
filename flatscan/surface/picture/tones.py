"""Brightness: from the numbers in a photo to light and back, and one gain a photo so that neighbours agree."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Luminance of linear red, green, blue (ITU-R BT.709).
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
#: sRGB is straight below this light, with this slope.
_KNEE, _STEEP = 0.0031308, 12.92
#: Keeps photos that overlap none at gain 1, and the rest near it.
_RIDGE = 1e-3


def linear_from_srgb(value: NDArray[np.float64]) -> NDArray[np.float64]:
    """Light, 0 to 1, from sRGB numbers 0 to 1 (IEC 61966-2-1)."""
    value = np.asarray(value, dtype=np.float64)
    return np.where(value <= _KNEE * _STEEP, value / _STEEP, ((value + 0.055) / 1.055) ** 2.4)


def srgb_from_linear(light: NDArray[np.float64]) -> NDArray[np.float64]:
    """The inverse of ``linear_from_srgb``."""
    light = np.asarray(light, dtype=np.float64)
    return np.where(light <= _KNEE, light * _STEEP, 1.055 * np.maximum(light, 0.0) ** (1 / 2.4) - 0.055)


_LIGHT = linear_from_srgb(np.arange(256) / 255.0).astype(np.float32)


def brightness(rgb: NDArray[np.uint8]) -> NDArray[np.float32]:
    """(h, w) float32 linear brightness, 0 to 1, of (h, w, 3) sRGB bytes."""
    import cv2

    light = cv2.LUT(rgb, _LIGHT)
    return np.asarray(cv2.transform(light, LUMINANCE[None].astype(np.float32)), dtype=np.float32).reshape(rgb.shape[:2])


def brightened(rgb: NDArray[np.uint8], gain: float) -> NDArray[np.uint8]:
    """The same picture with its light multiplied."""
    import cv2

    table = srgb_from_linear(np.clip(_LIGHT * gain, 0.0, 1.0))
    return np.asarray(cv2.LUT(rgb, np.rint(table * 255.0).astype(np.uint8)), dtype=np.uint8)


def solved_gains(
    pairs: NDArray[np.int64], log_ratio: NDArray[np.float64], weight: NDArray[np.float64], count: int
) -> NDArray[np.float64]:
    """(count,) factors on light that make overlapping photos agree best, in weighted least squares of logarithms.

    Minimises Σ w (g_i - g_j + log_ratio)² with log_ratio the logarithm of photo i's light over photo j's in one
    overlap. Only ratios are seen, so the mean logarithm is kept at 0.

    Parameters
    ----------
    pairs : (m, 2) the photos i, j; log_ratio, weight : (m,)
    """
    normal = np.eye(count) * _RIDGE * max(float(weight.mean()) if len(weight) else 1.0, 1e-12)
    right = np.zeros(count)
    for (i, j), ratio, w in zip(pairs, log_ratio, weight, strict=True):
        normal[i, i] += w
        normal[j, j] += w
        normal[i, j] -= w
        normal[j, i] -= w
        right[i] -= w * ratio
        right[j] += w * ratio
    return np.asarray(np.exp(np.linalg.solve(normal, right)), dtype=np.float64)
