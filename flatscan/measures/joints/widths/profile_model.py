"""What a joint looks like across: two blurred edges between a face, the joint and the other face."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Columns of the parameter array. ``RIGHT``, ``JOINT``, ``LEFT``: tone; ``CENTRE``, ``WIDTH``: mm, x grows to the left
#: of the joint's way; ``LOG_BLUR``: logarithm of the blur's standard deviation in mm; slopes: tone per mm.
RIGHT, JOINT, LEFT, CENTRE, WIDTH, LOG_BLUR, RIGHT_SLOPE, LEFT_SLOPE = range(8)
PARAMETERS = 8


def profile(x_mm: NDArray[np.float64], theta: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, m) tone across n joints; as ``profile_and_slopes`` without the slopes."""
    return profile_and_slopes(x_mm, theta)[0]


def profile_and_slopes(
    x_mm: NDArray[np.float64], theta: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Tone across joints, and its derivative by each parameter.

    With A and B the cumulative normal distribution around the right and the left edge, of the blur's width,
    tone = right (1 − A) + joint (A − B) + left B + slope_r (x − a)(1 − A) + slope_l (x − b) B.
    A blur that is not Gaussian but symmetric moves no edge as long as the two edges' blurs do not meet.

    Parameters
    ----------
    x_mm : (m,) positions across
    theta : (n, 8) parameters, columns as named above

    Returns
    -------
    (n, m) tone and (n, m, 8) derivatives.
    """
    from scipy.special import ndtr

    right, joint, left, centre, width, log_blur, slope_r, slope_l = (column[:, None] for column in theta.T)
    blur = np.exp(log_blur)
    from_a, from_b = x_mm - (centre - width / 2.0), x_mm - (centre + width / 2.0)
    z_a, z_b = from_a / blur, from_b / blur
    a, b = ndtr(z_a), ndtr(z_b)
    off_a, jump_a, jump_b = 1.0 - a, joint - right - slope_r * from_a, left - joint + slope_l * from_b
    tone = right * off_a + joint * (a - b) + left * b + slope_r * from_a * off_a + slope_l * from_b * b
    density_a, density_b = _density(z_a) * jump_a, _density(z_b) * jump_b
    by_a = -density_a / blur - slope_r * off_a
    by_b = -density_b / blur - slope_l * b
    slopes = np.empty((*tone.shape, PARAMETERS))
    slopes[..., RIGHT] = off_a
    slopes[..., JOINT] = a - b
    slopes[..., LEFT] = b
    slopes[..., CENTRE] = by_a + by_b
    slopes[..., WIDTH] = (by_b - by_a) / 2.0
    slopes[..., LOG_BLUR] = -z_a * density_a - z_b * density_b
    slopes[..., RIGHT_SLOPE] = from_a * off_a
    slopes[..., LEFT_SLOPE] = from_b * b
    return tone, slopes


def _density(z: NDArray[np.float64]) -> NDArray[np.float64]:
    """Standard normal density."""
    return np.asarray(np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi), dtype=np.float64)
