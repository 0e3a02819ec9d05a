"""How the stated and the true error of a floor read by hand fall with the number of readings.

Invented floors with waves about 2.5 m long are read by a person with a 2 m bar (read to 0.5 mm, 0.2 mm reader, edge
straight to 0.1 mm) and a staff (0.5 mm, 0.4 mm reader, drift and tilt), who lays things 3 mm off. Error: the cells'
heights less the truth, both freed of their plane. The long run prints the table.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from flatscan.constants import Z_95_CENTRAL
from flatscan.settings import SurfaceSettings
from flatscan.surface.readings.build import surface_from_readings
from flatscan.surface.surface import Surface
from flatscan.synth.floor import InventedFloor, make_floor
from flatscan.synth.hand import Layout, read_by_hand
from flatscan.synth.hand.layout import crossed_rows, diagonals, scattered, staff_grid
from flatscan.synth.hand.person import METRIC
from flatscan.synth.outline import rectangle

BAR_MM = METRIC.bar.length_mm
DRAWS = 40
SIDE_MM = 5000.0
SMALL = rectangle(3400.0, 2900.0)
Design = Callable[[np.ndarray, np.random.Generator], Layout]


def rows(spacing_mm: float, *, beside: str) -> Design:
    """Crossed rows, with a 2.5 m staff grid, with diagonals, or alone."""

    def layout(outline: np.ndarray, rng: np.random.Generator) -> Layout:
        laid = crossed_rows(outline, length_mm=BAR_MM, spacing_mm=spacing_mm)
        if beside == "diagonals":
            laid += diagonals(outline, length_mm=BAR_MM)
        return Layout(layings=laid, set_ups=(staff_grid(outline, spacing_mm=2500.0),) if beside == "staff" else ())

    return layout


def anywhere(count: int) -> Design:
    def layout(outline: np.ndarray, rng: np.random.Generator) -> Layout:
        laid = scattered(outline, length_mm=BAR_MM, count=count, rng=rng)
        return Layout(layings=laid, set_ups=(staff_grid(outline, spacing_mm=2500.0),))

    return layout


def staff(spacing_mm: float) -> Design:
    def layout(outline: np.ndarray, rng: np.random.Generator) -> Layout:
        return Layout(set_ups=(staff_grid(outline, spacing_mm=spacing_mm),))

    return layout


LONG_TABLE: dict[str, Design] = {
    **{f"staff, {mm / 1000:g} m apart": staff(mm) for mm in (2400.0, 1600.0, 1000.0, 500.0)},
    "8 bars anywhere + staff": anywhere(8),
    **{f"rows {mm / 1000:g} m + staff": rows(mm, beside="staff") for mm in (2400.0, 1600.0, 1200.0, 800.0, 400.0)},
    **{f"rows {mm / 1000:g} m + diagonals": rows(mm, beside="diagonals") for mm in (2400.0, 1200.0, 600.0, 300.0)},
    "rows 1.2 m alone": rows(1200.0, beside=""),
}
#: Further apart than half of the usual wave, 1.25 m: the floor between readings is then anybody's guess, and a prior
#: fitted along the bars is too sure of it (rows 2.4 m apart: the 95 % interval holds 6 in 10 cells).
TOO_FAR_APART = {
    "staff, 2.4 m apart", "staff, 1.6 m apart", "8 bars anywhere + staff", "rows 2.4 m + staff", "rows 1.6 m + staff",
    "rows 2.4 m + diagonals", "rows 1.2 m alone",
}  # fmt: skip


@dataclass(frozen=True)
class Outcome:
    """One floor read once. mm; ``covered``: share of cells whose 95 % interval holds the truth."""

    placements: int
    levels: int
    rmse: float
    stated: float
    worst: float
    covered: float


def true_cells(floor: InventedFloor, surface: Surface) -> np.ndarray:
    """Mean height of each cell by 5 x 5 points, freed of the plane through all cells."""
    count, (n_rows, n_cols) = 5, surface.height_mm.shape
    at = (np.arange(count) + 0.5) / count
    x, y = (
        surface.origin_mm[k] + surface.cell_mm * (np.arange(n)[:, None] + at).ravel()
        for k, n in ((0, n_cols), (1, n_rows))
    )
    height = floor.face_mm(x[None, :], y[:, None]).reshape(n_rows, count, n_cols, count).mean(axis=(1, 3))
    row, col = np.indices(height.shape)
    plane = np.column_stack([np.ones(height.size), row.ravel(), col.ravel()])
    fitted = plane @ np.linalg.lstsq(plane, height.ravel(), rcond=None)[0]
    return height - fitted.reshape(height.shape)


def outcome(design: Design, outline: np.ndarray, *, waves_rms_mm: float, seed: int) -> Outcome:
    floor_rng, lay_rng, read_rng, solve_rng = np.random.default_rng(seed).spawn(4)
    floor = make_floor(outline, rng=floor_rng, waves_rms_mm=waves_rms_mm)
    field = read_by_hand(floor, design(outline, lay_rng), METRIC, rng=read_rng)
    surface = surface_from_readings(field, SurfaceSettings(realisations=DRAWS), rng=solve_rng)
    off = surface.estimate_mm - true_cells(floor, surface)
    return Outcome(
        len(field.placements),
        len(field.levels),
        float(np.sqrt(np.mean(off**2))),
        float(np.sqrt(np.mean(surface.white_mm**2))),
        float(np.abs(off).max()),
        float(np.mean(np.abs(off) <= Z_95_CENTRAL * surface.white_mm)),
    )


def rms(values) -> float:
    return float(np.sqrt(np.mean(np.square(list(values)))))


def test_more_readings_make_both_errors_smaller_and_the_stated_is_the_true_one() -> None:
    """Three floors each, 3.4 x 2.9 m, waves of 1.5 mm rms.

    A floor's cells share their error over a spacing of bars, some 1 m: each floor has about ten independent places,
    thirty in all: the ratio of true to stated error scatters by 13 % (1 in root 60); three times that is allowed.
    """
    table = {
        spacing: [outcome(rows(spacing, beside="staff"), SMALL, waves_rms_mm=1.5, seed=seed) for seed in (1, 2, 3)]
        for spacing in (2400.0, 1200.0, 500.0)
    }
    true = [rms(one.rmse for one in floors) for floors in table.values()]
    stated = [rms(one.stated for one in floors) for floors in table.values()]
    for errors in (true, stated):
        assert errors[0] > 1.25 * errors[1] > 1.25 * 1.1 * errors[2]
    for ours, theirs in zip(true, stated, strict=True):
        assert math.exp(-0.4) < ours / theirs < math.exp(0.4)


@pytest.mark.long
def test_table_of_errors_against_readings() -> None:
    outline = rectangle(SIDE_MM, SIDE_MM)
    area_m2 = (SIDE_MM / 1000.0) ** 2
    print("\nreadings | placements/m2 | staff/m2 | rmse | stated u | worst | covered, for floors of 2.9 and 1.5 mm rms")
    found: dict[tuple[str, float], float] = {}
    ratios, covered = [], []
    for name, design in LONG_TABLE.items():
        said = ""
        for waves in (2.9, 1.5):
            floors = [outcome(design, outline, waves_rms_mm=waves, seed=seed) for seed in (11, 12, 13)]
            true, stated = rms(one.rmse for one in floors), rms(one.stated for one in floors)
            found[name, waves] = true
            if name not in TOO_FAR_APART:
                ratios.append(true / stated)
                covered.append(float(np.mean([one.covered for one in floors])))
            said += f" | {true:.2f} {stated:.2f} {max(one.worst for one in floors):.1f}"
            said += f" {np.mean([one.covered for one in floors]):.2f}"
        print(f"{name} | {floors[0].placements / area_m2:.2f} | {floors[0].levels / area_m2:.2f}{said}", flush=True)
    for waves in (2.9, 1.5):
        by_rows = [found[f"rows {m} m + staff", waves] for m in ("2.4", "1.6", "1.2", "0.8", "0.4")]
        assert np.all(np.diff(by_rows) < 0.15 * by_rows[0])
        assert by_rows[-1] < 0.5 * by_rows[0]
        assert found["staff, 0.5 m apart", waves] < 0.5 * found["staff, 1.6 m apart", waves]
    # Stated too large rather than too small: waves of one length are smoother than the prior that fits them.
    assert min(ratios) > 0.4
    assert max(ratios) < 1.3
    assert min(covered) > 0.9
