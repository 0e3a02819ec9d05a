"""Time of every way of levelling as a multiple of one gap map, the grinding programme and the redrawn floors apart.

    python tests/benchmarks/bench_plan.py [m2] [cell_mm]

Times are processor seconds of all threads together, so that other jobs count little. The floor is one of
``bench_levelling.FLOORS``; the target is 3 mm under 2 m.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
import bench_levelling

from flatscan.levelling import load_product, planning
from flatscan.levelling import ways as ways_module
from flatscan.levelling.basis import Basis
from flatscan.levelling.proof import finished_mm, prove, worst_over
from flatscan.measures.chords import gap_field
from flatscan.quantity import Quantity
from flatscan.surface.surface import NoiseModel, Slope, Surface

EDGE_MM, LIMIT_MM = 2000.0, 3.0


def surface_of(z: np.ndarray, cell_mm: float) -> Surface:
    """A floor known well, falling 1 mm in a metre."""
    rows, cols = z.shape
    corners = np.array([[0.0, 0.0], [cols, 0.0], [cols, rows], [0.0, rows]]) * cell_mm
    return Surface(
        height_mm=z.astype(np.float32),
        estimate_mm=z.astype(np.float32),
        white_mm=np.full(z.shape, 0.1, dtype=np.float32),
        count=np.ones(z.shape, dtype=np.int32),
        inside=np.ones(z.shape, dtype=bool),
        cell_mm=cell_mm,
        origin_mm=(0.0, 0.0),
        floor_from_scan=np.eye(4),
        outline=(corners,),
        noise=NoiseModel(0.1, 0.1, 100.0, 0.2, "stated"),
        slope=Slope(Quantity(1.0, 0.1, "mm/m"), 0.3),
        kind="cloud",
    )


def seconds(work: Callable[[], Any]) -> tuple[float, Any]:
    """Processor time of one run, and what it gave."""
    start = time.process_time()
    result = work()
    return time.process_time() - start, result


def main(area_m2: float, cell_mm: float) -> None:
    """Print a line for each way."""
    bench_levelling.CELL_MM = cell_mm
    rows = round((area_m2 * 1e6 / 1.4) ** 0.5 / cell_mm)
    warm = surface_of(np.random.default_rng(1).normal(0.0, 1.0, (400, 400)), cell_mm)
    product = load_product()
    plan_of(warm, product)
    for name in ("usual", "rough"):
        z = bench_levelling.floor((rows, round(1.4 * rows)), bench_levelling.FLOORS[name], np.random.default_rng(0))
        surface = surface_of(z, cell_mm)
        one_map, _ = seconds(lambda s=surface: gap_field(s.estimate_mm, s.inside, cell_mm=cell_mm, edge_mm=EDGE_MM))
        print(f"{name}: {z.size / 1e6:.1f} M cells, one gap map {one_map:.2f} s")
        frame = planning._frame(basis_of(surface), product, None, 0.0)
        before = prove(frame.floor_mm, surface, frame.bounds, frame.limits, frame.rule)
        parts: dict[str, tuple[float, Any]] = {"patch": seconds(lambda f=frame: ways_module._patch(f))}
        patch = parts["patch"][1]
        parts["grind and patch"] = seconds(
            lambda f=frame, p=patch: ways_module._grind_and_patch(f, p, ways_module.SILENT)
        )
        parts["skim"] = seconds(lambda f=frame, b=before: ways_module._skim(f, worst_over(b)))
        parts["screed"] = seconds(lambda f=frame: ways_module._screed(f))
        parts["flood"] = seconds(lambda f=frame: ways_module._flood(f))
        proofs = sum(
            seconds(
                lambda f=frame, w=way: prove(
                    finished_mm(f.basis.surface, w.proposal, f.bounds), f.basis.surface, f.bounds, f.limits, f.rule
                )
            )[0]
            for _, way in parts.values()
        )
        for part, (took, way) in parts.items():
            litres = float(np.nansum(way.proposal.fill_mm, dtype=np.float64)) * cell_mm**2 / 1e6
            bound = way.proposal.bound
            proven = "" if bound is None else f", no plan costs less than {100 * bound:.0f} % of it"
            print(f"  {part}: {took / one_map:.1f} gap maps, {litres:.1f} l{proven}")
        apart = sum(took for part, (took, _) in parts.items() if part != "grind and patch")
        print(f"  all without grinding, with the proofs of all ({proofs / one_map:.1f}): "
              f"{(apart + proofs) / one_map:.1f} gap maps")  # fmt: skip
        whole, plan = seconds(lambda s=surface: plan_of(s, product))
        print(f"  the whole plan with {plan.draws} floors redrawn: {whole / one_map:.0f} gap maps, {whole:.0f} s")


def basis_of(surface: Surface) -> Basis:
    """One limit, nothing tapped, no joints."""
    return Basis(surface, ((EDGE_MM, LIMIT_MM),), ("invented",), "level_areas", None)


def plan_of(surface: Surface, product: Any) -> Any:
    """The stage as the program runs it."""
    return planning.plan_levelling(basis_of(surface), product, rng=np.random.default_rng(0))


if __name__ == "__main__":
    given = [float(value) for value in sys.argv[1:3]]
    main(*(given + [50.0, 5.0][len(given) :]))
