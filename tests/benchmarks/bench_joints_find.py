"""Seconds and memory of finding joints: ``python tests/benchmarks/bench_joints_find.py [m²]`` at 1 mm pixels."""

from __future__ import annotations

import importlib.util
import resource
import sys
import time
from pathlib import Path

import numpy as np

from flatscan.measures.joints.finding.find import find_network
from flatscan.settings import JointSettings


def _drawn_floors():
    path = Path(__file__).parents[1] / "oracles" / "drawn_floors.py"
    spec = importlib.util.spec_from_file_location("drawn_floors", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["drawn_floors"] = module
    spec.loader.exec_module(module)
    return module


floors = _drawn_floors()


def main(area_m2):
    for name, laid in {
        "stack 300x300": {"bond": "stack", "long_mm": 300.0, "short_mm": 300.0},
        "half 200x100, turned": {"bond": "half", "long_mm": 200.0, "short_mm": 100.0, "angle_rad": 0.4},
    }.items():
        side = (area_m2 * 1e6) ** 0.5
        # A metre is drawn and repeated in the rows: drawing is slower than finding.
        few = floors.draw(np.random.default_rng(1), size_mm=(side, min(side, 1200.0)), **laid).tone
        tone = np.concatenate([few] * int(np.ceil(side / len(few))))[: int(side)]
        picture = floors.as_picture(tone, 1.0)
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        start, cpu = time.perf_counter(), time.process_time()
        network = find_network([picture], JointSettings())
        wall, cpu = time.perf_counter() - start, time.process_time() - cpu
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        length_m = network.length_mm / 1000
        print(
            f"{name}: {tone.size / 1e6:.0f} m², {length_m:.0f} m of joint: {wall:.1f} s, processor {cpu:.1f} s, "
            f"{wall / (tone.size / 1e6):.2f} s/m², {100 * wall / max(length_m, 1):.1f} s per 100 m, "
            f"peak {peak:.0f} MB ({before:.0f} before)"
        )


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 50.0)
