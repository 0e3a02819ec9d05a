"""Gridding 10 million points: ratios to scipy's binned statistics and to a plain one-pass mean. Run it by hand.

    python tests/benchmarks/bench_gridding.py [millions of points]

710 x 710 cells of 10 mm, about 20 points in each, 2 % of them 5 to 60 mm off. Best of five runs unless marked.
"""

from __future__ import annotations

import sys
import time

import numpy as np
from numba import njit
from scipy.stats import binned_statistic_2d

from flatscan.surface.cells.gridding import GridSpec, grid_points, gridding_plain

SIDE, CELL = 710, 10.0


@njit(cache=True)
def plain_pass(points, side, cell):
    """Welford's mean and scatter with least and greatest, one pass, no transform: what any gridding costs at least."""
    cells = side * side
    count = np.zeros(cells, np.int32)
    mean = np.zeros(cells)
    squares = np.zeros(cells)
    least = np.full(cells, np.inf)
    most = np.full(cells, -np.inf)
    for i in range(len(points)):
        col, row = np.floor(points[i, 0] / cell), np.floor(points[i, 1] / cell)
        if 0 <= col < side and 0 <= row < side:
            key = int(row) * side + int(col)
            z = points[i, 2]
            count[key] += 1
            step = z - mean[key]
            mean[key] += step / count[key]
            squares[key] += step * (z - mean[key])
            least[key] = min(least[key], z)
            most[key] = max(most[key], z)
    return count, mean, squares, least, most


def best(job, runs: int = 5) -> float:
    """Seconds of the fastest run: the machine may be busy."""
    seconds = []
    for _ in range(runs):
        start = time.perf_counter()
        job()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def cloud(n: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """(n, 3) float32 points and the floor's true height at each."""
    x, y = rng.uniform(0, SIDE * CELL, (2, n))
    truth = 2 * np.sin(x / 700) + np.cos(y / 500)
    z = truth + rng.normal(0, 1.0, n)
    stray = rng.random(n) < 0.02
    z[stray] += rng.uniform(5, 60, stray.sum())
    return np.column_stack([x, y, z]).astype(np.float32), truth


def main() -> None:
    """Print the table."""
    n = int(float(sys.argv[1]) * 1e6) if len(sys.argv) > 1 else 10_000_000
    points, _ = cloud(n, np.random.default_rng(1))
    grid, pose = GridSpec((0.0, 0.0), (SIDE, SIDE), CELL), np.eye(4)
    grid_points(points[:1000], pose, grid, band_mm=200.0)
    plain_pass(points[:1000], SIDE, CELL)
    scan_order = points[np.lexsort((points[:, 0], points[:, 1] // CELL))]
    small = points[: n // 20]
    bins = np.arange(SIDE + 1) * CELL
    print(f"{n / 1e6:g} M points")
    for name, data in (("random order", points), ("scan order", scan_order)):
        plain = best(lambda data=data: plain_pass(data, SIDE, CELL))
        robust = best(lambda data=data: grid_points(data, pose, grid, band_mm=200.0))
        x, y, z = (np.ascontiguousarray(data[:, k]) for k in range(3))
        mean = best(lambda x=x, y=y, z=z: binned_statistic_2d(y, x, z, "mean", [bins, bins]), 1)
        print(
            f"{name}: robust {robust:.2f} s ({n / robust / 1e6:.0f} M points/s), {robust / plain:.2f} times the plain "
            f"pass; binned_statistic_2d mean (1 run) {mean / robust:.1f} times the robust one"
        )
    # Per point, on a twentieth of the points: the median there takes minutes for all.
    small_grid = GridSpec((0.0, 0.0), (SIDE // 4, SIDE // 4), 4 * CELL)
    small_bins = np.arange(SIDE // 4 + 1) * 4 * CELL
    robust = best(lambda: grid_points(small, pose, small_grid, band_mm=200.0))
    median = best(lambda: binned_statistic_2d(small[:, 1], small[:, 0], small[:, 2], "median", [small_bins] * 2), 1)
    twin = best(lambda: gridding_plain(small, pose, small_grid, band_mm=200.0))
    print(
        f"{len(small) / 1e6:g} M points, 40 mm cells: binned_statistic_2d median (1 run) {median / robust:.0f} times, "
        f"the numpy twin {twin / robust:.0f} times the robust one"
    )
    stats = grid_points(points, pose, grid, band_mm=200.0)
    y, x = (np.mgrid[:SIDE, :SIDE] + 0.5) * CELL
    error = stats.height_mm - (2 * np.sin(x / 700) + np.cos(y / 500))
    held = np.mean(np.abs(error) < 1.96 * stats.white_mm)
    print(
        f"accuracy: rms {np.sqrt(np.nanmean(error**2)):.3f} mm, bias {np.nanmean(error):+.4f} mm, stated "
        f"{np.nanmean(stats.white_mm):.3f} mm, interval holds in {100 * held:.1f} % of cells"
    )


if __name__ == "__main__":
    main()
