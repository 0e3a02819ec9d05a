"""The samples read by hand, from their files: their invented floors' truth lies within what is stated."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from flatscan.constants import Z_95_CENTRAL
from flatscan.settings import SurfaceSettings
from flatscan.sources.hand.read_field import read_field_readings
from flatscan.surface.readings.build import surface_from_readings
from flatscan.synth import samples
from flatscan.synth.rooms import basement, dining_room, shop_floor

FOLDER = Path(__file__).parents[2] / "sample_scans"
ROOMS = {
    "dining_room_straightedge": dining_room,
    "shop_floor_levels": shop_floor,
    "basement_feet_inches": basement,
}


def plane_of(height: np.ndarray, cell_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """Slopes (x, y) in mm/m of the plane through all cells, and what is left of the heights without it."""
    row, col = np.indices(height.shape)
    terms = np.column_stack([np.ones(height.size), col.ravel() * cell_mm / 1000.0, row.ravel() * cell_mm / 1000.0])
    found = np.linalg.lstsq(terms, height.ravel(), rcond=None)[0]
    return found[1:], height - (terms @ found).reshape(height.shape)


@pytest.mark.parametrize("name", ROOMS)
def test_a_sample_s_truth_lies_within_what_its_readings_state(name: str) -> None:
    """Cells share their error over about 1 m: some 15 independent places in the smallest room, 50 in the largest.

    The share of cells within their 95 % interval then scatters by some 6 %: four in five is asked of each.
    """
    field = read_field_readings(FOLDER / name / "readings.csv")
    settings = SurfaceSettings(cell_mm=150.0, realisations=60)
    surface = surface_from_readings(field, settings, rng=np.random.default_rng(1))
    room_rng, _ = np.random.default_rng([samples.SEED, samples.NAMES.index(name)]).spawn(2)
    floor = ROOMS[name](room_rng).floor
    at = (np.arange(5) + 0.5) / 5
    rows, cols = surface.height_mm.shape
    x, y = (
        surface.origin_mm[k] + surface.cell_mm * (np.arange(n)[:, None] + at).ravel() for k, n in ((0, cols), (1, rows))
    )
    height = floor.face_mm(x[None, :], y[:, None]).reshape(rows, 5, cols, 5).mean(axis=(1, 3))
    slope, flat = plane_of(height, surface.cell_mm)
    off = np.abs(surface.estimate_mm - flat)
    assert np.mean(off <= Z_95_CENTRAL * surface.white_mm) > 0.8
    assert np.sqrt(np.mean(np.square(off / surface.white_mm))) < 1.4
    assert np.sqrt(np.mean(np.square(off))) < 0.5 * np.std(flat)
    assert surface.slope is not None
    fall = surface.slope.fall
    # Seen with its direction, both at once: two figures, each within three standard uncertainties.
    down = -fall.value * np.array([np.cos(surface.slope.direction_rad), np.sin(surface.slope.direction_rad)])
    np.testing.assert_allclose(down, slope, atol=3.0 * fall.u)
