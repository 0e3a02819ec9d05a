"""Least-squares and robust planes: closed forms, independent libraries, invariances, clutter."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatscan.surface.planes import Plane, fit_least_squares, fit_robust, spread_subset


def odd_floor(seed: int, rows: int = 7, cols: int = 12) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A 7 x 12 grid of 500 mm cells with 3 mm waves, as flat arrays."""
    rng = np.random.default_rng(seed)
    y, x = (v.ravel() * 500.0 for v in np.mgrid[:rows, :cols])
    return x, y, 3 * np.sin(x / 900) + 2 * np.cos(y / 700) + rng.normal(0, 0.3, x.size) + 0.01 * x


def test_points_on_a_plane_give_it_back():
    x, y, _ = odd_floor(0)
    fit = fit_least_squares(x, y, 0.02 * x - 0.01 * y + 7.0)
    assert (fit.plane.a, fit.plane.b, fit.plane.c) == pytest.approx((0.02, -0.01, 7.0), abs=1e-12)
    assert fit.rms_mm == pytest.approx(0.0, abs=1e-6)  # a difference of squares: root of 1e-16 of 3 000 mm²


def test_the_normal_and_the_two_distances():
    plane = Plane(0.75, 0.0, 2.0)
    np.testing.assert_allclose(plane.normal, [-0.6, 0.0, 0.8])
    assert plane.offset_mm == pytest.approx(1.6)
    # 3-4-5: a point 5 above a 3:4 slope is 4 away from it.
    assert plane.vertical_mm(4.0, 0.0, 10.0) == pytest.approx(5.0)
    assert plane.normal_mm(4.0, 0.0, 10.0) == pytest.approx(4.0)


def test_saddle_has_the_level_plane_and_its_textbook_scatter():
    # z = x² - y² on {-1, 0, 1}²: plane 0; two points at +1, two at -1, five at 0: Sq = sqrt(4/9).
    y, x = (v.ravel() - 1.0 for v in np.mgrid[:3, :3])
    fit = fit_least_squares(x, y, x**2 - y**2)
    assert (fit.plane.a, fit.plane.b, fit.plane.c) == pytest.approx((0, 0, 0), abs=1e-15)
    assert fit.rms_mm == pytest.approx(2 / 3)


@pytest.mark.parametrize("weighted", [False, True])
def test_numpy_lstsq_agrees_to_12_digits(weighted):
    x, y, z = odd_floor(1)
    w = np.random.default_rng(2).uniform(0.2, 3.0, x.size) if weighted else None
    root = np.ones_like(x) if w is None else np.sqrt(w)
    design = np.column_stack([x, y, np.ones_like(x)]) * root[:, None]
    expected = np.linalg.lstsq(design, z * root, rcond=None)[0]
    plane = fit_least_squares(x, y, z, w).plane
    np.testing.assert_allclose([plane.a, plane.b, plane.c], expected, rtol=1e-12)


def test_covariance_is_that_of_numpy_polyfit_along_a_line_of_slope():
    # With y symmetric about 0 and unrelated to x the slope in x has the line fit's variance but for the
    # degrees of freedom: n - 3 here, n - 2 there (numpy.polyfit, cov=True).
    rng = np.random.default_rng(3)
    x = np.tile(np.arange(12.0), 2)
    y = np.repeat([-1.0, 1.0], 12)
    z = np.repeat(rng.normal(0, 1, 12)[None, :], 2, axis=0).ravel()
    fit = fit_least_squares(x, y, z)
    _, line = np.polyfit(x, z, 1, cov=True)
    assert fit.covariance[0, 0] == pytest.approx(line[0, 0] * (24 - 2) / (24 - 3), rel=1e-9)


def test_covariance_is_what_repeated_fits_scatter():
    rng = np.random.default_rng(4)
    x, y, _ = odd_floor(0)
    fits = [fit_least_squares(x, y, rng.normal(0, 0.5, x.size)) for _ in range(2000)]
    slopes = np.array([[f.plane.a, f.plane.b] for f in fits])
    stated = np.mean([f.covariance[:2, :2] for f in fits], axis=0)
    # A variance from 2 000 repeats scatters by 3.2 %; three times that.
    np.testing.assert_allclose(np.diag(np.cov(slopes.T)), np.diag(stated), rtol=0.1)


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 500),
    tilt=st.tuples(st.floats(-0.02, 0.02), st.floats(-0.02, 0.02)),
    lift=st.floats(-50, 50),
    robust=st.booleans(),
)
def test_tilt_lift_mirror_turn_and_order(seed, tilt, lift, robust):
    fit = fit_robust if robust else fit_least_squares
    x, y, z = odd_floor(seed)
    plane = fit(x, y, z).plane
    # The robust fit stops when it moves by less than 1e-6 of the scatter of some 2 mm.
    tight = {"abs": 1e-5 if robust else 1e-9}
    probe = (np.array([0.0, 5500.0, 0.0]), np.array([0.0, 0.0, 3000.0]))
    expected = pytest.approx(plane.height_mm(*probe), **tight)
    tilted = fit(x, y, z + tilt[0] * x + tilt[1] * y + lift).plane.height_mm(*probe)
    assert tilted - tilt[0] * probe[0] - tilt[1] * probe[1] - lift == expected
    assert -fit(x, y, -z).plane.height_mm(*probe) == expected
    assert fit(-x, y, z).plane.height_mm(-probe[0], probe[1]) == expected
    assert fit(-y, x, z).plane.height_mm(-probe[1], probe[0]) == expected
    order = np.random.default_rng(seed).permutation(x.size)
    assert fit(x[order], y[order], z[order]).plane.height_mm(*probe) == expected


