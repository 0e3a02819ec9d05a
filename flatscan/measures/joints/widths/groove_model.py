"""What a joint looks like across: a groove between two faces, darker towards its walls, seen at an angle."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Columns of the parameter array. ``RIGHT``, ``JOINT``, ``LEFT``: tone, of the joint under an open sky; ``CENTRE``,
#: ``WIDTH``: mm, x grows to the left of the joint's way; ``LOG_BLUR``: logarithm of the blur's standard deviation in
#: mm; ``DEPTH``: mm from the edges to the grout; ``EDGE``: mm over which the tiles' edges are rounded.
RIGHT, JOINT, LEFT, CENTRE, WIDTH, LOG_BLUR, DEPTH, EDGE = range(8)
PARAMETERS = 8
#: The tone is linear in the first three; the others' slopes are central differences over this.
_LINEAR = 3
_DIFFERENCE = 1e-4
#: Light that a groove's walls give back to each other, as a share. Assumption: mineral surfaces, light to middling.
_GIVEN_BACK = 0.4
#: Fine cells per sample of the profile.
_CELLS = 2
#: The blur's reach, in standard deviations.
_REACH = 4.0


def profile(x_mm: NDArray[np.float64], slant: NDArray[np.float64], theta: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, m) tone across n joints; as ``profile_and_slopes`` without the slopes."""
    return profile_and_slopes(x_mm, slant, theta)[0]


