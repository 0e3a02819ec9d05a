"""Seconds to measure lips per 100 m of joint: ``python tests/benchmarks/bench_joint_lips.py [million points]``.

Bare heights on an invented floor of 50 m² with 300 mm tiles, white noise of 0.5 mm, two stations' worth of points.
"""

from __future__ import annotations

import importlib.util
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from flatscan.measures.joints.lips.faces import measured_faces
from flatscan.measures.joints.lips.measure import measure_lips, over_smooth
from flatscan.measures.joints.stations import stations_along


def main(million: float) -> None:
    """Print seconds for lips, faces and the look for smoothing, first run (compiling) left out."""
    path = Path(__file__).parents[1] / "oracles" / "lip_floors.py"
    spec = importlib.util.spec_from_file_location("lip_floors", path)
    floors = importlib.util.module_from_spec(spec)
    sys.modules["lip_floors"] = floors
    spec.loader.exec_module(floors)
    rng = np.random.default_rng(1)
    for millions in (0.05, million):
        side = 1000.0 if millions < 1.0 else 7000.0
        floor = floors.tiled_floor(rng, (side, side))
        count = int(millions * 1e6)
        xy = rng.uniform(0.0, side, (count, 2)).astype(np.float32)
        height = np.concatenate([floor.height_mm(*part.T.astype(float)) for part in np.array_split(xy, 20)])
        scan = floors.scan_from(np.column_stack([xy, height + 0.5 * rng.standard_normal(count)]))
        scan = replace(scan, view_of_point=rng.integers(0, 2, count).astype(np.uint16))
        network, surface = floors.true_network(floor).network, floors.surface_of(floor, "cloud")
        stations = stations_along(network, 50.0)
        times = []
        for job in (
            lambda: measure_lips(scan, surface, network, stations),  # noqa: B023
            lambda: measured_faces(surface, network),  # noqa: B023
            lambda: over_smooth(scan, surface, network),  # noqa: B023
        ):
            start, busy = time.perf_counter(), time.process_time()
            job()
            times.append((time.perf_counter() - start, time.process_time() - busy))
    metres = network.length_mm / 1000.0
    print(f"{count / 1e6:.1f} M points, {len(network.pieces)} pieces, {metres:.0f} m of joint")
    for name, (seconds, busy) in zip(("lips", "faces", "smoothing"), times, strict=True):
        each = 100.0 * busy / metres
        print(f"{name:10s} {seconds:6.2f} s, processor {busy:6.2f} s, {each:6.2f} s per 100 m of joint")


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 10.0)
