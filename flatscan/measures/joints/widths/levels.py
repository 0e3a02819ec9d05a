"""Levels in a profile that the groove does not explain: what a shadow leaves."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.joints.widths.groove_model import CENTRE, LOG_BLUR, WIDTH, profile

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from flatscan.measures.joints.widths.fit import Across, Fits

_BESIDE_MM = 3.0
_FARTHER_MM = 9.0
#: Levels are means over this much of the profile.
_MEAN_OVER_MM = 0.8
#: Where the border of another level is looked for: as a share of the joint, and beside it, mm. Less than 1.5 mm beside
#: it may be the shade of a rounded edge.
_BORDERS = (0.2, 0.35, 0.5, 0.65, 0.8)
_REACHES_MM = (1.5, 2.0, 2.5, 3.0, 3.5)
#: Least share of a band that the fitted parameters cannot imitate, and of the residual that it must explain. Under an
#: even sky invented floors called for bands whose shares were below 0.13 (nine in ten), shadows for 0.2 and more.
_LEAST_FREE = 0.13
_LEAST_EXPLAINED = 0.5


def other_levels(fits: Fits, across: Across) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(n,) largest level, in tone, that the fit leaves unexplained in the joint or right beside it, and farther out."""
    x_mm = across.x_mm
    off = across.tone - profile(x_mm, across.slant, fits.theta)
    size = max(1, round(_MEAN_OVER_MM / float(x_mm[1] - x_mm[0])))
    sums = np.cumsum(np.pad(off, ((0, 0), (1 + size // 2, size - 1 - size // 2)), mode="edge"), axis=1)
    level = np.abs(sums[:, size:] - sums[:, :-size]) / size
    level = np.pad(level, ((0, 0), (0, max(0, off.shape[1] - level.shape[1]))))
    away = np.abs(x_mm - fits.theta[:, [CENTRE]]) - fits.theta[:, [WIDTH]] / 2.0
    beside = np.where(away <= _BESIDE_MM, level, 0.0).max(axis=1)
    farther = np.where((away > _BESIDE_MM) & (away <= _FARTHER_MM), level, 0.0).max(axis=1)
    return beside, farther


def faint_level(fits: Fits, x_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) tone of the band, in the joint or beside it, that explains half of what the fit left over; 0: none does.

    Sunlit grout can look much like the tile: the shadow beside it is then taken for the joint, with two clean edges,
    and only a faint step shows where the joint truly ends. Each band's size is the least-squares one with all fitted
    parameters free to give way to it (first order).
    """
    slopes, residual = fits.slopes, fits.residual
    across = slopes.transpose(0, 2, 1)
    inverse = np.linalg.pinv(across @ slopes, rcond=1e-9, hermitian=True)
    taking_part = (np.abs(slopes).max(axis=2) > 0.0).astype(np.float64)
    left_over = (residual**2).sum(axis=1)
    largest = np.zeros(len(residual))
    for band in _bands(fits.theta, x_mm):
        seen = band * taking_part
        own = seen - (slopes @ (inverse @ (across @ seen[..., None])))[..., 0]
        power = np.maximum((own**2).sum(axis=1), 1e-12)
        size = np.abs((own * residual).sum(axis=1)) / power
        told = (power > _LEAST_FREE * (seen**2).sum(axis=1)) & (size**2 * power > _LEAST_EXPLAINED * left_over)
        largest = np.maximum(largest, np.where(told, size, 0.0))
    return largest


def _bands(theta: NDArray[np.float64], x_mm: NDArray[np.float64]) -> Iterator[NDArray[np.float64]]:
    """(n, m) blurred bands from the right edge into the joint, and from both edges over the faces."""
    from scipy.special import ndtr

    blur, half = np.exp(theta[:, [LOG_BLUR]]), theta[:, [WIDTH]] / 2.0
    off = x_mm - theta[:, [CENTRE]]
    right, left = ndtr((off + half) / blur), ndtr((off - half) / blur)
    for share in _BORDERS:
        yield right - ndtr((off + half - share * 2.0 * half) / blur)
    for reach in _REACHES_MM:
        yield ndtr((off + half + reach) / blur) - right
        yield left - ndtr((off - half - reach) / blur)
