"""Views laid on each other: what overlaps tell is found, what they cannot tell is left alone."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.settings import SurfaceSettings
from flatscan.surface import find_surface
from flatscan.surface.finding import frame
from flatscan.surface.views.alignment import align_views, aligned

SIZE = (3700.0, 2300.0)


def floor_mm(x, y):
    return 4.0 * np.sin(x / 600.0) * np.cos(y / 500.0)


def two_stations(rng, *, lift=1.5, tilt=(0.4, -0.3), sigma=0.5, n=40_000):
    """Points of two stations, the second too high by ``lift`` mm at the corner and tilted by mm/m."""
    xy = rng.uniform(0.0, 1.0, (2 * n, 2)) * np.array(SIZE)
    view = np.repeat([0, 1], n)
    z = floor_mm(*xy.T) + rng.normal(0.0, sigma, 2 * n)
    z += (view == 1) * (lift + (xy @ tilt) / 1000.0)
    return np.column_stack([xy, z]).astype(np.float32), view


def test_the_difference_of_two_stations_is_found_whatever_the_floor():
    """0.5 mm of noise over 40 000 points each leaves 0.01 mm; 4 mm waves of the floor do not matter."""
    points, view = two_stations(np.random.default_rng(1))
    found = align_views(points, view, np.eye(4), SIZE, band_mm=60.0, tilts=True)
    difference = found.planes[1] - found.planes[0]
    assert difference == pytest.approx([1.5, 0.4, -0.3], abs=0.04)
    # The prior settles the rest: each takes half, and no height or tilt common to both comes in.
    assert found.planes.mean(axis=0) == pytest.approx([0.0, 0.0, 0.0], abs=0.01)


def test_points_move_along_the_floors_normal_in_any_frame():
    rng = np.random.default_rng(2)
    points, view = two_stations(rng)
    floor_from_points = frame.turn(0.7) @ frame.frame_on_plane(np.array([0.36, 0.48, 0.8]), 250.0)
    scanned = frame.apply(np.linalg.inv(floor_from_points), points).astype(np.float32)
    found = align_views(scanned, view, floor_from_points, SIZE, band_mm=60.0, tilts=True)
    moved = frame.apply(floor_from_points, aligned(scanned, view, floor_from_points, found))
    assert np.abs(moved[:, :2] - points[:, :2]).max() < 0.01
    off = moved[:, 2] - floor_mm(*points[:, :2].T)
    assert abs(off[view == 1].mean() - off[view == 0].mean()) < 0.02


def test_a_thing_moved_between_views_does_not_count():
    """A 40 mm board over a tenth of one view's floor would lift it by 4 mm; Huber's weights leave a tenth of that."""
    points, view = two_stations(np.random.default_rng(3), lift=0.0, tilt=(0.0, 0.0))
    board = (view == 1) & (points[:, 0] < 0.1 * SIZE[0])
    points[board, 2] += 40.0
    found = align_views(points, view, np.eye(4), SIZE, band_mm=60.0, tilts=False)
    assert abs(found.planes[1, 0] - found.planes[0, 0]) < 0.4


def test_frames_bent_alike_make_no_dome():
    """Frames bowed by their own lens, 3 mm at the rim, in a row: free tilts set each on the rim of the last.

    With heights alone the row's ends stay within the bow of its middle; with tilts they were off by many times it.
    """
    rng = np.random.default_rng(4)
    middles = np.arange(500.0, 6001.0, 500.0)
    parts = []
    for k, middle in enumerate(middles):
        xy = np.column_stack([rng.uniform(-500.0, 500.0, 4000), rng.uniform(0.0, 900.0, 4000)])
        bow = 3.0 * (xy[:, 0] / 500.0) ** 2
        parts.append(np.column_stack([xy[:, 0] + middle, xy[:, 1], bow, np.full(4000, k)]))
    cloud = np.concatenate(parts)
    points, view = cloud[:, :3].astype(np.float32), cloud[:, 3].astype(np.int64)
    found = align_views(points, view, np.eye(4), (6600.0, 900.0), band_mm=60.0, tilts=False)
    assert np.ptp(found.planes[:, 0]) < 3.0


@pytest.mark.parametrize("case", ["one view", "apart"])
def test_without_overlap_nothing_is_moved(case):
    points, view = two_stations(np.random.default_rng(5), n=3000)
    keep = view == 0 if case == "one view" else (points[:, 0] < 1800.0) == (view == 0)
    found = align_views(points[keep], view[keep], np.eye(4), SIZE, band_mm=60.0, tilts=True)
    assert found is None


def test_stations_joined_badly_no_longer_step(rooms):
    """Two stations 3 mm apart in height, one tilted, made a floor in steps: 2.5 mm off where one gave most readings."""
    rng = np.random.default_rng(6)
    points = np.vstack([rooms.floor(rng, rooms.L_SHAPE, 12_000), rooms.walls(rng, rooms.L_SHAPE, 1500)])
    far = points[:, 0] / 5300.0
    view = (rng.random(len(points)) < np.clip(1.5 * far - 0.25, 0.05, 0.95)).astype(np.uint16)
    points[:, 2] += view * (3.0 + 0.8 * points[:, 1] / 1000.0)
    heads = np.array([[1000.0, 1000.0, 1500.0], [4500.0, 1000.0, 1500.0]])
    scan = rooms.scan(points, rng, view_of_point=view, viewpoints_mm=heads)
    surface = find_surface(scan, SurfaceSettings(), seed_rng=np.random.default_rng(0))
    assert float(np.nanquantile(np.abs(surface.estimate_mm), 0.99)) < 0.3
    assert any("laid on each other" in said for said in surface.inferences)