def profile_and_slopes(
    x_mm: NDArray[np.float64], slant: NDArray[np.float64], theta: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Tone across joints, and its derivative by each parameter.

    A long groove of width w and depth d, walls at a and b, under an even sky. Of the sky a point of the floor sees
    s = (u / √(u² + d²) + v / √(v² + d²)) / 2, u and v from the walls; a point of a wall, z below the edge, sees
    s = (1 − z / √(z² + w²)) / 2 (view factors of an infinitely long groove: Hottel's crossed strings). With what the
    walls give back, B, its brightness is s / (1 − B (1 − s)) of what it is under the open sky. The line of sight goes
    on below the edges by ``slant`` mm per mm of depth, so that it meets the far wall over the last d · ``slant``; walls
    have their tile's tone. A face rounded over r sees (1 + √(1 − o²)) / 2 at n from the wall, o = 1 − n / r.
    All is blurred by a Gaussian. Depth and rounding 0 give a band of one tone between two.

    Parameters
    ----------
    x_mm : (m,) evenly spaced positions across
    slant : (n,) way to the left that the line of sight makes per mm it goes down
    theta : (n, 8) parameters, columns as named above

    Returns
    -------
    (n, m) tone and (n, m, 8) derivatives.
    """
    step, size = float(x_mm[1] - x_mm[0]), len(x_mm)
    tone, slopes = np.empty((len(theta), size)), np.empty((len(theta), size, PARAMETERS))
    for row in range(len(theta)):
        evaluate(float(x_mm[0]), step, float(slant[row]), theta[row], tone[row], slopes[row])
    return tone, slopes


@njit(cache=True, error_model="numpy")
def _lit(sky: float) -> float:
    return sky / (1.0 - _GIVEN_BACK * (1.0 - sky))


@njit(cache=True, error_model="numpy")
def _face(near: float, far: float, edge: float) -> float:
    """Light of a face between two distances from its wall, times their difference."""
    first, last = min(near, edge), min(far, edge)
    o, p = 1.0 - first / edge, 1.0 - last / edge
    bow = 0.5 * (o * np.sqrt(1.0 - o * o) + np.arcsin(o) - p * np.sqrt(1.0 - p * p) - np.arcsin(p))
    return float((far - near) - 0.5 * (last - first) + 0.5 * edge * bow)


@njit(cache=True, error_model="numpy")
def _shares(first: float, step: float, slant: float, theta: NDArray[np.float64], out: NDArray[np.float64]) -> None:
    """(3, cells) shares of the tones right, joint, left in each fine cell; the first one's middle at ``first``."""
    width, depth, edge = theta[WIDTH], max(theta[DEPTH], 1e-3), max(theta[EDGE], 1e-3)
    a, b = theta[CENTRE] - 0.5 * width, theta[CENTRE] + 0.5 * width
    far, lean = (LEFT, slant) if slant > 0.0 else (RIGHT, -slant)
    for k in range(out.shape[1]):
        middle = first + k * step
        low, high = (middle - 0.5 * step), (middle + 0.5 * step)
        right, left = min(max((a - low) / step, 0.0), 1.0), min(max((high - b) / step, 0.0), 1.0)
        out[RIGHT, k] = _face(max(a - high, 0.0), max(a - low, 0.0), edge) / step
        out[LEFT, k] = _face(max(low - b, 0.0), max(high - b, 0.0), edge) / step
        out[JOINT, k] = 0.0
        inside = 1.0 - right - left
        if inside <= 0.0:
            continue
        low, high = max(low, a), min(high, b)
        # Distances from the near and from the far wall, at the top.
        near0, near1 = (low - a, high - a) if slant > 0.0 else (b - high, b - low)
        length = max(high - low, 1e-12)
        wall = min(max((near1 - (width - lean * depth)) / length, 0.0), 1.0)
        if wall > 0.0:
            away = width - 0.5 * (near1 + max(near0, width - lean * depth))
            below = away / max(lean, 1e-9)
            out[far, k] += inside * wall * _lit(0.5 * (1.0 - below / np.hypot(below, width)))
        if wall < 1.0:
            from_near = 0.5 * (near0 + near1 - wall * length) + lean * depth
            from_far = max(width - from_near, 0.0)
            sky = 0.5 * (from_near / np.hypot(from_near, depth) + from_far / np.hypot(from_far, depth))
            out[JOINT, k] = inside * (1.0 - wall) * _lit(sky)


@njit(cache=True, error_model="numpy")
def _bell(blur: float, step: float) -> NDArray[np.float64]:
    """Weights from the middle outwards; the cells' own box is part of the blur."""
    sigma = np.sqrt(max(blur * blur - step * step / 12.0, 0.25 * step * step))
    reach = int(np.ceil(_REACH * sigma / step))
    bell: NDArray[np.float64] = np.exp(-0.5 * (np.arange(reach + 1) * step / sigma) ** 2)
    bell /= 2.0 * bell.sum() - 1.0
    return bell


@njit(cache=True, error_model="numpy")
def _blurred(cells: NDArray[np.float64], bell: NDArray[np.float64], out: NDArray[np.float64]) -> None:
    """Every ``_CELLS``-th cell blurred; the ends go on as they are."""
    last = len(cells) - 1
    for j in range(len(out)):
        at = j * _CELLS
        total = bell[0] * cells[at]
        for i in range(1, len(bell)):
            total += bell[i] * (cells[max(at - i, 0)] + cells[min(at + i, last)])
        out[j] = total


@njit(cache=True, error_model="numpy")
def evaluate(
    first: float, step: float, slant: float, theta: NDArray[np.float64], tone: NDArray[np.float64],
    slopes: NDArray[np.float64],
) -> None:  # fmt: skip
    """One joint: ``tone`` (m,) and ``slopes`` (m, 8; or empty: none) at ``first``, ``first`` + ``step`` and on."""
    m, fine = len(tone), step / _CELLS
    shares, line = np.empty((3, (m - 1) * _CELLS + 1)), np.empty(m)
    _shares(first, fine, slant, theta, shares)
    bell = _bell(np.exp(theta[LOG_BLUR]), fine)
    if len(slopes) == 0:
        _blurred(theta[0] * shares[0] + theta[1] * shares[1] + theta[2] * shares[2], bell, tone)
        return
    tone[:] = 0.0
    for k in range(_LINEAR):
        _blurred(shares[k], bell, line)
        slopes[:, k] = line
        tone += theta[k] * line
    other, back, none = theta.copy(), np.empty(m), np.empty((0, 0))
    for k in range(_LINEAR, PARAMETERS):
        # Depth and rounding are not below 0: one-sided there.
        low = min(_DIFFERENCE, theta[k]) if k >= DEPTH else _DIFFERENCE
        other[k] = theta[k] + _DIFFERENCE
        evaluate(first, step, slant, other, line, none)
        other[k] = theta[k] - low
        evaluate(first, step, slant, other, back, none)
        other[k] = theta[k]
        slopes[:, k] = (line - back) / (_DIFFERENCE + low)


@njit(cache=True, error_model="numpy")
def shapes(first: float, step: float, slant: float, theta: NDArray[np.float64], m: int) -> NDArray[np.float64]:
    """(3, m) what the tones right, joint and left are multiplied by."""
    shares, out = np.empty((3, (m - 1) * _CELLS + 1)), np.empty((3, m))
    _shares(first, step / _CELLS, slant, theta, shares)
    bell = _bell(np.exp(theta[LOG_BLUR]), step / _CELLS)
    for k in range(3):
        _blurred(shares[k], bell, out[k])
    return out
