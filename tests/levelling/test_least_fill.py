"""The least fill: never more than any other fill, closed forms, and what it must leave alone."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull
from skimage.morphology import reconstruction

from flatscan.levelling.filling.least_fill import AIM_BELOW_MM, EdgeRule
from flatscan.levelling.filling.least_fill import least_fill as least_fill_of
from flatscan.measures.chords import gap_field

CELL_MM = 50.0
#: Sweeps end when none lifts by more than a hundredth of AIM_BELOW_MM; what is missing then is a few times that.
SETTLED_MM = 5e-4
FOUR = EdgeRule(cell_mm=CELL_MM, directions=4)


def least_fill(*args, **options) -> np.ndarray:
    return least_fill_of(*args, **options).fill_mm


def bumpy(rows: int, cols: int, seed: int, size: float = 2.0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:rows, 0:cols]
    waves = np.zeros((rows, cols))
    for _ in range(6):
        phase = rng.uniform(0, 0.12) * x + rng.uniform(0, 0.12) * y
        waves += rng.normal(0, size) * np.cos(2 * np.pi * phase + rng.uniform(0, 6))
    return np.asarray(waves + rng.normal(0, 0.3, (rows, cols)))


@given(seed=st.integers(0, 10_000), lift=st.floats(0.0, 4.0), limit_mm=st.floats(0.5, 3.0))
@settings(max_examples=40, deadline=None)
def test_no_other_fill_is_thinner_anywhere(seed, lift, limit_mm):
    """Any floor raised at random and then made to meet the limit lies nowhere below the least one."""
    z = bumpy(7, 12, seed)
    inside = np.ones(z.shape, dtype=bool)
    targets = [(450.0, limit_mm)]
    start = z + lift * np.random.default_rng(seed).random(z.shape) ** 3
    other = start + least_fill(start, inside, targets, FOUR)
    least = z + least_fill(z, inside, targets, FOUR)
    # Both aim at the same limit; a floor that needs nothing may use the last AIM_BELOW_MM of it, and a fill chain of
    # n moves carries n times that: twelve cells hold no chain longer than six.
    assert np.all(least <= other + 6 * AIM_BELOW_MM + SETTLED_MM)


@given(seed=st.integers(0, 10_000), limits=st.tuples(st.floats(0.3, 2.0), st.floats(0.3, 4.0)))
@settings(max_examples=30, deadline=None)
def test_the_filled_floor_meets_every_target_when_measured_again(seed, limits):
    z = bumpy(7, 12, seed)
    inside = np.ones(z.shape, dtype=bool)
    targets = [(200.0, min(limits)), (550.0, max(limits))]
    rule = EdgeRule(cell_mm=CELL_MM, directions=12)
    for least_layer in (0.0, 1.0):
        fill = least_fill(z, inside, targets, rule, least_layer_mm=least_layer)
        for edge, limit in targets:
            after = gap_field(z + fill, inside, cell_mm=CELL_MM, edge_mm=edge, directions=12).gap_mm
            assert np.nanmax(after) <= limit + 1e-5  # gap maps are float32
        assert np.all((fill == 0) | (fill >= least_layer - 1e-9))


def test_a_floor_that_meets_the_limit_gets_exactly_nothing():
    z = bumpy(21, 34, 4)
    inside = np.ones(z.shape, dtype=bool)
    worst = float(np.nanmax(gap_field(z, inside, cell_mm=CELL_MM, edge_mm=900.0, directions=12).gap_mm))
    rule = EdgeRule(cell_mm=CELL_MM)
    assert np.all(least_fill(z, inside, [(900.0, worst + 1e-4)], rule, least_layer_mm=1.0) == 0.0)
    assert least_fill(z, inside, [(900.0, worst - 0.02)], rule).max() > 0.0


@given(
    seed=st.integers(0, 10_000), a=st.floats(-20.0, 20.0), b=st.floats(-20.0, 20.0), up=st.floats(-12_000.0, 12_000.0)
)
@settings(max_examples=25, deadline=None)
def test_a_plane_changes_nothing(seed, a, b, up):
    """Exactly so where lines run through cell centres (0, 45, 90, 135 degrees); slopes in mm per m.

    Heights of 1e4 mm are rounded by 1e-12 mm each, and so a sweep that ends at SETTLED_MM may end one later.
    """
    z = bumpy(12, 17, seed)
    inside = np.ones(z.shape, dtype=bool)
    y, x = np.mgrid[0:12, 0:17] * CELL_MM / 1000.0
    flat = least_fill(z, inside, [(600.0, 1.0)], FOUR)
    tilted = least_fill(z + a * x + b * y + up, inside, [(600.0, 1.0)], FOUR)
    np.testing.assert_allclose(tilted, flat, atol=SETTLED_MM)


def test_mirror_and_quarter_turn():
    """Four directions are a set that mirrors and turns into itself; the order of the sweeps leaves SETTLED_MM."""
    z = bumpy(7, 12, 6)
    fill = least_fill(z, np.ones(z.shape, dtype=bool), [(450.0, 1.0)], FOUR)
    for turn in (np.fliplr, np.flipud, np.rot90):
        turned = least_fill(turn(z).copy(), np.ones(turn(z).shape, dtype=bool), [(450.0, 1.0)], FOUR)
        np.testing.assert_allclose(turned, turn(fill), atol=2 * SETTLED_MM)


@given(seed=st.integers(0, 10_000), limit_mm=st.floats(0.3, 3.0), more_mm=st.floats(0.0, 2.0))
@settings(max_examples=25, deadline=None)
def test_larger_limits_shorter_edges_and_fewer_bounds_never_take_more(seed, limit_mm, more_mm):
    z = bumpy(12, 17, seed)
    inside = np.ones(z.shape, dtype=bool)
    there = np.where(np.random.default_rng(seed).random(z.shape) < 0.1, more_mm, 0.0)
    asked = [(600.0, limit_mm)]
    most = least_fill(z, inside, [*asked, (150.0, limit_mm / 4.0)], FOUR, least_mm=there)
    for targets, options in (
        (asked, {"least_mm": there}),
        (asked, {"least_mm": 0.5 * there}),
        (asked, {}),
        ([(600.0, limit_mm + more_mm)], {}),
        ([(350.0, limit_mm)], {}),
    ):
        # A floor that needs nothing may use the last AIM_BELOW_MM of its limit, and a floor that needs something does
        # not: along a chain of n moves n times that. In twelve cells no chain is longer than six.
        assert np.all(least_fill(z, inside, targets, FOUR, **options) <= most + 6 * AIM_BELOW_MM + SETTLED_MM)


def test_the_order_of_the_targets_changes_nothing():
    z = bumpy(21, 34, 7)
    inside = np.ones(z.shape, dtype=bool)
    targets = [(200.0, 0.5), (900.0, 1.2), (500.0, 0.8)]
    fill = least_fill(z, inside, targets, FOUR)
    assert fill.max() > 1.0
    np.testing.assert_allclose(least_fill(z, inside, targets[::-1], FOUR), fill, atol=SETTLED_MM)


def test_a_limit_below_the_aim_is_met_too():
    z = np.array([[0.0, -1.0, 0.0, -0.5, 0.0]])
    fill = least_fill(z, np.ones(z.shape, dtype=bool), [(500.0, 0.004)], FOUR)
    np.testing.assert_allclose(z + fill, [[0.0, -0.002, 0.0, -0.002, 0.0]], atol=SETTLED_MM / 10)


def test_long_edges_along_rows_leave_the_upper_hull_less_the_limit():
    """Qhull's hull of each row's readings, by way of scipy.

    An edge as long as the row rests on the hull's corners, which are floor and never rise; nothing filled stands above
    the hull, so no chord is higher than it, and the least fill reaches up to the hull less the limit.
    """
    z = bumpy(6, 25, 11)
    x = np.arange(z.shape[1])
    fill = least_fill(z, np.ones(z.shape, dtype=bool), [(25 * CELL_MM, 0.7)], EdgeRule(cell_mm=CELL_MM, directions=1))
    for row, filled in zip(z, fill, strict=True):
        corners = ConvexHull(np.column_stack([np.r_[x, 0, x[-1]], np.r_[row, -1e3, -1e3]])).vertices
        upper = np.sort(corners[corners < len(x)])
        hull = np.interp(x, upper, row[upper])
        np.testing.assert_allclose(filled, np.maximum(0.0, hull - (0.7 - AIM_BELOW_MM) - row), atol=SETTLED_MM)


def test_pits_in_a_flat_floor_are_filled_to_the_rim_less_the_limit():
    """scikit-image fills basins to their rim (reconstruction by erosion).

    That is the same only here: round pits in a flat floor, each spanned by the edge, so that it rests on the flat.
    """
    y, x = np.mgrid[0:40, 0:50]
    z = np.zeros(x.shape)
    for row, col, radius, depth in ((10, 12, 5, 4.0), (28, 20, 6, 1.5), (15, 38, 7, 6.0)):
        z = np.minimum(z, depth * (np.hypot(y - row, x - col) / radius - 1.0))
    seed = z.copy()
    seed[1:-1, 1:-1] = z.max()
    rim = reconstruction(seed, z, method="erosion")
    fill = least_fill(z, np.ones(z.shape, dtype=bool), [(20 * CELL_MM, 2.0)], FOUR)
    np.testing.assert_allclose(fill, np.maximum(0.0, rim - z - (2.0 - AIM_BELOW_MM)), atol=SETTLED_MM)


def test_v_notch():
    """A groove in a flat floor, spanned by the edge: the fill is max(0, depth - t).

    The edge rests on the flat on either side, so the gap is the depth; filled to t below the flat it meets the
    limit, and less would not.
    """
    x = np.arange(41) - 20
    depth = np.maximum(0.0, 6.0 - 1.0 * np.abs(x))
    z = np.tile(-depth, (5, 1))
    fill = least_fill(z, np.ones(z.shape, dtype=bool), [(1000.0, 2.0)], FOUR)
    expected = np.maximum(0.0, depth - (2.0 - AIM_BELOW_MM))
    np.testing.assert_allclose(fill, np.tile(expected, (5, 1)), atol=SETTLED_MM)
    # As a prism: a triangle 4 mm deep and eight cells wide, its kinks at cells' centres, where the sum is exact.
    fill = least_fill(z, np.ones(z.shape, dtype=bool), [(1000.0, 2.0 + AIM_BELOW_MM)], FOUR)
    litres = fill.sum() * CELL_MM**2 / 1e6
    assert litres == pytest.approx(4.0 * 8 * CELL_MM / 2.0 * 5 * CELL_MM / 1e6, rel=SETTLED_MM)


def test_single_step():
    """A step 8 mm high, an edge of six cells, limit 1.5 mm: the ramp that a plain search over all chords arrives at.

    The twin raises one reading of one line at a time to its highest chord less the limit, until nothing moves.
    """
    height, limit, window, n = 8.0, 1.5, 6, 30
    floor = np.where(np.arange(n) < 10, height, 0.0)
    y = floor.copy()
    for _ in range(500):
        for k in range(1, n - 1):
            for i in range(max(0, k - window + 1), k):
                for j in range(k + 1, min(n, i + window + 1)):
                    chord = y[i] + (y[j] - y[i]) * (k - i) / (j - i)
                    y[k] = max(y[k], chord - (limit - AIM_BELOW_MM))
    assert y[10] > 4.0  # the slow way did fill a ramp
    z = np.tile(floor, (3, 1))
    fill = least_fill(
        z, np.ones(z.shape, dtype=bool), [(window * CELL_MM, limit)], EdgeRule(cell_mm=CELL_MM, directions=1)
    )
    np.testing.assert_allclose(fill[1], y - floor, atol=SETTLED_MM)


def test_unseen_cells_stay_unseen_and_unfilled():
    z = bumpy(12, 17, 8)
    z[4:6, 7:9] = np.nan
    before = z.copy()
    fill = least_fill(z, np.ones(z.shape, dtype=bool), [(600.0, 1.0)], FOUR)
    np.testing.assert_array_equal(np.isnan(fill), np.isnan(z))
    np.testing.assert_array_equal(z, before)


def test_least_layer_takes_no_more_than_it_must():
    """Of all fills of 0 or at least m the least: thicker than without m, and where it is filled no thinner than m."""
    z = bumpy(12, 17, 9)
    inside = np.ones(z.shape, dtype=bool)
    thin = least_fill(z, inside, [(600.0, 1.0)], FOUR)
    thick = least_fill(z, inside, [(600.0, 1.0)], FOUR, least_layer_mm=1.5)
    assert np.all(thick >= thin - SETTLED_MM)
    assert set(np.flatnonzero(thin > SETTLED_MM)) <= set(np.flatnonzero(thick))
    assert thick[thick > 0].min() >= 1.5 - 1e-9


@pytest.mark.parametrize("shape", [(1, 1), (1, 2), (1, 9), (9, 1)])
def test_floors_of_one_row_or_cell(shape):
    z = np.zeros(shape)
    z.flat[::2] = 5.0
    fill = least_fill(z, np.ones(shape, dtype=bool), [(1000.0, 1.0)], FOUR)
    assert fill.shape == shape
    assert np.all(fill >= 0)
    if max(shape) == 9:
        np.testing.assert_allclose(fill.ravel()[1::2], 5.0 - (1.0 - AIM_BELOW_MM), atol=SETTLED_MM)


def test_all_unseen():
    z = np.full((5, 6), np.nan)
    assert np.isnan(least_fill(z, np.ones(z.shape, dtype=bool), [(500.0, 1.0)], FOUR)).all()
