"""Time of the gap map: ratios to its plain twin and to one pass over the data per direction.

    python tests/benchmarks/bench_gap.py [megacells]

Times are processor seconds of all threads together (so that other jobs count little), medians of several runs.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from statistics import median

import numpy as np

from flatscan.measures import chords
from flatscan.measures.chords import gap_field
from flatscan.measures.gap_batch import gap_batch

CELL_MM = 5.0
DIRECTIONS = 12
RUNS = 3


def seconds(work: Callable[[], object], runs: int = RUNS) -> float:
    """Median processor time of several runs."""
    times = []
    for _ in range(runs):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return median(times)


def main(mega: float) -> None:
    """Print one line per edge length, then the batches that simulated captures need, on coarse cells."""
    side = round((mega * 1e6) ** 0.5)
    rng = np.random.default_rng(0)
    y, x = np.indices((side, side), dtype=np.float32) * np.float32(CELL_MM / 900.0)
    z = (2.0 * np.sin(x) * np.cos(1.3 * y) + rng.normal(0.0, 0.3, x.shape)).astype(np.float32)
    inside = np.ones(z.shape, bool)
    laid = {"cell_mm": CELL_MM, "directions": DIRECTIONS}
    gap_field(z[:400, :400], inside[:400, :400], edge_mm=200.0, **laid)  # compile, or load what was compiled
    best = np.zeros_like(z)
    one_pass = DIRECTIONS * seconds(lambda: np.maximum(best, z, out=best), 15)
    small = z[: side // 2, : side // 2]
    small_inside = np.ones(small.shape, bool)
    kernel = chords._kernel
    print(f"{z.size / 1e6:.1f} M cells, {DIRECTIONS} directions; one pass per direction {one_pass * 1e3:.0f} ms")
    for edge in (200.0, 1000.0, 2000.0, 3000.0):
        ours = seconds(lambda e=edge: gap_field(z, inside, edge_mm=e, **laid))
        ours_small = seconds(lambda e=edge: gap_field(small, small_inside, edge_mm=e, **laid))
        chords._kernel = lambda: None
        try:
            twin_small = seconds(lambda e=edge: gap_field(small, small_inside, edge_mm=e, **laid), 1)
        finally:
            chords._kernel = kernel
        print(
            f"edge {edge / 1000:g} m: {ours:.2f} processor s, "
            f"{ours / z.size / DIRECTIONS * 1e9:.0f} ns a cell and direction, "
            f"{ours / one_pass:.0f} x one pass; numpy twin {twin_small / ours_small:.0f} x "
            f"(on {small.size / 1e6:.2f} M cells)"
        )
    batches(rng)


def batches(rng: np.random.Generator) -> None:
    """Four maps of 50 m² at 20 mm, gap values alone: window search against the field of the hull walk."""
    maps = rng.normal(0.0, 0.3, (4, 310, 390)).astype(np.float32)
    inside = np.ones(maps.shape[1:], bool)
    laid = {"cell_mm": 20.0, "directions": DIRECTIONS}
    for edge in (200.0, 1000.0, 2000.0, 3000.0):
        gap_batch(maps, inside, edge_mm=edge, **laid)
        batch = seconds(lambda e=edge: gap_batch(maps, inside, edge_mm=e, **laid))
        fields = seconds(lambda e=edge: [gap_field(z, inside, edge_mm=e, **laid) for z in maps])
        print(
            f"four maps of {inside.size / 1e6:.2f} M cells, edge {edge / 1000:g} m: "
            f"{batch / maps.size / DIRECTIONS * 1e9:.0f} ns a cell and direction, fields {fields / batch:.1f} x"
        )


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 2.0)
