"""Where one map may lie on the other: every quarter turn, at the shifts where walls or heights fit best."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.comparing.laying import Grid, laid_on
from flatscan.comparing.line_points import along
from flatscan.comparing.pose import Pose, about
from flatscan.surface.finding.frame import straight_direction

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.surface.surface import Surface

_QUARTER = math.pi / 2.0
_STEP_MM = 20.0
#: Pixel and blur of the pictures of walls; peaks nearer than _APART_MM are one.
_PIXEL_MM, _BLUR_PIXELS, _APART_MM = 40.0, 1.5, 300.0
_MOST_PIXELS = 1024
_PEAKS = 3
#: Blocks on which heights are compared, and the share of the smaller floor that must overlap then.
_RELIEF_MM, _LEAST_OVERLAP = 100.0, 0.4


def candidates(before: Surface, after: Surface, rng: np.random.Generator) -> list[Pose]:
    """Poses to be refined and weighed against each other, in no order.

    The walls of both maps run along two directions square to each other; that direction is found in each map
    (``straight_direction``), which leaves four turns. For each, the shifts are the peaks of the correlation of the
    walls drawn as lines, and the peak of the correlation of the heights where both were seen (masked normalised
    cross-correlation, Padfield 2012, by scikit-image).
    """
    walls = [along(surface.outline, _STEP_MM, closed=True)[0] for surface in (before, after)]
    if min(len(points) for points in walls) == 0:
        return []
    first, second = (straight_direction(points, rng) for points in walls)
    small = (second - first + _QUARTER / 2.0) % _QUARTER - _QUARTER / 2.0
    found = []
    for quarters in range(4):
        angle = small + quarters * _QUARTER
        found += _by_walls(walls[0], walls[1], angle)
        found += _by_heights(before, after, angle)
    return found


def _by_walls(before: NDArray[np.float64], after: NDArray[np.float64], angle: float) -> list[Pose]:
    from scipy.ndimage import gaussian_filter
    from scipy.signal import fftconvolve

    turned = Pose(angle, (0.0, 0.0)).apply(before)
    longest = max(float(np.ptp(points, axis=0).max()) for points in (turned, after))
    pixel = max(_PIXEL_MM, longest / _MOST_PIXELS)
    drawn = []
    for points in (turned, after):
        low = points.min(axis=0) - 4 * pixel
        cell = ((points - low) / pixel).astype(np.int64)
        picture = np.zeros(tuple(cell.max(axis=0)[::-1] + 5))
        np.add.at(picture, (cell[:, 1], cell[:, 0]), 1.0)
        drawn.append((np.minimum(gaussian_filter(picture, _BLUR_PIXELS), 1.0), low))
    (one, one_low), (two, two_low) = drawn
    score = fftconvolve(two, one[::-1, ::-1])
    apart = max(1, round(_APART_MM / pixel))
    poses = []
    for _ in range(_PEAKS):
        row, col = np.unravel_index(int(score.argmax()), score.shape)
        moved = np.array([col - one.shape[1] + 1, row - one.shape[0] + 1]) * pixel
        x, y = (two_low - one_low + moved).tolist()
        poses.append(Pose(angle, (x, y)))
        score[max(0, row - apart) : row + apart + 1, max(0, col - apart) : col + apart + 1] = -np.inf
    return poses


def _by_heights(before: Surface, after: Surface, angle: float) -> list[Pose]:
    from skimage.registration import phase_cross_correlation

    low, high = _box(after)
    two = _relief(after, Pose(0.0, (0.0, 0.0)), low, high)
    corners = np.array([[x, y] for x in (0, 1) for y in (0, 1)])
    b_low, b_high = _box(before)
    turned = Pose(angle, (0.0, 0.0))
    box = turned.apply(b_low + corners * (b_high - b_low))
    one = _relief(before, turned, box.min(axis=0), box.max(axis=0))
    if min(int(np.isfinite(values).sum()) for values in (one, two)) < 16:  # noqa: PLR2004 - nothing to correlate
        return []
    shape = tuple(max(a, b) for a, b in zip(one.shape, two.shape, strict=True))
    padded = [
        np.pad(v, [(0, s - n) for s, n in zip(shape, v.shape, strict=True)], constant_values=np.nan) for v in (two, one)
    ]
    masks = [np.isfinite(values) for values in padded]
    filled = [np.nan_to_num(values) for values in padded]
    with np.errstate(all="ignore"):
        shift, _, _ = phase_cross_correlation(  # type: ignore[no-untyped-call]
            filled[0],
            filled[1],
            reference_mask=masks[0],
            moving_mask=masks[1],
            overlap_ratio=_LEAST_OVERLAP,
        )
    row, col = shift
    x, y = (low - box.min(axis=0) + np.array([col, row]) * _RELIEF_MM).tolist()
    return [Pose(angle, (x, y))]


def _box(surface: Surface) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    low = np.array(surface.origin_mm)
    rows, cols = surface.height_mm.shape
    return low, low + np.array([cols, rows]) * surface.cell_mm


def _relief(surface: Surface, pose: Pose, low: NDArray[np.float64], high: NDArray[np.float64]) -> NDArray[np.float64]:
    """Heights on blocks, freed of their mean; NaN not seen."""
    cols, rows = np.maximum(1, np.ceil((high - low) / _RELIEF_MM).astype(int))
    x, y = low.tolist()
    bare = laid_on(_bare(surface), Grid((int(rows), int(cols)), _RELIEF_MM, (x, y)), pose).estimate_mm
    return np.asarray(bare - np.nanmean(bare) if np.isfinite(bare).any() else bare, dtype=np.float64)


def _bare(surface: Surface) -> Surface:
    from dataclasses import replace

    return replace(surface, realisations_mm=None, fit=None)


def middle_of(surface: Surface) -> NDArray[np.float64]:
    """(2,) the middle of the floor's bounding box."""
    low, high = _box(surface)
    return np.asarray((low + high) / 2.0)


def apart_from(
    pose: Pose, others: Sequence[Pose], middle_mm: NDArray[np.float64], apart_mm: float, angle: float
) -> bool:
    """Whether none of the others is the same place but for a little."""
    for other in others:
        distance, turn = pose.far_from(other, middle_mm)
        if distance < apart_mm and turn < angle:
            return False
    return True


__all__ = ["about", "apart_from", "candidates", "middle_of"]
