"""Time of the least fill as a multiple of one gap map, and of what it saves by following only what rose.

    python tests/benchmarks/bench_levelling.py [m2]

Times are processor seconds of all threads together (so that other jobs count little). A gap map is the mean of the
maps under 0.2, 1 and 2 m. "Visiting all" is the same fill with every sweep visiting every line.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from contextlib import contextmanager
from typing import Any

import numpy as np
from scipy.ndimage import gaussian_filter

from flatscan.levelling.filling.least_fill import EdgeRule, least_fill
from flatscan.measures.chords import gap_field
from flatscan.measures.raiser import Raiser

CELL_MM = 5.0
RULE = EdgeRule(cell_mm=CELL_MM)
ONE = [(2000.0, 3.0)]
THREE = [(200.0, 1.0), (1000.0, 2.0), (2000.0, 3.0)]
#: (length, size) of waves in mm: floors from flat to rough.
FLOORS = {
    "flat": ((600.0, 1.2), (150.0, 0.2)),
    "usual": ((600.0, 2.0), (150.0, 0.6)),
    "noisy": ((600.0, 2.0), (150.0, 0.6), (0.0, 0.1)),
    "rough": ((600.0, 3.0), (150.0, 1.2), (40.0, 0.3)),
}


def floor(shape: tuple[int, int], waves: tuple[tuple[float, float], ...], rng: np.random.Generator) -> np.ndarray:
    """Blurred noise of several lengths; the long ones drawn on coarse cells."""
    z = np.zeros(shape)
    for length_mm, size_mm in waves:
        block = max(1, int(length_mm / CELL_MM / 5))
        coarse = rng.normal(size=[-(-n // block) for n in shape])
        blur = length_mm / CELL_MM / block
        drawn = gaussian_filter(coarse, blur) if blur else coarse
        fine = gaussian_filter(np.kron(drawn, np.ones((block, block))), block / 2)[: shape[0], : shape[1]]
        z += size_mm / fine.std() * fine
    return z


@contextmanager
def visiting_all():
    """Make every sweep visit everything, as if every cell rose at every lift."""
    sweep = Raiser.sweep

    def visit(raiser: Raiser) -> float:
        for stamps in (raiser._rose, raiser._tiles):
            stamps[...] = np.iinfo(np.int32).max
        return sweep(raiser)

    Raiser.sweep = visit
    try:
        yield
    finally:
        Raiser.sweep = sweep


def seconds(work: Callable[[], Any]) -> tuple[float, Any]:
    """Processor time of one run, and what it gave."""
    start = time.process_time()
    result = work()
    return time.process_time() - start, result


def main(area_m2: float) -> None:
    """Print a line for each floor and set of targets."""
    rows = round((area_m2 * 1e6 / 1.4) ** 0.5 / CELL_MM)
    shape = (rows, round(1.4 * rows))
    inside = np.ones(shape, dtype=bool)
    warm = np.random.default_rng(1).normal(0.0, 2.0, (400, 400))  # compile, or load what was compiled
    least_fill(warm, inside[:400, :400], ONE, RULE, least_layer_mm=1.0, feather_mm_per_m=20.0)
    gap_field(warm, inside[:400, :400], cell_mm=CELL_MM, edge_mm=200.0)
    print(f"{inside.size / 1e6:.1f} M cells, {RULE.directions} directions")
    for name, waves in FLOORS.items():
        z = floor(shape, waves, np.random.default_rng(0))
        took, gaps = seconds(
            lambda z=z: [float(gap_field(z, inside, cell_mm=CELL_MM, edge_mm=e).gap_mm.max()) for e, _ in THREE]
        )
        one_map = took / len(THREE)
        print(f"{name}: largest gaps {', '.join(f'{g:.1f}' for g in gaps)} mm, one gap map {one_map:.2f} s")
        for label, targets, options in (
            ("one target", ONE, {}),
            ("three targets", THREE, {}),
            ("three, 1 mm layers, edges 20 mm/m", THREE, {"least_layer_mm": 1.0, "feather_mm_per_m": 20.0}),
        ):
            new, fill = seconds(lambda z=z, t=targets, o=options: least_fill(z, inside, t, RULE, **o).fill_mm)
            with visiting_all():
                old, same = seconds(lambda z=z, t=targets, o=options: least_fill(z, inside, t, RULE, **o).fill_mm)
            print(
                f"  {label}: {fill.sum() * CELL_MM**2 / 1e6:.2f} l, {new / one_map:.1f} gap maps; "
                f"visiting all {old / one_map:.1f}, fills differ by {np.abs(fill - same).max():.1e} mm"
            )


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 50.0)
