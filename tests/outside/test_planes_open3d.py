"""The least-squares plane against open3d, whose plane segmentation ends in a fit through all its inliers."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.surface.planes import fit_least_squares

open3d = pytest.importorskip("open3d", reason="open3d has no wheel for this machine")


def test_the_plane_is_the_one_open3d_fits() -> None:
    rng = np.random.default_rng(4)
    x, y = rng.uniform(0, 4000, 5000), rng.uniform(0, 2700, 5000)
    z = 12.0 + 0.004 * x - 0.0025 * y + rng.normal(0, 1.5, 5000)
    cloud = open3d.geometry.PointCloud(open3d.utility.Vector3dVector(np.column_stack([x, y, z])))
    # 30 mm is 20 standard deviations: every point is an inlier of the first guess already.
    (a, b, c, _), inliers = cloud.segment_plane(distance_threshold=30.0, ransac_n=300, num_iterations=200)
    assert len(inliers) == len(z)
    ours = fit_least_squares(x, y, z).plane
    # Vertical against orthogonal least squares: slopes differ by about slope · σ²/extent², 1e-9 here.
    assert [ours.a, ours.b] == pytest.approx([-a / c, -b / c], abs=2e-8)
