"""Two captures of one unchanged floor: the differences stay within what is said of them.

    python tests/accuracy/test_compare_coverage.py [rooms of each class] [first seed]

prints for every class of simulated instrument (whole captures: found, gridded, noise estimated, no two frames alike)
the share of cells within U 95 %, the pairs that show any certain change (stated: 1 in 20), how far the pose was off,
and how often a pose was refused as ambiguous. Invented floors with compound on them: how often the volume's interval
held.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from flatscan.comparing import Measured, compare_floors
from flatscan.comparing.pose import Pose
from flatscan.constants import COVERAGE_K, Z_95_CENTRAL
from flatscan.errors import FlatscanError
from flatscan.settings import Settings
from flatscan.surface import find_surface
from flatscan.surface.surface import NoiseModel

pytest.importorskip("open3d", reason="open3d has no wheel for this machine")


def _oracle(name: str):
    path = Path(__file__).parents[1] / "oracles" / f"{name}.py"
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


floors, rooms = _oracle("compared_floors"), _oracle("captured_rooms")


#: Cells of both maps; the comparison is made on as large ones, so that no cell of one is a cell of the other.
CELL_MM = 40.0


def error_of(rng: np.random.Generator, noise: NoiseModel, cell_mm: float):
    """White and Gaussian-correlated noise and a bend of room size, written apart from the program's own."""

    def error(shape):
        width = noise.length_mm / cell_mm / np.sqrt(2.0)
        pad = int(np.ceil(5 * width)) + 1
        wide = gaussian_filter(rng.standard_normal((shape[0] + 2 * pad, shape[1] + 2 * pad)), width, mode="wrap")
        shared = wide[pad:-pad, pad:-pad] * np.sqrt(4.0 * np.pi) * width
        v, u = (np.linspace(-1.0, 1.0, n) for n in shape)
        a, b, c = rng.standard_normal(3) / np.sqrt(3.0)
        bend = (a * (u**2 - 1 / 3) + c * (v[:, None] ** 2 - 1 / 3)) / np.sqrt(4 / 45) + 3 * b * u * v[:, None]
        return noise.white_mm * rng.standard_normal(shape) + noise.correlated_mm * shared + noise.systematic_mm * bend

    return error


def compared(seed: int, litres: bool):
    """A pair of one floor, unchanged or with a cap of compound; the comparison and the true litres."""
    rng = np.random.default_rng(seed)
    noise = NoiseModel(
        float(rng.uniform(0.05, 0.5)), float(rng.uniform(0.02, 0.4)), float(rng.uniform(30, 90)),
        float(rng.uniform(0.0, 0.2)), "stated",
    )  # fmt: skip
    pose = Pose(float(rng.uniform(-np.pi, np.pi)), (float(rng.uniform(-2e3, 2e3)), float(rng.uniform(-2e3, 2e3))))
    cap = floors.Bump(1300.0, 1500.0, float(rng.uniform(300, 600)), float(rng.uniform(1.0, 6.0)) if litres else 0.0)
    outline = floors.L_ROOM
    before = floors.surface_of(
        floors.relief, outline, cell_mm=CELL_MM, noise=noise, error=error_of(rng, noise, CELL_MM)
    )
    after = floors.surface_of(
        lambda x, y: floors.relief(x, y) + cap(x, y), outline, pose, cell_mm=CELL_MM, noise=noise,
        error=error_of(rng, noise, CELL_MM), tilt=tuple(rng.normal(0.0, 2.0, 3)),
    )  # fmt: skip
    first = floors.measured_of(before, areas=[floors.area_of(cap)] if litres else (), planned=cap if litres else None)
    return compare_floors(first, floors.measured_of(after), rng=rng), cap.litres


def unchanged(count: int, start: int) -> tuple[list[float], int]:
    held, false = [], 0
    for seed in range(start, start + count):
        difference = compared(seed, litres=False)[0].difference
        seen = np.isfinite(difference.d_mm)
        held.append(float(np.mean(np.abs(difference.d_mm[seen]) <= Z_95_CENTRAL * difference.u_mm[seen])))
        false += bool(difference.changed.any())
    return held, false


