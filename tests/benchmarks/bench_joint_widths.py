"""Time of joint widths: seconds per 100 m of joint, 2000 stations in three photos each.

    python tests/benchmarks/bench_joint_widths.py [stations]

The photos are 12 megapixels of noise with painted joints: what is in them does not change the work. Processor seconds.
"""

from __future__ import annotations

import importlib.util
import sys
import time
from pathlib import Path

import numpy as np

from flatscan.measures.joints.stations import Stations
from flatscan.measures.joints.widths.measure import measure_widths

PIXEL_MM, PITCH_MM, SPACING_MM = 0.25, 60.0, 50.0


def photo_tools():
    """``oracles/joint_photos.py``."""
    path = Path(__file__).parents[1] / "oracles" / "joint_photos.py"
    spec = importlib.util.spec_from_file_location("joint_photos", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["joint_photos"] = module
    spec.loader.exec_module(module)
    return module


def painted(rng: np.random.Generator) -> np.ndarray:
    """A photo of 4000 x 3000 px, straight down, joints of 5 mm every 60 mm across its width."""
    across = (np.arange(4000) - 1999.5) * PIXEL_MM
    dark = np.abs((across + PITCH_MM / 2.0) % PITCH_MM - PITCH_MM / 2.0) < 2.5
    level = np.where(dark, 90.0, 170.0)[None, :, None] + rng.normal(0.0, 4.0, (3000, 4000, 1))
    level = (np.roll(level, 1, axis=1) + 2.0 * level + np.roll(level, -1, axis=1)) / 4.0
    return np.repeat(np.clip(level, 0, 255).astype(np.uint8), 3, axis=2)


def main(count: int) -> None:
    """Print seconds per 100 m of joint, and per station and photo."""
    tools, rng = photo_tools(), np.random.default_rng(0)
    image = painted(rng)
    pose = tools.pose((0.0, 0.0, 700.0))
    shots = [tools.StandInPhoto(i, pose, 700.0 / PIXEL_MM, image) for i in range(3)]
    lines = np.arange(-5, 6) * PITCH_MM
    at = np.column_stack([rng.choice(lines, count), rng.uniform(-330.0, 330.0, count)])
    along = np.tile([0.0, 1.0], (count, 1))
    stations = Stations(np.zeros(count, np.int32), np.zeros(count), at, along, np.full(count, SPACING_MM))
    start, wall = time.process_time(), time.perf_counter()
    widths = measure_widths(shots, tools.flat_surface(2000.0), stations, rng=rng)
    spent, wall = time.process_time() - start, time.perf_counter() - wall
    metres = count * SPACING_MM / 1000.0
    print(f"{count} stations in 3 photos: {spent:.1f} processor s, {wall:.1f} s by the clock")
    print(
        f"per 100 m of joint {spent * 100.0 / metres:.1f} s; per station and photo {spent / count / 3 * 1000.0:.2f} ms"
    )
    print(
        f"measured {np.isfinite(widths.wall_width_mm).mean():.3f}, mean {np.nanmean(widths.wall_width_mm):.3f} mm (5)"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
