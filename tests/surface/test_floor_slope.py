"""Slope is the plane against gravity: its size, its sign, its direction, and only where gravity is known."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.settings import SurfaceSettings
from flatscan.surface import find_surface
from flatscan.surface.slope import slope_against
from flatscan.surface.surface import NoiseModel

NOISE = NoiseModel(0.1, 0.0, 50.0, 0.0, "made up")


@pytest.mark.parametrize("towards", [0.0, 90.0, 200.0, 315.0])
def test_fall_and_direction(rooms, towards):
    """15 mm/m towards a direction of the room; the floor frame may be turned against the room."""
    rng = np.random.default_rng(21)
    points = np.vstack([rooms.floor(rng, rooms.OBLONG, 1500), rooms.walls(rng, rooms.OBLONG, 500)])
    scan = rooms.scan(rooms.tilted(points, 15.0, towards), rng)
    surface = find_surface(scan, SurfaceSettings(cell_mm=50.0), seed_rng=np.random.default_rng(0))
    # Noise of 0.5 mm over 30 000 points and arms of 1 m: 0.003 mm/m.
    assert surface.slope.fall.value == pytest.approx(15.0, abs=0.05)
    downhill = np.array([np.cos(surface.slope.direction_rad), np.sin(surface.slope.direction_rad), 0.0])
    in_scan = surface.floor_from_scan[:3, :3].T @ downhill
    assert in_scan[2] < 0
    off = np.rad2deg(np.arctan2(in_scan[1], in_scan[0])) - towards
    assert abs((off + 180) % 360 - 180) < 0.5
    # The tilt, 22 mm rms over this room, is no unflatness: cells scatter less than single readings.
    assert np.nanstd(surface.height_mm) < 0.5


def test_no_slope_without_gravity(rooms):
    rng = np.random.default_rng(22)
    scan = rooms.scan(rooms.floor(rng, rooms.OBLONG, 1000), rng, gravity=False)
    surface = find_surface(scan, SurfaceSettings(), seed_rng=np.random.default_rng(0))
    assert surface.slope is None
    assert "gravity_unknown" in {c.name for c in surface.caveats}


def test_closed_form():
    # Up leans by 3 and 4 parts in a thousand: 5 mm/m, downhill where up leans away from.
    up = np.array([0.003, -0.004, 1.0]) / np.sqrt(1 + 25e-6)
    slope = slope_against(up, np.ones((7, 12), bool), 500.0, NOISE, "cloud")
    assert slope.fall.value == pytest.approx(5.0)
    assert np.cos(slope.direction_rad) == pytest.approx(-0.6)
    assert np.sin(slope.direction_rad) == pytest.approx(0.8)


def test_uncertainty_of_the_fit_is_the_regression_formula():
    """One-dimensional twin: u of a slope is σ / (sd(x) √n) for independent readings."""
    seen = np.ones((3, 11), bool)
    slope = slope_against(np.array([-1e-3, 0, 1.0]), seen, 400.0, NOISE, "cloud")
    x = np.tile(np.arange(11) * 400.0, 3)
    expected = 1000 * 0.1 / np.sqrt(((x - x.mean()) ** 2).sum())
    assert dict(slope.fall.budget)["independent_noise"] == pytest.approx(expected)


def test_correlated_noise_counts_for_more():
    seen = np.ones((60, 80), bool)
    up = np.array([-1e-3, 0, 1.0])
    loose = slope_against(up, seen, 50.0, NoiseModel(0.0, 0.3, 50.0, 0.0, ""), "cloud").fall
    tight = slope_against(up, seen, 50.0, NoiseModel(0.0, 0.3, 200.0, 0.0, ""), "cloud").fall
    part = dict(tight.budget)["correlated_noise"]
    assert part == pytest.approx(4 * dict(loose.budget)["correlated_noise"])
    # Simulated: fields with that covariance, slopes fitted to each.
    rng = np.random.default_rng(2)
    from scipy.ndimage import gaussian_filter

    sigma = 200.0 / 50.0 / np.sqrt(2)  # a Gaussian kernel squared: covariance length √2 times its own
    slopes = []
    x = (np.arange(80) - 39.5) * 50.0
    for _ in range(400):
        field = gaussian_filter(rng.normal(size=(100, 120)), sigma)[20:80, 20:100]
        slopes.append((field * x).sum() / (60 * (x**2).sum()))
        slopes[-1] /= np.sqrt(1 / (4 * np.pi * sigma**2)) / 0.3
    # 400 draws know a standard deviation to 3.5 %; the border's share makes the formula err by up to 2ℓ/side.
    assert 1000 * np.std(slopes) == pytest.approx(part, rel=0.2)
