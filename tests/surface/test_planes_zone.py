"""Minimum zone and rest plane: closed forms, the whole linear programme as twin, what must not change them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from flatscan.surface.plane_zone import minimum_zone, rest_plane
from flatscan.surface.planes import fit_least_squares


def cloud(seed: int, n: int = 300) -> np.ndarray:
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 5500, n), rng.uniform(0, 3000, n)
    return np.array([x, y, 4 * np.sin(x / 900) + 2 * np.cos(y / 700) + rng.normal(0, 0.5, n) + 0.01 * x])


def all_points_programme(x, y, z, *, one_sided: bool) -> tuple[float, np.ndarray]:
    """The textbook programme over every point, in unit coordinates: slow, plain, written apart."""
    u, v, one = (x - x.mean()) / 1000, (y - y.mean()) / 1000, np.ones_like(x)
    z0 = z.mean()
    if one_sided:
        rows, bound, cost = -np.column_stack([u, v, one]), -(z - z0), [0, 0, 1]
    else:
        rows = np.vstack([np.column_stack([-u, -v, -one, -one]), np.column_stack([u, v, one, -one])])
        bound, cost = np.concatenate([-(z - z0), z - z0]), [0, 0, 0, 1]
    found = linprog(cost, A_ub=rows, b_ub=bound, bounds=(None, None), method="highs")
    assert found.status == 0
    return float(found.fun), found.x


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("n", [5, 40, 300, 2000])
def test_minimum_zone_equals_highs_on_all_points(seed, n):
    points = cloud(seed, n)
    plane, half = minimum_zone(*points)
    # HiGHS meets its rows to 1e-7 by default.
    assert half == pytest.approx(all_points_programme(*points, one_sided=False)[0], abs=3e-7)
    residual = plane.vertical_mm(*points)
    assert residual.max() == pytest.approx(half, abs=1e-9)
    assert residual.min() == pytest.approx(-half, abs=1e-9)


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("n", [5, 40, 300, 2000])
def test_rest_plane_equals_highs_on_all_points(seed, n):
    points = cloud(seed, n)
    plane = rest_plane(*points)
    lowest, _ = all_points_programme(*points, one_sided=True)
    assert plane.height_mm(points[0].mean(), points[1].mean()) == pytest.approx(lowest + points[2].mean(), abs=3e-7)
    residual = plane.vertical_mm(*points)
    assert residual.max() <= 1e-9
    # It stands on three points (rounding: a x of some 50 mm).
    assert np.sum(residual > -1e-8) >= 3


def test_dome_rests_on_its_crest_and_bowl_on_its_rim():
    y, x = (v.ravel() * 100.0 for v in np.mgrid[-3:4, -5:7])
    dome = -(x**2) / 1e4 - y**2 / 1e4
    assert rest_plane(x, y, -dome).height_mm(0, 0) > 9.0
    # The dome's rest plane holds the centroid (50, 0): level between the two highest, touching at the top.
    plane = rest_plane(x, y, dome)
    assert plane.vertical_mm(x, y, dome).max() == pytest.approx(0.0, abs=1e-12)
    assert abs(plane.height_mm(50, 0)) < 0.51


def test_bump_on_a_plane_by_hand():
    # One point lifted by 2 in the middle of a flat square: half zone 1; the rest plane passes through it, and any
    # tilt that keeps it above all others has the same mean, so only its height there is known.
    y, x = (v.ravel() - 2.0 for v in np.mgrid[:5, :5])
    z = np.where((x == 0) & (y == 0), 2.0, 0.0)
    assert minimum_zone(x, y, z)[1] == pytest.approx(1.0, abs=1e-12)
    assert rest_plane(x, y, z).height_mm(0, 0) == pytest.approx(2.0, abs=1e-12)


def test_points_on_a_plane_have_no_zone():
    # Not 0: the residuals of a x are rounding, 1e-13, and that is what is enclosed.
    x, y, _ = cloud(0)
    plane, half = minimum_zone(x, y, 0.02 * x - 0.01 * y + 3)
    assert half < 1e-11
    assert plane.a == pytest.approx(0.02, abs=1e-12)
    level, nothing = minimum_zone(x, y, np.zeros_like(x))
    assert (level.a, level.b, level.c, nothing) == (0.0, 0.0, 0.0, 0.0)
    assert rest_plane(x, y, 0.02 * x).height_mm(1000, 0) == pytest.approx(20.0, abs=1e-9)


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 500),
    tilt=st.tuples(st.floats(-0.02, 0.02), st.floats(-0.02, 0.02)),
    scale=st.floats(1e-3, 1e3),
)
def test_tilt_lift_mirror_turn_order_scale(seed, tilt, scale):
    x, y, z = cloud(seed, 84)
    _, half = minimum_zone(x, y, z)
    same = pytest.approx(half, rel=1e-8)
    assert minimum_zone(x, y, z + tilt[0] * x + tilt[1] * y + 17.0)[1] == same
    assert minimum_zone(x, y, -z)[1] == same
    assert minimum_zone(-x, y, z)[1] == same
    assert minimum_zone(-y, x, z)[1] == same
    assert minimum_zone(x, y, scale * z)[1] == pytest.approx(scale * half, rel=1e-8)
    order = np.random.default_rng(seed).permutation(84)
    assert minimum_zone(x[order], y[order], z[order])[1] == same
    assert minimum_zone(x + 1e6, y - 2e6, z + 1e5)[1] == same
    # One more point can only widen it; and it is never wider than the least-squares plane's.
    assert minimum_zone(np.append(x, 100.0), np.append(y, 100.0), np.append(z, 9.0))[1] >= half - 1e-9
    residual = fit_least_squares(x, y, z).plane.vertical_mm(x, y, z)
    assert half <= 0.5 * np.ptp(residual) + 1e-12
    top = rest_plane(x, y, z + tilt[0] * x).height_mm(2000.0, 1000.0)
    assert top - tilt[0] * 2000 == pytest.approx(rest_plane(x, y, z).height_mm(2000.0, 1000.0), abs=1e-7)


def test_points_on_a_line_are_refused():
    for find in (minimum_zone, rest_plane):
        with pytest.raises(ValueError, match="not on a line"):
            find([0.0, 1, 2, 3], [0.0, 2, 4, 6], [0.0, 1, 0, 1])


def test_a_steep_rest_plane_beside_one_far_point():
    # A bowl on a small patch, higher on one side, and one low point far away on the high side: the sheet stands
    # on the patch's rim, far steeper than the whole cloud is high for its length.
    y, x = (v.ravel() for v in np.mgrid[-5.0:6.0, -5.0:6.0])
    z = x**2 + 2.5 * x
    x, y, z = np.append(x, 200.0), np.append(y, 0.0), np.append(z, 0.0)
    plane = rest_plane(x, y, z)
    lowest, _ = all_points_programme(x, y, z, one_sided=True)
    assert plane.a == pytest.approx(2.5, abs=1e-6)
    assert plane.height_mm(x.mean(), y.mean()) == pytest.approx(lowest + z.mean(), abs=1e-6)
