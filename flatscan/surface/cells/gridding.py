"""Points into cells: a robust height per cell with its standard uncertainty, in one memory-lean pass."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.constants import MM2_PER_M2, SIGMA_PER_MAD
from flatscan.surface.cells.cell_uncertainty import white_uncertainty

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Readings further than this many robust standard deviations from the cell's median are left out of its mean.
TRIM_SIGMAS = 3.0
#: More than this share of a cell's readings beyond the trim on one side is an edge, not stray readings.
ONE_SIDED_SHARE = 0.2
#: Below this many readings a share of 20 % says nothing: one stray reading would raise the flag.
LEAST_TO_FLAG = 8
#: Standard deviation per mean absolute deviation of a normal distribution (exact: sqrt(pi/2)).
SIGMA_PER_MEAN_DEVIATION = float(np.sqrt(np.pi / 2.0))

CELL_SIZES_MM = (5.0, 10.0, 20.0, 30.0, 50.0)
LEAST_POINTS_PER_CELL = 8
WHITE_TARGET_MM = 0.15


@dataclass(frozen=True, slots=True)
class GridSpec:
    """Where the cells lie: ``origin_mm`` is the floor-frame corner of cell [0, 0], ``shape`` is (rows, cols)."""

    origin_mm: tuple[float, float]
    shape: tuple[int, int]
    cell_mm: float

    def __post_init__(self) -> None:
        if min(self.shape) < 1 or not self.cell_mm > 0:
            raise ValueError(f"a grid needs at least one cell and cell_mm > 0, got {self.shape}, {self.cell_mm}")


@dataclass(frozen=True, slots=True, eq=False)
class CellStats:
    """What the points say, cell by cell; every array is (rows, cols), NaN where no point fell.

    ``height_mm`` float32: mean of the readings within three robust standard deviations of their median;
    ``spread_mm`` float32: standard deviation of those readings, NaN for a single reading;
    ``white_mm`` float32: standard uncertainty of ``height_mm`` if the readings were independent;
    ``count`` int32: readings in the cell, left out or not;
    ``flagged`` bool: a fifth of the readings or more sits to one side (an edge inside the cell): none were left out.
    """

    height_mm: NDArray[np.float32]
    spread_mm: NDArray[np.float32]
    white_mm: NDArray[np.float32]
    count: NDArray[np.int32]
    flagged: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class RawCells:
    """Flat per-cell sums before the uncertainty is worked out; ``kept`` is the effective number averaged."""

    height_mm: NDArray[np.float32]
    variance_mm2: NDArray[np.float32]
    kept: NDArray[np.float32]
    count: NDArray[np.int32]
    flagged: NDArray[np.bool_]


def grid_points(
    points_mm: NDArray[np.float32],
    floor_from_points: NDArray[np.float64],
    grid: GridSpec,
    *,
    band_mm: float,
    weight: NDArray[np.float32] | None = None,
    select: NDArray[np.bool_] | NDArray[np.integer] | None = None,
    step_mm: float = 0.0,
) -> CellStats:
    """Grid points on the floor frame: counting sort, then median, MAD and trimmed mean of every cell.

    Parameters
    ----------
    points_mm : (n, 3) float32, mm, in the frame ``floor_from_points`` maps from; NaN rows are left out
    floor_from_points : (4, 4) float64, rigid, mm
    band_mm : points further than this from z = 0 of the floor frame are not floor
    weight : (n,) float32 > 0, relative trust: weighs the mean, not the median; None: all alike
    select : (n,) bool, or indices (each counts once): the points to use; None: all
    step_mm : the coordinates' own step; where the readings scatter less than half of it, its step/√12
        (JCGM 100, F.2.2.1) is added to ``white_mm``, since it then does not average out

    Beside the points themselves this holds 4 bytes a point (8 with weights): the transform is done twice
    rather than stored. Points on a border belong to the cell above it.
    """
    points = np.ascontiguousarray(points_mm, dtype=np.float32)
    mask = _as_mask(select, len(points))
    try:
        from flatscan.surface.cells.gridding_kernel import grid_raw
    except ImportError:
        return gridding_plain(
            points, floor_from_points, grid, band_mm=band_mm, weight=weight, select=mask, step_mm=step_mm
        )
    nothing = np.empty(0, dtype=np.float32)
    raw = RawCells(
        *grid_raw(
            points,
            np.ascontiguousarray(floor_from_points[:3], dtype=np.float64),
            grid.origin_mm[0],
            grid.origin_mm[1],
            grid.cell_mm,
            grid.shape[0],
            grid.shape[1],
            float(band_mm),
            nothing if weight is None else np.ascontiguousarray(weight, dtype=np.float32),
            np.empty(0, dtype=np.bool_) if mask is None else mask,
        )
    )
    return _with_uncertainty(raw, grid, step_mm)


def gridding_plain(
    points_mm: NDArray[np.float32],
    floor_from_points: NDArray[np.float64],
    grid: GridSpec,
    *,
    band_mm: float,
    weight: NDArray[np.float32] | None = None,
    select: NDArray[np.bool_] | NDArray[np.integer] | None = None,
    step_mm: float = 0.0,
) -> CellStats:
    """Do what :func:`grid_points` does in numpy alone: for machines without numba, and as its twin in tests."""
    p = np.asarray(points_mm, dtype=np.float64)
    t = np.asarray(floor_from_points, dtype=np.float64)
    x, y, z = (t[k, 0] * p[:, 0] + t[k, 1] * p[:, 1] + t[k, 2] * p[:, 2] + t[k, 3] for k in range(3))
    col = np.floor((x - grid.origin_mm[0]) / grid.cell_mm)
    row = np.floor((y - grid.origin_mm[1]) / grid.cell_mm)
    rows, cols = grid.shape
    use = (row >= 0) & (row < rows) & (col >= 0) & (col < cols) & (np.abs(z) <= band_mm)
    mask = _as_mask(select, len(p))
    if mask is not None:
        use &= mask
    key = row[use].astype(np.int64) * cols + col[use].astype(np.int64)
    z32 = z[use].astype(np.float32)
    w = np.ones(len(z32)) if weight is None else np.asarray(weight, dtype=np.float64)[use]
    order = np.lexsort((z32, key))
    return _with_uncertainty(
        _raw_plain(key[order], z32[order].astype(np.float64), w[order], rows * cols), grid, step_mm
    )


def _raw_plain(key: NDArray[np.int64], z: NDArray[np.float64], w: NDArray[np.float64], cells: int) -> RawCells:
    """Trimmed means of runs of equal ``key``; ``z`` ascends within a run."""
    count = np.bincount(key, minlength=cells)
    start = np.concatenate([[0], np.cumsum(count)[:-1]])

    def middle(sorted_z: NDArray[np.float64]) -> NDArray[np.float64]:
        low, high = start + np.maximum(count - 1, 0) // 2, start + count // 2
        last = max(len(sorted_z) - 1, 0)
        both = sorted_z[np.minimum(low, last)] + sorted_z[np.minimum(high, last)] if len(sorted_z) else np.zeros(cells)
        return np.where(count > 0, 0.5 * both, np.nan)

    def total(values: NDArray[np.floating]) -> NDArray[np.float64]:
        return np.bincount(key, weights=values, minlength=cells).astype(np.float64, copy=False)

    deviation = z - middle(z)[key]
    mad = middle(np.abs(deviation)[np.lexsort((np.abs(deviation), key))])
    with np.errstate(invalid="ignore", divide="ignore"):
        scale = np.where(mad > 0, SIGMA_PER_MAD * mad, SIGMA_PER_MEAN_DEVIATION * total(np.abs(deviation)) / count)
        far = np.abs(deviation) > TRIM_SIGMAS * scale[key]
        above, below = total((far & (deviation > 0)) * 1.0), total((far & (deviation < 0)) * 1.0)
        flagged = (np.maximum(above, below) > ONE_SIDED_SHARE * count) & (count >= LEAST_TO_FLAG)
        keep = w * ~(far & ~flagged[key])
        sum_w, sum_w2 = total(keep), total(keep * keep)
        mean = total(keep * z) / sum_w
        kept = sum_w * sum_w / sum_w2
        squares = total(keep * (z - mean[key]) ** 2) / sum_w
        variance = np.where(kept > 1.0 + 1e-9, squares * kept / (kept - 1.0), np.nan)
    return RawCells(
        mean.astype(np.float32),
        variance.astype(np.float32),
        np.nan_to_num(kept).astype(np.float32),
        count.astype(np.int32),
        flagged,
    )


def _with_uncertainty(raw: RawCells, grid: GridSpec, step_mm: float) -> CellStats:
    shape = grid.shape
    variance, kept, flagged = raw.variance_mm2.reshape(shape), raw.kept.reshape(shape), raw.flagged.reshape(shape)
    return CellStats(
        height_mm=raw.height_mm.reshape(shape),
        spread_mm=np.sqrt(variance),
        white_mm=white_uncertainty(variance, kept, flagged, step_mm=step_mm),
        count=raw.count.reshape(shape),
        flagged=flagged,
    )


def choose_cell_mm(
    density_per_m2: float, point_sigma_mm: float, *, correlated_mm: float = 0.0, spacing_mm: float | None = None
) -> tuple[float, str]:
    """Choose the side of a cell and say why.

    The rule: the smallest of 5, 10, 20, 30 and 50 mm whose cells hold at least 8 points and whose white
    uncertainty, ``point_sigma_mm``/√n, is at most 0.15 mm, or half the correlated noise where that is more
    (finer averaging gains nothing below it). Where no size reaches that: the largest.

    Parameters
    ----------
    density_per_m2 : typical number of floor points in a square metre
    point_sigma_mm : scatter of single points about the floor
    correlated_mm : standard deviation of the correlated noise where it is known
    spacing_mm : distance of points from one view, when points of several views lie closer together than
        the sensor resolves; no cell is chosen smaller than it
    """
    target = max(WHITE_TARGET_MM, 0.5 * correlated_mm)
    for cell_mm in CELL_SIZES_MM:
        points = density_per_m2 * cell_mm**2 / MM2_PER_M2
        if spacing_mm is not None and cell_mm < spacing_mm:
            continue
        if points >= LEAST_POINTS_PER_CELL and point_sigma_mm <= target * np.sqrt(points):
            white = point_sigma_mm / np.sqrt(points)
            return cell_mm, (
                f"cells of {said.cell(cell_mm)} hold about {points:.0f} points and average their scatter of "
                f"{said.about(point_sigma_mm)} down to {said.thickness(float(white), 2)}"
            )
    cell_mm = CELL_SIZES_MM[-1]
    points = density_per_m2 * cell_mm**2 / MM2_PER_M2
    return cell_mm, (
        f"even cells of {said.cell(cell_mm)}, the largest, hold about {points:.1f} points with a scatter of "
        f"{said.about(point_sigma_mm)}: too few for {said.thickness(float(target), 2)}"
    )


def _as_mask(select: NDArray[np.bool_] | NDArray[np.integer] | None, n: int) -> NDArray[np.bool_] | None:
    """Turn indices into a mask of ``n`` points."""
    if select is None:
        return None
    if select.dtype == np.bool_:
        if len(select) != n:
            raise ValueError(f"select must have one entry per point, got {len(select)} for {n}")
        return np.ascontiguousarray(select)
    mask = np.zeros(n, dtype=np.bool_)
    mask[select] = True
    return mask