def volumes(count: int, start: int) -> tuple[int, float]:
    """How many 95 % intervals of the placed volume held the truth, and the mean error over the truth."""
    held, errors = 0, []
    for seed in range(start, start + count):
        found, truth = compared(seed, litres=True)
        placed = found.areas[0].placed_l
        held += abs(placed.value - truth) <= COVERAGE_K * placed.u
        errors.append((placed.value - truth) / truth)
    return held, float(np.mean(errors))


def test_nothing_changed_shows_nothing():
    held, false = unchanged(8, 0)
    # A room's cells share their noise and a pair its bend: 8 rooms scatter by some 2 % about 0.95.
    assert 0.91 < np.mean(held) < 0.985, held
    # Three of eight at 1 in 20 each happen once in 170 runs.
    assert false <= 2


@pytest.mark.long
def test_nothing_changed_shows_nothing_in_200_pairs():
    held, false = unchanged(200, 1000)
    print(f"200 pairs: cells within U 95 %: {np.mean(held):.3f}; pairs with a change: {false}")
    assert 0.935 < np.mean(held) < 0.965
    # 10 expected, standard deviation 3.1.
    assert false <= 18


@pytest.mark.long
def test_volume_intervals_hold_on_100_floors():
    held, bias = volumes(100, 5000)
    print(f"100 caps: volumes within U: {held}; mean error {100 * bias:.2f} % of the truth")
    assert held >= 89
    assert abs(bias) < 0.02


def measured_room(surface) -> Measured:
    """Nothing was planned and no gap laid: the heights alone are compared."""
    return floors.measured_of(surface)


def captured_pair(kind: str, seed: int):
    """One invented room captured twice by an instrument of a class; everything estimated as users run it."""
    room, one, two, first, second, rng = np.random.default_rng(seed).spawn(6)
    scene = rooms.invented_room(room)
    surfaces = [
        find_surface(rooms.captured(scene, kind, capture), Settings().surface, seed_rng=chance)
        for capture, chance in ((one, first), (two, second))
    ]
    before, after = (measured_room(surface) for surface in surfaces)
    found = compare_floors(before, after, rng=rng)
    true = surfaces[1].floor_from_scan @ np.linalg.inv(surfaces[0].floor_from_scan)
    middle = np.append(np.array(surfaces[0].origin_mm) + 1500.0, [0.0, 1.0])
    off = np.linalg.norm((true @ middle)[:2] - found.alignment.pose.apply(middle[:2]))
    return found, float(off)


def of_class(kind: str, count: int, start: int) -> tuple[list[float], int, list[float], int]:
    held, false, off, refused = [], 0, [], 0
    for seed in range(start, start + count):
        try:
            found, error_mm = captured_pair(kind, seed)
        except FlatscanError:
            refused += 1
            continue
        difference = found.difference
        seen = np.isfinite(difference.d_mm)
        held.append(float(np.mean(np.abs(difference.d_mm[seen]) <= Z_95_CENTRAL * difference.u_mm[seen])))
        false += bool(difference.changed.any())
        off.append(error_mm)
    return held, false, off, refused


@pytest.mark.long
@pytest.mark.parametrize("kind", rooms.CLASSES)
def test_two_captures_of_one_room_show_nothing(kind):
    held, false, off, _ = of_class(kind, 12, 7000)
    assert np.mean(held) > 0.93
    assert false <= 3
    assert np.median(off) < 20.0


if __name__ == "__main__":
    number, seed = (int(a) for a in (*sys.argv[1:], *("20", "7000")[len(sys.argv) - 1 :]))
    for name in rooms.CLASSES:
        shares, changed, offs, ambiguous = of_class(name, number, seed)
        print(
            f"{name}: cells within U 95 % {np.mean(shares):.3f}, pairs with a change {changed} of {len(shares)}, "
            f"pose off by {np.sqrt(np.mean(np.square(offs))):.1f} mm rms, refused as ambiguous {ambiguous}",
            flush=True,
        )
    print("volumes within U, mean error:", volumes(number, seed))
