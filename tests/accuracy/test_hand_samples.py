"""The samples read by hand, from their files: their invented floors' truth lies within what is stated."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from flatscan.constants import Z_95_CENTRAL
from flatscan.measures.level_runs import level_run_f_numbers
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


def test_the_shop_floor_s_f_numbers_are_those_of_its_truth() -> None:
    """FF and FL read with a digital level stand within three standard uncertainties of the truth's.

    0.1 mm of reader and step put √6 · 0.11 = 0.26 mm into each curvature, whose own scatter is 0.7: FF is some 7 % low,
    which the uncertainty holds.
    """
    name = "shop_floor_levels"
    field = read_field_readings(FOLDER / name / "readings.csv")
    room_rng, _ = np.random.default_rng([samples.SEED, samples.NAMES.index(name)]).spawn(2)
    floor = ROOMS[name](room_rng).floor
    at = np.array([one.at for one in field.levels])
    true = floor.face_mm(at[:, 0], at[:, 1])
    exact = replace(
        field,
        levels=tuple(replace(one, height_mm=float(h), u_mm=1e-6) for one, h in zip(field.levels, true, strict=True)),
        level=None,
    )
    read, known = (level_run_f_numbers(one, rng=np.random.default_rng(4)) for one in (field, exact))
    assert read is not None
    assert known is not None
    assert len(read.lines) == len(known.lines) == 8
    for mine, theirs in ((read.ff, known.ff), (read.fl, known.fl)):
        assert mine is not None
        assert theirs is not None
        assert abs(mine.value - theirs.value) < 3.0 * mine.u, (mine, theirs)
