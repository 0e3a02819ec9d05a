"""Reference planes of 2 million points: ratios to least squares by normal equations. Run it by hand.

python tests/benchmarks/bench_planes.py
"""

from __future__ import annotations

import time

import numpy as np
from scipy.optimize import linprog

from flatscan.surface.plane_zone import minimum_zone, rest_plane
from flatscan.surface.planes import fit_least_squares, fit_robust


def best(job, runs: int = 3) -> float:
    """Seconds of the fastest run."""
    seconds = []
    for _ in range(runs):
        start = time.perf_counter()
        job()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def every_point(x, y, z):
    """Minimum zone with a row for every point, in unit coordinates."""
    u, v, one = x / 7000, y / 7000, np.ones_like(x)
    rows = np.vstack([np.column_stack([-u, -v, -one, -one]), np.column_stack([u, v, one, -one])])
    return linprog([0, 0, 0, 1], A_ub=rows, b_ub=np.concatenate([-z, z]), bounds=(None, None), method="highs").fun


def main() -> None:
    """Print the table."""
    rng = np.random.default_rng(0)
    n = 2_000_000
    x, y = rng.uniform(0, 7000, (2, n))
    z = 3 * np.sin(x / 900) + 2 * np.cos(y / 700) + 0.01 * x + rng.normal(0, 0.3, n)
    one = best(lambda: fit_least_squares(x, y, z), 7)
    print(f"least squares, {n / 1e6:g} M points: {1000 * one:.1f} ms = 1")
    design = np.column_stack([x, y, np.ones(n)])
    jobs = {
        "robust (50 000 points)": lambda: fit_robust(x, y, z),
        "minimum zone, exact": lambda: minimum_zone(x, y, z),
        "rest plane, exact": lambda: rest_plane(x, y, z),
        "numpy lstsq": lambda: np.linalg.lstsq(design, z, rcond=None),
    }
    for name, job in jobs.items():
        print(f"{name}: {best(job) / one:.1f}")
    for part in (2_000, 20_000, 100_000):
        piece = (x[:part], y[:part], z[:part])
        half = minimum_zone(*piece)[1]
        ratio = best(lambda piece=piece: every_point(*piece), 1) / best(lambda piece=piece: minimum_zone(*piece))
        differs = every_point(*piece) - half
        print(f"HiGHS on all {part} points: {ratio:.1f} times; half width {half:.6f}, differs {differs:.1e}")


if __name__ == "__main__":
    main()
