"""The white uncertainty of a cell: true on simulated readings, by how often its interval holds."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.constants import Z_95_CENTRAL
from flatscan.surface.cells.cell_uncertainty import trim_factor, white_uncertainty
from flatscan.surface.cells.gridding import GridSpec, grid_points
from flatscan.surface.cells.gridding_kernel import grid_raw


def cells_of(readings: np.ndarray, cols: int):
    """Grid rows of readings (cells, n) as one cell each, ``cols`` to a row."""
    cells, n = readings.shape
    at = np.repeat(np.arange(cells), n)
    points = np.column_stack([at % cols + 0.5, at // cols + 0.5, readings.ravel()]).astype(np.float32)
    return grid_points(points, np.eye(4), GridSpec((0.0, 0.0), (cells // cols, cols), 1.0), band_mm=1e4)


@pytest.mark.parametrize("n", [1, 2, 3, 5, 8, 20, 60])
@pytest.mark.parametrize("outliers", [0.0, 0.02])
def test_the_95_percent_interval_holds_in_93_to_99_percent_of_cells(n, outliers):
    rng = np.random.default_rng(n)
    readings = rng.normal(0.0, 0.7, (10_000, n))
    if n >= 8:
        stray = rng.random(readings.shape) < outliers
        readings[stray] += rng.uniform(5, 60, stray.sum())
    stats = cells_of(readings, 100)
    held = np.mean(np.abs(stats.height_mm) < Z_95_CENTRAL * stats.white_mm)
    if n == 1:
        # A single reading shows no scatter, here or anywhere around.
        assert not stats.white_mm.any()
        return
    # Sampling of 10 000 cells: 0.2 %. Above 95 %: Student's factor at 9 to 16 degrees of freedom is cautious.
    assert 0.93 < held < 0.99


def test_the_trim_factor_is_what_simulated_readings_show():
    rng = np.random.default_rng(0)
    nothing = np.empty(0, dtype=np.float32)
    for n in (3, 5, 10, 30, 100):
        cells = 400_000 // n
        points = np.zeros((cells * n, 3), dtype=np.float32)
        points[:, 0] = np.repeat(np.arange(cells), n) + 0.5
        points[:, 2] = rng.standard_normal(cells * n)
        frame = (np.eye(4)[:3], 0.0, 0.0, 1.0, 1, cells, 1e4)
        mean, variance, kept, _, flagged = grid_raw(points, *frame, nothing, nothing.astype(np.bool_))
        use = ~flagged & np.isfinite(variance)
        scatter2 = np.sum(((kept - 1) * variance)[use]) / np.sum((kept - 1)[use])
        shown = mean[use].std() / np.sqrt(np.mean(scatter2 / kept[use]))
        # 2 % for the fit, and three times the sampling of a standard deviation over 4 000 cells, 1.1 %.
        assert shown == pytest.approx(float(trim_factor(n)), rel=0.055)


def test_a_single_reading_takes_its_scatter_from_the_cells_around():
    variance = np.full((9, 9), 0.04, dtype=np.float32)
    variance[4, 4] = np.nan
    kept = np.full((9, 9), 20.0, dtype=np.float32)
    kept[4, 4] = 1.0
    u = white_uncertainty(variance, kept, np.zeros((9, 9), dtype=bool))
    # 0.2 mm, times Student's factor at the prior's 8 degrees of freedom, 2.306 / 1.960 (JCGM 100, table G.2).
    assert u[4, 4] == pytest.approx(0.2 * 2.306 / 1.960, rel=1e-3)


def test_a_flagged_cell_does_not_spoil_its_neighbours():
    variance = np.full((9, 9), 0.04, dtype=np.float32)
    variance[4, 4] = 4.0
    kept = np.full((9, 9), 20.0, dtype=np.float32)
    flagged = np.zeros((9, 9), dtype=bool)
    plain = white_uncertainty(variance, kept, flagged)
    flagged[4, 4] = True
    spared = white_uncertainty(variance, kept, flagged)
    even = white_uncertainty(np.full((9, 9), 0.04, dtype=np.float32), kept, flagged)
    # One cell in the 72 around counts 16 times the rest at most: (71 + 16)/72 in the pool worth 8 readings, 1 in
    # the cell's own 19: √((8 · 1.208 + 19)/27) = 1.0304.
    assert plain[4, 3] == pytest.approx(1.0304 * even[4, 3], rel=1e-3)
    assert spared[4, 3] == pytest.approx(even[4, 3], rel=1e-6)
    assert spared[4, 4] > 3 * even[4, 4]


def test_a_coarse_step_is_added_only_where_scatter_does_not_dither_it():
    kept = np.full((3, 5), 50.0, dtype=np.float32)
    nothing = np.zeros((3, 5), dtype=bool)
    stuck = white_uncertainty(np.zeros((3, 5), dtype=np.float32), kept, nothing, step_mm=10.0)
    assert stuck == pytest.approx(10 / np.sqrt(12), rel=1e-6)
    lively = np.full((3, 5), 36.0, dtype=np.float32)
    np.testing.assert_array_equal(
        white_uncertainty(lively, kept, nothing, step_mm=10.0), white_uncertainty(lively, kept, nothing)
    )


def test_the_foot_of_a_wall_does_not_spoil_its_neighbours() -> None:
    """A past bug: a strip of cells with wall in them made cells 0.2 m away look ten times too uncertain."""
    variance = np.ones((21, 30), dtype=np.float32)
    variance[:, :1] = 50.0**2
    kept = np.full(variance.shape, 3.0, dtype=np.float32)
    none = np.zeros(variance.shape, dtype=bool)
    u = white_uncertainty(variance, kept, none)
    alone = white_uncertainty(np.ones_like(variance), kept, none)
    # Beside the wall one column in six of the pool, at most 16 times the usual variance: (5 + 16)/6 = 3.5, worth 8
    # readings beside the cell's own 2: √((8 · 3.5 + 2)/10) = √3. Beyond the pool's reach of 4 cells: nothing.
    ratio = u / alone
    np.testing.assert_allclose(ratio[:, 1], np.sqrt(3.0), rtol=1e-3)
    np.testing.assert_allclose(ratio[:, 5:], 1.0, rtol=1e-6)
