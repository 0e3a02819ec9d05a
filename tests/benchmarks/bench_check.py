"""The main job on a laser cloud of a 50 m² room: time by stage and peak memory, in a process of its own.

python tests/benchmarks/bench_check.py [MILLION_POINTS]
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

CHILD = """
import json, resource, sys, time
start = time.perf_counter()
import flatscan
flatscan.check
imported = time.perf_counter()
report = flatscan.check(sys.argv[1])
checked = time.perf_counter()
from flatscan.report import output
from pathlib import Path
output.write_report(report, Path(sys.argv[2]))
written = time.perf_counter()
print(json.dumps({
    "seconds": {"import": imported - start, **dict(report.seconds), "write": written - checked},
    "cpu": sum(resource.getrusage(resource.RUSAGE_SELF)[:2]),
    "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    "answer": report.verdict.answer.code,
    "cell_mm": report.surface.cell_mm,
    "area_m2": report.surface.area_m2,
}))
"""


def write_cloud(folder: Path, million_points: float) -> int:
    """An invented tiled hall of 50 m², seen from two tripods."""
    from flatscan.synth.floor import make_floor
    from flatscan.synth.outline import rectangle
    from flatscan.synth.recordings import scan_stations
    from flatscan.synth.scene import Scene
    from flatscan.synth.sensors.laser import SURVEY_LASER
    from flatscan.synth.write import write_laz

    rng = np.random.default_rng(50)
    floor = make_floor(rectangle(8400.0, 6000.0), rng=rng, waves_rms_mm=1.0)
    step = np.deg2rad(0.16) / np.sqrt(million_points / 2.0)
    scanner = replace(SURVEY_LASER, azimuth_step_rad=step, elevation_step_rad=step, highest_rad=np.deg2rad(5.0))
    stations = scan_stations(scanner, Scene(floor), rng)
    write_laz(folder / "hall.laz", stations)
    return sum(len(station.point_mm) for station in stations)


def main() -> None:
    million = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    if len(sys.argv) > 2:
        print(write_cloud(Path(sys.argv[2]), million))
        return
    with tempfile.TemporaryDirectory() as name:
        # In a process of its own: a child's peak memory starts from its parent's.
        make = [sys.executable, __file__, str(million), name]
        count = int(subprocess.run(make, check=True, capture_output=True, text=True).stdout)
        path = Path(name) / "hall.laz"
        print(f"{count / 1e6:.2f} M points, {path.stat().st_size / 1e6:.0f} MB")
        for run in ("first (compiles or loads kernels)", "second"):
            command = [sys.executable, "-c", CHILD, str(path), str(Path(name) / f"out-{run[:5]}")]
            done = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
            total = sum(done["seconds"].values())
            split = ", ".join(f"{stage} {s:.2f} s ({s / total:.0%})" for stage, s in done["seconds"].items())
            print(f"{run}: {total:.1f} s wall, {done['cpu']:.1f} s CPU, peak {done['peak_mb']:.0f} MB; {split}")
        print(f"cell {done['cell_mm']:g} mm, {done['area_m2']:.1f} m², answer {done['answer']}")


if __name__ == "__main__":
    main()
