"""What a confidence level is worth, learned from the depth itself rather than taken on faith.

Each frame is cut into small squares, a plane is fitted to each, and the misfits are pooled by level.
A level's weight is the ratio of the best level's mean square misfit to its own: if the sensor's
"low" is as good as its "high", both weigh 1.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import SIGMA_PER_MAD

if TYPE_CHECKING:
    from numpy.typing import NDArray

LEVELS = 256
#: Pixels; a plane over 12 x 12 of them follows any floor yet leaves the noise in the misfit.
_SQUARE = 12
_SEEN_SHARE = 0.5
_MOST_SQUARES = 150
_REWEIGHTS = 3
#: Misfits count up to this many of the common standard deviation, so that blunders weigh but do not rule.
_WORST_SIGMAS = 10.0
#: A level seen on fewer pixels than this borrows from its neighbours.
LEAST_PIXELS = 500
_LEAST_WEIGHT = 1e-3
#: 0-255 images are pooled in this many bands; 0-2 images keep their three levels.
_BANDS = 8
_FEW_LEVELS = 8


class MisfitByLevel:
    """Sums of squared misfit for each of the 256 levels, added frame by frame."""

    def __init__(self) -> None:
        self.count = np.zeros(LEVELS)
        self.square_sum = np.zeros(LEVELS)

    def add(self, points: NDArray[np.float64], level: NDArray[np.uint8]) -> None:
        """Add one frame: ``points`` (h, w, 3) in counts or mm, NaN unseen; ``level`` (h, w)."""
        misfit, level = _square_misfit(points, level)
        seen = np.isfinite(misfit)
        if not seen.any():
            return
        size = np.abs(misfit[seen])
        worst = _WORST_SIGMAS * SIGMA_PER_MAD * float(np.median(size))
        size = np.minimum(size, worst)
        self.count += np.bincount(level[seen], minlength=LEVELS)
        self.square_sum += np.bincount(level[seen], weights=size**2, minlength=LEVELS)

    def weights(self) -> NDArray[np.float32]:
        """(256,) float32 in (0, 1]: the weight of each level; unseen levels take the nearest seen one's."""
        used = np.flatnonzero(self.count)
        weight = np.ones(LEVELS, dtype=np.float32)
        if len(used) == 0:
            return weight
        bands = used if len(used) <= _FEW_LEVELS else np.arange(LEVELS) * _BANDS // LEVELS
        of_level = (
            np.searchsorted(used, np.arange(LEVELS)).clip(max=len(used) - 1) if len(used) <= _FEW_LEVELS else bands
        )
        count = np.bincount(of_level, weights=self.count)
        square = np.bincount(of_level, weights=self.square_sum)
        known = np.flatnonzero(count >= LEAST_PIXELS)
        if len(known) == 0:
            return weight
        mean = np.interp(np.arange(len(count)), known, square[known] / count[known])
        best = float(mean[known].min())
        if best <= 0.0:
            return weight
        return np.clip(best / mean, _LEAST_WEIGHT, 1.0).astype(np.float32)[of_level]


def _square_misfit(
    points: NDArray[np.float64], level: NDArray[np.uint8]
) -> tuple[NDArray[np.float64], NDArray[np.uint8]]:
    """Misfit of each pixel to its square's plane, as a share of the depth, with its level; both (squares, pixels)."""
    rows, columns = (n // _SQUARE for n in level.shape)
    cut = points[: rows * _SQUARE, : columns * _SQUARE].reshape(rows, _SQUARE, columns, _SQUARE, 3)
    pixels = cut.transpose(0, 2, 1, 3, 4).reshape(rows * columns, _SQUARE**2, 3)
    cut_level = level[: rows * _SQUARE, : columns * _SQUARE].reshape(rows, _SQUARE, columns, _SQUARE)
    levels = cut_level.transpose(0, 2, 1, 3).reshape(rows * columns, _SQUARE**2)
    seen = np.asarray(np.isfinite(pixels).all(axis=2))
    enough = np.flatnonzero(seen.mean(axis=1) >= _SEEN_SHARE)
    # Evenly thinned: the levels of a few hundred squares fix the weights to a percent.
    enough = enough[:: max(1, len(enough) // _MOST_SQUARES)]
    pixels, levels, seen = pixels[enough], levels[enough], seen[enough]
    if len(pixels) == 0:
        return np.empty((0, 0)), np.empty((0, 0), dtype=np.uint8)
    pixels = np.where(seen[..., None], pixels, 0.0)
    # Plane m . P = 1 in axes of the square's own middle, where the three columns are not nearly alike.
    centre = pixels.sum(axis=1) / seen.sum(axis=1)[:, None]
    flat = np.stack(
        [pixels[..., 0] - centre[:, None, 0], pixels[..., 1] - centre[:, None, 1], np.ones_like(pixels[..., 0])],
        axis=-1,
    )
    depth = pixels[..., 2]
    weight = seen.astype(np.float64)
    misfit = np.zeros_like(depth)
    for _ in range(_REWEIGHTS):
        matrix = np.einsum("bni,bn,bnj->bij", flat, weight, flat)
        matrix += np.eye(3) * (1e-9 * np.trace(matrix, axis1=1, axis2=2))[:, None, None]
        plane = np.linalg.solve(matrix, np.einsum("bni,bn,bn->bi", flat, weight, depth)[..., None])
        misfit = (depth - (flat @ plane)[..., 0]) / np.maximum(centre[:, None, 2], np.finfo(float).tiny)
        spread = SIGMA_PER_MAD * float(np.median(np.abs(misfit[seen])))
        if spread == 0.0:
            break
        weight = seen / (1.0 + (misfit / (2.0 * spread)) ** 2)
    return np.where(seen, misfit, np.nan), levels
