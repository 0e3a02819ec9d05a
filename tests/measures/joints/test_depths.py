"""Depth of joints: given where samples reach the joint's floor, refused where they cannot."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flatscan.measures.joints.lips.faces import measured_faces
from flatscan.measures.joints.lips.measure import measure_depths, over_smooth
from flatscan.measures.joints.stations import stations_along
from flatscan.synth.sensors.presets import STRUCTURED_LIGHT


@pytest.fixture(scope="module")
def floor(lip_floors):
    return lip_floors.tiled_floor(
        np.random.default_rng(1), (700.0, 550.0), size_mm=(260.0, 220.0), width_mm=9.0, depth_mm=3.0, depth_sd_mm=0.5
    )


@pytest.fixture(scope="module")
def truth(lip_floors, floor):
    return lip_floors.true_network(floor)


def depths(lip_floors, floor, truth, scan, widths=True):
    stations = stations_along(truth.network, 50.0)
    width = truth.width[stations.piece] if widths else None
    surface = lip_floors.surface_of(floor, scan.kind)
    smooth = over_smooth(scan, surface, truth.network)
    found = measure_depths(scan, surface, truth.network, stations, width, smooth=smooth)
    return found, truth.depth[stations.piece]


def close_up(lip_floors, floor, sensor):
    rng = np.random.default_rng(2)
    poses = lip_floors.views(floor, rng, 2, (300.0, 320.0), 0.05)
    return lip_floors.depth_scan(floor, rng, poses, sensor, lip_floors.FINE_CAMERA)


def test_close_structured_light_without_noise_gives_the_depth(lip_floors, floor, truth):
    scan = close_up(lip_floors, floor, replace(STRUCTURED_LIGHT, white_mm=0.0, correlated_mm=0.0))
    found, true = depths(lip_floors, floor, truth, scan)
    seen = np.isfinite(found.depth_mm)
    assert seen.sum() >= 8
    # Depth counts of 0.1 mm (0.03 mm rms), and the smoothing over 1.5 pixels known to 30 %.
    assert np.abs(found.depth_mm - true)[seen].max() < 0.25
    assert all((found.refused[k] is None) == seen[k] for k in range(len(seen)))


def test_without_a_width_there_is_no_depth(lip_floors, floor, truth):
    scan = lip_floors.ideal_scan(floor, np.random.default_rng(3), step=2.0)
    found, _ = depths(lip_floors, floor, truth, scan, widths=False)
    assert set(found.refused) == {"too_coarse"}


def test_one_phone_frame_at_a_metre_refuses(lip_floors, floor, truth):
    scan = lip_floors.captured("phone, one frame at 1 m", floor, np.random.default_rng(4))
    found, _ = depths(lip_floors, floor, truth, scan)
    assert set(found.refused) == {"too_coarse"}
    assert np.isnan(found.depth_mm).all()


def test_samples_apart_as_far_as_the_joint_refuse(lip_floors, floor, truth):
    scan = lip_floors.ideal_scan(floor, np.random.default_rng(5), step=15.0)
    found, _ = depths(lip_floors, floor, truth, scan)
    assert np.isnan(found.depth_mm).mean() > 0.9


def test_a_v_shaped_groove_has_no_flat_bottom(lip_floors, floor, truth):
    rng = np.random.default_rng(6)
    scan = lip_floors.ideal_scan(floor, rng, step=2.0)
    points = scan.points_mm.copy()
    stations = stations_along(truth.network, 1e6)
    for k in range(len(stations)):
        beside = (points[:, :2] - stations.at_mm[k]) @ stations.left[k]
        along = (points[:, :2] - stations.at_mm[k]) @ stations.along[k]
        inside = (np.abs(beside) < 4.5) & (np.abs(along) < stations.stretch_mm[k] / 2.0)
        points[inside, 2] += (1.2 * np.abs(beside[inside])).astype(np.float32)
    found, _ = depths(lip_floors, floor, truth, replace(scan, points_mm=points))
    flat, _ = depths(lip_floors, floor, truth, scan)
    assert np.isfinite(flat.depth_mm).sum() > 4 * np.isfinite(found.depth_mm).sum()


def test_tilt_of_a_tile_and_its_crown(lip_floors):
    rng = np.random.default_rng(7)
    floor = lip_floors.tiled_floor(rng, (1300.0, 1000.0), lip_sd_mm=0.0, tilt_sd_mm_per_m=0.0, waves=0.0)
    truth = lip_floors.true_network(floor)
    surface = lip_floors.surface_of(floor, "cloud", cell=15.0)
    face = 6
    ring = truth.network.faces[face].ring
    low, high = ring.min(axis=0), ring.max(axis=0)
    rows, cols = np.indices(surface.height_mm.shape)
    x, y = (cols + 0.5) * 15.0, (rows + 0.5) * 15.0
    middle, size = (low + high) / 2.0, high - low
    own = (x > low[0]) & (x < high[0]) & (y > low[1]) & (y < high[1])
    u, v = (x - middle[0]) / size[0], (y - middle[1]) / size[1]
    # 4 mm/m of tilt along x; a crown: -2 h (u² + v²) puts the sides' middles h / 2 below the middle.
    height = np.where(own, 0.004 * (x - middle[0]) - 2.0 * 0.6 * (u**2 + v**2), 0.0).astype(np.float32)
    raised = replace(surface, height_mm=height, white_mm=np.full_like(height, 0.02))
    found = measured_faces(raised, truth.network)[face]
    # The surroundings hold the tile itself: a square four tiles wide, whose plane it pulls by 1/4^4 of its own tilt.
    assert found.tilt.value == pytest.approx(4.0, abs=0.15)
    assert found.warp.value == pytest.approx(0.3, abs=0.01)
    assert found.warp.u < 0.05
