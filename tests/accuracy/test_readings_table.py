"""How well a floor is known from which readings: 5 x 5 m, a 2 m edge read at 9 stations, 0.2 mm and 0.5 mm steps.

The expected figures come from an earlier study on floors of another generator, one realisation each; they are held in
order of magnitude only: every root mean square error within a factor of 2.

    python tests/accuracy/test_readings_table.py
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flatscan.settings import SurfaceSettings
from flatscan.surface.readings.build import surface_from_readings
from flatscan.synth.floor import InventedFloor, make_floor
from flatscan.synth.hand import Layout, read_by_hand
from flatscan.synth.hand.layout import crossed_rows, diagonals, scattered, staff_grid
from flatscan.synth.hand.person import METRIC
from flatscan.synth.outline import rectangle
from flatscan.synth.shape import Waves

ROOM = rectangle(5000.0, 5000.0)
PERSON = replace(
    METRIC,
    bar=replace(METRIC.bar, repeat_mm=0.2, step_mm=0.5, bow_mm=0.02),
    level=replace(METRIC.level, repeat_mm=0.2, step_mm=0.5, tilt_mm_per_m=0.0, drift_mm=0.0),
    place_sd_mm=0.0,
)
#: Standard deviation of the floor, mm.
FLOORS = {"rough": 2.9, "better": 1.5}
#: Root mean square error in mm, plane removed, on the rough and on the better floor.
EXPECTED = {
    "staff 2.5 m": (1.44, 0.75),
    "staff 1.0 m": (0.52, 0.38),
    "staff 0.5 m": (0.35, 0.26),
    "crossed rows 1.25 m": (0.65, 0.37),
    "crossed rows 1.0 m": (0.57, 0.30),
    "crossed rows 0.5 m": (0.47, 0.22),
    "rows 1.0 m + 9 staff": (0.35, 0.26),
    "random 2 per m²": (0.83, 0.24),
    "random 4 per m²": (0.58, 0.28),
}
#: Twist of 1.5 mm per m² on top: rows alone, and with two diagonals.
TWIST_MM_PER_M2 = 1.5
TWIST_EXPECTED = {"crossed rows 1.0 m": 3.65, "rows 1.0 m + diagonals": 0.36}


def layout(name: str, rng: np.random.Generator) -> Layout:
    def rows(spacing_mm: float):
        return crossed_rows(ROOM, length_mm=2000.0, spacing_mm=spacing_mm)

    def staff(spacing_mm: float):
        return (staff_grid(ROOM, spacing_mm=spacing_mm, wall_mm=50.0),)

    kind, *rest = name.split()
    if kind == "staff":
        return Layout(set_ups=staff(1000.0 * float(rest[0])))
    if kind == "random":
        return Layout(scattered(ROOM, length_mm=2000.0, count=25 * int(rest[0]), rng=rng))
    spacing = 1000.0 * float(next(word for word in rest if word[0].isdigit()))
    more = diagonals(ROOM, length_mm=2000.0) if name.endswith("diagonals") else ()
    return Layout(rows(spacing) + more, set_ups=staff(2500.0) if name.endswith("staff") else ())


def floor_of(size_mm: float, rng: np.random.Generator) -> InventedFloor:
    return make_floor(ROOM, rng=rng, waves_rms_mm=size_mm, wavelength_mm=3500.0, wave_spread=1.6)


def twisted(floor: InventedFloor) -> InventedFloor:
    """The same floor with x·y of 1.5 mm/m² about its middle, as two long waves: cos a − cos b is a product of sines."""
    k = 1e-5
    twist = TWIST_MM_PER_M2 * 1e-6 / (2.0 * k * k)
    more = Waves(np.array([twist, -twist]), np.array([k, k]), np.array([-k, k]), np.array([0.0, -2.0 * k * 2500.0]))
    parts = ("amplitude_mm", "kx", "ky", "phase")
    both = Waves(*(np.concatenate([getattr(floor.waves, p), getattr(more, p)]) for p in parts))
    return replace(floor, waves=both)


def measured(floor: InventedFloor, name: str, rng: np.random.Generator):
    """Surface, and its root mean square error, 95th percentile and stated standard deviation, mm."""
    field = read_by_hand(floor, layout(name, rng), PERSON, rng=rng)
    surface = surface_from_readings(field, SurfaceSettings(realisations=100), rng=rng)
    row, col = np.nonzero(surface.inside)
    x, y = (surface.origin_mm[k] + (v + 0.5) * surface.cell_mm for k, v in ((0, col), (1, row)))
    truth = floor.shape_mm(x, y)
    plane = np.column_stack([np.ones(len(x)), x - x.mean(), y - y.mean()])
    error = surface.estimate_mm[surface.inside] - (truth - plane @ np.linalg.lstsq(plane, truth, rcond=None)[0])
    return surface, (
        float(np.sqrt(np.mean(error**2))),
        float(np.quantile(np.abs(error), 0.95)),
        surface.noise.height_sigma_mm,
    )


def one_row(name: str, floors: int = 3) -> dict[str, tuple[float, float, float]]:
    """Mean over a few floors of each size."""
    found = {}
    for size, sd in FLOORS.items():
        figures = []
        for seed in range(floors):
            rng = np.random.default_rng([seed, int(10 * sd)])
            figures.append(measured(floor_of(sd, rng), name, rng)[1])
        found[size] = tuple(float(v) for v in np.mean(figures, axis=0))
    return found


def within_two(name: str, found: dict[str, tuple[float, float, float]]) -> bool:
    return all(0.5 <= found[size][0] / EXPECTED[name][k] <= 2.0 for k, size in enumerate(FLOORS))


# Rows alone hang on each floor's own twist, which they do not see: too much chance for one or two floors.
@pytest.mark.parametrize(("name", "floors"), [("staff 1.0 m", 1), ("rows 1.0 m + 9 staff", 2)])
def test_rows_of_the_table(name, floors):
    found = one_row(name, floors)
    assert within_two(name, found), found


@pytest.mark.long
@pytest.mark.parametrize("name", EXPECTED)
def test_the_whole_table(name):
    found = one_row(name)
    assert within_two(name, found), found


def test_a_twist_beneath_crossed_rows_is_told_as_unseen_and_shown_by_diagonals():
    rng = np.random.default_rng(5)
    floor = twisted(floor_of(1.5, rng))
    surface, (rmse, _, stated) = measured(floor, "crossed rows 1.0 m", rng)
    assert "bend_not_seen" in {c.name for c in surface.caveats}
    assert any(m.name == "twist" and not m.seen for m in surface.fit.modes)
    # Not known, and known not to be: the error is no more than twice what is stated.
    assert 1.0 < rmse < 2.0 * stated
    surface, (rmse, _, stated) = measured(floor, "rows 1.0 m + diagonals", rng)
    assert "bend_not_seen" not in {c.name for c in surface.caveats}
    assert rmse < 2.0 * TWIST_EXPECTED["rows 1.0 m + diagonals"]
    assert rmse < 2.0 * stated < 2.0


if __name__ == "__main__":
    print(f"{'readings':24s} rough rmse / p95 / stated (expected)   better (expected)")
    for name, (rough, better) in EXPECTED.items():
        found = one_row(name)
        words = [" / ".join(f"{v:.2f}" for v in found[size]) for size in FLOORS]
        print(f"{name:24s} {words[0]} ({rough:.2f})   {words[1]} ({better:.2f})  {within_two(name, found)}", flush=True)
    for name, expected in TWIST_EXPECTED.items():
        rng = np.random.default_rng(5)
        _, figures = measured(twisted(floor_of(1.5, rng)), name, rng)
        print(f"twisted, {name:24s} {' / '.join(f'{v:.2f}' for v in figures)} ({expected:.2f})", flush=True)
