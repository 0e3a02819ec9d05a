"""A surface smoothed until its joints are gone says so and gives no lips; an honest one is left alone."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.measures.joints.lips.measure import measure_depths, measure_lips, over_smooth
from flatscan.measures.joints.lips.smoothness import neighbour_noise_mm
from flatscan.measures.joints.stations import stations_along
from flatscan.sources.clouds.mesh_sampling import sample_faces
from flatscan.synth.mesh import room_mesh
from flatscan.synth.scene import Scene


@pytest.fixture(scope="module")
def floor(lip_floors):
    return lip_floors.tiled_floor(np.random.default_rng(11), (1300.0, 1000.0))


def meshed(lip_floors, floor, **how):
    rng = np.random.default_rng(12)
    vertices, triangles = room_mesh(Scene(floor, wall_mm=1.0), rng=rng, **how)
    points = np.concatenate(list(sample_faces(vertices, triangles, 52_000, rng=rng, block=60_000)))
    return lip_floors.scan_from(points, "mesh")


def test_a_fused_and_smoothed_mesh_gives_no_lips(lip_floors, floor):
    scan, network = meshed(lip_floors, floor), lip_floors.true_network(floor).network
    surface, stations = lip_floors.surface_of(floor, "mesh"), stations_along(network, 50.0)
    assert over_smooth(scan, surface, network).name == "surface_smoothed"
    lips = measure_lips(scan, surface, network, stations)
    assert set(lips.refused) == {"smoothed"}
    assert np.isnan(lips.lip_mm).all()
    assert lips.smooth.name == "surface_smoothed"
    assert set(measure_depths(scan, surface, network, stations, None, smooth=lips.smooth).refused) == {"smoothed"}


def test_a_mesh_of_raw_points_is_not_called_smoothed(lip_floors, floor):
    # Corners 15 mm apart with 0.8 mm of noise each: no joint is seen, and yet nothing was smoothed.
    scan = meshed(lip_floors, floor, smooth_mm=0.1, correlation_mm=5.0)
    assert over_smooth(scan, lip_floors.surface_of(floor, "mesh"), lip_floors.true_network(floor).network) is None


@pytest.mark.parametrize("noise", [0.0, 0.3])
def test_points_that_reach_into_the_joints_are_not_smoothed(lip_floors, floor, noise):
    scan = lip_floors.ideal_scan(floor, np.random.default_rng(13), step=5.0, noise=noise)
    assert over_smooth(scan, lip_floors.surface_of(floor, "cloud"), lip_floors.true_network(floor).network) is None


def test_neighbours_show_the_noise_of_one_sample():
    # 20 000 residuals: the median absolute deviation is good to 1.2 %, shared neighbours make it a few.
    rng = np.random.default_rng(14)
    xy = rng.uniform(0, 1000, (40_000, 2))
    z = 0.2 * rng.standard_normal(len(xy)) + 0.01 * xy[:, 0]
    assert neighbour_noise_mm(np.column_stack([xy, z])) == pytest.approx(0.2, rel=0.05)
