"""Reference planes against posted points, analytic saddles and an independent package."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.surface.plane_zone import minimum_zone
from flatscan.surface.planes import fit_least_squares


def test_five_points_posted_for_a_flatness_question():
    # Points: a public question on flatness from five probed points (posted without an answer). The answers were
    # computed apart from this package: total least squares by SVD of the centred points, minimum zone by LP.
    x, y, z = np.array([(11.5, 7, 1.10), (18.5, 6.9, 1.03), (4.5, 13, 1.02), (25.5, 30, 1.03), (11.5, 37.5, 1.02)]).T
    plane = fit_least_squares(x, y, z).plane
    residual = plane.normal_mm(x, y, z)
    # Half of the last printed digit; vertical against orthogonal fitting differs by slope², 1.7e-6 of it.
    assert plane.a == pytest.approx(2.81690e-4, abs=5e-10)
    assert plane.b == pytest.approx(-1.254864e-3, abs=5e-10)
    assert plane.c == pytest.approx(1.0596637, abs=5e-8)
    assert np.ptp(residual) == pytest.approx(0.072097, abs=5e-7)
    assert residual.max() == pytest.approx(0.045881, abs=5e-7)
    assert residual.min() == pytest.approx(-0.026216, abs=5e-7)
    assert np.sqrt(np.mean(residual**2)) == pytest.approx(0.026139, abs=5e-7)
    assert 2 * minimum_zone(x, y, z)[1] == pytest.approx(0.067262, abs=5e-7)


@pytest.mark.parametrize("h", [1e-3, 1.0])
def test_two_crossing_edges_are_the_zone_of_a_saddle(h):
    # Analytic: z = h x y on the corners of a square. The zone is 2 h wide, held by two crossing edges; a search
    # over faces of the convex hull alone finds twice that for small h.
    x, y = np.array([1.0, 1, -1, -1, 0]), np.array([1.0, -1, 1, -1, 0])
    assert 2 * minimum_zone(x, y, h * x * y)[1] == pytest.approx(2 * h, rel=1e-9)


def test_saddle_on_nine_points():
    # Analytic: z = x² - y² on {-1, 0, 1}² has the least-squares plane 0, range 2, rms 2/3, mean |z| 4/9
    # (parameters as in ISO 25178-2: Sz, Sq, Sa).
    y, x = (v.ravel() - 1.0 for v in np.mgrid[:3, :3])
    z = x**2 - y**2
    residual = fit_least_squares(x, y, z).plane.normal_mm(x, y, z)
    assert np.ptp(residual) == pytest.approx(2.0, abs=1e-14)
    assert np.sqrt(np.mean(residual**2)) == pytest.approx(2 / 3)
    assert np.mean(np.abs(residual)) == pytest.approx(4 / 9)


def test_surface_topography_levels_the_same_plane():
    # SurfaceTopography (MIT), detrend_mode="height": least-squares plane of a height map, its own code.
    surface_topography = pytest.importorskip("SurfaceTopography")
    rng = np.random.default_rng(1)
    heights = rng.normal(0, 1, (7, 12)) + 0.3 * np.arange(7)[:, None] - 0.2 * np.arange(12)[None, :]
    theirs = surface_topography.Topography(heights, (70.0, 120.0)).detrend(detrend_mode="height").heights()
    x, y = (v.ravel() * 10.0 for v in np.mgrid[:7, :12])
    ours = fit_least_squares(x, y, heights.ravel()).plane.vertical_mm(x, y, heights.ravel())
    np.testing.assert_allclose(ours.reshape(7, 12), theirs, atol=1e-12)
