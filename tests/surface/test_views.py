"""What is gained from knowing which view saw which point."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.settings import SurfaceSettings
from flatscan.surface import find_surface
from flatscan.surface.cells.gridding import GridSpec
from flatscan.surface.noise.denoise import best_estimate
from flatscan.surface.noise.draws import draw_noise
from flatscan.surface.surface import NoiseModel, Surface
from flatscan.surface.views.views import correlated_scale, views_per_cell

GRID = GridSpec((0.0, 0.0), (7, 12), 50.0)


def test_views_are_counted_by_cell_whatever_their_points():
    """View 0 everywhere, view 1 right of 300 mm, view 2 there too but 100 mm up: a wall counts for nothing."""
    rng = np.random.default_rng(1)
    xyz = np.column_stack([rng.uniform(0, 600, 30_000), rng.uniform(0, 350, 30_000), np.zeros(30_000)])
    view = np.repeat([0, 1, 2], 10_000).astype(np.uint16)
    xyz[view == 1, 0] = 300.0 + 0.5 * xyz[view == 1, 0]
    xyz[view == 2, 2] = 100.0
    views = views_per_cell(xyz.astype(np.float32), view, np.eye(4), GRID, band_mm=60.0)
    assert (views[:, :6] == 1).all()
    assert (views[:, 6:] == 2).all()


def capture(rooms, rng, *, frames_right=1):
    """An oblong floor of which the right half was seen by fewer views, each with a height of its own."""
    parts, views = [], []
    for view in range(6):
        p = rooms.floor(rng, rooms.OBLONG, 3000)
        p = p[p[:, 0] < 2650.0] if view >= frames_right else p
        parts.append(p)
        views.append(np.full(len(p), view))
    heads = rng.uniform(500.0, 3000.0, (6, 3))
    return np.concatenate(parts), np.concatenate(views).astype(np.uint16), heads


def test_noise_goes_with_the_root_of_one_over_the_views(rooms):
    points, view, heads = capture(rooms, np.random.default_rng(2))
    scan = rooms.scan(points, np.random.default_rng(3), view_of_point=view, viewpoints_mm=heads)
    grid = GridSpec((0.0, 0.0), (37, 53), 100.0)
    seen = np.ones(grid.shape, bool)
    scale = correlated_scale(scan, np.eye(4), grid, seen, band_mm=60.0)
    assert np.mean(np.square(scale, dtype=np.float64)) == pytest.approx(1.0, rel=1e-3)
    assert np.median(scale[:, 30:]) / np.median(scale[:, :25]) == pytest.approx(np.sqrt(6.0), rel=0.02)


def test_one_station_has_no_scale(rooms):
    rng = np.random.default_rng(4)
    points = rooms.floor(rng, rooms.OBLONG, 3000)
    heads = np.array([[500.0, 500.0, 1500.0]])
    scan = rooms.scan(points, rng, view_of_point=np.zeros(len(points), np.uint16), viewpoints_mm=heads)
    assert correlated_scale(scan, np.eye(4), GRID, np.ones(GRID.shape, bool), band_mm=60.0) is None


def surface(scale):
    shape = (60, 80)
    height = np.zeros(shape, np.float32)
    return Surface(
        height_mm=height, estimate_mm=height.copy(), white_mm=np.full(shape, 0.1, np.float32),
        count=np.ones(shape, np.int32), inside=np.ones(shape, bool), cell_mm=50.0, origin_mm=(0.0, 0.0),
        floor_from_scan=np.eye(4), outline=(), noise=NoiseModel(0.1, 1.0, 80.0, 0.0, "stated"), slope=None,
        kind="depth_frames", correlated_scale=scale,
    )  # fmt: skip


def test_draws_and_filter_know_where_the_noise_is():
    """Phone frames: at lane ends one frame alone had 2.1 mm where 1.2 mm was claimed, and floors were called over."""
    scale = np.full((60, 80), 0.8, np.float32)
    scale[:, 50:] = 1.6
    rng = np.random.default_rng(5)
    rms = np.sqrt(np.mean([np.square(draw_noise(surface(scale), rng)) for _ in range(40)], axis=0))
    assert rms[:, :45].mean() == pytest.approx(np.hypot(0.1, 0.8), rel=0.1)
    assert rms[:, 55:].mean() == pytest.approx(np.hypot(0.1, 1.6), rel=0.1)
    plain = surface(None)
    noisy = draw_noise(surface(scale), rng)
    told = best_estimate(noisy, plain.white_mm, plain.inside, plain.noise, 50.0, scale)
    untold = best_estimate(noisy, plain.white_mm, plain.inside, plain.noise, 50.0)
    assert np.sqrt(np.mean(told[:, 55:] ** 2)) < np.sqrt(np.mean(untold[:, 55:] ** 2))


def test_a_station_is_known_by_its_place_and_frames_lose_the_foot_of_walls(rooms):
    """What the stage hands on for each kind: no shared noise of one station; 90 mm along walls for depth frames."""
    rng = np.random.default_rng(6)
    points = np.vstack([rooms.floor(rng, rooms.OBLONG, 9000), rooms.walls(rng, rooms.OBLONG, 1500)])
    x, y = points[:, 0], points[:, 1]
    points[:, 2] += 0.5 * ((x // 300 + y // 300) % 2)  # lips
    one = {"view_of_point": np.zeros(len(points), np.uint16), "viewpoints_mm": np.array([[2000.0, 1500.0, 1500.0]])}
    station = find_surface(
        rooms.scan(points, rng, **one), SurfaceSettings(cell_mm=20.0), seed_rng=np.random.default_rng(0)
    )
    cloud = find_surface(rooms.scan(points, rng), SurfaceSettings(cell_mm=20.0), seed_rng=np.random.default_rng(0))
    frames = find_surface(
        rooms.scan(points, rng, kind="depth_frames"), SurfaceSettings(cell_mm=20.0), seed_rng=np.random.default_rng(0)
    )
    assert station.noise.correlated_mm == 0.0
    assert cloud.noise.correlated_mm > 0.0
    assert cloud.inside[20, :].sum() * 20.0 == pytest.approx(5300.0 - 60.0, abs=60.0)
    assert frames.inside[20, :].sum() * 20.0 == pytest.approx(5300.0 - 180.0, abs=60.0)


def test_a_patch_of_reflections_is_not_read(rooms):
    """Three readings in ten 30 mm too deep, as a glossy tile gives: their cells' mean of -9 mm was taken for floor.

    40 readings a cell: most of them astray happens once in 600.
    """
    rng = np.random.default_rng(7)
    points = rooms.floor(rng, rooms.OBLONG, 25_000)
    patch = np.hypot(points[:, 0] - 2000.0, points[:, 1] - 1500.0) < 100.0
    points[patch & (rng.random(len(points)) < 0.3), 2] -= 30.0
    found = find_surface(rooms.scan(points, rng), SurfaceSettings(cell_mm=40.0), seed_rng=np.random.default_rng(0))
    assert np.nanmin(found.height_mm) > -3.0
    lost_m2 = (found.inside & ~found.seen).sum() * 0.04**2
    assert 0.5 * np.pi * 0.1**2 < lost_m2 < 2.0 * np.pi * 0.1**2
