"""The floor picture at 0.5 mm: seconds a square metre, as a ratio to one plain cv2.remap of as many pixels.

    python tests/benchmarks/bench_picture.py [photos each way]

Photos of 12 million pixels of noise from 1.3 m, a third overlapping. The plain pass reads a map that is already
there and knows no lens, no heights, no choice of photo, no brightness; its maps are smooth as ours are.
"""

from __future__ import annotations

import importlib.util
import sys
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from flatscan.settings import JointSettings
from flatscan.surface.picture.build import floor_picture

SPEC = importlib.util.spec_from_file_location("photographed", Path(__file__).parents[1] / "oracles/photographed.py")
MADE = importlib.util.module_from_spec(SPEC)
sys.modules["photographed"] = MADE
SPEC.loader.exec_module(MADE)


def capture(folder: Path, each_way: int):
    """A scan of ``each_way`` squared photos over a waved floor, and its surface."""
    lens = MADE.Lens(3000.0, 3000.0, 2010.0, 1490.0, (4000, 3000), (0.05, -0.02, 0.001, 0.0005))
    path = folder / "photo.jpg"
    rng = np.random.default_rng(0)
    small = rng.integers(40, 220, (300, 400, 3)).astype(np.uint8)
    Image.fromarray(small).resize((4000, 3000)).save(path, quality=92)
    frames = [
        MADE.frame_of(path, MADE.looking((700.0 + 1100.0 * i, 550.0 + 800.0 * j), 1300.0, tilt_x_deg=6.0), lens)
        for i in range(each_way)
        for j in range(each_way)
    ]
    size = (300.0 + 1100.0 * each_way, 300.0 + 800.0 * each_way)
    surface = MADE.surface_of(lambda x, y: 3.0 * np.sin(x / 200.0) + 0.0 * y, size)
    return MADE.scan_of(frames), surface


def plain_seconds(pixels: int) -> float:
    """One cv2.remap of one float channel and three bytes, with maps that exist; best of three."""
    side = 2000
    tone, rgb = np.zeros((3000, 4000), np.float32), np.zeros((3000, 4000, 3), np.uint8)
    u, v = np.meshgrid(np.linspace(100, 3800, side, dtype=np.float32), np.linspace(100, 2800, side, dtype=np.float32))
    best = np.inf
    for _ in range(3):
        start = time.perf_counter()
        cv2.remap(tone, u, v, cv2.INTER_LINEAR)
        cv2.remap(rgb, u, v, cv2.INTER_LINEAR)
        best = min(best, time.perf_counter() - start)
    return best * pixels / side**2


def main() -> None:
    """Print the ratio and where the time goes."""
    each_way = int(sys.argv[1]) if len(sys.argv) > 1 else 2
    with tempfile.TemporaryDirectory() as folder:
        warm = capture(Path(folder), 1)
        floor_picture(*warm, JointSettings(pixel_mm=4.0))
        scan, surface = capture(Path(folder), each_way)
        start = time.perf_counter()
        scan.frames and [np.asarray(Image.open(f.colour_path).convert("RGB")) for f in scan.frames]
        decode = time.perf_counter() - start
        start = time.perf_counter()
        picture = floor_picture(scan, surface, JointSettings(pixel_mm=0.5))
        seconds = time.perf_counter() - start
    drawn = int(np.isfinite(picture.tone).sum())
    area = drawn * picture.pixel_mm**2 / 1e6
    plain = plain_seconds(drawn)
    print(f"{drawn / 1e6:.1f} million pixels of {picture.pixel_mm:g} mm, {area:.2f} m2, {len(scan.frames)} photos")
    print(f"{seconds:.2f} s, {seconds / area:.2f} s a m2; decoding the photos once {decode:.2f} s of it")
    print(f"plain remap {plain:.2f} s: ratio {seconds / plain:.1f}, without decoding {(seconds - decode) / plain:.1f}")


if __name__ == "__main__":
    main()
