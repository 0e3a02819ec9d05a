"""Points into cells: closed forms at the borders, the compiled pass against its plain twin, what does not matter."""

from __future__ import annotations

import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatscan.surface.cells.gridding import CellStats, GridSpec, choose_cell_mm, grid_points, gridding_plain

ODD = GridSpec((0.0, 0.0), (7, 12), 10.0)
FIELDS = ("height_mm", "spread_mm", "white_mm", "count", "flagged")


def gridded(points, grid=ODD, transform=None, **options) -> CellStats:
    rows = np.asarray(points, dtype=np.float32).reshape(-1, 3)
    return grid_points(rows, np.eye(4) if transform is None else transform, grid, band_mm=60.0, **options)


def cloud(rng: np.random.Generator, n: int = 4000) -> np.ndarray:
    """Points over the odd grid and 15 mm around it, with strays, NaN rows and equal heights among them."""
    points = np.column_stack([rng.uniform(-15, 135, n), rng.uniform(-15, 85, n), rng.normal(0.0, 0.4, n)])
    points[rng.random(n) < 0.03, 2] += 20.0
    points[rng.random(n) < 0.02, 2] = np.nan
    points[: n // 8, 2] = np.round(points[: n // 8, 2])
    return points.astype(np.float32)


def turned(angle: float, shift=(3000.0, -2000.0, 5.0)) -> np.ndarray:
    out = np.eye(4)
    out[:2, :2] = [[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]
    out[:3, 3] = shift
    return out


def assert_same(a: CellStats, b: CellStats, atol: float = 0.0) -> None:
    for name in FIELDS:
        np.testing.assert_allclose(getattr(a, name), getattr(b, name), rtol=1e-6, atol=atol, err_msg=name)


@pytest.mark.parametrize("option", ["bare", "weight", "mask", "indices", "step"])
def test_the_compiled_pass_equals_its_plain_twin(option):
    rng = np.random.default_rng(1)
    points, n = cloud(rng), 4000
    options = {
        "bare": {},
        "weight": {"weight": rng.uniform(0.1, 1.0, n).astype(np.float32)},
        "mask": {"select": rng.random(n) < 0.3},
        "indices": {"select": rng.integers(0, n, 1000)},
        "step": {"step_mm": 1.0},
    }[option]
    transform = np.eye(4)
    transform[:3, :3] = [[1.0, 1e-3, 2e-3], [-1e-3, 1.0, 0.0], [-2e-3, 0.0, 1.0]]
    fast = grid_points(points, transform, ODD, band_mm=60.0, **options)
    # Rounding: sums of some 50 float64 terms, then float32, 6e-8 relative.
    assert_same(fast, gridding_plain(points, transform, ODD, band_mm=60.0, **options), atol=1e-6)
    assert fast.count.sum() > 400


def test_large_cells_take_the_other_sort_and_still_equal_the_twin():
    rng = np.random.default_rng(2)
    points, grid = cloud(rng), GridSpec((0.0, 0.0), (1, 2), 60.0)
    weight = rng.uniform(0.1, 1.0, 4000).astype(np.float32)
    for options in ({}, {"weight": weight}):
        fast = grid_points(points, np.eye(4), grid, band_mm=60.0, **options)
        assert_same(fast, gridding_plain(points, np.eye(4), grid, band_mm=60.0, **options), atol=1e-6)


def test_without_numba_the_plain_twin_answers(monkeypatch):
    points = cloud(np.random.default_rng(3))
    expected = gridding_plain(points, np.eye(4), ODD, band_mm=60.0)
    monkeypatch.setitem(sys.modules, "flatscan.surface.cells.gridding_kernel", None)
    assert_same(grid_points(points, np.eye(4), ODD, band_mm=60.0), expected)


def test_rows_run_along_y_and_columns_along_x():
    stats = gridded([[115.0, 25.0, 1.0]])
    assert np.argwhere(stats.count).tolist() == [[2, 11]]


@pytest.mark.parametrize(
    ("x", "y", "cell"),
    [
        (0.0, 0.0, (0, 0)),  # the outer corner belongs to the grid
        (10.0, 20.0, (2, 1)),  # a border belongs to the cell above it
        (np.nextafter(np.float32(120), np.float32(0)), 69.9, (6, 11)),
        (120.0, 5.0, None),  # the far border does not
        (5.0, 70.0, None),
        # int() rounds towards zero: these once fell into cell 0 of such code, which looks right for positive x.
        (-0.001, 5.0, None),
        (5.0, -9.9, None),
        (-9.9, -9.9, None),
        (np.nan, 5.0, None),
        (5.0, np.inf, None),
    ],
)
def test_points_on_borders_and_just_outside(x, y, cell):
    for use in (grid_points, gridding_plain):
        points = np.array([[x, y, 1.0]], dtype=np.float32)
        with np.errstate(invalid="ignore"):
            count = use(points, np.eye(4), ODD, band_mm=60.0).count
        assert [tuple(at) for at in np.argwhere(count)] == ([] if cell is None else [cell])


def test_points_off_the_floor_and_nan_are_left_out_and_a_hole_stays_a_hole():
    stats = gridded([[5, 5, 60.0], [5, 5, -60.0], [5, 5, 60.1], [5, 5, np.nan], [15, 5, -61.0]])
    assert stats.count[0, 0] == 2
    assert stats.count.sum() == 2
    assert np.isnan(stats.height_mm[0, 1])
    assert np.isnan(stats.white_mm[0, 1])


def test_no_points_at_all():
    stats = gridded(np.empty((0, 3)))
    assert not stats.count.any()
    assert np.isnan(stats.height_mm).all()
    assert np.isnan(stats.white_mm).all()


def test_strays_are_trimmed_and_the_mean_is_that_of_the_rest():
    good = np.array([-2.0, -1.0, -1.0, 0.0, 0.0, 0.0, 1.0, 1.0, 2.0, 0.0])
    stats = gridded([[5, 5, z] for z in [*good, 40.0]])
    # Median 0, MAD 1, so the bar is 3 · 1.4826 = 4.45: only the 40 goes.
    assert stats.height_mm[0, 0] == pytest.approx(good.mean(), abs=1e-7)
    assert stats.spread_mm[0, 0] == pytest.approx(good.std(ddof=1), rel=1e-6)
    assert stats.count[0, 0] == 11
    assert not stats.flagged[0, 0]


def test_an_edge_in_the_cell_is_flagged_and_not_trimmed():
    rng = np.random.default_rng(4)
    z = np.concatenate([rng.normal(0, 0.1, 14), rng.normal(3.0, 0.1, 6)])
    for shift in (z, -z):
        stats = gridded([[5, 5, value] for value in shift])
        assert stats.flagged[0, 0]
        assert stats.height_mm[0, 0] == pytest.approx(shift.astype(np.float32).mean(), rel=1e-6)


def test_readings_of_a_coarse_step_are_not_thrown_away():
    # Eleven of twenty equal: the MAD is 0, and a bar of 0 would drop all others.
    z = [0.0] * 11 + [1.0] * 5 + [-1.0] * 4
    stats = gridded([[5, 5, value] for value in z])
    assert stats.height_mm[0, 0] == pytest.approx(1 / 20, rel=1e-6)


def test_weights_weigh_the_mean():
    stats = gridded([[5, 5, 0.0], [5, 5, 1.0]], weight=np.array([3.0, 1.0], dtype=np.float32))
    assert stats.height_mm[0, 0] == pytest.approx(0.25)
    alike = gridded(cloud(np.random.default_rng(5)), weight=np.full(4000, 0.5, dtype=np.float32))
    assert_same(alike, gridded(cloud(np.random.default_rng(5))), atol=1e-6)


def test_select_by_mask_and_by_indices_say_the_same():
    points = cloud(np.random.default_rng(6))
    mask = np.arange(4000) % 3 == 0
    by_mask, by_index = (gridded(points, select=s) for s in (mask, np.flatnonzero(mask)))
    assert_same(by_mask, by_index)
    assert_same(by_mask, gridded(points[mask]))
    with pytest.raises(ValueError, match="one entry per point"):
        gridded(points, select=mask[:5])


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 1000), lift=st.floats(-30, 30), quarter=st.integers(0, 3))
def test_order_lift_and_quarter_turns_change_nothing_else(seed, lift, quarter):
    rng = np.random.default_rng(seed)
    points = np.column_stack([rng.uniform(0.5, 119.5, 900), rng.uniform(0.5, 69.5, 900), rng.normal(0, 0.5, 900)])
    # Away from cell borders, where rounding of the turn would decide.
    points[:, :2] = np.floor(points[:, :2] / 10) * 10 + 5 + rng.uniform(-4.9, 4.9, (900, 2))
    points = points.astype(np.float32)
    base = gridded(points)
    np.testing.assert_array_equal(gridded(points[rng.permutation(900)]).count, base.count)
    np.testing.assert_allclose(gridded(points[rng.permutation(900)]).height_mm, base.height_mm, atol=1e-6)
    up = np.eye(4)
    up[2, 3] = lift
    lifted = grid_points(points, up, ODD, band_mm=100.0)
    # Heights near 30 mm in float32 carry 2e-6 each.
    np.testing.assert_allclose(lifted.height_mm, base.height_mm + lift, atol=1e-5)
    turn = turned(quarter * np.pi / 2, (0.0, 0.0, 0.0))
    corner = {0: (0, 0), 1: (-70, 0), 2: (-120, -70), 3: (0, -120)}[quarter]
    shape = (7, 12) if quarter % 2 == 0 else (12, 7)
    there = gridded(points, GridSpec((float(corner[0]), float(corner[1])), shape, 10.0), turn)
    np.testing.assert_array_equal(np.rot90(there.count, quarter), base.count)