@pytest.mark.parametrize("fit", [fit_least_squares, fit_robust])
def test_map_coordinates_of_1e6_mm_keep_the_residuals(fit):
    x, y, z = odd_floor(5)
    near = fit(x, y, z).plane.vertical_mm(x, y, z)
    far = fit(x + 1e6, y - 3e6, z + 1e5).plane.vertical_mm(x + 1e6, y - 3e6, z + 1e5)
    # a·x is then some 1e4, whose last digit is 2e-12; a thousand of those.
    np.testing.assert_allclose(far, near, atol=1e-5 if fit is fit_robust else 2e-9)


def test_a_far_first_point_does_not_cost_the_digits():
    # The first shift is by the first point; alone far away it once left sums of 1e16 that cancel.
    rng = np.random.default_rng(6)
    x, y = rng.uniform(0, 1000, 20_000), rng.uniform(0, 1000, 20_000)
    w = np.ones(20_000)
    x[0], w[0] = 1e9, 0.0
    fit = fit_least_squares(x, y, 0.01 * x + 0.02 * y + 5.0, w)
    assert (fit.plane.a, fit.plane.b, fit.plane.c) == pytest.approx((0.01, 0.02, 5.0), abs=1e-9)


def test_float32_columns_of_a_cloud_are_accepted():
    x, y, z = odd_floor(7)
    points = np.column_stack([x, y, z]).astype(np.float32)
    expected = fit_least_squares(*points.astype(np.float64).T).plane
    plane = fit_least_squares(*points.T).plane
    assert (plane.a, plane.b, plane.c) == pytest.approx((expected.a, expected.b, expected.c), rel=1e-12)


@pytest.mark.parametrize(
    "points",
    [
        np.empty((3, 0)),
        np.ones((3, 2)),
        np.ones((3, 10)),
        np.array([[0.0, 1, 2, 3], [5, 5, 5, 5], [0, 1, 0, 1]]),
        np.array([[0.0, 1, 2, 3], [1e6, 1e6 + 2, 1e6 + 4, 1e6 + 6], [0, 1, 0, 1]]),
    ],
    ids=["none", "two", "all the same", "on a line", "on a slanted line far away"],
)
def test_points_without_a_plane_are_refused(points):
    for fit in (fit_least_squares, fit_robust):
        with pytest.raises(ValueError, match="not on a line"):
            fit(*points)


@pytest.mark.parametrize("share", [0.1, 0.25, 0.4])
@pytest.mark.parametrize("tilt", [0.0, 0.01])
def test_one_sided_clutter_leaves_the_robust_plane_alone(share, tilt):
    rng = np.random.default_rng(8)
    n = 20_000
    x, y = rng.uniform(0, 5000, n), rng.uniform(0, 3000, n)
    z = rng.normal(0, 0.5, n) + tilt * x
    litter = rng.random(n) < share
    # Lying in one corner as far as its share allows: the worst case for the slope.
    litter = np.argsort(x + y)[: int(share * n)] if share < 0.2 else np.flatnonzero(litter)
    dirty = z.copy()
    dirty[litter] += rng.uniform(5, 80, litter.size)
    corners = (np.array([0, 5000, 0, 5000]), np.array([0, 0, 3000, 3000]))
    clean = fit_least_squares(x, y, z).plane.height_mm(*corners)
    assert np.abs(fit_least_squares(x, y, dirty).plane.height_mm(*corners) - clean).max() > 3.0
    # The corner height's own scatter: 0.5 mm · sqrt(7/20 000) = 0.009 mm, a tenth more for what was left out.
    assert np.abs(fit_robust(x, y, dirty).plane.height_mm(*corners) - clean).max() < 0.05


def test_a_large_cloud_is_thinned_evenly():
    chosen = spread_subset(2_000_000, 50_000)
    assert 49_000 < len(chosen) <= 50_000
    assert np.diff(chosen).max() < 4 * 40
    # A scan line of 40 columns: taking every 40th point would see one column alone.
    columns = np.bincount(chosen % 40, minlength=40)
    assert columns.min() > 0.8 * columns.mean()
    rng = np.random.default_rng(9)
    x, y = rng.uniform(0, 5000, 60_000), rng.uniform(0, 3000, 60_000)
    fit = fit_robust(x, y, rng.normal(0, 0.5, 60_000))
    assert fit.weight is None
    assert np.abs(fit.plane.height_mm([0, 5000], [0, 3000])).max() < 0.05
