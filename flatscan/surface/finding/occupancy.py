"""What stands over each place of a floor, seen from above: floor, things, vertical faces."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

_CHUNK = 500_000
#: Heights at which walls and things are looked at: 16 slices of 100 mm from 100 mm up, a bit for each.
LOWEST_MM, SLICE_MM, SLICES = 100.0, 100.0, 16
#: A wall or a column reaches at least this high; furniture seldom does.
TALL_MM = 1500.0
#: It fills this share of the slices from 200 mm up to there.
_TALL_SHARE = 0.6
#: Floor points of a cell that scatter by this, and this many times more than usual, climb up something.
_FOOT_MM, _FOOT_TIMES = 10.0, 3.0
_TALL_SLICE = round((TALL_MM - LOWEST_MM) / SLICE_MM)


@dataclass(frozen=True, slots=True, eq=False)
class Occupancy:
    """(rows, cols) arrays over cells of ``cell_mm`` from ``origin_mm`` (x, y of the outer corner of [0, 0]).

    ``floor`` int32: points within the band; ``foot`` bool: these spread upwards like the foot of a wall or a
    thing, not like a floor with noise; ``thing`` bool: something between 100 and 1500 mm up that is
    no vertical face; ``face`` bool: a vertical face, three slices (300 mm) in a row, where a table top fills
    one or two; ``tall`` bool: a face that reaches 1.5 m.
    """

    origin_mm: tuple[float, float]
    cell_mm: float
    floor: NDArray[np.int32]
    foot: NDArray[np.bool_]
    thing: NDArray[np.bool_]
    face: NDArray[np.bool_]
    tall: NDArray[np.bool_]


def occupancy(
    points_mm: NDArray[np.float32],
    floor_from_points: NDArray[np.float64],
    low_mm: tuple[float, float],
    high_mm: tuple[float, float],
    *,
    cell_mm: float,
    band_mm: float,
) -> Occupancy:
    """Look at the points over the box from ``low_mm`` to ``high_mm`` (x, y in the floor frame).

    Parameters
    ----------
    points_mm : (n, 3) float32, mm, in the frame ``floor_from_points`` (4, 4) maps from
    band_mm : points this close to z = 0 are floor
    """
    cols, rows = (max(1, int(np.ceil((high - low) / cell_mm))) for low, high in zip(low_mm, high_mm, strict=True))
    try:
        from flatscan.surface.finding.occupancy_kernel import count_and_slice
    except ImportError:
        floor, sums, filled = _count_plain(points_mm, floor_from_points, low_mm, (rows, cols), cell_mm, band_mm)
    else:
        floor, sums, filled = count_and_slice(
            np.ascontiguousarray(points_mm), floor_from_points, *low_mm, rows, cols, float(cell_mm), float(band_mm)
        )
    filled = filled.reshape(rows, cols)
    tall = _tall_table()[filled]
    face = (filled & (filled >> 1) & (filled >> 2)).astype(bool) | tall
    thing = (filled & np.uint16((1 << _TALL_SLICE) - 1)).astype(bool) & ~face
    foot = _spreads_upwards(floor, sums).reshape(rows, cols)
    return Occupancy(low_mm, cell_mm, floor.reshape(rows, cols), foot, thing, face, tall)


def _count_plain(
    points_mm: NDArray[np.float32],
    floor_from_points: NDArray[np.float64],
    low_mm: tuple[float, float],
    shape: tuple[int, int],
    cell_mm: float,
    band_mm: float,
) -> tuple[NDArray[np.int32], NDArray[np.float32], NDArray[np.uint16]]:
    """Do the kernel's work in numpy alone: for machines without numba, and as its twin in tests."""
    rows, cols = shape
    floor = np.zeros(rows * cols, dtype=np.int32)
    sums = np.zeros((rows * cols, 2), dtype=np.float32)
    filled = np.zeros(rows * cols, dtype=np.uint16)
    for start in range(0, len(points_mm), _CHUNK):
        p = points_mm[start : start + _CHUNK].astype(np.float64)
        x, y, z = (t[0] * p[:, 0] + t[1] * p[:, 1] + t[2] * p[:, 2] + t[3] for t in floor_from_points[:3])
        col = np.floor((x - low_mm[0]) / cell_mm)
        row = np.floor((y - low_mm[1]) / cell_mm)
        over = (col >= 0) & (col < cols) & (row >= 0) & (row < rows)
        on_floor = over & (np.abs(z) <= band_mm)
        key = (row * cols + col)[on_floor].astype(np.int64)
        floor += np.bincount(key, minlength=len(floor)).astype(np.int32)
        for k in (0, 1):
            sums[:, k] += np.bincount(key, z[on_floor] ** (k + 1), minlength=len(floor)).astype(np.float32)
        level = np.floor((z - LOWEST_MM) / SLICE_MM)
        up = over & (level >= 0) & (level < SLICES)
        bits = np.left_shift(np.uint16(1), level[up].astype(np.uint16))
        np.bitwise_or.at(filled, (row * cols + col)[up].astype(np.int64), bits)
    return floor, sums, filled


def _spreads_upwards(floor: NDArray[np.int32], sums: NDArray[np.float32]) -> NDArray[np.bool_]:
    """(cells,) bool: the heights of a cell's floor points scatter by 10 mm and three times the usual."""
    count = np.maximum(floor, 1)
    variance = np.maximum(sums[:, 1] / count - np.square(sums[:, 0] / count), 0.0)
    several = floor > 1
    usual = float(np.median(variance[several])) if several.any() else 0.0
    return np.asarray(several & (variance > max(_FOOT_MM**2, _FOOT_TIMES**2 * usual)))


def _tall_table() -> NDArray[np.bool_]:
    """(65536,) bool for every pattern of filled slices: it reaches 1.5 m and fills most of what is below."""
    patterns = np.arange(1 << SLICES)[:, None] >> np.arange(SLICES) & 1
    below = patterns[:, 1:_TALL_SLICE].mean(axis=1)
    return np.asarray((patterns[:, _TALL_SLICE:].max(axis=1) > 0) & (below >= _TALL_SHARE))