def test_map_coordinates_keep_their_millimetres():
    points = cloud(np.random.default_rng(7))
    far = np.eye(4)
    far[:3, 3] = [1e6, 2e6, 0.0]
    grid = GridSpec((1e6, 2e6), ODD.shape, 10.0)
    # float64 after the transform: 1e6 + x is exact to 2e-10 mm, so only points that near a border could move.
    assert_same(gridded(points, grid, far), gridded(points))


@pytest.mark.parametrize(
    ("density", "sigma", "cell"),
    [(4e6, 0.3, 5.0), (2e5, 0.5, 10.0), (2e5, 1.0, 20.0), (4e4, 2.0, 50.0), (50.0, 0.1, 50.0), (4e4, 0.01, 20.0)],
)
def test_the_cell_is_the_smallest_that_averages_enough(density, sigma, cell):
    chosen, why = choose_cell_mm(density, sigma)
    assert chosen == cell
    assert f"{cell:g} mm" in why


def test_averaging_below_the_correlated_noise_is_not_asked_for():
    assert choose_cell_mm(2e5, 1.0, correlated_mm=0.6)[0] == 10.0
    assert choose_cell_mm(4e6, 0.3, spacing_mm=8.0)[0] == 10.0


def test_the_grid_refuses_nonsense():
    with pytest.raises(ValueError, match="at least one cell"):
        GridSpec((0.0, 0.0), (0, 3), 10.0)
    with pytest.raises(ValueError, match="cell_mm"):
        GridSpec((0.0, 0.0), (1, 3), float("nan"))
