"""Relief: heights against their surroundings, so that joints are valleys and lips are steps."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: The surroundings of a place, across.
SURROUNDINGS_MM = 80.0
#: A view's own level: mean over about this distance, from blocks of this side.
_LEVEL_MM, BLOCK_MM = 100.0, 25.0
#: Blocks with less than this share of their neighbours' points are empty.
_THIN = 0.2
#: Trust at the very border of a view.
LEAST_TRUST = 1e-3
#: What stands off its surroundings by this many times the usual is a joint or a lip, not surroundings.
_STANDS_OFF = 1.5
#: A gap is filled when this share of the weight around it is there.
_LEAST_SHARE = 0.2


def view_level(
    count: NDArray[np.float64], total_mm: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """A view's own level over blocks of ``BLOCK_MM``, and how far to trust it there.

    The level is the Gaussian mean of blocks; near the border of what the view saw it is one-sided, and a border must
    not be drawn as a joint, so trust falls to little there.

    Parameters
    ----------
    count, total_mm : (rows, cols) points in each block and the sum of their heights above the ground, with a rim of
        empty blocks all around: what the view did not see

    Returns
    -------
    level : (rows, cols) mm at the blocks' centres
    trust : (rows, cols) ``LEAST_TRUST`` to 1
    """
    from scipy.ndimage import distance_transform_edt, gaussian_filter

    width = _LEVEL_MM / 2.0 / BLOCK_MM
    share = gaussian_filter(count, width, mode="constant")
    level = gaussian_filter(total_mm, width, mode="constant") / np.maximum(share, 1e-12)
    # Against the cover nearby: a laser's is a hundred times thinner far off.
    empty = count <= _THIN * share
    border_mm = distance_transform_edt(~empty) * BLOCK_MM
    trust = np.clip((border_mm - BLOCK_MM) / _LEVEL_MM, 0.0, 1.0) ** 2
    return np.asarray(level, dtype=np.float64), np.asarray(np.maximum(trust, LEAST_TRUST), dtype=np.float64)


def less_surroundings(height_mm: NDArray[np.float32], pixel_mm: float) -> NDArray[np.float32]:
    """Heights less the mean of their surroundings, joints and lips themselves left out of that mean.

    NaN stays NaN and counts for nothing.
    """
    known = np.isfinite(height_mm)
    side = 2 * round(SURROUNDINGS_MM / (2.0 * pixel_mm)) + 1
    first = height_mm - _mean(height_mm, known, side)
    if not known.any():
        return first
    usual = float(np.median(np.abs(first[known])))
    calm = known & (np.abs(np.nan_to_num(first)) <= _STANDS_OFF * max(usual, 1e-3) / 0.6745)
    return np.asarray(height_mm - _mean(height_mm, calm, side), dtype=np.float32)


def filled_gaps(picture: NDArray[np.float32]) -> NDArray[np.float32]:
    """Single missing pixels take the weighted mean of their neighbours (normalised convolution, 3 × 3).

    Larger holes stay NaN. ``picture`` (rows, cols) or (rows, cols, channels).
    """
    import cv2

    known = np.isfinite(picture if picture.ndim == 2 else picture[..., 0])  # noqa: PLR2004 - rows and columns
    some = np.where(np.isfinite(picture), picture, np.float32(0.0))
    total = cv2.GaussianBlur(some, (3, 3), 0.8, borderType=cv2.BORDER_CONSTANT)
    share = cv2.GaussianBlur(known.astype(np.float32), (3, 3), 0.8, borderType=cv2.BORDER_CONSTANT)
    fill = ~known & (share >= _LEAST_SHARE)
    out = picture.copy()
    out[fill] = total[fill] / (share[fill] if picture.ndim == 2 else share[fill][:, None])  # noqa: PLR2004
    return out


def _mean(height_mm: NDArray[np.float32], use: NDArray[np.bool_], side: int) -> NDArray[np.float32]:
    """Mean of the used pixels in a window; NaN where there are none."""
    import cv2

    window = (side, side)
    total = cv2.blur(np.where(use, height_mm, np.float32(0.0)), window, borderType=cv2.BORDER_CONSTANT)
    share = cv2.blur(use.astype(np.float32), window, borderType=cv2.BORDER_CONSTANT)
    # Less than half a pixel of the window is rounding dust.
    return np.asarray(np.where(share * side**2 > 0.5, total / np.maximum(share, 1e-9), np.nan), dtype=np.float32)  # noqa: PLR2004
