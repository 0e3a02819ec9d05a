"""Size and time of the page's data: a tiled floor of 50 m² at 5 mm, and of a rough one seen sharply.

    python tests/benchmarks/bench_page_data.py [megacells]

The floor undulates by some mm and has tiles of 300 mm that stand 0.3 mm (one standard deviation) off each other; the
noise of a cell is white with a correlated part of half its size. Gap maps are laid as the program lays them; the fill
is what the 2 m map has over 3 mm, which is patchy as a real one is.
"""

from __future__ import annotations

import importlib.util
import sys
import time
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np

from flatscan.measures.chords import gap_field
from flatscan.measures.measurement import GapMap
from flatscan.report.viewer.pack import floor_data
from flatscan.surface.surface import NoiseModel, Surface
from flatscan.synth.seen_through import seen_through

CELL_MM = 5.0
EDGES_MM = (200.0, 1000.0, 2000.0, 3000.0)
WALL_CELLS = 6


def invented() -> ModuleType:
    """The invented report of the report's tests."""
    path = Path(__file__).parents[1] / "report" / "conftest.py"
    spec = importlib.util.spec_from_file_location("report_conftest", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def captured(shape: tuple[int, int], noise_mm: float, texture_mm: float, rng: np.random.Generator) -> Surface:
    """The floor through a sensor of that noise; its cells differ by ``texture_mm`` of their own."""
    rows, cols = shape
    y, x = np.indices(shape, dtype=np.float32) * np.float32(CELL_MM)
    floor = 3.0 * np.sin(x / 900.0) * np.cos(y / 700.0) + 0.8 * np.sin((x + 2 * y) / 310.0)
    tiles = 0.3 * rng.standard_normal((rows // 60 + 1, cols // 60 + 1))
    floor += tiles[np.arange(rows)[:, None] // 60, np.arange(cols)[None, :] // 60]
    floor += texture_mm * rng.standard_normal(shape)
    inside = np.zeros(shape, bool)
    inside[WALL_CELLS:-WALL_CELLS, WALL_CELLS:-WALL_CELLS] = True
    inside[: rows // 3, : cols // 4] = False
    seen = inside.copy()
    for _ in range(30):
        r, c = rng.integers(rows), rng.integers(cols)
        seen[r : r + rng.integers(10, 80), c : c + rng.integers(10, 80)] = False
    noise = NoiseModel(noise_mm, 0.5 * noise_mm, 60.0, 0.3 * noise_mm, "invented")
    true = np.where(seen, floor, np.nan).astype(np.float32)
    white = noise_mm * rng.uniform(0.7, 1.3, shape)
    return seen_through(true, noise, rng, cell_mm=CELL_MM, white_mm=white, inside=inside)[0]


def main(mega: float) -> None:
    """One block of lines for each sensor."""
    shape = (round((mega * 1e6 / 1.25) ** 0.5), round((mega * 1e6 * 1.25) ** 0.5))
    report = invented().make_report()
    for noise_mm, texture_mm in ((0.3, 0.0), (1.0, 0.0), (2.0, 0.0), (0.05, 0.3)):
        surface = captured(shape, noise_mm, texture_mm, np.random.default_rng(1))
        maps = []
        for edge in EDGES_MM:
            gap = gap_field(surface.estimate_mm, surface.inside, cell_mm=CELL_MM, edge_mm=edge).gap_mm
            maps.append(GapMap(edge, gap, gap, np.full_like(gap, 0.2), 1.0))
        fill = np.where(surface.seen, np.maximum(maps[2].gap_mm - 3.0, 0.0), np.nan).astype(np.float32)
        of_floor = replace(
            report,
            surface=surface,
            measurement=replace(report.measurement, gap_maps=tuple(maps)),
            plan=replace(report.plan, fill_mm=fill),
        )
        start = time.perf_counter()
        data = floor_data(of_floor)
        text = data.json()
        seconds = time.perf_counter() - start
        layers = ", ".join(f"{layer.name} {len(layer.data) / 1e3:.0f}" for layer in data.layers)
        seen = f"{surface.height_mm.size / 1e6:.1f} M cells, noise {noise_mm} mm, texture {texture_mm} mm"
        print(f"{seen}: {len(text) / 1e6:.2f} MB in {seconds:.1f} s; kB: {layers}")


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 2.0)
