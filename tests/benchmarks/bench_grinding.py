"""Planning the grinding of a room of 50 m²: time against one gap map, size of the programme, and the proven gap.

    python tests/benchmarks/bench_grinding.py [cell_mm ...]

Invented floors of waves 1.5 to 4 m long with roughness of 60 mm in width; prices per litre: fill 1, grinding 5; a
2 m edge. Wall-clock seconds of one run: the programme's are a good part of it and it is solved on one thread.
"""

from __future__ import annotations

import sys
import time

import numpy as np
from scipy.ndimage import gaussian_filter

from flatscan.levelling.filling.least_fill import EdgeRule, least_fill
from flatscan.levelling.grinding import full_problem, plan_grinding
from flatscan.measures.chords import gap_field
from flatscan.synth.floor import make_floor
from flatscan.synth.outline import rectangle

SIDES_MM = (7100.0, 7000.0)
EDGE_MM = 2000.0
#: Seed, rms of the waves, rms of the roughness (all mm), limit.
FLOORS = ((1, 2.0, 0.05, 2.0), (2, 1.5, 0.2, 2.0), (3, 2.5, 0.1, 2.0), (4, 2.0, 0.1, 3.0))


def room(seed: int, waves_mm: float, rough_mm: float, cell_mm: float) -> np.ndarray:
    """Heights of an invented room."""
    rng = np.random.default_rng(seed)
    floor = make_floor(rectangle(*SIDES_MM), rng=rng, waves_rms_mm=waves_mm)
    x, y = (np.arange(cell_mm / 2, side, cell_mm) for side in SIDES_MM)
    rough = gaussian_filter(rng.normal(size=(len(y), len(x))), 30.0 / cell_mm)
    return floor.height_mm(x[None, :], y[:, None]) + rough * (rough_mm / rough.std())


def main(cells_mm: list[float]) -> None:
    """Print one line per floor and cell."""
    for cell_mm in cells_mm:
        rule = EdgeRule(cell_mm=cell_mm)
        for seed, waves_mm, rough_mm, limit_mm in FLOORS:
            z = room(seed, waves_mm, rough_mm, cell_mm)
            inside = np.ones(z.shape, bool)
            targets = [(EDGE_MM, limit_mm)]
            gap_field(z, inside, cell_mm=cell_mm, edge_mm=EDGE_MM)  # compile, or load what was compiled
            start = time.perf_counter()
            gap_field(z, inside, cell_mm=cell_mm, edge_mm=EDGE_MM)
            one_map = time.perf_counter() - start
            least_fill(z[:50, :50], inside[:50, :50], targets, rule)
            start = time.perf_counter()
            plan = plan_grinding(
                full_problem(
                    z,
                    inside,
                    targets,
                    rule,
                    fill_price_per_l=1.0,
                    grind_price_per_l=5.0,
                    most_fill_mm=np.full(z.shape, np.inf),
                    most_grind_mm=np.full(z.shape, 3.0),
                )
            )
            seconds = time.perf_counter() - start
            print(
                f"{cell_mm:g} mm, limit {limit_mm:g}: {seconds:.1f} s = {seconds / one_map:.0f} gap maps; blocks "
                f"{plan.planning_cell_mm:g} mm, {plan.rounds} rounds, {plan.rows} rows; fill alone "
                f"{plan.fill_only_cost:.2f}, with grinding {plan.cost:.2f}, lattice {plan.coarse_cost:.2f}, at least "
                f"{plan.lower_bound_cost:.2f}: proven within {1 - plan.lower_bound_cost / plan.cost:.1%}",
                flush=True,
            )


if __name__ == "__main__":
    main([float(cell) for cell in sys.argv[1:]] or [5.0, 10.0])
