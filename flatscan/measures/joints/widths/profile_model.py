"""What a joint looks like across: two blurred edges between a face, the joint and the other face."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Columns of the parameter array. ``RIGHT``, ``JOINT``, ``LEFT``: tone; ``CENTRE``, ``WIDTH``: mm, x grows to the left
#: of the joint's way; ``LOG_BLUR``: logarithm of the blur's standard deviation in mm; ``HUMP``: tone by which the
#: middle of the joint differs from its sides; ``RIM_RIGHT``, ``RIM_LEFT``: of a line along the tile's side.
RIGHT, JOINT, LEFT, CENTRE, WIDTH, LOG_BLUR, HUMP, RIM_RIGHT, RIM_LEFT = range(9)
PARAMETERS = 9
PLAIN = 6
#: The parameters of a groove that is not of one tone, all linear.
GROOVE = (HUMP, RIM_RIGHT, RIM_LEFT)
#: Width of the line along a tile's side, mm: what shows of the side, and the corner that light misses.
RIM_MM = 0.6


def profile(x_mm: NDArray[np.float64], theta: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, m) tone across n joints; as ``profile_and_slopes`` without the slopes."""
    return profile_and_slopes(x_mm, theta)[0]


def profile_and_slopes(
    x_mm: NDArray[np.float64], theta: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Tone across joints, and its derivative by each parameter.

    With A and B the cumulative normal distribution around the right edge a and the left edge b, of the blur's width,
    and u the place in the joint, -½ to ½:
    tone = right (1 − A) + (joint + hump (1 − 4 u²)) (A − B) + left B + rim_r (A − A') + rim_l (B' − B),
    where A' and B' are A and B moved ``RIM_MM`` into the joint.
    A blur that is not Gaussian but symmetric moves no edge as long as the two edges' blurs do not meet.

    Parameters
    ----------
    x_mm : (m,) positions across
    theta : (n, 9) parameters, columns as named above; or the first six: a joint of one tone

    Returns
    -------
    (n, m) tone and (n, m, as many as parameters) derivatives.
    """
    from scipy.special import ndtr

    right, joint, left, centre, width, log_blur = (column[:, None] for column in theta[:, :PLAIN].T)
    blur = np.exp(log_blur)
    z_a, z_b = (x_mm - (centre - width / 2.0)) / blur, (x_mm - (centre + width / 2.0)) / blur
    a, b = ndtr(z_a), ndtr(z_b)
    tone = right + (joint - right) * a + (left - joint) * b
    density_a, density_b = _density(z_a), _density(z_b)
    at_a, at_b = density_a * (joint - right), density_b * (left - joint)
    slopes = np.empty((*tone.shape, theta.shape[1]))
    slopes[..., RIGHT], slopes[..., JOINT], slopes[..., LEFT] = 1.0 - a, a - b, b
    slopes[..., CENTRE], slopes[..., WIDTH] = -(at_a + at_b) / blur, (at_a - at_b) / (2.0 * blur)
    slopes[..., LOG_BLUR] = -z_a * at_a - z_b * at_b
    if theta.shape[1] > PLAIN:
        hump, rim_r, rim_l = (column[:, None] for column in theta[:, PLAIN:].T)
        z_c, z_d = z_a - RIM_MM / blur, z_b + RIM_MM / blur
        c, d = ndtr(z_c), ndtr(z_d)
        u = (x_mm - centre) / width
        arch, inside = 1.0 - 4.0 * u * u, a - b
        tone = tone + hump * arch * inside + rim_r * (a - c) + rim_l * (d - b)
        at_a, at_b = density_a * (hump * arch + rim_r), -density_b * (hump * arch + rim_l)
        at_c, at_d = _density(z_c) * rim_r, _density(z_d) * rim_l
        by_a, by_b = (at_c - at_a) / blur, -(at_b + at_d) / blur
        bow = hump * inside * 8.0 * u / width
        slopes[..., CENTRE] += by_a + by_b + bow
        slopes[..., WIDTH] += (by_b - by_a) / 2.0 + bow * u
        slopes[..., LOG_BLUR] += z_c * at_c - z_a * at_a - z_b * at_b - z_d * at_d
        slopes[..., HUMP], slopes[..., RIM_RIGHT], slopes[..., RIM_LEFT] = arch * inside, a - c, d - b
    return tone, slopes


def inner_tones(theta: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 2) tone of the joint just within its right and its left edge."""
    return theta[:, [JOINT]] + theta[:, [RIM_RIGHT, RIM_LEFT]]


def _density(z: NDArray[np.float64]) -> NDArray[np.float64]:
    """Standard normal density."""
    return np.asarray(np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi), dtype=np.float64)
